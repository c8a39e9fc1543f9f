"""A rule needs only part of the word: the system seen through some of its bits.

A slice keeps the places and a chosen set of bits; guards and effects on all others are forgotten, so that a row may be
taken at least as often as in the whole system. What cannot be reached in a slice cannot be reached at all. Words of a
slice are packed: [place | number of the set of faults | kept bits].
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from sequencer.proof import kernel
from sequencer.proof.engine import Flags, Ints, Words
from sequencer.proof.everything import Everything, Judged
from sequencer.proof.words import TooLarge

PIECE = 1 << 16
"""Words times rows of one comparison."""
MOST = 1 << 22
"""Most comparisons of rows within a group."""
PLACE, CARE, WANT, CLEAR, PUT, TO, NEED, OK, HELD = range(9)


@dataclass
class Table:
    """Rows of a slice by place, as columns; `first` and `count` say where those of a place stand."""

    care: Words
    want: Words
    keep: Words
    put: Words
    need: Ints
    ok: Ints
    key: Ints
    held: Ints
    first: Ints
    count: Ints


class Slice:
    """The system through the bits of `mask` for one rule, with room for numbers of sets below `sets`. `can`: the needs
    (by number) that a set may meet; rows that need more are left out. Raises TooLarge beyond 64 bits."""

    def __init__(self, whole: Everything, judged: Judged, mask: int, sets: int, can: Flags | None = None) -> None:
        self.whole, self.judged, self.mask = whole, judged, mask
        self.kept = [b for b in range(whole.system.layout.shift) if mask >> b & 1]
        self.runs = list(_runs(self.kept))
        self.width = len(self.kept)
        self.tag = np.uint64(self.width)
        self.shift = np.uint64(self.width + (sets - 1).bit_length())
        if int(self.shift) + whole.system.layout.place_bits > 64:
            raise TooLarge("a slice of the pad needs more than 64 bits for its sets of faults")
        self.low, self.bits = np.uint64((1 << int(self.shift)) - 1), np.uint64((1 << self.width) - 1)
        self.tags = self.low & ~self.bits
        self.borders = np.array([p << int(self.shift) for p in range(len(whole.system.places))], np.uint64)
        self._project(can)

    # ---- words --------------------------------------------------------------------------------

    def packed(self, values: Words) -> Words:
        """The kept bits of words (masks), moved together."""
        out = np.zeros_like(values)
        for bit, at, mask in self.runs:
            out |= (values >> np.uint64(bit) & np.uint64(mask)) << np.uint64(at)
        return out

    def pack(self, value: int) -> int:
        """The same of one word."""
        return sum((value >> bit & mask) << at for bit, at, mask in self.runs)

    def word(self, word: int) -> int:
        """A word of the whole system, without a set of faults, as a word of the slice."""
        return self.whole.system.layout.place_of(word) << int(self.shift) | self.pack(word)

    def unpacked(self, words: Words) -> Words:
        """The kept bits of words of the slice where they stand in the whole word, without place and set."""
        out = np.zeros(len(words), np.uint64)
        for bit, at, mask in self.runs:
            out |= (words >> np.uint64(at) & np.uint64(mask)) << np.uint64(bit)
        return out

    def seen(self, other: Slice, words: Words) -> Words:
        """Words of another slice, which keeps all bits of this one and as many sets, as this one sees them."""
        tags = (words & other.tags) >> other.tag
        return (words >> other.shift) << self.shift | tags << self.tag | self.packed(other.unpacked(words))

    def runs_from(self, other: Slice) -> kernel.Runs:
        """The same, as runs of bits."""
        runs = list(_runs([other.kept.index(b) for b in self.kept]))
        tags, places = (1 << int(self.shift - self.tag)) - 1, (1 << 64 - int(max(self.shift, other.shift))) - 1
        return kernel.Runs([*runs, (int(other.tag), int(self.tag), tags), (int(other.shift), int(self.shift), places)])

    def kinds(self, words: Words) -> tuple[Words, Ints | kernel.Small]:
        """(what words of the whole system, without a set of faults, look like here, each once; which of them each is)."""
        place = self.whole.system.layout.shift
        if made := kernel.library():
            places = (1 << 64 - max(place, int(self.shift))) - 1
            return kernel.Runs([*self.runs, (place, int(self.shift), places)]).kinds(made, words)
        return np.unique(words >> np.uint64(place) << self.shift | self.packed(words), return_inverse=True)

    def sets_of(self, words: Words) -> Ints:
        """Numbers of the sets of faults."""
        return np.asarray((words & self.tags) >> self.tag, np.int64)

    def places_of(self, words: Words) -> Ints:
        return np.asarray(words >> self.shift, np.int64)

    # ---- rows ---------------------------------------------------------------------------------

    def _project(self, can: Flags | None) -> None:
        whole, judged, mask = self.whole, self.judged, np.uint64(self.mask)
        index = np.arange(len(judged.entries)) if can is None else np.flatnonzero(can[judged.needed])
        at = judged.entries[index]
        care, want = whole.care[at] & mask, whole.want[at] & whole.care[at] & mask
        clear, put = whole.clear[at] & mask & ~(care & ~want), whole.put[at] & np.uint64(self.mask & ~whole.system.spent) & ~(care & want)
        place, to = whole.place[at], whole.to[at]
        acts = np.flatnonzero((clear | put).astype(np.bool_) | (place != to) | judged.judged[index])
        held = self._held()
        columns = (place, care, want, clear, put, to, judged.needed[index], judged.ok[index], held[whole.held[at]])
        keys = np.stack([c[acts].astype(np.uint64) for c in columns])
        order, starts = grouped(keys)
        self._order, self._starts = index[acts[order]], np.append(starts, len(order))
        self.keys = keys[:, order[starts]]
        alive = _strongest(self.keys)
        self._tabled(np.flatnonzero(alive))

    def members(self, key: int) -> Ints:
        """The entries (of `judged`) that look alike in this slice."""
        return np.asarray(self._order[self._starts[key] : self._starts[key + 1]], np.int64)

    def _held(self) -> Ints:
        """Cubes under which a row may not be taken, as far as the slice sees them whole, as columns (filled up with cubes
        that hold nowhere); the group of each group of the whole."""
        care, want = self.whole.unless_columns
        seen = (care & ~np.uint64(self.mask) == 0) & (care != 0)
        cubes = np.concatenate([np.where(seen, self.packed(care), np.uint64(0)), np.where(seen, self.packed(want), np.uint64(1))], axis=1)
        groups, number = np.unique(cubes, axis=0, return_inverse=True)  # the first is that of no cubes
        care, want = np.split(groups, 2, axis=1)
        some = care.any(axis=0)
        self.held_care, self.held_want = np.ascontiguousarray(care[:, some]), np.ascontiguousarray(want[:, some])
        return np.asarray(number.reshape(-1), np.int64)

    def _tabled(self, keys: Ints) -> None:
        """Rows by place."""
        part = self.keys[:, keys]
        moved = part[TO] != part[PLACE]
        put = self.packed(part[PUT]) | np.where(moved, part[TO] << self.shift, np.uint64(0))
        keep = ~self.packed(part[CLEAR])
        keep[moved] &= self.low
        count = np.bincount(part[PLACE].astype(np.int64), minlength=len(self.borders)).astype(np.int64)
        self.table = Table(
            self.packed(part[CARE]), self.packed(part[WANT]), keep & ~put, put, part[NEED].astype(np.int64),
            part[OK].astype(np.int64), keys, part[HELD].astype(np.int64), np.cumsum(count) - count, count,
        )  # fmt: skip

    @cached_property
    def judgements(self) -> tuple[list[kernel.Scan], list[kernel.World]]:
        """The rule's bad cubes in words of the slice: those judged on images, in the order in which `oks` has them, and
        those of a word itself."""
        free = self.whole.system.free | self.whole.system.spent

        def cube(care: int, want: int) -> tuple[int, int]:
            return self.pack(care & ~free), self.pack(want & ~free & care)

        bads = self.judged.bads
        scans = [(*cube(b.cube.care, b.cube.want), b.starts is not None, [(sorted(p), *cube(c.care, c.want)) for p, c in b.sources]) for b in bads]
        return scans, [(*cube(b.cube.care, b.cube.want), sorted(b.places)) for b in bads if not b.after_scan]

    def images(self, sources: Words, rows: Ints) -> Words:
        """What rows of the table make of words."""
        return sources & self.table.keep[rows] | self.table.put[rows]

    def matches(self, words: Words, enough: Flags, chosen: Flags | None = None) -> Iterator[tuple[Ints, Words]]:
        """(row of the table, from which word) of everything that may be taken from sorted words, in the order of the words,
        then of the rows. enough: [need, set]: under which sets rows may be taken; chosen: which rows are asked for at all."""
        table = self.table
        first, count, care, want = table.first, table.count, table.care, table.want
        rows: Ints | None = None
        if chosen is not None:
            rows = np.flatnonzero(chosen)
            ends = np.searchsorted(rows, np.append(first, len(care)))
            first, count, care, want = ends[:-1], np.diff(ends), care[rows], want[rows]
        cuts = np.append(np.searchsorted(words, self.borders), len(words))
        many = np.diff(cuts)
        group: list[int] = []
        total = 0
        for place in [*np.flatnonzero((many > 0) & (count > 0)).tolist(), -1]:
            size = int(many[place] * count[place]) if place >= 0 else 0
            if group and (place < 0 or total + size > PIECE):
                part = np.concatenate([words[cuts[p] : cuts[p + 1]] for p in group])
                begins, each = np.repeat(first[group], many[group]), np.repeat(count[group], many[group])
                at = np.repeat(np.arange(len(part)), each)
                row = np.arange(len(at)) - np.repeat(np.cumsum(each) - each - begins, each)
                hit = np.flatnonzero((part[at] & care[row]) == want[row])
                yield from self._may(row[hit], part[at[hit]], enough, rows)
                total, group = 0, []
            if size <= PIECE:
                group.append(place)
                total += size
                continue
            begin, end = first[place], first[place] + count[place]
            step = max(1, PIECE // int(count[place]))
            for start in range(int(cuts[place]), int(cuts[place + 1]), step):
                piece = words[start : min(start + step, int(cuts[place + 1]))]
                at, row = np.nonzero((piece[:, None] & care[begin:end]) == want[begin:end])
                yield from self._may(row + begin, piece[at], enough, rows)

    def _may(self, row: Ints, sources: Words, enough: Flags, names: Ints | None) -> Iterator[tuple[Ints, Words]]:
        """Those whose needs are met and that no cube of `unless` holds back."""
        if names is not None:
            row = names[row]
        able = np.flatnonzero(enough[self.table.need[row], self.sets_of(sources)])
        if len(able) < len(row):
            row, sources = row[able], sources[able]
        held = self.table.held[row]
        some = np.flatnonzero(held)
        if len(some):
            back, which, asked = np.zeros(len(some), np.bool_), held[some], sources[some]
            for care, want in zip(self.held_care.T, self.held_want.T, strict=True):
                back |= (asked & care[which]) == want[which]
            if back.any():
                fine = np.ones(len(row), np.bool_)
                fine[some[back]] = False
                row, sources = row[fine], sources[fine]
        if len(row):
            yield row, sources


def _runs(kept: Sequence[int]) -> Iterator[tuple[int, int, int]]:
    """(first bit, where it goes, mask) of runs of neighbouring bits."""
    cuts = [0, *(i for i in range(1, len(kept)) if kept[i] != kept[i - 1] + 1), len(kept)]
    for begin, end in pairwise(cuts):
        if end > begin:
            yield kept[begin], begin, (1 << end - begin) - 1


def grouped(keys: Words) -> tuple[Ints, Ints]:
    """(order, starts of groups in it) of equal columns of a table, in the order of the columns."""
    if made := kernel.library():
        return kernel.group(made, keys)
    order = np.lexsort(keys[::-1])
    ordered = keys[:, order]
    new = np.ones(len(order), np.bool_)
    new[1:] = (ordered[:, 1:] != ordered[:, :-1]).any(axis=0)
    return order, np.flatnonzero(new)


def _strongest(keys: Words) -> Flags:
    """Which rows are not covered by another: same effect, wider guard, no more needed."""
    alive = np.ones(keys.shape[1], np.bool_)
    effects = keys[[PLACE, CLEAR, PUT, TO, OK, HELD]]
    _cover(keys, alive, *grouped(np.concatenate([effects, keys[NEED : NEED + 1]])))
    left = np.flatnonzero(alive)
    order, starts = grouped(effects[:, left])
    _cover(keys, alive, left[order], starts)
    return alive


def _cover(keys: Words, alive: Flags, order: Ints, starts: Ints) -> None:
    """Within groups of rows: those that a row which needs the same, or nothing, covers are alive no more."""
    if made := kernel.library():
        kernel.cover(made, keys[[CARE, WANT, NEED]], order, starts, MOST, alive)
        return
    sizes = np.diff(np.append(starts, len(order)))
    care, want, need = (keys[c][order] for c in (CARE, WANT, NEED))
    for begin, size in zip(starts[sizes > 1].tolist(), sizes[sizes > 1].tolist(), strict=True):
        part = slice(begin, begin + size)
        c, w, n = care[part], want[part], need[part]
        first = np.arange(size) if n[0] == n[-1] and (n == n[0]).all() else np.flatnonzero(n == 0)
        if not len(first) or len(first) * size > MOST:
            continue
        wider = (c[first, None] & ~c) == 0
        wider &= (w & c[first, None]) == w[first, None]
        wider[np.arange(len(first)), first] = False
        alive[order[part][wider.any(axis=0)]] = False

