"""Inputs that reach far: random walks, edges of every filter and threshold, and each row aimed at in turn."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from random import Random

from sequencer.firmware.reference import PLACE, RESET, SCAN, Operation
from sequencer.firmware.wishes import wishes_for
from sequencer.table import Inputs, Kind, Table
from sequencer.table.table import NO_TARGET

U32 = 0xFFFF_FFFF


class Stimulus:
    """Operations for one table, endless; `state` tells where the controller stands, `fired` which rows have fired."""

    def __init__(self, table: Table, seed: int, state: Callable[[], int], fired: set[int]) -> None:
        self.table, self.random, self.state, self.fired = table, Random(seed), state, fired
        self.steady = max([c.steady for c in table.contacts], default=0)
        self.contacts = [0] * len(table.contacts)
        self.counts = [self._usual(i) for i in range(len(table.analogs))]
        self.heard = [1] * len(table.heartbeats)
        self.edges = [self._edges(i) for i in range(len(table.analogs))]
        self.targets = [bit for bit in table.bits if bit.kind == Kind.TARGET]
        self.lengths = sorted(
            {n + d for b in table.bits for n in (b.hold, b.drop) if n for d in (-1, 0, 1, 2) if n + d > 0}
            | {c.steady + d for c in table.contacts for d in (0, 1, 2) if c.steady + d}
        )

    def __iter__(self) -> Iterator[Operation]:
        yield from self._scans(self.steady + 2)
        while True:
            choice = self.random.random()
            if choice < 0.5 and self.table.rows:
                yield from self._aim()
            elif choice < 0.7:
                yield from self._noise(self.random.randrange(1, 60))
            elif choice < 0.72 and self.targets:
                yield from self._new_target()
            elif choice < 0.95:
                self._wander()
                yield from self._scans(self._length())
            elif choice < 0.97:
                yield Operation(RESET, cause=self.random.randrange(1, 5))
                yield from self._noise(self.random.randrange(0, 4))
                yield from self._scans(self.steady + self.random.choice((0, 1, 1, 1, 2)))
                yield from self._noise(3)
            else:
                yield self._wrap()
                yield from self._noise(6)

    def every_state(self, scans: int) -> Iterator[Operation]:
        """Placed in each state in turn for a few scans of noise: for measuring, not for coverage."""
        yield from self._scans(self.steady + 2)
        for state in range(len(self.table.states)):
            yield Operation(PLACE, state=state, timer=1)
            yield from self._noise(scans)

    def _scans(self, times: int) -> Iterator[Operation]:
        if times > 0:
            yield Operation(SCAN, Inputs(tuple(self.contacts), tuple(self.counts), tuple(self.heard)), times)

    def _length(self) -> int:
        short = self.random.randrange(1, 8)
        usual = [n for n in self.lengths if n < 400]
        return self.random.choice(usual) if usual and self.random.random() < 0.6 else short

    def _wrap(self) -> Operation:
        """A place just before a counter wraps or saturates, or about the least time of a row."""
        near = [1 << 31, 1 << 32, *(row.least for row in self.table.rows if row.least)]
        timer = max(1, self.random.choice(near) - self.random.randrange(0, 4)) & U32
        scan = ((1 << self.random.choice([8, 16, 31, 32])) - self.random.randrange(0, 5)) & U32
        return Operation(PLACE, state=self.random.randrange(len(self.table.states)), timer=timer, scan=scan)

    def _new_target(self) -> Iterator[Operation]:
        """Reach the target of one state, then enter another with the reading within its drop-out."""
        bit = self.random.choice(self.targets)
        wanted = [state.targets[bit.source] for state in self.table.states]
        given = [i for i, target in enumerate(wanted) if target != NO_TARGET]
        if not given:
            return
        first, second = self.random.choice(given), self.random.choice(given)
        yield Operation(PLACE, state=first, timer=1)
        self.counts[bit.source] = min(wanted[first] + 1, 0xFFFF)
        yield from self._scans(1)
        yield Operation(PLACE, state=second)
        self.counts[bit.source] = max(wanted[second] - self.random.randint(0, bit.off + 1), 0)
        yield from self._scans(3)

    def _usual(self, analog: int) -> int:
        spec = self.table.analogs[analog]
        return self.random.randint(spec.low, max(spec.low, spec.high))

    def _edges(self, analog: int) -> list[int]:
        spec = self.table.analogs[analog]
        marks = {0, 0xFFFF, spec.low, spec.high}
        for bit in self.table.bits:
            if bit.source == analog and bit.kind in (Kind.AT_LEAST, Kind.BELOW):
                marks |= {bit.on, bit.off}
        for state in self.table.states:
            if state.targets[analog] != NO_TARGET:
                marks |= {state.targets[analog]} | {state.targets[analog] - b.off for b in self.table.bits if b.kind == Kind.TARGET}
        return sorted({m + d for m in marks for d in (-1, 0, 1) if 0 <= m + d <= 0xFFFF})

    def _wander(self) -> None:
        """Change one thing, or a few."""
        for _ in range(self.random.choice((1, 1, 1, 2, 4))):
            part = self.random.randrange(len(self.contacts) + 2 * len(self.counts) + len(self.heard) or 1)
            if part < len(self.contacts):
                self.contacts[part] ^= 1
            elif part < len(self.contacts) + 2 * len(self.counts):
                i = (part - len(self.contacts)) // 2
                self._move_reading(i)
            elif self.heard:
                self.heard[self.random.randrange(len(self.heard))] ^= 1

    def _move_reading(self, i: int) -> None:
        draw = self.random.random()
        if draw < 0.5:
            self.counts[i] = self.random.choice(self.edges[i])
        elif draw < 0.7:  # near another one, for differences
            other = self.counts[self.random.randrange(len(self.counts))]
            self.counts[i] = min(max(other + self.random.randint(-40, 40), 0), 0xFFFF)
        elif draw < 0.9:  # near itself, for changes
            self.counts[i] = min(max(self.counts[i] + self.random.randint(-30, 30), 0), 0xFFFF)
        else:
            self.counts[i] = self._usual(i)

    def _noise(self, scans: int) -> Iterator[Operation]:
        for _ in range(scans):
            self._wander()
            yield from self._scans(1)

    def _aim(self) -> Iterator[Operation]:
        """Make a row's literals hold in its state, its least time met to the scan or one short of it."""
        rows = self.table.rows
        missing = [i for i in range(len(rows)) if i not in self.fired]
        index = self.random.choice(missing) if missing and self.random.random() < 0.7 else self.random.randrange(len(rows))
        row = rows[index]
        for wish in wishes_for(self.table, self.random, index):
            if wish.state is not None and wish.state != self.state():
                yield Operation(PLACE, state=wish.state, scan=self.random.randrange(1 << 20))
            counts, finally_counts = wish.readings(self.table, self.random)
            for level, held in ((wish.contacts, self.contacts), (counts, self.counts), (wish.heard, self.heard)):
                for i, value in level.items():
                    held[i] = value
            for i, value in wish.presses.items():
                self.contacts[i] = 1 - value
            yield from self._scans(wish.length + self.random.choice((0, 0, 1)))
            if wish.state is not None and wish.state != self.state():  # an exit on the way: back, the bits stand
                yield Operation(PLACE, state=wish.state, scan=self.random.randrange(1 << 20))
                yield from self._scans(self.steady + 1)
            for i, value in [*finally_counts.items()]:
                self.counts[i] = value
            for i, value in wish.presses.items():
                self.contacts[i] = value
        if row.least and self.state() == row.state:
            timer = max(1, row.least - self.random.choice((0, 1, 1, 2)))
            yield Operation(PLACE, state=row.state, timer=timer, scan=self.random.randrange(1 << 20))
        yield from self._scans(self.steady + 3)
