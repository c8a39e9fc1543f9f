"""A small file to change in tests, and what reading it says."""

from __future__ import annotations

from pathlib import Path

from sequencer.description import Pad, loads
from sequencer.description.reading import read_critically
from sequencer.errors import Finding, UnusableFile

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
CLUB = (Path(__file__).parent / "small.yaml").read_text(encoding="utf-8")


def changed(*changes: tuple[str, str], text: str = CLUB) -> str:
    """The club file with texts replaced; each must stand in it exactly once."""
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the file"
        text = text.replace(old, new)
    return text


def refused(text: str) -> list[Finding]:
    """The findings of a file that must be unusable."""
    try:
        loads(text, "pad.yaml")
    except UnusableFile as error:
        assert error.findings
        return list(error.findings)
    raise AssertionError("the file was read without a finding")


def names(found: list[Finding] | tuple[Finding, ...]) -> list[str]:
    return [one.name for one in found]


def read(text: str) -> Pad:
    return loads(text, "pad.yaml")


def told(text: str) -> list[Finding]:
    """What critical reading says."""
    return list(read_critically(read(text)))


def line_of(text: str, part: str) -> int:
    assert text.count(part) == 1, part
    return text[: text.index(part)].count("\n") + 1
