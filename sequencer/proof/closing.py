"""What every set of faults can reach in a slice, all sets at once, level by level.

Level 0 is the sound system; level n holds, for every set of n fault kinds, only the words that none of its subsets
reaches. A word carries the number of its set. A set that breaks the rule is not followed further, nor is any larger
set around it: a minimal cut set is all that is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import numpy.typing as npt

from sequencer.proof.brought import Brought, Set
from sequencer.proof.engine import Words, merged, missing, unique
from sequencer.proof.slices import Flags, Group, Ints, Slice
from sequencer.proof.words import TooLarge

PIECE = 1 << 16
"""Words times rows of one comparison."""


@dataclass(frozen=True)
class Break:
    """The rule broken under a set: on the image of row `row` (place, index) from `source`, or by the word itself."""

    of: int
    word: int
    source: int | None = None
    row: tuple[int, int] | None = None


@dataclass(eq=False)
class Level:
    """Words of all sets of one size, in layers."""

    first: int
    sets: list[Set]
    layers: list[Words] = field(default_factory=list)
    whole: Words = field(default_factory=lambda: np.empty(0, np.uint64))
    breaks: dict[int, Break] = field(default_factory=dict)


class Sets:
    """Numbers of the sets of faults up to a size: 0 is the empty one, then singles, then pairs and so on."""

    def __init__(self, brought: Brought | None, most: int) -> None:
        self.brought = brought
        self.all: list[Set] = [()]
        self.first = [0]
        for size in range(1, most + 1):
            self.first.append(len(self.all))
            self.all += brought.sets(size) if brought else []
        self.number = {s: i for i, s in enumerate(self.all)}

    def __len__(self) -> int:
        return len(self.all)

    def level(self, size: int) -> range:
        """Numbers of the sets of a size."""
        end = self.first[size + 1] if size + 1 < len(self.first) else len(self.all)
        return range(self.first[size], end)

    def suffices(self, needs: list[frozenset[str]]) -> Flags:
        """[needs, set]: whether a set brings all of these wrongs."""
        if self.brought is None:
            return np.array([[not n] for n in needs], np.bool_)
        return self.brought.suffices(needs, self.all)


class Closing:
    """Explores one slice for one rule. inside: words to look at, where not all are wanted."""

    def __init__(self, view: Slice, sets: Sets, budget: int, inside: Callable[[Words], Flags] | None = None) -> None:
        self.view, self.sets, self.budget, self.inside = view, sets, budget, inside
        self.enough = sets.suffices(view.needs)
        self.levels: list[Level] = []
        self.borders = np.array([p << int(view.shift) for p in range(len(view.whole.system.places))], np.uint64)
        self.world = [b for b in view.judged.bads if not b.after_scan]
        self.count = 0

    # ---- levels -------------------------------------------------------------------------------

    def start(self) -> Level:
        """Level 0: without faults."""
        system = self.view.whole.system
        level = Level(0, [()])
        self.levels = [level]
        begin = unique([np.array([self.view.word(w) for w in system.starts], np.uint64)])
        self._close(level, begin, np.ones(len(self.sets), np.bool_))
        return level

    def climb(self, live: Flags) -> Level:
        """The next level, for the sets of it that are `live` (by number)."""
        size = len(self.levels)
        numbers = self.sets.level(size)
        level = Level(numbers.start, self.sets.all[numbers.start : numbers.stop])
        seeds: list[Words] = []
        self.levels.append(level)
        for lower in range(size):
            whole = self.levels[lower].whole
            if len(whole):
                seeds += self._seeds(level, whole, self._gains(lower, size, live), live)
        fresh = self._unknown(unique(seeds), level)
        self._close(level, fresh, live)
        return level

    def _gains(self, lower: int, size: int, live: Flags) -> tuple[Ints, Ints, Ints]:
        """(starts, counts, sets): for need n and set s of the lower level, the live sets of this level around s for
        which the need is met, and was not met by any set between."""
        found: list[list[int]] = []
        numbers = self.sets.level(lower)
        table: dict[tuple[int, int], list[int]] = {}
        for target in self.sets.level(size):
            if not live[target]:
                continue
            whole = self.sets.all[target]
            met = self.enough[:, target]
            for part in combinations(whole, lower):
                below = self.sets.number.get(part)
                if below is None:
                    continue
                gained = met & ~self.enough[:, below]
                rest = [k for k in whole if k not in part]
                for more in range(1, len(rest)):
                    for some in combinations(rest, more):
                        between = self.sets.number.get(tuple(sorted((*part, *some))))
                        if between is not None:
                            gained = gained & ~self.enough[:, between]
                for wanted in np.flatnonzero(gained):
                    table.setdefault((int(wanted), below), []).append(target)
        starts = np.zeros((len(self.view.needs), len(numbers)), np.int64)
        counts = np.zeros_like(starts)
        at = 0
        for (need, below), targets in table.items():
            starts[need, below - numbers.start], counts[need, below - numbers.start] = at, len(targets)
            found.append(targets)
            at += len(targets)
        return starts, counts, np.array([t for some in found for t in some], np.int64)

    def _seeds(self, level: Level, whole: Words, gains: tuple[Ints, Ints, Ints], live: Flags) -> Iterator[Words]:
        starts, counts, targets = gains
        view = self.view
        able: Flags = np.asarray(counts.any(axis=1), np.bool_)
        first = np.uint64(self.sets.first[self._size(whole)])
        for place, group, rows, sources in self.matches(whole, lambda g: able[g.needs]):
            tags = ((sources & np.uint64(view.low)) >> view.tag) - first
            need = group.needs[rows]
            many = counts[need, tags.astype(np.int64)]
            has = many > 0
            if not has.any():
                continue
            rows, sources, need, tags, many = rows[has], sources[has], need[has], tags[has], many[has]
            begin = starts[need, tags.astype(np.int64)]
            each = np.repeat(np.arange(len(rows)), many)
            offset = np.arange(len(each)) - np.repeat(np.cumsum(many) - many, many)
            new = targets[begin[each] + offset]
            plain = sources[each] & ~(np.uint64(view.low) & ~np.uint64(view.bits)) | (new.astype(np.uint64) << view.tag)
            yield self._images(level, place, group, rows[each], plain, live)

    def _size(self, whole: Words) -> int:
        return next(i for i, level in enumerate(self.levels) if level.whole is whole)

    def _close(self, level: Level, seeds: Words, live: Flags) -> None:
        frontier = self._judge(level, seeds)
        level.layers, level.whole = [frontier], frontier
        self.count += len(frontier)
        while len(frontier):
            pieces = []
            for place, group, rows, sources in self.matches(frontier, None):
                tags = ((sources & np.uint64(self.view.low)) >> self.view.tag).astype(np.int64)
                able = self.enough[group.needs[rows], tags]
                if able.any():
                    pieces.append(self._images(level, place, group, rows[able], sources[able], live))
            fresh = self._unknown(unique(pieces), level)
            if self.inside is not None:
                fresh = fresh[self.inside(fresh)]
            fresh = self._judge(level, fresh)
            self.count += len(fresh)
            if self.count > self.budget:
                raise TooLarge("a slice of the pad is larger than the budget of one rule")
            level.whole = merged(level.whole, fresh)
            if len(fresh):
                level.layers.append(fresh)
            frontier = fresh

    def _unknown(self, words: Words, level: Level) -> Words:
        """Those that neither this level nor a subset has."""
        words = missing(words, level.whole)
        size = self.levels.index(level)
        if size == 0 or not len(words):
            return words
        kept = np.ones(len(words), np.bool_)
        tags = ((words & np.uint64(self.view.low)) >> self.view.tag).astype(np.int64)
        bare = words & ~(np.uint64(self.view.low) & ~np.uint64(self.view.bits))
        for lower in range(size):
            whole = self.levels[lower].whole
            if not len(whole):
                continue
            for column in range(len(self._parts(size, lower)[0])):
                below = self._parts(size, lower)[tags - level.first, column]
                asked = bare | (below.astype(np.uint64) << self.view.tag)
                at = np.searchsorted(whole, asked)
                at[at == len(whole)] = 0
                kept &= (whole[at] != asked) | (below < 0)
        return words[kept]

    def _parts(self, size: int, lower: int) -> Ints:
        """[set of this size, column]: numbers of its parts of a lower size (-1 where there is none)."""
        key = f"{size} {lower}"
        known: dict[str, Ints] = self.__dict__.setdefault("_known", {})
        if key not in known:
            known[key] = np.array(
                [[self.sets.number.get(p, -1) for p in combinations(self.sets.all[t], lower)] for t in self.sets.level(size)], np.int64
            )  # fmt: skip
        return known[key]

    # ---- rows ---------------------------------------------------------------------------------

    def matches(self, words: Words, chosen: Callable[[Group], Flags] | None = None) -> Iterator[tuple[int, Group, Ints, Words]]:
        """(place, rows of it, which row, from which word) of everything that may be taken, needs aside."""
        cuts = np.append(np.searchsorted(words, self.borders), len(words))
        for place, group in self.view.groups.items():
            part = words[cuts[place] : cuts[place + 1]]
            if not len(part):
                continue
            which = np.arange(len(group.care)) if chosen is None else np.flatnonzero(chosen(group))
            plain = which[which < group.plain]
            if len(plain):
                care, want = group.care[plain], group.want[plain]
                step = max(1, PIECE // len(plain))
                for begin in range(0, len(part), step):
                    piece = part[begin : begin + step]
                    at, row = np.nonzero((piece[:, None] & care) == want)
                    if len(at):
                        yield place, group, plain[row], piece[at]
            for row in which[which >= group.plain]:
                mask = (part & group.care[row]) == group.want[row]
                for c, w in group.unless[row]:
                    mask &= (part & c) != w
                sources = part[mask]
                if len(sources):
                    yield place, group, np.full(len(sources), row), sources

    def _images(self, level: Level, place: int, group: Group, rows: Ints, sources: Words, live: Flags) -> Words:
        images = sources & group.keep[rows] | group.put[rows]
        ok = self.view.oks[group.ok[rows]]
        if ok.any():
            self._judge_scans(level, place, rows, sources, images, ok)
        tags = ((images & np.uint64(self.view.low)) >> self.view.tag).astype(np.int64)
        going = live[tags]
        if level.breaks:
            going &= ~np.isin(tags, list(level.breaks))
        return images[going]

    # ---- judging ------------------------------------------------------------------------------

    def _judge_scans(self, level: Level, place: int, rows: Ints, sources: Words, images: Words, ok: Flags) -> None:
        view, free = self.view, self.view.whole.system.free | self.view.whole.system.spent
        for number, bad in enumerate(view.judged.bads):
            if not ok[:, number].any():
                continue
            care, want = self._cube(bad.cube.care & ~free, bad.cube.want & ~free)
            mask = ok[:, number] & ((images & care) == want)
            if bad.starts is not None and mask.any():
                begins = np.zeros(len(mask), np.bool_)
                for places, cube in bad.sources:
                    if place in places:
                        c, w = self._cube(cube.care & ~free, cube.want & ~free)
                        begins |= (sources & c) == w
                mask &= begins
            self._broken(level, np.flatnonzero(mask), images, sources, (place, rows))

    def _judge(self, level: Level, words: Words) -> Words:
        """New words for rules about the world; what belongs to a broken set is not followed."""
        view, free = self.view, self.view.whole.system.free | self.view.whole.system.spent
        places = (words >> view.shift).astype(np.int64)
        for bad in self.world:
            care, want = self._cube(bad.cube.care & ~free, bad.cube.want & ~free)
            mask = ((words & care) == want) & np.isin(places, list(bad.places))
            self._broken(level, np.flatnonzero(mask), words, None, None)
        if level.breaks and len(words):
            tags = ((words & np.uint64(view.low)) >> view.tag).astype(np.int64)
            # the breaking word itself stays, so that its way can be traced
            last = np.array([b.word for b in level.breaks.values() if b.row is None], np.uint64)
            words = words[~np.isin(tags, list(level.breaks)) | np.isin(words, last)]
        return words

    def _cube(self, care: int, want: int) -> tuple[np.uint64, np.uint64]:
        packed = self.view.packed(np.array([care, want], np.uint64))
        return packed[0], packed[1]

    def _broken(self, level: Level, at: npt.NDArray[np.intp], words: Words, sources: Words | None, row: tuple[int, Ints] | None) -> None:
        if not len(at):
            return
        tags = ((words[at] & np.uint64(self.view.low)) >> self.view.tag).astype(np.int64)
        for tag, first in zip(*np.unique(tags, return_index=True), strict=True):
            if int(tag) not in level.breaks:
                i = int(at[first])
                source = None if sources is None else int(sources[i])
                level.breaks[int(tag)] = Break(int(tag), int(words[i]), source, None if row is None else (row[0], int(row[1][i])))
