"""Operations that stand on every edge of a table: filters, thresholds, delays, least times, links, and where counters wrap.

Where Stimulus draws, this goes through all of them once, from one scan or count below to one above, in the same order
every time. It begins after a reset and ends anywhere.
"""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.firmware.reference import PLACE, RESET, SCAN, Operation
from sequencer.table import Inputs, Kind, Table
from sequencer.table.table import NO_TARGET, Bit

U32 = 0xFFFF_FFFF
SILENCE = 70_000  # scans: behind the end of what the age of a link can count


class Edges:
    """The operations for one table; `longest` bounds the delays that are waited for, `silence` is a link's longest, in scans."""

    def __init__(self, table: Table, longest: int = 4000, silence: int = SILENCE) -> None:
        self.table, self.longest, self.silence = table, longest, silence
        self.contacts = [0] * len(table.contacts)
        self.counts = [(a.low + a.high) // 2 for a in table.analogs]
        self.heard = [1] * len(table.heartbeats)
        self.steady = max([c.steady for c in table.contacts], default=0)
        self.few = min(range(len(table.states)), key=lambda s: table.states[s].end_row - table.states[s].first_row)

    def __iter__(self) -> Iterator[Operation]:
        yield from self._boot()
        yield self._scan(self.steady + 2)
        yield from self._contacts()
        yield from self._readings()
        yield from self._pairs()
        yield from self._changes()
        yield from self._targets()
        yield from self._delays()
        yield from self._links()
        yield from self._times()
        yield from self._numbers()

    def _scan(self, times: int = 1) -> Operation:
        return Operation(SCAN, Inputs(tuple(self.contacts), tuple(self.counts), tuple(self.heard)), times)

    def _place(self, state: int, timer: int = 1, scan: int = 1) -> Operation:
        return Operation(PLACE, state=state, timer=timer, scan=scan)

    def _boot(self) -> Iterator[Operation]:
        """Each contact that changes while the filters settle, from either level, and one scan before they would have; then away
        again for one scan too few to be seen there, and for just enough: what stood before they had settled is not seen."""
        for i, spec in enumerate(self.table.contacts):
            for level in (1, 0):
                for times in (1, max(self.steady, 1), self.steady + 1):
                    yield Operation(RESET)
                    self.contacts[i] = level
                    yield self._scan(times)
                    self.contacts[i] = 1 - level
                    yield self._scan(self.steady + 3)
                    for away in (spec.steady + 1, spec.steady + 2):
                        self.contacts[i] = level
                        yield self._scan(away)
                        self.contacts[i] = 1 - level
                        yield self._scan(spec.steady + 2)
            self.contacts[i] = 0

    def _contacts(self) -> Iterator[Operation]:
        """Each contact both ways for one scan too few, for just enough, and chattering in between."""
        for i, spec in enumerate(self.table.contacts):
            for level in (1, 0):
                for times in (max(spec.steady, 1), spec.steady + 1, spec.steady + 2):
                    yield self._place(self.few)
                    self.contacts[i] = 1 - level
                    yield self._scan(spec.steady + 2)
                    self.contacts[i] = level
                    yield self._scan(times)
                    self.contacts[i] = 1 - level
                    yield self._scan(1)
                    self.contacts[i] = level
                    yield self._scan(spec.steady + 2)

    def _sweep(self, reading: int, marks: set[int], state: int) -> Iterator[Operation]:
        """The reading up through all marks and down again, one count to each side of each."""
        usual = self.counts[reading]
        yield self._place(state)
        steps = sorted({m + d for m in marks for d in (-1, 0, 1) if 0 <= m + d <= 0xFFFF})
        for value in [*steps, *reversed(steps)]:
            self.counts[reading] = value
            yield self._scan(1)
        self.counts[reading] = usual
        yield self._scan(1)

    def _readings(self) -> Iterator[Operation]:
        for i, spec in enumerate(self.table.analogs):
            marks = {0, 0xFFFF, spec.low, spec.high}
            for bit in self.table.bits:
                if bit.source == i and bit.kind in (Kind.AT_LEAST, Kind.BELOW):
                    marks |= {bit.on, bit.off}
            yield from self._sweep(i, marks, self.few)

    def _pairs(self) -> Iterator[Operation]:
        """Two readings as far apart as the limit says, to the count, in both directions."""
        for bit in self.table.bits:
            if bit.kind != Kind.DIFFERS:
                continue
            a, b = self.table.analogs[bit.source], self.table.analogs[bit.second]
            usual = self.counts[bit.source], self.counts[bit.second]
            yield self._place(self.few)
            for first in [*range(a.low, min(a.low + 60, a.high)), a.high]:
                self.counts[bit.source] = first
                for limit in (bit.on, -bit.on):
                    wanted = a.gain * first + a.offset - b.offset - limit  # what gain * counts of the other one would be
                    near = wanted // b.gain if b.gain else b.low
                    for second in (near - 1, near, near + 1):
                        if b.low <= second <= b.high:
                            self.counts[bit.second] = second
                            yield self._scan(1)
            self.counts[bit.source], self.counts[bit.second] = usual
            yield self._scan(1)

    def _where(self, bit: Bit) -> int:
        """A state in which the bit a change counts from can be true; the one with fewest rows if none is known."""
        base = self.table.bits[bit.second]
        if base.kind == Kind.STATE and base.wanted:
            return base.source
        states = [s for s, state in enumerate(self.table.states) if base.kind == Kind.COMMAND and state.outputs[base.source] == base.on]
        return states[0] if states else self.few

    def _changes(self) -> Iterator[Operation]:
        """A reading that has moved by one count too few, by just enough, and back, when its time is over."""
        for bit in self.table.bits:
            if bit.kind != Kind.CHANGE or bit.off > self.longest:
                continue
            spec, state, usual = self.table.analogs[bit.source], self._where(bit), self.counts[bit.source]
            for begin in ((spec.low + spec.high) // 2, spec.low - 1):  # from an invalid one nothing has changed
                yield self._place((state + 1) % len(self.table.states))
                self.counts[bit.source] = max(begin, 0)
                yield self._scan(1)
                yield self._place(state)
                for _ in range(max(bit.off - 1, 0) // 20):  # put back where a row moves away
                    yield self._scan(20)
                    yield self._place(state)
                for step in (0, bit.on - 1, bit.on, bit.on + 1, -1, bit.on, spec.high + 1):
                    self.counts[bit.source] = min(max(begin + bit.sign * step, 0), 0xFFFF)
                    yield self._scan(4)
                    yield self._place(state)
                self.counts[bit.source] = usual

    def _targets(self) -> Iterator[Operation]:
        for bit in self.table.bits:
            for s, state in enumerate(self.table.states):
                target = state.targets[bit.source] if bit.kind == Kind.TARGET else NO_TARGET
                if target != NO_TARGET:
                    yield from self._sweep(bit.source, {target, max(target - bit.off, 0)}, s)

    def _delays(self) -> Iterator[Operation]:
        """All readings and contacts at one end and at the other for every delay, less one scan and just so."""
        ends = [([a.low for a in self.table.analogs], 0), ([a.high for a in self.table.analogs], 1), ([0] * len(self.table.analogs), 1)]
        lengths = sorted({n + d for b in self.table.bits for n in (b.hold, b.drop) if 0 < n <= self.longest for d in (0, 1, 2)})
        for length in lengths:
            for counts, level in ends:
                yield self._place(self.few)
                self.counts, self.contacts = list(counts), [level] * len(self.contacts)
                yield self._scan(self.steady + length)
                self.contacts = [1 - level] * len(self.contacts)
                yield self._scan(1)

    def _links(self) -> Iterator[Operation]:
        for i in range(len(self.table.heartbeats)):
            ages = {bit.on + d for bit in self.table.bits if bit.kind == Kind.HEARD and bit.source == i for d in (0, 1, 2)}
            for age in sorted({n for n in ages if n <= self.longest} | {256, self.silence}):
                yield self._place(self.few)
                self.heard[i] = 1
                yield self._scan(1)
                self.heard[i] = 0
                yield self._scan(age)
            self.heard[i] = 1
            yield self._scan(1)

    def _times(self) -> Iterator[Operation]:
        """Each least time from one scan before to one after; and the timer's end, behind which it does not begin anew."""
        for row in self.table.rows:
            for timer in range(max(row.least - 1, 1), row.least + 2) if row.least else ():
                yield self._place(row.state, timer)
                yield self._scan(1)
        for s, state in enumerate(self.table.states):
            for bit in self.table.bits:  # a drop-out is forgotten only when the timer is 0
                target = state.targets[bit.source] if bit.kind == Kind.TARGET else NO_TARGET
                if target != NO_TARGET and bit.off:
                    self.counts[bit.source] = min(target + 1, 0xFFFF)
                    yield self._place(s, U32 - 2)
                    yield self._scan(1)
                    self.counts[bit.source] = max(target - 1, 0)
                    yield self._scan(3)
            for timer in (0xFE, 0xFFFE, 0xFFFF, 0xFF_FFFE, U32 - 2):
                yield self._place(s, timer)
                yield self._scan(4)

    def _numbers(self) -> Iterator[Operation]:
        """The number of the scan over every byte of it."""
        for power in (8, 16, 24, 32):
            yield self._place(self.few, 1, (1 << power) - 2)
            yield self._scan(4)
