"""The launch pack as a result: how each part ended in one sentence, its index for the folder, its list for the screen."""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Result = Literal["pass", "fail", "missing"]
WIDTH = 80
BLIND = "Blind to: everything that is not in description.yaml. Each part names its own blind spots first."


@dataclass(frozen=True)
class Done:
    """How a part ended; `says` is its verdict in one sentence, `files` what it left in the folder."""

    command: str
    title: str
    result: Result
    exit_code: int | None
    seconds: float
    files: tuple[str, ...]
    needed: bool
    says: str


@dataclass(frozen=True)
class Pack:
    """The launch pack: the folder, what every part said, and whether every needed part passed."""

    folder: str
    title: str
    revision: int
    checksum: str
    parts: tuple[Done, ...]

    @property
    def passed(self) -> bool:
        """Every part that is needed is there, and every part that is there passed."""
        return all(one.result == "pass" or (one.result == "missing" and not one.needed) for one in self.parts)


def verdict(pack: Pack) -> str:
    """The pack's verdict as one sentence."""
    if pack.passed:
        return "Every needed part passed, in this model."
    failed = sum(one.result == "fail" or (one.result == "missing" and one.needed) for one in pack.parts)
    return f"NOT READY: {failed} of {len(pack.parts)} parts failed or are missing. Do not launch on this pack."


def index(pack: Pack) -> str:
    """The pack's index as Markdown."""
    from sequencer.crew.markdown import table
    from sequencer.crew.words import CAUTIONS

    rows = [[one.title, f"`{one.command}`", _word(one), ", ".join(one.files) or "-", one.says] for one in pack.parts]
    return "\n".join([
        f"# {pack.title}: launch pack", "", f"Revision {pack.revision} · table {pack.checksum}", "", BLIND, *CAUTIONS, "",
        f"**{verdict(pack)}**", "", table(["part", "command", "result", "files", "what it says"], rows), "",
    ])  # fmt: skip


def listing(pack: Pack) -> str:
    """The same for the screen, at 80 columns."""
    out = [f"{pack.title}: launch pack in {pack.folder}", f"Revision {pack.revision}, table {pack.checksum}", ""]
    for one in _grouped(pack.parts):
        out.append(f"{_word(one):<8}{one.seconds:>7.1f} s  {one.title}")
        if one.says:
            out += textwrap.wrap(one.says, WIDTH, initial_indent=" " * 19, subsequent_indent=" " * 19, break_on_hyphens=False)
        if one.files:
            out += textwrap.wrap(", ".join(one.files), WIDTH, initial_indent=" " * 19, subsequent_indent=" " * 19, break_on_hyphens=False)
    out += ["", *textwrap.wrap(BLIND, WIDTH), "It checks a model, not the hardware, and certifies nothing.", "", *textwrap.wrap(verdict(pack), WIDTH)]
    return "\n".join(out)


def _grouped(parts: tuple[Done, ...]) -> list[Done]:
    """The parts, with the drills that passed as one; those that failed stay apart."""
    fine = [one for one in parts if one.title.startswith("Drill ") and one.result == "pass"]
    if len(fine) < 2:
        return list(parts)
    said = f"{len(fine)} drills of the file ended as it says they must"
    one = Done("run", "Drills", "pass", 0, sum(part.seconds for part in fine), ("drills/",), True, said)
    grouped: list[Done] = []
    for part in parts:
        if part is fine[0]:
            grouped.append(one)
        elif part not in fine:
            grouped.append(part)
    return grouped


def _word(one: Done) -> str:
    return {"pass": "pass", "fail": "FAIL", "missing": "MISSING" if one.needed else "missing"}[one.result]


# ---- one sentence from a command's own text ------------------------------------------------------


def sentence(command: str, text: str, result: Result) -> str:
    """The verdict of a command's text in one sentence; where it has no known form, the first line that complains."""
    flat = " ".join(text.split())
    if "this is a defect of the tool" in text:
        return "a defect of the tool, not of the file; its text tells more"
    said = _SENTENCES[command](text, flat) if command in _SENTENCES else ""
    if said:
        return said
    complaint = next((line.strip() for line in text.splitlines() if re.search(r"error|fail|not |no ", line, re.I)), "")
    return complaint if result == "fail" else ""


def _check(text: str, flat: str) -> str:
    kinds = Counter(re.findall(r"^\S+:\d+:\d+: (error|warning)", text, re.M))
    if kinds:
        return ", ".join(f"{n} {kind}{'s' if n > 1 else ''}" for kind, n in sorted(kinds.items())) + " found in the file"
    return "nothing found in the file" if "nothing found" in flat else ""


def _run(text: str, flat: str) -> str:
    ended = re.search(r"Ended at ([\d.]+ s) (in \w+|with the box off)", flat)
    if ended is None:
        return ""
    held = len(re.findall(r"^  held ", text, re.M))
    against = re.search(r"Against it: (.+?)(?= Against it: | Verdict: )", flat)
    said = f"ended after {ended[1]} {ended[2]}, {held} interlocks held"
    return said + (f"; {against[1]}" if against else "")


def _prove(text: str, flat: str) -> str:
    found = Counter(word.lower() for word in re.findall(r"^  \w+: (holds|broken|not examined|waived)\b", text, re.M | re.I))
    count = re.search(r"([\d,]+) situations", flat)
    if not found or count is None:
        return ""
    words = ", ".join(f"{found[word]} {said}" for word, said in (
        ("holds", "hold in this model"), ("broken", "broken"), ("waived", "waived"), ("not examined", "not examined")) if found[word])  # fmt: skip
    return f"of the interlocks {words}; {count[1]} situations without faults"


def _export(text: str, flat: str) -> str:
    agreed = re.findall(r"^(.+?): ([\d,]+) scans agreed, none differed", text, re.M)
    differs = re.findall(r"^(.+?): DIFFERS", text, re.M)
    missed = re.findall(r"^NOT COMPARED[^:]*: (.+)", text, re.M)
    said = [f"{target}: {count} scans agreed" for target, count in agreed] + [f"{target} DIFFERS" for target in differs]
    return "; ".join(said + [f"not compared: {reason}" for reason in missed])


def _checklist(text: str, flat: str) -> str:
    found = re.search(r"(\d+) proposed lines", flat)
    return f"{found[1]} lines that nobody wrote are proposed" if found else ""


def _steps(text: str, flat: str) -> str:
    hazards = flat.partition("Hazards that only a human step prevents")[2].partition("Lines that nothing")[0]
    named = "none found" if "none found" in hazards else f"{len(re.findall(r'breaks', hazards))} found"
    return f"hazards that only a human step prevents: {named}" if hazards else ""


def _sizing(text: str, flat: str) -> str:
    fails, warned = re.search(r"^FAILS: (\d+)", text, re.M), re.search(r"^WARNED: (\d+)", text, re.M)
    far = re.search(r"^stand-off, all people\s+(\S+ m)", text, re.M)
    said = [f"{fails[1]} margins fail"] if fails else ["no margin fails"]
    said += [f"{warned[1]} warnings"] if warned else []
    return ", ".join(said) + (f"; stand-off {far[1]}" if far else "")


_SENTENCES: dict[str, Callable[[str, str], str]] = {
    "check": _check, "run": _run, "prove": _prove, "export": _export, "checklist": _checklist, "steps": _steps, "sizing": _sizing,
}  # fmt: skip
