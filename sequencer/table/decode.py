"""From an image's bytes back to a `Table`. The image holds no names, so parts are called by their numbers."""

from __future__ import annotations

import struct
import zlib
from dataclasses import replace

from sequencer.errors import SequencerError
from sequencer.table.image import (
    DELAYS,
    EXTRA,
    HEADER,
    INVERT,
    LEAST,
    LET_GO,
    MAGIC,
    OPPOSITE,
    PRESSED,
    STABLE,
    TRIP,
    VERSION,
    Op,
)
from sequencer.table.table import (
    NO_TARGET,
    AnalogSpec,
    Bit,
    ContactSpec,
    InhibitSpec,
    Kind,
    Literals,
    OutputSpec,
    Row,
    StateSpec,
    Table,
)


class ImageError(SequencerError):
    """Bytes that are no image this version can follow; `what` is 'foreign', 'newer' or 'damaged'."""

    def __init__(self, what: str, message: str) -> None:
        super().__init__(message)
        self.what = what


def decode(image: bytes) -> Table:
    """The table of an image; raises ImageError. Bytes after the image's own size are ignored (a dump may be longer)."""
    if image[:4] != MAGIC:
        raise ImageError("foreign", f"no table: it begins with {image[:4].hex(' ') or 'nothing'}, not with 'FLOW'")
    if len(image) < HEADER.size:
        raise ImageError("damaged", f"cut short: {len(image)} bytes, the header alone has {HEADER.size}")
    if image[4] != VERSION:
        raise ImageError("newer" if image[4] > VERSION else "foreign", f"format version {image[4]}; this tool reads version {VERSION}")
    size = int.from_bytes(image[6:8], "little")
    if not HEADER.size + 4 <= size <= len(image):
        raise ImageError("damaged", f"cut short: its header says {size} bytes, there are {len(image)}")
    image = image[:size]
    said, found = int.from_bytes(image[-4:], "little"), zlib.crc32(image[:-4])
    if said != found:
        raise ImageError("damaged", f"its checksum says {said:08X}, its bytes give {found:08X}")
    try:
        return Reader(image).table()
    except (LookupError, ValueError, struct.error) as error:
        raise ImageError("damaged", f"its checksum is right, but its parts do not fit together ({error})") from error


class Reader:
    """Reads one image from front to back."""

    def __init__(self, image: bytes) -> None:
        self.image = image
        self.at = HEADER.size
        self.pairs: dict[tuple[int, int], tuple[int, int, int] | None] = {}
        self.alike: set[int] = set()  # bits that compare two readings on one scale
        (_, _, _, self.size, self.revision, self.scan_ms, self.contacts, self.analogs, self.hearts, self.outputs,
         self.bits, self.states, self.rows, self.inhibits, self.columns, _, _, self.inhibits_at, self.rows_at,
         self.contacts_at) = HEADER.unpack_from(image)  # fmt: skip

    def number(self, width: int) -> int:
        if self.at + width > self.size - 4:
            raise ValueError(f"a field at byte {self.at} runs over the end")
        value = int.from_bytes(self.image[self.at : self.at + width], "little")
        self.at += width
        return value

    def table(self) -> Table:
        columns: dict[int, int] = {}
        bits = tuple(self.bit(i, columns) for i in range(self.bits))
        self.expect(self.inhibits_at, "the bits end")
        inhibits = tuple(self.inhibit(i) for i in range(self.inhibits))
        self.expect(self.rows_at, "the inhibits end")
        self.at = self.contacts_at
        contacts = tuple(ContactSpec(f"contact {i}", self.number(2)) for i in range(self.contacts))
        bands = [(self.number(2), self.number(2)) for _ in range(self.analogs)]
        outputs = tuple(self.output(i) for i in range(self.outputs))
        states_at, stride = self.at, 8 + (self.outputs + 3) // 4 + 2 * self.columns
        rows: list[Row] = []
        states = tuple(self.state(i, states_at + i * stride, columns, rows) for i in range(self.states))
        if len(rows) != self.rows:
            raise ValueError(f"the header says {self.rows} rows, the states have {len(rows)}")
        scales = self.scales()
        analogs = tuple(
            AnalogSpec(f"analog {i}", 16, low, high, *scales.get(i, (0, 0))) for i, (low, high) in enumerate(bands)
        )
        bits = tuple(replace(b, on=b.on * scales[b.source][0]) if i in self.alike else b for i, b in enumerate(bits))
        hearts = tuple(f"heartbeat {i}" for i in range(self.hearts))
        return Table("", self.revision, self.scan_ms, contacts, analogs, hearts, outputs, bits, states, tuple(rows), inhibits)

    def expect(self, at: int, what: str) -> None:
        if self.at != at:
            raise ValueError(f"{what} at byte {self.at}, the header says {at}")

    def output(self, index: int) -> OutputSpec:
        byte = self.number(1)
        names = tuple(f"position {i}" for i in range(byte >> 3 & 7))
        rest = byte & 3
        return OutputSpec(f"output {index}", names, None if byte & 4 else rest, rest)

    def literals(self, head: int | None = None) -> Literals:
        head = self.number(1) if head is None else head
        care = want = 0
        for _ in range(head & 0x3F):
            literal = self.number(1)
            care |= 1 << (literal & 0x7F)
            want |= (literal >> 7) << (literal & 0x7F)
        return Literals(care, want, bool(head & INVERT))

    def bit(self, index: int, columns: dict[int, int]) -> Bit:
        head = self.number(1)
        op, name = Op(head & 0x1F), f"bit {index}"
        extra, wanted = bool(head & EXTRA), not head & OPPOSITE
        if op == Op.ALL:
            bit = Bit(name, Kind.ALL, set=self.literals())
            if extra:
                bit = replace(bit, kind=Kind.MEMORY, clear=self.literals())
        else:
            bit = self.operation(op, index, extra, wanted, columns)
        if not head & DELAYS:
            return replace(bit, name=name)
        hold, drop = self.number(2), self.number(2)
        if bit.kind == Kind.PRESS or (bit.kind == Kind.MEMORY and hold):
            raise ValueError(f"bit {index} has a delay that its kind does not know")
        if bit.kind == Kind.MEMORY:
            return replace(bit, name=name, on=drop + 1)
        return replace(bit, name=name, hold=hold, drop=drop)

    def operation(self, op: Op, index: int, extra: bool, wanted: bool, columns: dict[int, int]) -> Bit:
        source = self.number(1)
        if op == Op.MATCH:
            return self.match(index, source, wanted)
        on = self.number(2)
        if op == Op.COMPARE:
            if source >= self.analogs:
                return Bit("", Kind.HEARD, source - self.analogs, on=on - 1)
            off = self.number(2) if extra else on
            return Bit("", Kind.AT_LEAST if wanted else Kind.BELOW, source, on=on, off=off)
        second = self.number(1)
        if op == Op.TARGET:
            columns[second] = source
            return Bit("", Kind.TARGET, source, off=on)
        if op == Op.CHANGE:
            return Bit("", Kind.CHANGE, source, second, on, self.number(2), wanted, -1 if extra else 1)
        if extra:
            *numbers, on = (self.number(4) for _ in range(4))
            gain, other, offset = (n - (1 << 32) if n >> 31 else n for n in numbers)
            # the two offsets matter by their difference alone: the first reading carries it
            self.pairs[source, second] = (gain, other, offset)
        else:
            self.pairs.setdefault((source, second), None)
            self.alike.add(index)
        return Bit("", Kind.DIFFERS, source, second, on, wanted=wanted)

    def match(self, index: int, source: int, wanted: bool) -> Bit:
        test, contact = (self.number(1), self.number(1)), source - self.outputs - 1
        if contact < 0:
            if test[0] != 0xFF:
                raise ValueError(f"bit {index} looks at a part of a position")
            return Bit("", Kind.STATE, test[1], wanted=wanted) if contact == -1 else Bit("", Kind.COMMAND, source, on=test[1], wanted=wanted)
        if test == (STABLE, STABLE):
            reading = contact - self.contacts
            return Bit("", Kind.CONTACT, contact, wanted=wanted) if reading < 0 else Bit("", Kind.VALID, reading, wanted=wanted)
        if contact >= self.contacts or test not in (PRESSED, LET_GO) or not wanted:
            raise ValueError(f"bit {index} asks nothing that is known")
        return Bit("", Kind.PRESS, contact, wanted=test == PRESSED)

    def scales(self) -> dict[int, tuple[int, int]]:
        """(gain, offset) per reading of a difference. Of offsets only their difference is known; gains of pairs on one
        scale (`None`) are known only where another pair gives them, else 1."""
        scales: dict[int, tuple[int, int]] = {}
        left = dict(self.pairs)
        while left:
            near = [pair for pair in left if pair[0] in scales or pair[1] in scales]
            (a, b), rule = next((p, left[p]) for p in [*near, *sorted(left, key=lambda p: left[p] is None)])
            if a not in scales and b not in scales:
                scales[b] = (1, 0) if rule is None else (rule[1], 0)
            gain, other, offset = (None, None, 0) if rule is None else rule
            if b in scales:
                scales[a] = scales.get(a, (scales[b][0] if gain is None else gain, scales[b][1] + offset))
            else:
                scales[b] = (scales[a][0] if other is None else other, scales[a][1] - offset)
            del left[a, b]
        return scales

    def inhibit(self, index: int) -> InhibitSpec:
        head = self.number(1)
        rule = self.literals()
        return InhibitSpec(head >> 2, head & 3, rule.care, rule.want, f"inhibit {index}")

    def state(self, index: int, at: int, columns: dict[int, int], rows: list[Row]) -> StateSpec:
        shared, common, own, mine, first = struct.unpack_from("<HBHBH", self.image, at)
        if first != len(rows):
            raise ValueError(f"state {index} says its rows begin at {first}, they begin at {len(rows)}")
        self.at = at + 8
        packed = [self.number(1) for _ in range((self.outputs + 3) // 4)]
        outputs = tuple(packed[i // 4] >> (i % 4 * 2) & 3 for i in range(self.outputs))
        targets = [NO_TARGET] * self.analogs
        for column in range(self.columns):
            targets[columns[column]] = self.number(2)
        for start, count in ((shared, common), (own, mine)):
            self.at = self.rows_at + start
            rows.extend(self.row(index) for _ in range(count))
        return StateSpec(f"state {index}", outputs, tuple(targets), first, len(rows))

    def row(self, state: int) -> Row:
        to, head = self.number(1), self.number(1)
        rule = self.literals(head & 0x3F)
        least = self.number(3) if head & LEAST else 0
        origin = "trip" if to & TRIP else f"state {state}"
        return Row(state, rule.care, rule.want, least, to & ~TRIP, f"{origin} {'row' if to & TRIP else 'exit'}")
