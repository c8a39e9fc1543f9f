"""The condition bits of many controllers at once: one row per bit, one column per lane; lanes_rows.py works them out."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.table.table import NO_TARGET, Bit, Kind, Literals, Table

Row = NDArray[np.bool_]
Truth = Row | bool
"""A row of bits, or one value for all lanes."""


class Bits:
    """The rows with their memories, and what this scan shows them."""

    def __init__(
        self, table: Table, now: Row, before: Row, delays: NDArray[np.int64], ages: NDArray[np.int64], captured: NDArray[np.int64]
    ) -> None:
        self.table, self.now, self.before = table, now, before
        self.delays, self.ages, self.captured = delays, ages, captured
        self.n = now.shape[1]
        self.alike: list[bool | None] = [alike_of(row) for row in now]
        """The value of a row that is the same in every lane, or None."""
        self.changed = [True] * len(table.bits)
        self.was: list[Row] = [row.copy() for row in now]
        """Rows of the last scan, kept up only where `changed` says so."""
        self.touched = np.ones(self.n, dtype=bool)
        self.fresh = True
        """Nothing may be left out in this scan."""
        self.aims = np.full((len(table.analogs), self.n), NO_TARGET, dtype=np.int64)
        self.aimed = [False] * len(table.analogs)
        self.counts: NDArray[np.int64] = np.empty((0, self.n), dtype=np.int64)
        self.silence: NDArray[np.int64] = np.empty((0, self.n), dtype=np.int64)
        self.stable: Row = np.empty((0, self.n), dtype=bool)
        self.seen: list[Row] = []
        self.least: list[int] = []
        self.most: list[int] = []
        self.turned: dict[int, Row] = {}

    def begin(self) -> None:
        self.touched[:] = False
        self.changed = [False] * len(self.changed)

    def put(self, k: int, value: Truth) -> None:
        """The bit of this scan."""
        if isinstance(value, bool):
            if self.alike[k] is value:
                return
            value = np.full(self.n, value)
        old = self.now[k]
        other = value != old
        if np.count_nonzero(other):
            self.touched |= other
            self.was[k] = old.copy()
            old[:] = value
            self.changed[k], self.alike[k] = True, alike_of(value)

    def before_last(self, k: int) -> Row:
        """The row as the last scan left it."""
        return self.was[k] if self.changed[k] else self.now[k]

    def holds(self, literals: Literals) -> Truth:
        """A literal list over the rows of this scan."""
        now, alike, found = self.now, self.alike, None
        care, want = literals.care, literals.want
        k = 0
        while care >> k:
            if care >> k & 1:
                wanted, value = bool(want >> k & 1), alike[k]
                if value is not None:
                    if value is not wanted:
                        return literals.invert
                elif found is None:
                    found = now[k] if wanted else ~now[k]
                else:
                    found = found & now[k] if wanted else np.greater(found, now[k])
            k += 1
        if found is None:
            return not literals.invert
        row: Row = ~found if literals.invert else found
        return row

    def touches(self, literals: Literals) -> bool:
        """Whether a row it looks at changed in this scan."""
        care, k = literals.care, 0
        while care >> k:
            if care >> k & 1 and self.changed[k]:
                return True
            k += 1
        return False

    def valid(self, source: int) -> Truth:
        """Whether the reading lies in its valid band."""
        spec, least, most = self.table.analogs[source], self.least[source], self.most[source]
        if spec.low <= least and most <= spec.high:
            return True
        if most < spec.low or least > spec.high:
            return False
        counts = self.counts[source]
        row: Row = (counts >= spec.low) & (counts <= spec.high)
        return row

    def aims_changed(self) -> None:
        self.aimed = [bool((row != NO_TARGET).any()) for row in self.aims]

    def forget_targets(self, lanes: NDArray[np.int64]) -> None:
        """The drop-out of a target is forgotten at every move."""
        for k, bit in enumerate(self.table.bits):
            if bit.kind == Kind.TARGET:
                self.before[k, lanes] = False

    def keep(self, lanes: Row) -> tuple[Any, ...]:
        """The memories of some lanes, to be given back."""
        return lanes, *(rows[:, lanes].copy() for rows in (self.now, self.before, self.delays, self.ages, self.captured))

    def give_back(self, kept: tuple[Any, ...]) -> None:
        lanes = kept[0]
        for rows, old in zip((self.now, self.before, self.delays, self.ages, self.captured), kept[1:], strict=True):
            rows[:, lanes] = old
        self.alike = [alike_of(row) for row in self.now]
        self.fresh = True

    def before_bits(self, lane: int) -> int:
        """Memory.before of one lane: the raw value where it is kept apart, else the bit itself."""
        found = 0
        for k, bit in enumerate(self.table.bits):
            if bit.kind not in (Kind.PRESS, Kind.MEMORY):
                rows = self.before if keeps_before(bit) else self.now
                found |= int(rows[k, lane]) << k
        return found


def keeps_before(bit: Bit) -> bool:
    """Whether the raw value stands apart from the bit: delays, and targets forgotten at a move."""
    return bit.hold > 0 or bit.drop > 0 or bit.kind == Kind.TARGET


def alike_of(row: Row) -> bool | None:
    """The value of a row that is the same in every lane, or None."""
    count = np.count_nonzero(row)
    return False if count == 0 else True if count == row.size else None
