"""Sets of fault kinds by number: which lie around which, and what a larger one brings that a smaller one does not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from itertools import combinations
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
        self._gains: dict[tuple[int, int, int], Gains] = {}

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
            self._parts[size, lower] = np.array(numbers, np.int64)
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
        key = (lower, size, len(enough))
        if key not in self._gains:
            self._gains[key] = self._gained(enough, lower, size)
        return self._gains[key]

    def _gained(self, enough: Flags, lower: int, size: int) -> Gains:
        numbers = self.level(lower)
        needs, belows, targets = [], [], []
        for target in self.level(size):
            whole = self.all[target]
            for part in combinations(whole, lower):
                below = self.number.get(part)
                if below is None:
                    continue
                gained = enough[:, target] & ~enough[:, below]
                rest = [k for k in whole if k not in part]
                for more in range(1, len(rest)):
                    for some in combinations(rest, more):
                        between = self.number.get(tuple(sorted((*part, *some))))
                        if between is not None:
                            gained = gained & ~enough[:, between]
                found = np.flatnonzero(gained)
                needs.append(found)
                belows.append(np.full(len(found), below - numbers.start))
                targets.append(np.full(len(found), target))
        if not needs:
            return np.zeros((len(enough), len(numbers)), np.int64), np.zeros((len(enough), len(numbers)), np.int64), np.zeros(0, np.int64)
        cell = np.concatenate(needs) * len(numbers) + np.concatenate(belows)
        order = np.argsort(cell, kind="stable")
        counts = np.bincount(cell, minlength=len(enough) * len(numbers))
        shape = (len(enough), len(numbers))
        return (np.cumsum(counts) - counts).reshape(shape), counts.reshape(shape), np.concatenate(targets)[order]
