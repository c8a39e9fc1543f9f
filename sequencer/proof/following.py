"""The whole system led along a slice's shortest ways to a breach: either it gets there, or what holds it back is told."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sequencer.proof import kernel
from sequencer.proof.closing import Break, Closing, Court, Level
from sequencer.proof.engine import Flags, Ints, Words, isin, merged, missing, unique
from sequencer.proof.slices import Slice
from sequencer.proof.words import TooLarge

AT_ONCE = 400
"""Most words of one set that are followed at once, those nearest to the breach first."""


@dataclass
class Ways:
    """All words of a slice on some shortest way to a breach of their set. layers: by depth; words and distance: the same,
    sorted, with the steps that are left to the breach."""

    layers: list[Words]
    words: Words
    distance: Ints

    @classmethod
    def of(cls, closing: Closing, level: Level) -> Ways:
        """The ways of every set that breaks the rule in a level that was explored by `each`."""
        view, goals = closing.view, _goals(level)
        last = np.zeros(len(closing.sets), np.int64)
        layers: list[Words] = []
        for depth, layer in enumerate(level.layers):
            layers.append(goals[isin(goals, layer)])
            last[view.sets_of(layers[-1])] = depth
        if closing.inner:
            on = np.split(closing.inner.shortest(goals), np.cumsum([len(layer) for layer in level.layers])[:-1])
            layers = [layer[some] for layer, some in zip(level.layers, on, strict=True)]
        for depth in [] if closing.inner else range(len(layers) - 1, 0, -1):
            if len(layers[depth]):
                hits = [sources[isin(view.images(sources, rows), layers[depth])] for rows, sources in view.matches(level.layers[depth - 1], closing.enough)]
                layers[depth - 1] = unique([*hits, layers[depth - 1]])
        words = np.concatenate(layers)
        distance = last[view.sets_of(words)] - np.repeat(np.arange(len(layers)), [len(x) for x in layers])
        order = np.argsort(words)
        return cls(layers, words[order], distance[order])

    @classmethod
    def all_of(cls, closing: Closing, level: Level) -> Ways:
        """Not the shortest only: every word of a level from which its set's breach can be reached, without layers."""
        view, front = closing.view, _goals(level)
        if closing.inner:
            words, far = np.concatenate(level.layers), closing.inner.far(front)
            some = np.flatnonzero(far >= 0)
            some = some[np.argsort(words[some])]
            return cls([], words[some], far[some].astype(np.int64))
        edges = [(sources, view.images(sources, rows)) for rows, sources in view.matches(level.whole, closing.enough)]
        sources, images = (np.concatenate([e[i] for e in edges]) for i in (0, 1))
        order = np.argsort(images)
        sources, images = sources[order], images[order]
        layers, words = [front], front
        while len(front):
            begin, end = np.searchsorted(images, front), np.searchsorted(images, front, "right")
            many = end - begin
            before = sources[np.repeat(begin - np.cumsum(many) + many, many) + np.arange(int(many.sum()))]
            front = missing(np.unique(before), words)
            words = merged(words, front)
            layers.append(front)
        words = np.concatenate(layers)
        order = np.argsort(words)
        return cls([], words[order], np.repeat(np.arange(len(layers)), [len(x) for x in layers])[order])

    def left(self, words: Words) -> Ints:
        """Steps left from words of the slice; -1 for one that lies on no way."""
        if not len(self.words):
            return np.full(len(words), -1)
        at = np.searchsorted(self.words, words)
        at[at == len(self.words)] = 0
        return np.where(self.words[at] == words, self.distance[at], -1)


def _goals(level: Level) -> Words:
    """The last words before a breach, of every set that breaks the rule."""
    return unique([np.array([b.word if b.source is None else b.source for b in level.breaks.values()], np.uint64)])


@dataclass
class Following:
    """A search of the whole system (the slice `exact` of all its bits) along the ways of the slice `view`, for several
    sets at once; the words nearest to the breach go first. seen: every word that was reached."""

    exact: Closing
    view: Slice
    ways: Ways
    seen: Words = field(default_factory=lambda: np.empty(0, np.uint64))

    def __post_init__(self) -> None:
        self.court = Court(self.exact.view, len(self.exact.sets))
        self._steps: list[tuple[Words, Words, Ints]] = []
        made, compiled = kernel.library(), self.exact.compiled
        self._kernel = kernel.Searched(made, compiled, self.view.runs_from(self.exact.view), self.ways.words, self.ways.distance) if made and compiled else None

    def search(self, tags: list[int], begin: Words | None = None, most: int | None = None) -> None:
        """Follow the ways of some sets until they break or nothing is left. begin: where to begin instead of the starts,
        words that are known to be reached; most: words looked at in all, beyond which nothing is said."""
        closing, view = self.exact, self.exact.view
        if closing.compiled and self._kernel:
            cell = kernel.Cell(len(closing.sets))
            self.seen = self._kernel.run(cell, closing.begin(tags) if begin is None else begin, AT_ONCE, most, closing.budget)
            for found in cell.breaks():
                self.court.broke(Break(*found))
            return
        words, none = closing.begin(tags) if begin is None else begin, np.empty(0, np.uint64)
        pending, left = none, np.empty(0, np.int64)
        while most is None or len(self.seen) < most:
            ahead = self.ways.left(self.view.seen(view, words))
            words, ahead = words[ahead >= 0], ahead[ahead >= 0]
            self.seen = merged(self.seen, words)
            if len(self.seen) > closing.budget:
                raise TooLarge("what is looked at of the whole pad is larger than the budget of one rule")
            self.court.words(words)
            pending, left = np.concatenate([pending, words]), np.concatenate([left, ahead])
            going = ~self.court.broken[view.sets_of(pending)]
            pending, left = pending[going], left[going]
            if not len(pending):
                return
            chosen = self._nearest(view.sets_of(pending), left)
            front, pending, left = np.sort(pending[chosen]), pending[~chosen], left[~chosen]
            words = self._step(front)

    def _nearest(self, sets: Ints, left: Ints) -> Flags:
        """Per set, those of the fewest steps left (at most so many)."""
        order = np.lexsort([left, sets])
        ordered, near = sets[order], left[order]
        first = np.searchsorted(ordered, ordered)
        chosen = np.zeros(len(sets), np.bool_)
        chosen[order] = (near == near[first]) & (np.arange(len(order)) - first < AT_ONCE)
        return chosen

    def _step(self, front: Words) -> Words:
        """New images of words; where they came from is kept."""
        found = list(self.exact.view.matches(front, self.exact.enough))
        if not found:
            return np.empty(0, np.uint64)
        row, source = np.concatenate([rows for rows, _ in found]), np.concatenate([sources for _, sources in found])
        images = self.exact.view.images(source, row)
        self.court.images(row, source, images)
        fresh, first = np.unique(images, return_index=True)
        new = missing(fresh, self.seen)
        at = first[np.searchsorted(fresh, new)]
        self._steps.append((new, source[at], row[at]))
        return new

    def way(self, tag: int) -> tuple[tuple[int, int], ...]:
        """(row number, word afterwards) from where the search began to the breach of a set."""
        return tuple((self._number(row), self._whole(word)) for row, word in self._traced(tag)[1])

    def begin(self, tag: int) -> int:
        """The word of the whole system at which the way of a set begins."""
        return self._whole(self._traced(tag)[0])

    def row(self, tag: int, word: int, image: int) -> int | None:
        """Number of a row that leads from one word of the whole system to another under a set; None where none does."""
        view = self.exact.view
        before, after = (view.word(w) | tag << int(view.tag) for w in (word, image))
        for rows, sources in view.matches(np.array([before], np.uint64), self.exact.enough):
            hit = rows[view.images(sources, rows) == np.uint64(after)]
            if len(hit):
                return self._number(int(hit[0]))
        return None

    def _traced(self, tag: int) -> tuple[int, list[tuple[int, int]]]:
        """(where it begins, (row of the table, word) of every step), in words of the exact slice."""
        broken = self.court.breaks[tag]
        steps: list[tuple[int, int]] = []
        word = broken.word
        if broken.row is not None and broken.source is not None:
            steps.append((broken.row, word))
            word = broken.source
        while self._kernel and (before := self._kernel.before(word)):
            steps.append((before[1], word))
            word = before[0]
        for words, sources, rows in reversed(self._steps):
            at = int(np.searchsorted(words, np.uint64(word)))
            if at < len(words) and int(words[at]) == word:
                steps.append((int(rows[at]), word))
                word = int(sources[at])
        return word, steps[::-1]

    def _whole(self, word: int) -> int:
        view = self.exact.view
        return int(view.unpacked(np.array([word], np.uint64))[0]) | word >> int(view.shift) << view.whole.system.layout.shift

    def _number(self, row: int) -> int:
        view = self.exact.view
        return int(view.whole.number[view.judged.entries[view.members(int(view.table.key[row]))[0]]])
