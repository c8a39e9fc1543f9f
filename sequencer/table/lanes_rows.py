"""How each kind of condition bit is worked out in many controllers at once.

A row knows when it cannot have changed: when what it looks at is alike in all lanes (then one integer comparison
answers for all), or has not changed since the last scan.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.table.lanes_bits import Bits, Row, Truth, alike_of, keeps_before
from sequencer.table.scan import NEVER_HEARD, NOT_CAPTURED
from sequencer.table.table import NO_TARGET, Bit, Kind, Table


class BitRow:
    """One bit in every lane. `raw` gives its value before delays, and where it is valid."""

    def __init__(self, bits: Bits, k: int, bit: Bit) -> None:
        self.bits, self.k, self.bit = bits, k, bit
        self.idle = False
        """The delay has nothing to do while its raw value stays."""

    def levels(self, stable: Row, which: Sequence[int]) -> None:
        """Some filtered contacts may have changed."""

    def commands(self, outputs: NDArray[np.int64]) -> None:
        """Some outputs were written anew; seen at the next scan."""

    def entered(self, lanes: NDArray[np.int64], states: NDArray[np.int64]) -> None:
        """Some lanes entered a state; seen at the next scan."""

    def raw(self) -> tuple[Truth, Truth]:
        """(value, valid) before delays."""
        raise NotImplementedError

    def still(self) -> bool:
        """Whether the raw value is surely that of the last scan."""
        return False

    def step(self) -> None:
        bits, k, bit = self.bits, self.k, self.bit
        if self.still() and not bits.fresh and (self.idle or not (bit.hold or bit.drop)):
            return
        value, valid = self.raw()
        if bit.hold == 0 and bit.drop == 0:
            if bit.kind == Kind.TARGET:
                bits.before[k] = value
            bits.put(k, value)
            return
        counters, was = bits.delays[k], bits.now[k]
        if isinstance(value, bool) and valid is True and bits.alike[k] is value:
            if not self.idle or bits.fresh:
                counters[:] = 0
                bits.before[k] = value
                self.idle = True
            return
        if valid is not True:
            lost = ~np.broadcast_to(valid, was.shape)
            was = np.greater(was, lost)
            counters[lost] = 0
        raw = np.broadcast_to(value, was.shape)
        bits.before[k] = raw
        equal = raw == was
        fires = np.greater(counters >= np.where(was, bit.drop, bit.hold), equal)
        counters += 1
        counters[equal | fires] = 0
        self.idle = np.count_nonzero(equal) == equal.size
        bits.put(k, np.where(fires, raw, was))


class _Kept(BitRow):
    """A row that only events change: contact, state, command."""

    def __init__(self, bits: Bits, k: int, bit: Bit) -> None:
        super().__init__(bits, k, bit)
        self.row = np.zeros(bits.n, dtype=bool)
        self.same: bool | None = None
        self.new = True

    def still(self) -> bool:
        return not self.new

    def raw(self) -> tuple[Truth, Truth]:
        if self.new:
            self.new, self.same = False, alike_of(self.row)
        return (self.row if self.same is None else self.same), True


class _Contact(_Kept):
    def levels(self, stable: Row, which: Sequence[int]) -> None:
        if self.bit.source in which:
            self.row, self.new = stable[self.bit.source] == self.bit.wanted, True


class _State(_Kept):
    def entered(self, lanes: NDArray[np.int64], states: NDArray[np.int64]) -> None:
        value = (states == self.bit.source) == self.bit.wanted
        if (self.row[lanes] != value).any():
            self.row[lanes] = value
            self.new = True


class _Command(_Kept):
    def commands(self, outputs: NDArray[np.int64]) -> None:
        self.row, self.new = (outputs[self.bit.source] == self.bit.on) == self.bit.wanted, True


class _Press(BitRow):
    def raw(self) -> tuple[Truth, Truth]:
        bit, bits = self.bit, self.bits
        turned = bits.turned.get(bit.source)
        if turned is None:
            return False, True
        level = bits.stable[bit.source] == bit.wanted
        return turned & level & bits.seen[0 if bit.wanted else 1][bit.source], True


class _Heard(BitRow):
    def raw(self) -> tuple[Truth, Truth]:
        silence = self.bits.silence[self.bit.source]
        most = min(self.bit.on, NEVER_HEARD - 1)
        return (True if silence.max() <= most else silence <= most), True


class _All(BitRow):
    def still(self) -> bool:
        return not self.bits.touches(self.bit.set)

    def raw(self) -> tuple[Truth, Truth]:
        return self.bits.holds(self.bit.set), True


class _Valid(BitRow):
    def raw(self) -> tuple[Truth, Truth]:
        valid = self.bits.valid(self.bit.source)
        if isinstance(valid, bool):
            return valid == self.bit.wanted, True
        return (valid if self.bit.wanted else ~valid), True


class _Level(BitRow):
    """AT_LEAST, and BELOW as its opposite, with drop-out; a target where the state gives one."""

    def raw(self) -> tuple[Truth, Truth]:
        bit, bits, source = self.bit, self.bits, self.bit.source
        valid = bits.valid(source)
        if valid is False:
            return False, False
        low, high = min(bit.on, bit.off), max(bit.on, bit.off)
        up = bit.kind == Kind.AT_LEAST
        value: Truth
        if bits.least[source] >= high:
            value = up
        elif bits.most[source] < low:
            value = not up
        else:
            on: Any = bit.on
            if bit.on != bit.off:
                before = bits.before if keeps_before(bit) else bits.now
                on = np.where(before[self.k], bit.off, bit.on)
            counts = bits.counts[source]
            value = counts >= on if up else counts < on
        return (value if valid is True else value & np.asarray(valid)), valid


class _Target(BitRow):
    def raw(self) -> tuple[Truth, Truth]:
        bit, bits, source = self.bit, self.bits, self.bit.source
        if not bits.aimed[source]:
            return False, False
        aims = bits.aims[source]
        valid = (aims != NO_TARGET) & bits.valid(source)
        reached = bits.counts[source] >= aims - np.where(bits.before[self.k], bit.off, 0)
        return valid & reached, valid


class _Differs(BitRow):
    def raw(self) -> tuple[Truth, Truth]:
        bit, bits = self.bit, self.bits
        a, b = self.bits.table.analogs[bit.source], self.bits.table.analogs[bit.second]
        valid = _both(bits.valid(bit.source), bits.valid(bit.second))
        if valid is False:
            return False, False
        difference = np.abs(a.gain * bits.counts[bit.source] + (a.offset - b.offset) - b.gain * bits.counts[bit.second])
        value = difference >= bit.on if bit.wanted else difference < bit.on
        return (value if valid is True else value & valid), valid


class _Change(BitRow):
    def raw(self) -> tuple[Truth, Truth]:
        bit, bits, k = self.bit, self.bits, self.k
        captured, ages = bits.captured[k], bits.ages[k]
        if bits.alike[bit.second] is False and not bits.fresh:
            if bits.changed[bit.second]:
                captured[:], ages[:] = NOT_CAPTURED, 0
            return False, False
        now, then, counts = bits.now[bit.second], bits.before_last(bit.second), bits.counts[bit.source]
        valid = np.broadcast_to(bits.valid(bit.source), now.shape)
        rises = np.greater(now, then)
        ages += now & then & (ages < bit.off)
        ages[rises | ~now] = 0
        captured[~now] = NOT_CAPTURED
        if np.count_nonzero(rises):
            captured[rises] = np.where(valid, counts, NOT_CAPTURED)[rises]
        ready = now & valid & (captured != NOT_CAPTURED) & (ages >= bit.off)
        value = (bit.sign * (counts - captured) >= bit.on) == bit.wanted
        return value & ready, ready


class _Memory(BitRow):
    def step(self) -> None:
        bits, k, bit = self.bits, self.k, self.bit
        counting = bool(bit.on) and bits.alike[k] is not False
        if not counting and not bits.fresh and not bits.touches(bit.set) and not bits.touches(bit.clear):
            return
        was, counters = bits.now[k], bits.delays[k]
        clear, sets = np.broadcast_to(bits.holds(bit.clear), was.shape), np.broadcast_to(bits.holds(bit.set), was.shape)
        sets = np.greater(sets, clear)
        if bit.on:
            runs = was & ~clear & ~sets
            ends = runs & (counters >= bit.on)
            counters += runs
            counters[clear | ends] = 0
            counters[sets] = 1
            was = np.greater(was, ends)
        else:
            counters[clear | sets] = 0
        bits.put(k, np.greater(was, clear) | sets)


_ROWS: dict[Kind, type[BitRow]] = {
    Kind.CONTACT: _Contact, Kind.PRESS: _Press, Kind.AT_LEAST: _Level, Kind.BELOW: _Level, Kind.VALID: _Valid,
    Kind.HEARD: _Heard, Kind.DIFFERS: _Differs, Kind.CHANGE: _Change, Kind.TARGET: _Target, Kind.STATE: _State,
    Kind.COMMAND: _Command, Kind.ALL: _All, Kind.MEMORY: _Memory,
}  # fmt: skip


def bit_rows(table: Table, bits: Bits) -> list[BitRow]:
    """The rows of a table in file order."""
    return [_ROWS[bit.kind](bits, k, bit) for k, bit in enumerate(table.bits)]


def _both(a: Truth, b: Truth) -> Truth:
    if isinstance(a, bool) and isinstance(b, bool):
        return a and b
    both: Row = np.logical_and(a, b)
    return both
