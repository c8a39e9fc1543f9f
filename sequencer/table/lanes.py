"""The same scan for many controllers of one table at once, as numpy lanes.

`scan` in scan.py is the meaning; a property test holds every lane equal to it, memory included. Work is
left out only where it cannot matter: a row of bits that is alike in all lanes is compared once, by the
least and greatest count over the lanes; rows of the sequence are looked at only in lanes where a bit
changed or a least time has come. Arrays have one column per lane.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.table.lanes_bits import Bits
from sequencer.table.lanes_rows import bit_rows
from sequencer.table.scan import NEVER_HEARD, Memory, Move
from sequencer.table.table import MAX_SCANS, Table

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
_NEVER = MAX_SCANS + 2  # a timer never gets there


@dataclass(frozen=True)
class LaneMoves:
    """The moves of one scan: one entry per lane that moved. `words` are the bits in 64-bit words, low first."""

    lanes: Ints
    scans: Ints
    origins: Ints
    to: Ints
    rows: Ints
    words: NDArray[np.uint64]

    def move(self, index: int) -> Move:
        """One of them as the scan's own record."""
        bits = sum(int(word) << (64 * n) for n, word in enumerate(self.words[index]))
        return Move(int(self.scans[index]), int(self.origins[index]), int(self.to[index]), int(self.rows[index]), bits)


class Lanes:
    """Many running controllers. Read `state`, `timer`, `outputs` (output, lane) and `bit(index)` after a scan.

    memories: what each lane remembers at the start, e.g. `[power_up(table)] * n`.
    """

    def __init__(self, table: Table, memories: Sequence[Memory]) -> None:
        self.table, self.n = table, len(memories)
        m = memories

        def rows(field: str, count: int, kind: Any = np.int64) -> NDArray[Any]:
            return np.array([getattr(x, field) for x in m], dtype=kind).T.reshape(count, len(m)).copy()

        def masks(field: str, count: int) -> Bools:
            values = [getattr(x, field) for x in m]
            return np.array([[value >> k & 1 for value in values] for k in range(count)], dtype=bool).reshape(count, len(m))

        contacts, count = len(table.contacts), len(table.bits)
        self.number = np.array([x.scan for x in m], dtype=np.int64)
        self.state = np.array([x.state for x in m], dtype=np.int64)
        self.timer = np.array([x.timer for x in m], dtype=np.int64)
        self.settled = np.array([x.settled for x in m], dtype=bool)
        self.stable = masks("stable", contacts)
        self.filters = rows("filters", contacts)
        seen = masks("seen_away", 2 * contacts)
        self.seen = [seen[0::2].copy(), seen[1::2].copy()]
        self.silence = rows("silence", len(table.heartbeats))
        self.outputs = rows("outputs", len(table.outputs))
        self.bits = Bits(
            table, masks("bits", count), masks("before", count), rows("delays", count), rows("ages", count), rows("captured", count)
        )
        self._rows = bit_rows(table, self.bits)
        self._steady = np.array([spec.steady for spec in table.contacts], dtype=np.int64)
        self._counting = True
        """Some filter may be counting."""
        self._wake = np.zeros(self.n, dtype=np.int64)
        self._all_settled = bool(self.settled.all())
        self._tabulate()
        self._enter(np.arange(self.n))
        for row in self._rows:
            row.levels(self.stable, range(contacts))
            row.commands(self.outputs)

    def _tabulate(self) -> None:
        """The sequence as arrays: per state its rows, padded; outputs, targets, inhibits."""
        table = self.table
        width = max([state.end_row - state.first_row for state in table.states] + [1])
        words = (len(table.bits) + 63) // 64 or 1
        shape = (len(table.states), width)
        self._words = words
        self._care = np.zeros((*shape, words), dtype=np.uint64)
        self._want = np.zeros((*shape, words), dtype=np.uint64)
        self._least = np.full(shape, _NEVER + 1, dtype=np.int64)
        self._to = np.zeros(shape, dtype=np.int64)
        for s, state in enumerate(table.states):
            for k, row in enumerate(table.rows[state.first_row : state.end_row]):
                self._care[s, k], self._want[s, k] = _split(row.care, words), _split(row.want, words)
                self._least[s, k], self._to[s, k] = row.least, row.to
        self._first = np.array([state.first_row for state in table.states], dtype=np.int64)
        self._codes = np.array([state.outputs for state in table.states], dtype=np.int64).reshape(len(table.states), -1)
        self._aims = np.array([state.targets for state in table.states], dtype=np.int64).reshape(len(table.states), -1)
        self._inhibits = [
            (inhibit.output, inhibit.position, np.array(_split(inhibit.care, words), np.uint64), np.array(_split(inhibit.want, words), np.uint64))
            for inhibit in table.inhibits
        ]  # fmt: skip

    # ------------------------------------------------------------------ one scan

    def scan(self, contacts: Bools, counts: Ints, heard: Bools) -> tuple[LaneMoves | None, Ints]:
        """One scan of every lane: (contact, lane) raw levels, (analog, lane) counts, (heartbeat, lane) fresh messages.

        Returns the moves, if any, and the lanes whose outputs changed.
        """
        changed = self._filter(contacts)
        for silence, fresh in zip(self.silence, heard, strict=True):
            silence += silence < NEVER_HEARD
            silence[fresh] = 0
        bits, everyone = self.bits, np.arange(self.n)
        write = look = everyone
        if self._all_settled:
            fresh = bits.fresh
            bits.begin()
            self._evaluate(contacts, counts, changed)
            if not fresh:
                write = look = np.flatnonzero(bits.touched | (self.timer >= self._wake))
        else:
            look = np.flatnonzero(self.settled)
            if look.size:
                kept = bits.keep(~self.settled)
                bits.begin()
                self._evaluate(contacts, counts, changed)
                bits.give_back(kept)
        words = self._pack(look)
        moves = self._move(look, words) if look.size else None
        if self._all_settled:
            np.add(self.timer, self.timer <= MAX_SCANS, out=self.timer)
        else:
            self.timer[look] += self.timer[look] <= MAX_SCANS
        if moves is not None:
            self.timer[moves.lanes] = 0
        commanded = self._write(write, words if write is look else self._pack(write)) if write.size else write
        self.number += 1
        return moves, commanded

    def _filter(self, contacts: Bools) -> list[tuple[int, Bools]]:
        """Filter the contacts; what changed, as (contact, lanes)."""
        stable, changed = self.stable, []
        if not self._all_settled:
            changed = self._settle(contacts)
            if self._all_settled:
                self.bits.fresh = True
            return changed
        differs = contacts != stable
        if self._counting or np.count_nonzero(differs):
            self._counting = False
            for i, spec in enumerate(self.table.contacts):
                differ, counters = differs[i], self.filters[i]
                if not np.count_nonzero(differ):
                    if np.count_nonzero(counters):
                        counters[:] = 0
                    continue
                self._counting = True
                turned = differ & (counters >= spec.steady)
                counters += 1
                counters[~differ | turned] = 0
                if np.count_nonzero(turned):
                    stable[i] ^= turned
                    changed.append((i, turned))
        if changed:
            self._changed_levels([i for i, _ in changed])
        agree = contacts == stable
        for i, turned in changed:
            agree[i] &= ~turned
        self.seen[1] |= agree & stable
        self.seen[0] |= np.greater(agree, stable)
        return changed

    def _settle(self, contacts: Bools) -> list[tuple[int, Bools]]:
        """The same while some lane has not settled since power-up."""
        stable, old, was_settled = self.stable, self.stable.copy(), self.settled.copy()
        new = (self.number == 0) | (contacts != stable)
        counting = ~new & (self.filters < self._steady[:, None])
        first = np.where(new, 0, self.filters + counting)
        settles = (first >= self._steady[:, None]).all(axis=0)
        turned = (contacts != stable) & (self.filters >= self._steady[:, None])
        later = np.where((contacts == stable) | turned, 0, self.filters + 1)
        self.filters[:] = np.where(was_settled, later, np.where(settles, 0, first))
        stable ^= np.where(was_settled, turned, new & (contacts != stable))
        self.settled |= settles
        self._all_settled, self._counting = bool(self.settled.all()), True
        self._changed_levels(range(len(self.table.contacts)))
        moved = (stable != old) & was_settled
        agree = (contacts == stable) & ~moved & self.settled
        self.seen[1] |= agree & stable
        self.seen[0] |= agree & ~stable
        self.bits.fresh = True
        return [(i, row) for i, row in enumerate(moved) if row.any()]

    def _changed_levels(self, which: Sequence[int]) -> None:
        for row in self._rows:
            row.levels(self.stable, which)

    def _evaluate(self, contacts: Bools, counts: Ints, changed: list[tuple[int, Bools]]) -> None:
        bits = self.bits
        bits.counts, bits.silence = counts, self.silence
        bits.least = [int(row.min()) for row in counts]
        bits.most = [int(row.max()) for row in counts]
        bits.turned = dict(changed)
        bits.stable, bits.seen = self.stable, self.seen
        for row in self._rows:
            row.step()
        bits.fresh = False

    def _pack(self, lanes: Ints) -> NDArray[np.uint64]:
        """(lane, word): the bits of some lanes as 64-bit words."""
        count = len(self.table.bits)
        padded = np.zeros((lanes.size, 64 * self._words), dtype=np.uint8)
        if count:
            padded[:, :count] = self.bits.now[:, lanes].T
        packed: NDArray[np.uint64] = np.packbits(padded, axis=1, bitorder="little").view("<u8")
        return packed

    def _move(self, look: Ints, words: NDArray[np.uint64]) -> LaneMoves | None:
        state, timer = self.state[look], self.timer[look]
        fits = timer[:, None] >= self._least[state]
        for w in range(self._words):
            fits &= (words[:, w, None] & self._care[state, :, w]) == self._want[state, :, w]
        moving = fits.any(axis=1)
        stays, spent = look[~moving], timer[~moving]
        due = self._least[state[~moving]]
        self._wake[stays] = np.where(due > spent[:, None], due, _NEVER).min(axis=1, initial=_NEVER)
        if not moving.any():
            return None
        lanes, origins = look[moving], state[moving]
        which = fits[moving].argmax(axis=1)
        to = self._to[origins, which]
        self.state[lanes], self._wake[lanes] = to, 0
        self.seen[0][:, lanes] = False
        self.seen[1][:, lanes] = False
        self._enter(lanes)
        self.bits.forget_targets(lanes)
        return LaneMoves(lanes, self.number[lanes], origins, to, self._first[origins] + which, words[moving])

    def _enter(self, lanes: Ints) -> None:
        """What the bits must know of a state just entered."""
        states = self.state[lanes]
        self.bits.aims[:, lanes] = self._aims[states].T
        self.bits.aims_changed()
        for row in self._rows:
            row.entered(lanes, states)

    def _write(self, look: Ints, words: NDArray[np.uint64]) -> Ints:
        codes = self._codes[self.state[look]].T.copy()
        for output, position, care, want in self._inhibits:
            codes[output, ((words & care) == want).all(axis=1)] = position
        other = (codes != self.outputs[:, look]).any(axis=0)
        if not other.any():
            return np.empty(0, dtype=np.int64)
        commanded: Ints = look[other]
        self.outputs[:, commanded] = codes[:, other]
        for row in self._rows:
            row.commands(self.outputs)
        return commanded

    # ------------------------------------------------------------------ reading

    def bit(self, index: int) -> Bools:
        """One condition bit in every lane."""
        row: Bools = self.bits.now[index]
        return row

    def memory(self, lane: int) -> Memory:
        """All that one lane remembers, equal to what `scan` would have returned."""
        bits, table = self.bits, self.table
        before = bits.before_bits(lane)
        seen = sum(int(self.seen[level][i, lane]) << (2 * i + level) for i in range(len(table.contacts)) for level in (0, 1))
        return Memory(
            int(self.number[lane]), int(self.state[lane]), int(self.timer[lane]), _word(bits.now[:, lane]), before,
            _column(bits.delays, lane), _column(bits.ages, lane), _column(bits.captured, lane), _word(self.stable[:, lane]),
            _column(self.filters, lane), seen, bool(self.settled[lane]), _column(self.silence, lane), _column(self.outputs, lane),
        )  # fmt: skip


def _split(mask: int, words: int) -> list[int]:
    return [mask >> (64 * n) & 0xFFFF_FFFF_FFFF_FFFF for n in range(words)]


def _word(column: Bools) -> int:
    return sum(1 << k for k, value in enumerate(column) if value)


def _column(rows: NDArray[Any], lane: int) -> tuple[int, ...]:
    return tuple(int(value) for value in rows[:, lane])
