"""What every set of faults can reach in a slice, all sets at once.

`each`: every set by itself, in layers of true depth. `start` and `climb`: level by level; level 0 is the sound system,
level n holds, for every set of n fault kinds, only the words that none of its subsets reaches. A word carries the number
of its set. A set that breaks the rule is not followed further, nor is any larger set around it: a minimal cut set is all
that is asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from sequencer.proof import kernel
from sequencer.proof.engine import Flags, Ints, Words, isin, merged, missing, unique
from sequencer.proof.sets import Sets
from sequencer.proof.slices import Slice
from sequencer.proof.words import TooLarge

NOTHING = np.empty(0, np.uint64)


@dataclass(eq=False)
class Level:
    """Words of all sets of one size, in layers. breaks: {set: (row of the table and source, or None: the word itself,
    and the breaking word)}."""

    first: int
    layers: list[Words] = field(default_factory=list)
    whole: Words = field(default_factory=lambda: NOTHING)
    breaks: dict[int, Break] = field(default_factory=dict)


@dataclass(frozen=True)
class Break:
    """The rule broken under a set: on the image of a row of the table from `source`, or by the word itself."""

    of: int
    word: int
    source: int | None = None
    row: int | None = None


class Court:
    """Judges images and words of a slice; remembers the first break of every set."""

    def __init__(self, view: Slice, sets: int) -> None:
        self.view, self.broken = view, np.zeros(sets, np.bool_)
        self.breaks: dict[int, Break] = {}
        scans, worlds = view.judgements
        self.scans = [(np.uint64(c), np.uint64(w), begins, [(p, np.uint64(oc), np.uint64(ow)) for p, oc, ow in some]) for c, w, begins, some in scans]
        self.world = [(np.uint64(c), np.uint64(w), np.array(p, np.int64)) for c, w, p in worlds]

    def images(self, rows: Ints, sources: Words, images: Words) -> None:
        """Judge images of rows that may be taken, in the order of `Slice.matches`."""
        view = self.view
        ok = view.judged.oks[view.table.ok[rows]]
        bad = np.zeros(len(rows), np.bool_)
        for number in np.flatnonzero(ok.any(axis=0)).tolist():
            care, want, begins, origins = self.scans[number]
            hit = np.flatnonzero(ok[:, number] & ((images & care) == want))
            if begins and len(hit):
                before, places = sources[hit], view.places_of(sources[hit])
                begun = np.zeros(len(hit), np.bool_)
                for some, c, w in origins:
                    begun |= np.isin(places, some) & ((before & c) == w)
                hit = hit[begun]
            bad[hit] = True
        hit = np.flatnonzero(bad)
        for tag, first in zip(*np.unique(view.sets_of(images[hit]), return_index=True), strict=True):
            i = hit[first]
            self.broke(Break(int(tag), int(images[i]), int(sources[i]), int(rows[i])))

    def words(self, words: Words) -> Words:
        """Judge new words by the rules about the world; those of sets that are broken are left out, but for a breaking
        word itself, so that its way can be traced."""
        view, last = self.view, []
        for care, want, places in self.world:
            hit = words[((words & care) == want) & np.isin(view.places_of(words), places)]
            if len(hit):
                for tag, first in zip(*np.unique(view.sets_of(hit), return_index=True), strict=True):
                    if not self.broken[tag]:
                        last.append(hit[first])
                        self.broke(Break(int(tag), int(hit[first])))
        if self.breaks and len(words):
            going = ~self.broken[view.sets_of(words)]
            if last:
                going |= np.isin(words, np.array(last, np.uint64))
            words = words[going]
        return words

    def broke(self, found: Break) -> None:
        """Remember the first break of a set."""
        if not self.broken[found.of]:
            self.broken[found.of] = True
            self.breaks[found.of] = found


class Closing:
    """Explores one slice for one rule."""

    def __init__(self, view: Slice, sets: Sets, budget: int) -> None:
        self.view, self.sets, self.budget = view, sets, budget
        self.enough = view.whole.enough_for(sets)
        self.levels: list[Level] = []
        self.count = 0
        made = kernel.library()
        self.compiled = kernel.View.of(view, self.enough) if made else None
        self.inner = kernel.Closed(made, self.compiled, sets.parts) if made and self.compiled else None
        """The same exploration in the kernel, where there is one."""

    def begin(self, tags: Sequence[int]) -> Words:
        """The starts of the system under some sets."""
        starts = [self.view.word(w) | tag << int(self.view.tag) for w in self.view.whole.system.starts for tag in tags]
        return np.unique(np.array(starts, np.uint64))

    # ---- levels -------------------------------------------------------------------------------

    def each(self, tags: Sequence[int]) -> Level:
        """Some sets, each by itself."""
        level = Level(0)
        self.levels = [level]
        return self._close(level, self.begin(tags))

    def start(self) -> Level:
        """Level 0: without faults."""
        level = Level(0)
        self.levels = [level]
        return self._close(level, self.begin([0]))

    def climb(self, live: Flags) -> Level:
        """The next level, for the sets of it that are `live` (by number)."""
        size = len(self.levels)
        level = Level(self.sets.level(size).start)
        self.levels.append(level)
        if self.inner:
            return self._climbed(self.inner, level, live)
        court = Court(self.view, len(self.sets))
        seeds: list[Words] = []
        for lower in range(size):
            if len(self.levels[lower].whole):
                seeds += self._seeds(court, lower, size, live)
        return self._close(level, self._unknown(unique(seeds), level), court)

    def _seeds(self, court: Court, lower: int, size: int, live: Flags) -> Iterator[Words]:
        """What the words of a lower level become by rows that a larger set brings."""
        view, first = self.view, self.sets.first[lower]
        starts, counts, targets = self.sets.gains(self.enough, lower, size)
        gain, able = self._gain(counts, first)
        for rows, sources in view.matches(self.levels[lower].whole, gain, able[view.table.need]):
            below, need = view.sets_of(sources) - first, view.table.need[rows]
            many = counts[need, below]
            each = np.repeat(np.arange(len(rows)), many)
            new = targets[np.repeat(starts[need, below] - np.cumsum(many) + many, many) + np.arange(len(each))]
            alive = live[new]
            each, new = each[alive], new[alive]
            lifted = sources[each] & ~view.tags | (new.astype(np.uint64) << view.tag)
            yield self._images(court, rows[each], lifted)

    def _gain(self, counts: Ints, first: int) -> tuple[Flags, Flags]:
        """([need, set]: where a larger set gains by a need; needs by which any does)."""
        gain = np.zeros((len(counts), len(self.sets)), np.bool_)
        gain[:, first : first + counts.shape[1]] = counts > 0
        return gain, np.asarray(gain.any(axis=1), np.bool_)

    def _climbed(self, inner: kernel.Closed, level: Level, live: Flags) -> Level:
        """`climb` in the kernel."""
        size, cell = len(self.levels) - 1, kernel.Cell(len(self.sets))
        for lower in range(size):
            first, gains = self.sets.first[lower], self.sets.gains(self.enough, lower, size)
            inner.seed(cell, self.levels[lower].whole, *self._gain(gains[1], first), gains, first, live)
        return self._closed(inner, level, NOTHING, cell)

    def _closed(self, inner: kernel.Closed, level: Level, seeds: Words, cell: kernel.Cell) -> Level:
        """`_close` in the kernel."""
        level.layers = inner.close(cell, seeds, self.budget - self.count)
        level.whole = np.sort(np.concatenate(level.layers))
        level.breaks = {found[0]: Break(*found) for found in cell.breaks()}
        self.count += len(level.whole)
        return level

    def _close(self, level: Level, seeds: Words, court: Court | None = None) -> Level:
        if self.inner:
            return self._closed(self.inner, level, seeds, kernel.Cell(len(self.sets)))
        court = court or Court(self.view, len(self.sets))
        frontier = court.words(seeds)
        level.layers, level.whole = [frontier], frontier
        self.count += len(frontier)
        while len(frontier):
            pieces = [self._images(court, rows, sources) for rows, sources in self.view.matches(frontier, self.enough)]
            fresh = court.words(self._unknown(unique(pieces), level))
            self.count += len(fresh)
            if self.count > self.budget:
                raise TooLarge("a slice of the pad is larger than the budget of one rule")
            level.whole = merged(level.whole, fresh)
            if len(fresh):
                level.layers.append(fresh)
            frontier = fresh
        level.breaks = dict(sorted(court.breaks.items()))
        return level

    def _images(self, court: Court, rows: Ints, sources: Words) -> Words:
        images = self.view.images(sources, rows)
        court.images(rows, sources, images)
        return images[np.flatnonzero(~court.broken[self.view.sets_of(images)])] if court.breaks else images

    def _unknown(self, words: Words, level: Level) -> Words:
        """Those that neither this level nor a subset has."""
        words = missing(words, level.whole)
        size = self.levels.index(level)
        if size == 0 or not len(words):
            return words
        kept = np.ones(len(words), np.bool_)
        tags, bare = self.view.sets_of(words) - level.first, words & ~self.view.tags
        for lower in range(size):
            whole = self.levels[lower].whole
            if not len(whole):
                continue
            parts = self.sets.parts_of(size, lower)
            for column in range(parts.shape[1]):
                below = parts[tags, column]
                asked = bare | (below.astype(np.uint64) << self.view.tag)
                kept &= ~isin(asked, whole) | (below < 0)
        return words[kept]
