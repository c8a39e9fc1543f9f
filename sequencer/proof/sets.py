"""Sets of fault kinds by number: which lie around which, and what a larger one brings that a smaller one does not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from itertools import combinations
from math import comb
from typing import Protocol

import numpy as np

from sequencer.proof.brought import Set
from sequencer.proof.engine import Flags, Ints
from sequencer.proof.system import Row

Gains = tuple[Ints, Ints, Ints]


class Changes(Protocol):
    """What faults bring to a system (or other changes, one like the other): `Brought`, or the mutants of `why`."""

    @property
    def kinds(self) -> Sequence[object]: ...
    @property
    def most(self) -> int: ...
    @property
    def rows(self) -> Sequence[Row]: ...
    @property
    def wrongs(self) -> Mapping[str, frozenset[int]]: ...
    @property
    def barred(self) -> Mapping[str, frozenset[int]]: ...
    def sets(self, size: int) -> list[Set]: ...


class Sets:
    """Sets of faults by number. Of all up to a size: 0 is the empty one, then singles, then pairs and so on."""

    def __init__(self, brought: Changes, some: Sequence[Set], first: Sequence[int] = (0,)) -> None:
        self.brought, self.all, self.first = brought, list(some), list(first)
        self.number = {s: i for i, s in enumerate(self.all)}
        self.member = np.zeros((len(self.all), len(brought.kinds)), np.bool_)
        for number, one in enumerate(self.all):
            self.member[number, list(one)] = True
        self.size = self.member.sum(axis=1)
        self._parts: dict[tuple[int, int], Ints] = {}
        self._gains: dict[tuple[int, int], Gains] = {}

    @classmethod
    def up_to(cls, brought: Changes, most: int) -> Sets:
        """Every set of at most so many kinds of different parts."""
        every: list[Set] = [()]
        first = [0]
        for size in range(1, most + 1):
            first.append(len(every))
            every += brought.sets(size)
        return cls(brought, every, first)

    def __len__(self) -> int:
        return len(self.all)

    @property
    def most(self) -> int:
        """Size of the largest."""
        return len(self.first) - 1

    def level(self, size: int) -> range:
        """Numbers of the sets of a size."""
        end = self.first[size + 1] if size + 1 < len(self.first) else len(self.all)
        return range(self.first[size], end)

    def around(self, some: Set) -> Flags:
        """The larger sets around one."""
        return np.asarray(self.member[:, list(some)].all(axis=1) & (self.size > len(some)), np.bool_)

    def with_parts(self, chosen: Flags) -> Flags:
        """The sets chosen, and all their parts."""
        wanted = chosen.copy()
        for one in {p for n in np.flatnonzero(chosen) for size in range(self.size[n]) for p in combinations(self.all[n], size)}:
            wanted[self.number[one]] = True
        return wanted

    def bring(self, wrong: str) -> Flags:
        """Which sets bring a wrong (one that nothing brings is never there), or do not bar it."""
        if wrong in self.brought.barred:
            return np.asarray(~self.member[:, sorted(self.brought.barred[wrong])].any(axis=1), np.bool_)
        return np.asarray(self.member[:, sorted(self.brought.wrongs.get(wrong, ()))].any(axis=1), np.bool_)

    def parts_of(self, size: int, lower: int) -> Ints:
        """[set of a size, column]: numbers of its parts of a lower size (-1 where there is none)."""
        if (size, lower) not in self._parts:
            numbers = [[self.number.get(p, -1) for p in combinations(self.all[t], lower)] for t in self.level(size)]
            self._parts[size, lower] = np.array(numbers, np.int64).reshape(len(numbers), comb(size, lower))
        return self._parts[size, lower]

    @cached_property
    def parts(self) -> tuple[Ints, Ints]:
        """(where those of each set begin, numbers): the smaller sets within each; none where there is one level only."""
        found = [[self.number[p] for size in range(len(s)) for p in combinations(s, size) if p in self.number] if self.most else [] for s in self.all]
        ends = np.cumsum([0, *map(len, found)])
        return ends.astype(np.int64), np.array([n for some in found for n in some], np.int64)

    def gains(self, enough: Flags, lower: int, size: int) -> Gains:
        """(starts, counts, sets): for need n and set s of the lower level, the sets of the higher level around s for which
        the need is met, and was not met by any set between. enough: [need, set], which may have grown since."""
        known = self._gains.get((lower, size))
        if known is None or len(known[1]) < len(enough):
            new = self._gained(enough[0 if known is None else len(known[1]) :], lower, size)
            if known is not None:
                starts, counts, targets = known
                new = np.concatenate([starts, new[0] + len(targets)]), np.concatenate([counts, new[1]]), np.concatenate([targets, new[2]])
            self._gains[lower, size] = known = new
        return known

    def _gained(self, enough: Flags, lower: int, size: int) -> Gains:
        """The same for some needs."""
        first, numbers = self.level(lower).start, np.array(self.level(size), np.int64)
        width, members = len(self.level(lower)), range(size)
        places: dict[tuple[int, ...], Ints] = {}
        for many in range(lower, size):
            for column, some in enumerate(combinations(members, many)):
                places[some] = self.parts_of(size, many)[:, column]
        keys = []
        for part in combinations(members, lower):
            gained = enough[:, numbers] & (places[part] >= 0)
            for some, between in places.items():
                if set(part) <= set(some):
                    gained &= ~enough[:, between] | (between < 0)
            need, at = np.nonzero(gained)
            keys.append((need * width + places[part][at] - first) * len(self) + numbers[at])
        cell, targets = np.divmod(np.sort(np.concatenate(keys)), len(self))
        counts = np.bincount(cell, minlength=len(enough) * width)
        return (np.cumsum(counts) - counts).reshape(-1, width), counts.reshape(-1, width), targets
