"""The first file a builder gets: the ten-minute example, with a word about how to change it."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from sequencer.description.characters import unusable

NEXT = (
    "change title, inputs and outputs to what stands on your bench",
    "change 'site:' to your own bottle, lines, relief, release head and numbers",
    "sequencer check {file}      reads it critically; do so after every change",
    "sequencer run {file}        simulates a launch",
    "sequencer meaning WORD      explains any word in it",
)


def first_file() -> str:
    """The text of the first file."""
    return files("sequencer.description").joinpath("first.yaml").read_text(encoding="utf-8")


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet; raises UnusableFile when it is, or cannot be written."""
    try:
        with path.open("x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError as error:
        raise unusable(str(path), "unreadable-file", "this file is already there", "a new name; nothing is overwritten", "name another file") from error
    except OSError as error:
        raise unusable(str(path), "unreadable-file", f"the file cannot be written: {error.strerror}", "a place one may write to", "name another file") from error
