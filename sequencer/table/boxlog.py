"""The box log as plain CSV: one line per power-up, one per move. Chip and simulation write the same.

Columns: kind ('power-up' or 'move'), scan since power-up, from, to (state names), row of the table,
cause of the reset, checksum of the table (8 hex digits), condition bits (hex, bit 0 last). What a kind
does not have is left empty.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass

from sequencer.errors import SequencerError

COLUMNS = ("kind", "scan", "from", "to", "row", "cause", "checksum", "bits")
CAUSES = ("power-on", "brown-out", "watchdog")


@dataclass(frozen=True)
class Entry:
    """One line of the box log; see the columns above."""

    kind: str
    scan: int
    origin: str = ""
    to: str = ""
    row: int = -1
    cause: str = ""
    checksum: int = 0
    bits: int = 0


def power_up(cause: str, checksum: int) -> Entry:
    """The line of a power-up."""
    return Entry("power-up", 0, cause=cause, checksum=checksum)


def move(scan: int, origin: str, to: str, row: int, bits: int) -> Entry:
    """The line of a move."""
    return Entry("move", scan, origin, to, row, bits=bits)


def write(entries: Iterable[Entry]) -> str:
    """The whole log as CSV text with a header."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for e in entries:
        if e.kind == "move":
            writer.writerow([e.kind, e.scan, e.origin, e.to, e.row, "", "", f"{e.bits:x}"])
        else:
            writer.writerow([e.kind, e.scan, "", "", "", e.cause, f"{e.checksum:08x}", ""])
    return out.getvalue()


def read(text: str, file: str = "") -> list[Entry]:
    """The entries of a CSV text; raises SequencerError with the line for anything else."""
    rows = list(csv.reader(io.StringIO(text)))
    if not rows or tuple(rows[0]) != COLUMNS:
        raise SequencerError(f"{file}:1: not a box log; the first line must be: {','.join(COLUMNS)}")
    entries = []
    for number, row in enumerate(rows[1:], 2):
        try:
            kind, scan, origin, to, index, cause, checksum, bits = row
            if kind == "move":
                entries.append(move(int(scan), origin, to, int(index), int(bits, 16)))
            elif kind == "power-up":
                entries.append(power_up(cause, int(checksum, 16)))
            else:
                raise ValueError(kind)
        except ValueError as error:
            raise SequencerError(f"{file}:{number}: not a line of a box log ({error}); required: {','.join(COLUMNS)}") from error
    return entries
