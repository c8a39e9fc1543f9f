"""Results that are kept, and a checker that trusts nothing but the rows.

A kept result is a folder: `answer.json` and `answer.txt` (what was said), `system.json` (rows, rules, starts) and
`situations.bin` (the reached set, 64-bit little-endian words, rising). The checker reads them with the standard
library alone and in plain Python: the set holds the starts, every row leads from it into it, no word and no image of
a scan breaks a rule that is said to hold. So a reader need not trust the explorer.
"""

from __future__ import annotations

import hashlib
import json
from array import array
from pathlib import Path
from typing import Any

from sequencer import __version__
from sequencer.errors import SequencerError

ANSWER, TEXT, SYSTEM, WORDS = "answer.json", "answer.txt", "system.json", "situations.bin"
ALL = (1 << 64) - 1


def sources(folder: Path = Path(__file__).parents[1]) -> str:
    """Digest of this tool's own code: an answer belongs to the code that gave it, and any of it may have a share."""
    whole = hashlib.sha256()
    for path in sorted(p for p in folder.rglob("*") if p.suffix in {".py", ".c", ".h"}):
        whole.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return whole.hexdigest()[:16]


def stamp(checksum: str, options: object) -> str:
    """What an answer belongs to: the file's checksum, this version and its code, what was asked."""
    return f"{checksum} {__version__} {sources()} {options!r}"


def kept_answer(folder: Path, wanted: str) -> dict[str, Any] | None:
    """The kept answer of the same file, version and question, or None."""
    try:
        answer = json.loads((folder / ANSWER).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return answer if isinstance(answer, dict) and answer.get("stamp") == wanted else None


def system_data(system: Any, holding: set[str]) -> dict[str, Any]:
    """Rows, rules that hold, and starts as plain numbers. `system` is a `System`."""
    places = len(system.places)
    return {
        "shift": system.layout.shift, "free": system.free, "spent": system.spent, "places": places,
        "starts": [s & ~system.free & ALL for s in system.starts],
        "rows": [
            [list(r.at), r.guard.care, r.guard.want, r.clear, r.set, r.to, [[c.care, c.want] for c, _ in r.unless],
             r.scan or r.tag in ("settle", "boot"), r.lazy]
            for r in system.rows if r.forward
        ],
        "rules": [
            [c.name, [[sorted(b.places), b.cube.care, b.cube.want, b.after_scan, b.starts is not None,
                       [[sorted(p), q.care, q.want] for p, q in b.sources]] for b in c.bad]]
            for c in system.rules if c.name in holding
        ],
    }  # fmt: skip


def keep(folder: Path, answer: dict[str, Any], text: str, system: Any, words: Any, holding: set[str]) -> None:
    """Write a result; `words` are the reached situations, rising."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / ANSWER).write_text(json.dumps(answer, indent=1), encoding="utf-8")
    (folder / TEXT).write_text(text, encoding="utf-8")
    (folder / SYSTEM).write_text(json.dumps(system_data(system, holding)), encoding="utf-8")
    (folder / WORDS).write_bytes(words.astype("<u8").tobytes())


def check(folder: Path, most: int = 20) -> list[str]:
    """What is wrong with a kept result, in sentences (none: it stands). Raises SequencerError where it cannot be read."""
    try:
        data = json.loads((folder / SYSTEM).read_text(encoding="utf-8"))
        words = array("Q")
        words.frombytes((folder / WORDS).read_bytes())
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no kept result, or torn"
        raise SequencerError(f"{folder}: no kept result can be read there: {why}; `prove --keep DIR` makes one") from error
    return check_data(data, set(words), most)


def check_data(data: dict[str, Any], reached: set[int], most: int = 20) -> list[str]:
    """The same on plain data."""
    shift, free, spent = data["shift"], data["free"], data["spent"]
    low = (1 << shift) - 1
    wrong = [f"start {s:#x} is not in the set" for s in data["starts"] if s not in reached]
    by_place: dict[int, list[list[Any]]] = {}
    for row in data["rows"]:
        for place in row[0]:
            by_place.setdefault(place, []).append(row)
    for word in reached:
        if len(wrong) >= most:
            break
        for name, bads in data["rules"]:
            for places, care, want, after, _, _ in bads:
                if not after and word >> shift in places and word & care & ~free == want & ~free:
                    wrong.append(f"{name} is broken in situation {word:#x}")
        for row in by_place.get(word >> shift, ()):
            _, care, want, clear, put, to, unless, judged, lazy = row
            if word & care & ~free != want & ~free or any(word & c == w for c, w in unless):
                continue
            image = (word & ~clear & ALL | put) & ~free
            if to is not None:
                image = image & low | to << shift
            if image & ~spent not in reached:
                wrong.append(f"a row leads from {word:#x} to {image:#x}, outside the set")
            if judged:
                wrong += _scan_breaks(data, row, word, image, lazy)
    return wrong[:most]


def _scan_breaks(data: dict[str, Any], row: list[Any], word: int, image: int, lazy: bool) -> list[str]:
    shift, free = data["shift"], data["free"]
    found = []
    for name, bads in data["rules"]:
        for places, care, want, after, starts, sources in bads:
            if not after or (lazy and not starts) or image >> shift not in places:
                continue
            if (row[2] ^ want) & row[1] & care & free or image & care & ~free != want & ~free:
                continue
            if starts and not any(word >> shift in p and word & c == w for p, c, w in sources):
                continue
            found.append(f"{name} is broken by the scan from {word:#x}")
    return found
