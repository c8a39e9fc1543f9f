"""The launch pack as a result: how each part ended in one sentence, its index for the folder, its list for the screen."""

from __future__ import annotations

import textwrap
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

