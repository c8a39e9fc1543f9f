"""The records of rows and inhibits in a table's image, their literal lists, and how states share them."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from sequencer.errors import DoesNotFit
from sequencer.table.table import MAX_BITS, Literals, Row, Table

MOST_LITERALS, MOST_CELLS = 31, 255
LIMITS = {
    "contacts": 64, "analogs": 32, "heartbeats": 16, "outputs": 63, "positions": 4, "bits": MAX_BITS, "states": 127,
    "rows": 0xFFFF, "inhibits": 255, "literals in a list": MOST_LITERALS, "rows in a state": 255, "bytes": 0xFF00,
}  # fmt: skip
EXTRA, DELAYS, OPPOSITE, ANY, TRIP = 0x10, 0x40, 0x80, 0x80, 0x80
LONG = 1  # header flag: least times of three bytes, not two
LEAST = 0x40  # in the first byte of a row's list: a least time follows the literals
LAST = 0x20  # and: the last one of the rows that begin where a state says
NO_ROWS = 0xFFFF  # in place of where they begin
MOST_LEAST = 0xFF_FFFF  # scans


def fits(value: int, least: int, most: int, what: str) -> int:
    """`value`, or DoesNotFit with the number and what its field holds."""
    if not least <= value <= most:
        raise DoesNotFit(f"{what} is {value}; the field holds {least} to {most}")
    return value


class Group(NamedTuple):
    """Records of the image: one row, or neighbours that differ by their one literal alone and stand as one "any" list."""

    what: int  # the first byte
    literals: tuple[int, ...]  # bit number, with 128 where it has to be true
    any: bool
    least: int = 0
    last: bool = False  # of its state's first or further rows

    @property
    def rows(self) -> int:
        """How many rows (inhibits) it stands for."""
        return len(self.literals) if self.any else 1


@dataclass
class _Rows:
    """The row stream; sequences of records that stand in it already are shared between states."""

    long: bool
    data: bytearray = field(default_factory=bytearray)
    groups: list[Group] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)

    def place(self, groups: Sequence[Group]) -> int:
        """Offset of `groups` in the stream, written now if they do not stand there in this order."""
        if not groups:
            return NO_ROWS
        for first in range(len(self.groups) - len(groups) + 1):
            if self.groups[first : first + len(groups)] == list(groups):
                return self.starts[first]
        at = len(self.data)
        for group in groups:
            self.starts.append(len(self.data))
            self.groups.append(group)
            self.data += record(group, 3 if self.long else 2)
        return at


def is_trip(row: Row) -> bool:
    """Whether the row came from a trip: the firmware keeps the first of them (first-out)."""
    return row.origin.startswith("trip ")


def grouped(single: Iterable[Group]) -> list[Group]:
    """Neighbours alike in all but their one literal become one record."""
    groups: list[Group] = []
    for one in single:
        last = groups[-1] if groups else None
        if (
            last and len(one.literals) == 1 and (last.any or len(last.literals) == 1) and len(last.literals) < MOST_LITERALS
            and (last.what, last.least) == (one.what, one.least)
        ):  # fmt: skip
            groups[-1] = last._replace(literals=last.literals + one.literals, any=True)
        else:
            groups.append(one)
    return groups


def row_groups(table: Table) -> list[list[Group]]:
    """Per state, in order, the records of its rows; raises DoesNotFit."""
    most, found = len(table.states) - 1, []
    for state in table.states:
        fits(state.end_row - state.first_row, 0, LIMITS["rows in a state"], f"{state.name}: the number of rows")
        single = []
        for row in table.rows[state.first_row : state.end_row]:
            what = fits(row.to, 0, most, f"{state.name}: next state") | (TRIP if is_trip(row) else 0)
            least = fits(row.least, 0, MOST_LEAST, f"{state.name}: least scans")
            single.append(Group(what, _plain(Literals(row.care, row.want), len(table.bits), state.name), False, least))
        found.append(grouped(single))
    return found


def ended(groups: Sequence[Group]) -> list[Group]:
    """The same, the last one marked."""
    return [*groups[:-1], *(group._replace(last=True) for group in groups[-1:])]


def inhibit_groups(table: Table) -> list[Group]:
    """The records of the inhibits, in order; raises DoesNotFit."""
    single = []
    for item in table.inhibits:
        output = fits(item.output, 0, len(table.outputs) - 1, f"{item.name}: output")
        what = output << 2 | fits(item.position, 0, 3, f"{item.name}: position")
        single.append(Group(what, _plain(Literals(item.care, item.want), len(table.bits), item.name), False))
    return grouped(single)


def shared_lengths(rows: Sequence[Sequence[Group]]) -> list[int]:
    """Per state how many records at its beginning another state has too (its trips, mostly)."""
    lengths = []
    for i, mine in enumerate(rows):
        best = 0
        for j, other in enumerate(rows):
            same = next((k for k, (a, b) in enumerate(zip(mine, other, strict=False)) if a != b), min(len(mine), len(other)))
            best = max(best, same) if i != j else best
        lengths.append(best)
    return lengths


def pack_codes(codes: Sequence[int]) -> bytes:
    """Position codes, two bits each, the first in the lowest bits."""
    packed = bytearray((len(codes) + 3) // 4)
    for i, code in enumerate(codes):
        packed[i // 4] |= fits(code, 0, 3, "a position code") << (i % 4 * 2)
    return bytes(packed)


def pack_states(table: Table, long: bool) -> tuple[bytes, bytes]:
    """(row stream, state records)."""
    groups = row_groups(table)
    shared = shared_lengths(groups)
    stream = _Rows(long)
    # the longest first, so that shorter runs of the same trips are found inside them
    for i in sorted(range(len(groups)), key=lambda i: (-shared[i], i)):
        stream.place(ended(groups[i][: shared[i]]))
    records = bytearray()
    for state, mine, common in zip(table.states, groups, shared, strict=True):
        starts = (stream.place(ended(mine[:common])), stream.place(ended(mine[common:])))
        records += struct.pack("<HH", *starts) + pack_codes(state.outputs)
    return bytes(stream.data), bytes(records)


def record(group: Group, width: int = 2) -> bytes:
    """A record of rows or inhibits; `width` bytes for a least time."""
    head = len(group.literals) | (ANY if group.any else 0) | (LEAST if group.least else 0) | (LAST if group.last else 0)
    after = group.least.to_bytes(width, "little") if group.least else b""
    return bytes([group.what, head, *group.literals]) + after


def _plain(literals: Literals, below: int, where: str) -> tuple[int, ...]:
    """The literals of a list that can hold."""
    if literals.want & ~literals.care:
        raise DoesNotFit(f"{where}: a literal list that can never hold has no place in the image")
    return tuple(literal_list(literals, below, where)[1:])


def literal_list(literals: Literals, below: int, where: str) -> bytes:
    """A literal list: how many and ANY, then one byte each: bit number, top bit the value wanted."""
    care, want, invert = literals.care, literals.want, literals.invert
    if want & ~care:  # such a list never holds
        care, want, invert = 0, 0, not invert
    if care >> below:
        raise DoesNotFit(f"{where}: a literal names a bit that is not there yet (bits 0 to {below - 1} are)")
    named = [i for i in range(care.bit_length()) if care >> i & 1]
    fits(len(named), 0, MOST_LITERALS, f"{where}: the number of literals in one list")
    # "not all of these" is "any of their opposites"
    return bytes([len(named) | (ANY if invert else 0), *(i | (want >> i & 1 ^ invert) << 7 for i in named)])
