"""The byte image of a `Table`: what the microcontroller follows, and what its checksum stands for.

Little endian, every width stated in sequencer/firmware/FORMAT.md. Names are not part of it: the image is
the logic alone, so two tables with the same image behave alike. What does not fit is refused, never cut.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from enum import IntEnum

from sequencer.table.records import (
    DELAYS,
    EXTRA,
    LIMITS,
    LONG,
    MOST_CELLS,
    OPPOSITE,
    fits,
    inhibit_groups,
    literal_list,
    pack_states,
    record,
)
from sequencer.table.table import MAX_DELAY, NO_TARGET, AnalogSpec, Bit, Kind, Literals, Table

MAGIC = b"FLOW"
VERSION = 4
HEADER = struct.Struct("<4sBBHIH7BH")
CHECKSUM_NAME = "CRC-32/ISO-HDLC"  # check value of "123456789": CBF43926
STABLE, CHANGED, SEEN_OPEN, SEEN_CLOSED = 1, 2, 4, 8  # what the runtime keeps of a contact
# the longest record read from a damaged table stays inside: so many bytes stand behind the last place where one may begin
AFTER_CONDITIONS, AFTER_INHIBITS, AFTER_ROWS = 70, 33, 36  # and 5 per state where there are targets


def identity(image: bytes) -> int:
    """The checksum that log and firmware carry: CRC-32/ISO-HDLC of all that stands before it."""
    return int.from_bytes(image[-6:-2], "little")


def checksum(table: Table) -> int:
    """The checksum of a table's image."""
    return identity(encode(table))


def crc16(data: bytes) -> int:
    """CRC-16/IBM-SDLC (check value of "123456789": 906E): what the chip sums at its start and goes on summing."""
    value = 0xFFFF
    for byte in data:
        mix = (byte ^ value) & 0xFF
        mix ^= mix << 4 & 0xFF
        value = (mix << 8 | value >> 8) ^ mix >> 4 ^ mix << 3
    return value ^ 0xFFFF


def seal(body: bytes) -> bytes:
    """`body` with its checksum, and the chip's own sum of both, behind it."""
    body += struct.pack("<I", zlib.crc32(body))
    return body + struct.pack("<H", crc16(body))


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
    records: int  # of inhibits
    long: bool


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
    long = any(row.least > 0xFFFF for row in table.rows)
    contacts = bytes(fits(c.steady, 0, 0xFF, f"{c.name}: scans steady") for c in table.contacts)
    analogs = b"".join(_band(a) for a in table.analogs)
    cells = len(table.outputs) + 1 + 3 * (len(table.analogs) + len(table.heartbeats)) + 2 * len(table.contacts)
    fits(cells, 1, MOST_CELLS, "outputs + 1 + 3 * (analogs + heartbeats) + 2 * contacts")
    outputs = bytes(_output(table, i) for i in range(len(table.outputs)))
    stream, counters = bytearray(), 0
    earlier: dict[bytes, int] = {}  # records as they were before this
    for i, bit in enumerate(table.bits):
        said, used = _bit(table, i, bit)
        first = earlier.setdefault(said, i)
        if first != i and len(said) > 3:  # alike at all times: the list of the first one alone says it in three bytes
            said, used = bytes([Op.ALL]) + literal_list(Literals(1 << first, 1 << first), i, bit.name), 0
        stream += said
        counters += used
    items = inhibit_groups(table)
    inhibits = b"".join(record(item) for item in items)
    rows, states = pack_states(table, long)
    tail = contacts + analogs + outputs + states
    targets = 5 * len(table.states) if any(bit.kind == Kind.TARGET for bit in table.bits) else 0
    short = max(AFTER_CONDITIONS + targets - len(inhibits) - len(rows), AFTER_INHIBITS - len(rows), AFTER_ROWS) - len(tail) - 6
    tail += bytes(max(0, short))
    at = HEADER.size
    starts = []
    for part in (bytes(stream), inhibits, rows, contacts, analogs, outputs):
        starts.append(at)
        at += len(part)
    bits_at, inhibits_at, rows_at, contacts_at, analogs_at, outputs_at = starts
    size = fits(contacts_at + len(tail) + 6, 0, LIMITS["bytes"], "the size of the image in bytes")
    head = HEADER.pack(
        MAGIC, VERSION, LONG if long else 0, size, fits(table.revision, 0, 0xFFFF_FFFF, "the revision"),
        fits(table.scan_ms, 1, 0xFFFF, "the scan period in ms"), len(table.contacts), len(table.analogs),
        len(table.heartbeats), len(table.outputs), len(table.bits), len(table.states), len(items), contacts_at,
    )  # fmt: skip
    fits(counters, 0, 250, "the number of counters")
    return seal(head + bytes(stream) + inhibits + rows + tail), Sections(
        bits_at, inhibits_at, rows_at, contacts_at, analogs_at, outputs_at, at, len(states) // len(table.states),
        size, counters, len(items), long,
    )  # fmt: skip


def _band(analog: AnalogSpec) -> bytes:
    low, high = (fits(n, 0, 0xFFFF, f"{analog.name}: {what}") for n, what in ((analog.low, "low"), (analog.high, "high")))
    return struct.pack("<HH", low, fits(high - low, 0, 0xFFFF, f"{analog.name}: the width of its valid band"))


def _output(table: Table, index: int) -> int:
    output = table.outputs[index]
    fits(len(output.positions), 1, LIMITS["positions"], f"{output.name}: the number of positions")
    rest = output.idle if output.rest is None else output.rest
    return fits(rest, 0, 3, f"{output.name}: rest") | (4 if output.rest is None else 0) | len(output.positions) << 3


IS_ON = STABLE << 4 | STABLE  # what a match wants of a contact's flags: mask in the upper four bits, values in the lower
PRESSED = (STABLE | CHANGED | SEEN_OPEN) << 4 | STABLE | CHANGED | SEEN_OPEN
LET_GO = (STABLE | CHANGED | SEEN_CLOSED) << 4 | CHANGED | SEEN_CLOSED


class Op(IntEnum):
    """What the runtime tells apart; several kinds of bit are one and the same to it."""

    COMPARE = 0
    ALL = 1
    MATCH = 2
    TARGET = 4
    DIFFERS = 8
    CHANGE = 12


def _bit(table: Table, index: int, bit: Bit) -> tuple[bytes, int]:
    """(record of one bit, how many 16-bit counters it needs)."""
    op, flags, body, counters = _operation(table, index, bit)
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


def _operation(table: Table, index: int, bit: Bit) -> tuple[Op, int, bytes, int]:
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
        return Op.ALL, EXTRA, literal_list(bit.set, index, name) + literal_list(bit.clear, index, name), 0
    if kind == Kind.ALL:
        return Op.ALL, 0, literal_list(bit.set, index, name), 0
    words = outputs + 1  # the cells of readings and links begin here, three each
    flags = words + 3 * (analogs + len(table.heartbeats))
    cell = words + 3 * source
    if kind == Kind.CONTACT:
        return Op.MATCH, opposite, bytes([flags + source, IS_ON]), 0
    if kind == Kind.VALID:
        return Op.MATCH, opposite, bytes([cell + 2, IS_ON]), 0
    if kind == Kind.PRESS:
        return Op.MATCH, 0, bytes([flags + source, PRESSED if bit.wanted else LET_GO]), 0
    if kind == Kind.STATE:
        return Op.MATCH, opposite | EXTRA, bytes([outputs, source]), 0
    if kind == Kind.COMMAND:
        return Op.MATCH, opposite | EXTRA, bytes([source, fits(bit.on, 0, 3, f"{name}: position")]), 0
    if kind == Kind.HEARD:  # silent for more than `on` scans, the other way round
        return Op.COMPARE, OPPOSITE, bytes([cell + 3 * analogs]) + _short(bit.on + 1, f"{name}: age in scans"), 0
    if kind in (Kind.AT_LEAST, Kind.BELOW):
        flags = (OPPOSITE if kind == Kind.BELOW else 0) | (EXTRA if bit.off != bit.on else 0)
        body = bytes([cell]) + _short(bit.on, f"{name}: threshold")
        return Op.COMPARE, flags, body + (_short(bit.off, f"{name}: drop-out") if bit.off != bit.on else b""), 0
    if kind == Kind.TARGET:
        given = [(i, state.targets[source]) for i, state in enumerate(table.states) if state.targets[source] != NO_TARGET]
        drops = bit.off > 0 and any(target for _, target in given)
        body = bytes([cell, len(given)])
        for i, target in given:
            body += bytes([i]) + _short(target, f"{table.states[i].name}: target")
            body += _short(max(0, target - bit.off), f"{name}: drop-out") if drops else b""
        return Op.TARGET, EXTRA if drops else 0, body, 0
    if kind == Kind.CHANGE:
        second = fits(bit.second, 0, index - 1, f"{name}: bit it counts from")
        body = bytes([cell, second]) + _short(bit.on, f"{name}: change in counts")
        return Op.CHANGE, opposite | (EXTRA if bit.sign < 0 else 0), body + _short(bit.off, f"{name}: scans", MAX_DELAY), 2
    body = _difference(table, bit, words)
    return Op.DIFFERS, opposite | (EXTRA if len(body) > 4 else 0), body, 0


def _difference(table: Table, bit: Bit, words: int) -> bytes:
    """DIFFERS: a limit in counts where both readings have one scale, else gains, offset and limit in scaled units."""
    second = fits(bit.second, 0, len(table.analogs) - 1, f"{bit.name}: second reading")
    a, b = table.analogs[bit.source], table.analogs[second]
    cells = bytes([words + 3 * bit.source, words + 3 * second])
    fits(bit.on, 0, 0x7FFF_FFFF, f"{bit.name}: limit in scaled units")
    if (a.gain, a.offset) == (b.gain, b.offset) and a.gain:
        counts = -(-bit.on // abs(a.gain))  # |gain * x| >= limit exactly when |x| >= limit / gain, rounded up
        return cells + _short(counts, f"{bit.name}: limit in counts")
    for spec in (a, b):
        fits(abs(spec.gain), 0, 0x7FFF_FFFF, f"{spec.name}: gain")
        fits(abs(spec.offset), 0, 0x7FFF_FFFF, f"{spec.name}: offset")
    # |gain*counts + offset| of each reading over its valid band: the scan looks at no other
    spans = [max(abs(s.gain * s.low + s.offset), abs(s.gain * s.high + s.offset)) for s in (a, b)]
    fits(sum(spans), 0, 0x7FFF_FFFF, f"{bit.name}: the widest difference in scaled units")
    offset = (a.offset - b.offset) & 0xFFFF_FFFF
    return cells + bytes([1, 0]) + struct.pack("<iiII", a.gain, b.gain, offset, bit.on)
