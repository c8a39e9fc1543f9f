"""The record of a rehearsal: what the crew did and what the box did, one JSON object a line, never lost.

Every line is flushed to the disk before anything else happens, so a rehearsal killed at any moment keeps all that
was recorded; a torn last line is told and left out. The acts are enough to play the evening again to the scan.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from sequencer.errors import SequencerError

VERSION = 1


@dataclass(frozen=True)
class Act:
    """One thing that was done or said: when (ms of the run), and the order as it was given."""

    ms: int
    order: str


@dataclass(frozen=True)
class Record:
    """A rehearsal as it was kept. `drill` is '' without one; `box` are (ms, kind, from, to) of the box log's lines.

    ended_ms: the last moment known; torn: whether the last line was cut off.
    """

    path: str
    title: str
    revision: int
    checksum: int
    seed: int
    drill: str
    events: tuple[str, ...]
    date: str
    acts: tuple[Act, ...]
    box: tuple[tuple[int, str, str, str], ...]
    ended_ms: int
    torn: bool


class Recorder:
    """Appends to a record; every call is on the disk when it returns."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file: IO[str] | None = None

    def begin(self, **header: Any) -> None:
        """Start the file; one that is there already is never written over. Raises SequencerError."""
        try:
            self._file = self.path.open("x", encoding="utf-8")
        except FileExistsError as error:
            raise SequencerError(f"{self.path}: there is a record already; required: a name of its own (--record F)") from error
        self.write({"kind": "rehearsal", "version": VERSION, **header})

    def write(self, line: dict[str, Any]) -> None:
        """Append one line and wait until it is on the disk."""
        if self._file is None:
            return
        self._file.write(json.dumps(line, ensure_ascii=False) + "\n")
        self._file.flush()
        os.fsync(self._file.fileno())

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None


def read(path: Path) -> Record:
    """Read a record; raises SequencerError naming file and line for anything that is none."""
    lines, torn = [], False
    raw = path.read_bytes().split(b"\n")
    for number, text in enumerate(raw, 1):
        if not text.strip():
            continue
        try:
            lines.append(json.loads(text))
        except ValueError as error:
            if number == len(raw):  # no line end follows: it was being written when the program was killed
                torn = True
                break
            raise SequencerError(f"{path}:{number}: not a line of a rehearsal's record; required: a file that `rehearse --record` wrote") from error
    head = lines[0] if lines else None
    if not isinstance(head, dict) or head.get("kind") != "rehearsal":
        raise SequencerError(f"{path}:1: not the record of a rehearsal; required: a file that `rehearse --record` wrote")
    if head.get("version") != VERSION:
        raise SequencerError(f"{path}:1: a record of version {head.get('version')}; this program reads version {VERSION}")
    try:
        return _made(path, head, lines[1:], torn)
    except (KeyError, TypeError, ValueError) as error:
        raise SequencerError(f"{path}: not a whole record of a rehearsal: {error!r}") from error


def _made(path: Path, head: dict[str, Any], lines: list[dict[str, Any]], torn: bool) -> Record:
    acts = tuple(Act(int(line["ms"]), str(line["order"])) for line in lines if line["kind"] == "act")
    box = tuple((int(x["ms"]), str(x["what"]), str(x["from"]), str(x["to"])) for x in lines if x["kind"] == "box")
    return Record(
        str(path), str(head["title"]), int(head["revision"]), int(str(head["checksum"]), 16), int(head["seed"]), str(head["drill"]),
        tuple(str(text) for text in head["events"]), str(head["date"]), acts, box, max((int(line["ms"]) for line in lines), default=0), torn,
    )  # fmt: skip


def rehearsed_file(path: Path) -> str:
    """The file that a record names as rehearsed; raises SequencerError where it names none."""
    with path.open(encoding="utf-8") as lines:
        head = json.loads(lines.readline())
    name = head.get("file")
    if not isinstance(name, str) or not name:
        raise SequencerError(f"{path} does not name the file that was rehearsed; add --file FILE")
    return name
