"""From an image's bytes back to a `Table`. The image holds no names, so parts are called by their numbers."""

from __future__ import annotations

import struct
import zlib
from dataclasses import replace

from sequencer.errors import SequencerError
from sequencer.table.image import HEADER, IS_ON, LET_GO, MAGIC, PRESSED, VERSION, Op, crc16
from sequencer.table.records import (
    ANY,
    DELAYS,
    EXTRA,
    LAST,
    LEAST,
    LONG,
    MOST_LITERALS,
    OPPOSITE,
    TRIP,
    Group,
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
    """Bytes that are no image this version can follow; `what` is 'foreign', 'older', 'newer' or 'damaged'."""

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
        what = "newer" if image[4] > VERSION else "older"
        raise ImageError(what, f"format version {image[4]}, {what} than version {VERSION}, the only one that this tool reads and writes")
    size = int.from_bytes(image[6:8], "little")
    if not HEADER.size + 6 <= size <= len(image):
        raise ImageError("damaged", f"cut short: its header says {size} bytes, there are {len(image)}")
    image = image[:size]
    said, found = int.from_bytes(image[-6:-2], "little"), zlib.crc32(image[:-6])
    if said != found:
        raise ImageError("damaged", f"its checksum says {said:08X}, its bytes give {found:08X}")
    if int.from_bytes(image[-2:], "little") != crc16(image[:-2]):
        raise ImageError("damaged", "the sum that the chip checks is not that of its bytes")
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
        self.targets: dict[int, dict[int, int]] = {}  # per reading: state -> counts
        (_, _, flags, self.size, self.revision, self.scan_ms, self.contacts, self.analogs, self.hearts, self.outputs,
         self.bits, self.states, self.inhibits, self.contacts_at) = HEADER.unpack_from(image)  # fmt: skip
        self.width = 3 if flags & LONG else 2

    def number(self, width: int) -> int:
        if self.at + width > self.size - 6:
            raise ValueError(f"a field at byte {self.at} runs over the end")
        value = int.from_bytes(self.image[self.at : self.at + width], "little")
        self.at += width
        return value

    def table(self) -> Table:
        bits = tuple(self.bit(i) for i in range(self.bits))
        inhibits = tuple(item for _ in range(self.inhibits) for item in self.inhibit())
        rows_at = self.at
        if rows_at > self.contacts_at:
            raise ValueError(f"the inhibits end at byte {rows_at}, behind the rows")
        self.at = self.contacts_at
        contacts = tuple(ContactSpec(f"contact {i}", self.number(1)) for i in range(self.contacts))
        bands = [(low := self.number(2), low + self.number(2)) for _ in range(self.analogs)]
        outputs = tuple(self.output(i) for i in range(self.outputs))
        states_at, stride = self.at, 4 + (self.outputs + 3) // 4
        rows: list[Row] = []
        states = tuple(self.state(i, states_at + i * stride, rows_at, rows) for i in range(self.states))
        scales = self.scales()
        analogs = tuple(
            AnalogSpec(f"analog {i}", 16, low, high, *scales.get(i, (0, 0))) for i, (low, high) in enumerate(bands)
        )
        bits = tuple(replace(b, on=b.on * scales[b.source][0]) if i in self.alike else b for i, b in enumerate(bits))
        hearts = tuple(f"heartbeat {i}" for i in range(self.hearts))
        return Table("", self.revision, self.scan_ms, contacts, analogs, hearts, outputs, bits, states, tuple(rows), inhibits)

    def output(self, index: int) -> OutputSpec:
        byte = self.number(1)
        names = tuple(f"position {i}" for i in range(byte >> 3 & 7))
        rest = byte & 3
        return OutputSpec(f"output {index}", names, None if byte & 4 else rest, rest)

    def literals(self) -> Literals:
        head = self.number(1)
        care = want = 0
        for _ in range(head & MOST_LITERALS):
            literal = self.number(1)
            care |= 1 << (literal & 0x7F)
            want |= (literal >> 7 ^ head >> 7) << (literal & 0x7F)
        return Literals(care, want, bool(head & ANY))

    def group(self) -> Group:
        """A record of rows or inhibits."""
        what, head = self.number(1), self.number(1)
        named = tuple(self.number(1) for _ in range(head & MOST_LITERALS))
        return Group(what, named, bool(head & ANY), self.number(self.width) if head & LEAST else 0, bool(head & LAST))

    def bit(self, index: int) -> Bit:
        head = self.number(1)
        name = f"bit {index}"
        extra, wanted = bool(head & EXTRA), not head & OPPOSITE
        op = Op.ALL if head & Op.ALL else Op.MATCH if head & Op.MATCH else Op(head & 0x0C)
        if op == Op.ALL:
            bit = Bit(name, Kind.ALL, set=self.literals())
            if extra:
                bit = replace(bit, kind=Kind.MEMORY, clear=self.literals())
        else:
            bit = self.operation(op, index, extra, wanted)
        if not head & DELAYS:
            return replace(bit, name=name)
        hold, drop = self.number(2), self.number(2)
        if bit.kind == Kind.PRESS or (bit.kind == Kind.MEMORY and hold):
            raise ValueError(f"bit {index} has a delay that its kind does not know")
        if bit.kind == Kind.MEMORY:
            return replace(bit, name=name, on=drop + 1)
        return replace(bit, name=name, hold=hold, drop=drop)

    def operation(self, op: Op, index: int, extra: bool, wanted: bool) -> Bit:
        cell = self.number(1)
        if op == Op.MATCH:
            return self.match(index, cell, extra, wanted)
        source = self.word(cell)
        if op == Op.COMPARE:
            on = self.number(2)
            if source >= self.analogs:
                return Bit("", Kind.HEARD, source - self.analogs, on=on - 1)
            off = self.number(2) if extra else on
            return Bit("", Kind.AT_LEAST if wanted else Kind.BELOW, source, on=on, off=off)
        second = self.number(1)
        if op == Op.TARGET:
            drops = {0}
            for _ in range(second):
                state, target = self.number(1), self.number(2)
                low = self.number(2) if extra else target
                drops.add(target - low)
                if self.targets.setdefault(source, {}).setdefault(state, target) != target or state >= self.states:
                    raise ValueError(f"bit {index} has a target of its own, or for a state that is not there")
            return Bit("", Kind.TARGET, source, off=max(drops))
        on = self.number(2)
        if op == Op.CHANGE:
            return Bit("", Kind.CHANGE, source, second, on, self.number(2), wanted, -1 if extra else 1)
        second = self.word(second)
        if extra:
            *numbers, on = (self.number(4) for _ in range(4))
            gain, other, offset = (n - (1 << 32) if n >> 31 else n for n in numbers)
            # the two offsets matter by their difference alone: the first reading carries it
            self.pairs[source, second] = (gain, other, offset)
        else:
            self.pairs.setdefault((source, second), None)
            self.alike.add(index)
        return Bit("", Kind.DIFFERS, source, second, on, wanted=wanted)

    def word(self, cell: int) -> int:
        """Number of the reading or link whose counts stand in `cell`."""
        number: int = (cell - self.outputs - 1) // 3
        rest = (cell - self.outputs - 1) % 3
        if rest or not 0 <= number < self.analogs + self.hearts:
            raise ValueError(f"cell {cell} is no reading")
        return number

    def match(self, index: int, cell: int, exact: bool, wanted: bool) -> Bit:
        test, words = self.number(1), self.outputs + 1
        flags = words + 3 * (self.analogs + self.hearts)
        if exact != (cell < words):
            raise ValueError(f"bit {index} looks at a part of a position, or at all of a contact")
        if exact:
            return Bit("", Kind.STATE, test, wanted=wanted) if cell == words - 1 else Bit("", Kind.COMMAND, cell, on=test, wanted=wanted)
        if cell < flags and test == IS_ON:
            return Bit("", Kind.VALID, self.word(cell - 2), wanted=wanted)
        if not flags <= cell < flags + self.contacts or (test != IS_ON and (test not in (PRESSED, LET_GO) or not wanted)):
            raise ValueError(f"bit {index} asks nothing that is known")
        if test == IS_ON:
            return Bit("", Kind.CONTACT, cell - flags, wanted=wanted)
        return Bit("", Kind.PRESS, cell - flags, wanted=test == PRESSED)

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

    def inhibit(self) -> list[InhibitSpec]:
        group = self.group()
        return [InhibitSpec(group.what >> 2, group.what & 3, *both, "inhibit") for both in _masks(group)]

    def state(self, index: int, at: int, rows_at: int, rows: list[Row]) -> StateSpec:
        starts = struct.unpack_from("<HH", self.image, at)
        self.at, first = at + 4, len(rows)
        packed = [self.number(1) for _ in range((self.outputs + 3) // 4)]
        outputs = tuple(packed[i // 4] >> (i % 4 * 2) & 3 for i in range(self.outputs))
        targets = tuple(self.targets.get(i, {}).get(index, NO_TARGET) for i in range(self.analogs))
        for start in starts:
            self.at, more = rows_at + start, start < self.contacts_at - rows_at
            while more:
                group = self.group()
                more = not group.last
                origin = "trip row" if group.what & TRIP else f"state {index} exit"
                rows.extend(Row(index, *both, group.least, group.what & ~TRIP, origin) for both in _masks(group))
        return StateSpec(f"state {index}", outputs, targets, first, len(rows))


def _masks(group: Group) -> list[tuple[int, int]]:
    """(care, want) of each row or inhibit that a record stands for."""
    single = [(1 << (n & 0x7F), (n >> 7) << (n & 0x7F)) for n in group.literals]
    return single if group.any else [(sum(care for care, _ in single), sum(want for _, want in single))]
