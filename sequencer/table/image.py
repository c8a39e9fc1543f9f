"""The byte image of a `Table`: what the microcontroller follows, and what its checksum stands for.

Little endian, every width stated in sequencer/firmware/FORMAT.md. Names are not part of it: the image is
the logic alone, so two tables with the same image behave alike. What does not fit is refused, never cut.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import IntEnum

from sequencer.errors import DoesNotFit
from sequencer.table.table import MAX_BITS, MAX_DELAY, NO_TARGET, Bit, Kind, Literals, Row, Table

MAGIC = b"FLOW"
VERSION = 2
HEADER = struct.Struct("<4sBBHIHBBBBBBHBBBBHHH")
CHECKSUM_NAME = "CRC-32/ISO-HDLC"  # check value of "123456789": CBF43926
LIMITS = {
    "contacts": 64, "analogs": 32, "heartbeats": 16, "outputs": 63, "positions": 4, "bits": MAX_BITS, "states": 127,
    "rows": 0xFFFF, "inhibits": 255, "literals in a list": 63, "rows in a state": 255, "bytes": 0xFF00,
}  # fmt: skip
EXTRA, DELAYS, OPPOSITE, INVERT, TRIP = 0x20, 0x40, 0x80, 0x80, 0x80
STABLE, CHANGED, SEEN_OPEN, SEEN_CLOSED = 1, 2, 4, 8  # what the runtime keeps of a contact
LEAST = 0x40  # in the first byte of a row's list: three bytes of least time follow the literals
MOST_LEAST = 0xFF_FFFF  # scans
TAIL = 140  # at least so many bytes follow the rows: the longest record read from a damaged table stays inside

RowKey = tuple[int, int, int, int, bool]
"""(care, want, least, to, is a trip): all that a row does."""


def checksum(table: Table) -> int:
    """CRC-32/ISO-HDLC of the image without its last four bytes; the number that log and firmware carry."""
    return int.from_bytes(encode(table)[-4:], "little")


def seal(body: bytes) -> bytes:
    """`body` with its checksum behind it."""
    return body + struct.pack("<I", zlib.crc32(body))


def fits(value: int, least: int, most: int, what: str) -> int:
    """`value`, or DoesNotFit with the number and what its field holds."""
    if not least <= value <= most:
        raise DoesNotFit(f"{what} is {value}; the field holds {least} to {most}")
    return value


@dataclass(frozen=True)
class Sections:
    """Where the parts of an image begin, in bytes from its start, and what the firmware needs RAM for."""

    bits: int
    inhibits: int
    rows: int
    contacts: int
    analogs: int
    outputs: int
    states: int
    stride: int  # of one state
    size: int
    counters: int  # 16-bit counters for delays, ages, captured readings and expiries
    columns: tuple[int, ...]  # analogs that some bit compares with the state's target


@dataclass
class _Rows:
    """The row stream; sequences of rows that stand in it already are shared between states."""

    data: bytearray = field(default_factory=bytearray)
    keys: list[RowKey] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)

    def place(self, rows: Sequence[RowKey]) -> int:
        """Offset of `rows` in the stream, written now if they do not stand there in this order."""
        if not rows:
            return 0
        for first in range(len(self.keys) - len(rows) + 1):
            if self.keys[first : first + len(rows)] == list(rows):
                return self.starts[first]
        at = len(self.data)
        for row in rows:
            self.starts.append(len(self.data))
            self.keys.append(row)
            self.data += _row(row)
        return at


def is_trip(row: Row) -> bool:
    """Whether the row came from a trip: the firmware keeps the first of them (first-out)."""
    return row.origin.startswith("trip ")


def row_keys(table: Table) -> list[list[RowKey]]:
    """Per state, in order, what each of its rows does."""
    return [
        [(r.care, r.want, r.least, r.to, is_trip(r)) for r in table.rows[s.first_row : s.end_row]] for s in table.states
    ]


def shared_lengths(rows: Sequence[Sequence[RowKey]]) -> list[int]:
    """Per state the length of the longest beginning that another state's rows have too (its trips, mostly)."""
    lengths = []
    for i, mine in enumerate(rows):
        best = 0
        for j, other in enumerate(rows):
            same = next((k for k, (a, b) in enumerate(zip(mine, other, strict=False)) if a != b), min(len(mine), len(other)))
            best = max(best, same) if i != j else best
        lengths.append(best)
    return lengths


def encode(table: Table) -> bytes:
    """The image of `table`; raises DoesNotFit when a number does not fit its field."""
    return layout(table)[0]


def layout(table: Table) -> tuple[bytes, Sections]:
    """The image and where its parts begin; raises DoesNotFit when a number does not fit its field."""
    counts = {
        "contacts": len(table.contacts), "analogs": len(table.analogs), "heartbeats": len(table.heartbeats),
        "outputs": len(table.outputs), "bits": len(table.bits), "states": len(table.states), "rows": len(table.rows),
        "inhibits": len(table.inhibits),
    }  # fmt: skip
    for what, count in counts.items():
        fits(count, 0, LIMITS[what], f"the number of {what}")
    fits(len(table.states), 1, LIMITS["states"], "the number of states")
    columns = tuple(sorted({bit.source for bit in table.bits if bit.kind == Kind.TARGET}))
    contacts = b"".join(struct.pack("<H", fits(c.steady, 0, MAX_DELAY, f"{c.name}: scans steady")) for c in table.contacts)
    analogs = b"".join(
        struct.pack("<HH", fits(a.low, 0, 0xFFFF, f"{a.name}: low"), fits(a.high, 0, 0xFFFF, f"{a.name}: high"))
        for a in table.analogs
    )
    outputs = bytes(_output(table, i) for i in range(len(table.outputs)))
    stream, counters = bytearray(), 0
    for i, bit in enumerate(table.bits):
        record, used = _bit(table, i, bit, columns)
        stream += record
        counters += used
    inhibits = bytearray()
    for item in table.inhibits:
        output = fits(item.output, 0, len(table.outputs) - 1, f"{item.name}: output")
        inhibits.append(output << 2 | fits(item.position, 0, 3, f"{item.name}: position"))
        inhibits += _list(Literals(item.care, item.want), len(table.bits), item.name, may_be_never=False)
    rows, states = _states(table, columns)
    tail = contacts + analogs + outputs + states
    tail += bytes(max(0, TAIL - 4 - len(tail)))
    at = HEADER.size
    starts = []
    for part in (bytes(stream), bytes(inhibits), rows, contacts, analogs, outputs):
        starts.append(at)
        at += len(part)
    bits_at, inhibits_at, rows_at, contacts_at, analogs_at, outputs_at = starts
    size = fits(contacts_at + len(tail) + 4, 0, LIMITS["bytes"], "the size of the image in bytes")
    head = HEADER.pack(
        MAGIC, VERSION, HEADER.size, size, fits(table.revision, 0, 0xFFFF_FFFF, "the revision"),
        fits(table.scan_ms, 1, 0xFFFF, "the scan period in ms"), len(table.contacts), len(table.analogs),
        len(table.heartbeats), len(table.outputs), len(table.bits), len(table.states), len(table.rows),
        len(table.inhibits), len(columns), fits(counters, 0, 250, "the number of counters"), 0,
        inhibits_at, rows_at, contacts_at,
    )  # fmt: skip
    return seal(head + bytes(stream) + bytes(inhibits) + rows + tail), Sections(
        bits_at, inhibits_at, rows_at, contacts_at, analogs_at, outputs_at, at, len(states) // len(table.states),
        size, counters, columns,
    )  # fmt: skip


def _output(table: Table, index: int) -> int:
    output = table.outputs[index]
    fits(len(output.positions), 1, LIMITS["positions"], f"{output.name}: the number of positions")
    rest = output.idle if output.rest is None else output.rest
    return fits(rest, 0, 3, f"{output.name}: rest") | (4 if output.rest is None else 0) | len(output.positions) << 3


def pack_codes(codes: Sequence[int]) -> bytes:
    """Position codes, two bits each, the first in the lowest bits."""
    packed = bytearray((len(codes) + 3) // 4)
    for i, code in enumerate(codes):
        packed[i // 4] |= fits(code, 0, 3, "a position code") << (i % 4 * 2)
    return bytes(packed)


def _states(table: Table, columns: tuple[int, ...]) -> tuple[bytes, bytes]:
    """(row stream, state records)."""
    keys = row_keys(table)
    for state, mine in zip(table.states, keys, strict=True):
        fits(len(mine), 0, LIMITS["rows in a state"], f"{state.name}: the number of rows")
        for care, want, least, to, _ in mine:
            fits(to, 0, len(table.states) - 1, f"{state.name}: next state")
            fits(least, 0, MOST_LEAST, f"{state.name}: least scans")
            _list(Literals(care, want), len(table.bits), state.name, may_be_never=False)
    shared = shared_lengths(keys)
    stream = _Rows()
    # the longest first, so that shorter runs of the same trips are found inside them
    for i in sorted(range(len(keys)), key=lambda i: (-shared[i], i)):
        stream.place(keys[i][: shared[i]])
    records = bytearray()
    for state, mine, common in zip(table.states, keys, shared, strict=True):
        ends = (stream.place(mine[:common]), common, stream.place(mine[common:]), len(mine) - common, state.first_row)
        records += struct.pack("<HBHBH", *ends) + pack_codes(state.outputs)
        for column in columns:
            records += struct.pack("<H", fits(state.targets[column], 0, NO_TARGET, f"{state.name}: target"))
    return bytes(stream.data), bytes(records)


def _row(row: RowKey) -> bytes:
    care, want, least, to, trip = row
    body = _list(Literals(care, want), MAX_BITS, "a row", may_be_never=False)
    after = b""
    if least:
        after = least.to_bytes(3, "little")
    return bytes([to | (TRIP if trip else 0), body[0] | (LEAST if least else 0)]) + body[1:] + after


def _list(literals: Literals, below: int, where: str, may_be_never: bool = True) -> bytes:
    """A literal list: count and invert flag, then one byte each: bit index, top bit the value wanted."""
    care, want, invert = literals.care, literals.want, literals.invert
    if want & ~care:  # such a list never holds
        if not may_be_never:
            raise DoesNotFit(f"{where}: a literal list that can never hold has no place in the image")
        care, want, invert = 0, 0, not invert
    if care >> below:
        raise DoesNotFit(f"{where}: a literal names a bit that is not there yet (bits 0 to {below - 1} are)")
    named = [i for i in range(care.bit_length()) if care >> i & 1]
    fits(len(named), 0, LIMITS["literals in a list"], f"{where}: the number of literals in one list")
    return bytes([len(named) | (INVERT if invert else 0), *(i | (want >> i & 1) << 7 for i in named)])


PRESSED = STABLE | CHANGED | SEEN_OPEN, STABLE | CHANGED | SEEN_OPEN  # (mask, wanted)
LET_GO = STABLE | CHANGED | SEEN_CLOSED, CHANGED | SEEN_CLOSED


class Op(IntEnum):
    """What the runtime tells apart; several kinds of bit are one and the same to it."""

    MATCH = 0
    COMPARE = 1
    TARGET = 2
    DIFFERS = 3
    CHANGE = 4
    ALL = 5


def _bit(table: Table, index: int, bit: Bit, columns: tuple[int, ...]) -> tuple[bytes, int]:
    """(record of one bit, how many 16-bit counters it needs)."""
    op, flags, body, counters = _operation(table, index, bit, columns)
    hold, drop = (0, 0) if bit.kind in (Kind.PRESS, Kind.MEMORY) else (bit.hold, bit.drop)
    delayed = bool(hold or drop)
    if bit.kind == Kind.MEMORY and bit.on:  # true for `on` scans from the last setting on: an off-delay of one less
        fits(bit.on, 1, MAX_DELAY, f"{bit.name}: expiry in scans")
        delayed, drop = True, bit.on - 1
    if delayed:
        counters += 1
        flags |= DELAYS
        body += _short(hold, f"{bit.name}: on-delay in scans", MAX_DELAY)
        body += _short(drop, f"{bit.name}: off-delay in scans", MAX_DELAY)
    return bytes([op | flags]) + body, counters


def _short(value: int, what: str, most: int = 0xFFFF) -> bytes:
    return struct.pack("<H", fits(value, 0, most, what))


def _operation(table: Table, index: int, bit: Bit, columns: tuple[int, ...]) -> tuple[Op, int, bytes, int]:
    """(operation, flags, operands, counters) of a bit, its delays apart."""
    kind, name = bit.kind, bit.name
    contacts, analogs, outputs = len(table.contacts), len(table.analogs), len(table.outputs)
    most = {
        Kind.CONTACT: contacts, Kind.PRESS: contacts, Kind.HEARD: len(table.heartbeats), Kind.STATE: len(table.states),
        Kind.COMMAND: outputs, Kind.ALL: 1, Kind.MEMORY: 1,
    }.get(kind, analogs)  # fmt: skip
    source = fits(bit.source, 0, most - 1, f"{name}: source") if kind not in (Kind.ALL, Kind.MEMORY) else 0
    opposite = 0 if bit.wanted else OPPOSITE
    if kind == Kind.MEMORY:
        return Op.ALL, EXTRA, _list(bit.set, index, name) + _list(bit.clear, index, name), 0
    if kind == Kind.ALL:
        return Op.ALL, 0, _list(bit.set, index, name), 0
    if kind in (Kind.CONTACT, Kind.VALID):
        return Op.MATCH, opposite, bytes([outputs + 1 + source + (contacts if kind == Kind.VALID else 0), STABLE, STABLE]), 0
    if kind == Kind.PRESS:
        mask, want = PRESSED if bit.wanted else LET_GO
        return Op.MATCH, 0, bytes([outputs + 1 + source, mask, want]), 0
    if kind == Kind.STATE:
        return Op.MATCH, opposite, bytes([outputs, 0xFF, source]), 0
    if kind == Kind.COMMAND:
        return Op.MATCH, opposite, bytes([source, 0xFF, fits(bit.on, 0, 3, f"{name}: position")]), 0
    if kind == Kind.HEARD:  # silent for more than `on` scans, the other way round
        return Op.COMPARE, OPPOSITE, bytes([analogs + source]) + _short(bit.on + 1, f"{name}: age in scans"), 0
    if kind in (Kind.AT_LEAST, Kind.BELOW):
        flags = (OPPOSITE if kind == Kind.BELOW else 0) | (EXTRA if bit.off != bit.on else 0)
        body = bytes([source]) + _short(bit.on, f"{name}: threshold")
        return Op.COMPARE, flags, body + (_short(bit.off, f"{name}: drop-out") if bit.off != bit.on else b""), 0
    if kind == Kind.TARGET:
        return Op.TARGET, 0, bytes([source]) + _short(bit.off, f"{name}: drop-out in counts") + bytes([columns.index(source)]), 0
    if kind == Kind.CHANGE:
        second = fits(bit.second, 0, index - 1, f"{name}: bit it counts from")
        body = bytes([source]) + _short(bit.on, f"{name}: change in counts") + bytes([second])
        return Op.CHANGE, opposite | (EXTRA if bit.sign < 0 else 0), body + _short(bit.off, f"{name}: scans", MAX_DELAY), 2
    body = _difference(table, bit, source)
    return Op.DIFFERS, opposite | (EXTRA if len(body) > 4 else 0), body, 0


def _difference(table: Table, bit: Bit, source: int) -> bytes:
    """DIFFERS: a limit in counts where both readings have one scale, else gains, offset and limit in scaled units."""
    second = fits(bit.second, 0, len(table.analogs) - 1, f"{bit.name}: second reading")
    a, b = table.analogs[source], table.analogs[second]
    fits(bit.on, 0, 0x7FFF_FFFF, f"{bit.name}: limit in scaled units")
    if (a.gain, a.offset) == (b.gain, b.offset) and a.gain:
        counts = -(-bit.on // abs(a.gain))  # |gain * x| >= limit exactly when |x| >= limit / gain, rounded up
        return bytes([source]) + _short(counts, f"{bit.name}: limit in counts") + bytes([second])
    for spec in (a, b):
        fits(abs(spec.gain), 0, 0x7FFF_FFFF, f"{spec.name}: gain")
        fits(abs(spec.offset), 0, 0x7FFF_FFFF, f"{spec.name}: offset")
    # |gain*counts + offset| of each reading over its valid band: the scan looks at no other
    spans = [max(abs(s.gain * s.low + s.offset), abs(s.gain * s.high + s.offset)) for s in (a, b)]
    fits(sum(spans), 0, 0x7FFF_FFFF, f"{bit.name}: the widest difference in scaled units")
    offset = (a.offset - b.offset) & 0xFFFF_FFFF
    return bytes([source, 1, 0, second]) + struct.pack("<iiII", a.gain, b.gain, offset, bit.on)
