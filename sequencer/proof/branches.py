"""Ways through a scan, many at once: what each has assumed of the word and chosen of everything free, column by column.

An array of branches has one column per branch and these lines: CARE and WANT (the cube of the word that it assumed), LIES
(readings that showed something the sound sensor could not), CLEAR and PUT (bits of the word the scan leaves so), HOLDS
(number of the tuple of output positions), LAZY (1 where a delay was taken as not over), then the choices: which conditions
and contacts are chosen (`Choices.words` lines of 64 each) and with what value (as many again).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sequencer.proof.engine import Flags, Words
from sequencer.proof.words import ALL, Cube

Branches = Words
CARE, WANT, LIES, CLEAR, PUT, HOLDS, LAZY, KNOWN = range(8)
ONE = np.uint64(1)


class Choices:
    """Where the choices of a pad stand: `keys` conditions and contacts, numbered from 0."""

    def __init__(self, keys: int) -> None:
        self.words = max(1, (keys + 63) // 64)
        self.lines = KNOWN + 2 * self.words
        self._keep: dict[tuple[int, int], Branches] = {}

    def none(self) -> Branches:
        """The one branch that has assumed and chosen nothing."""
        return np.zeros((self.lines, 1), np.uint64)

    def empty(self) -> Branches:
        return np.zeros((self.lines, 0), np.uint64)

    def known(self, branches: Branches, key: int) -> Flags:
        """In which branches a key is chosen."""
        return np.asarray(branches[KNOWN + key // 64] >> np.uint64(key % 64) & ONE, np.bool_)

    def chosen(self, branches: Branches, key: int) -> Flags:
        """In which branches a key is chosen to be 1."""
        return np.asarray(branches[KNOWN + self.words + key // 64] >> np.uint64(key % 64) & ONE, np.bool_)

    def choose(self, branches: Branches, key: int, value: int) -> Branches:
        """The branches with a key chosen that was not (a new array)."""
        made, bit = branches.copy(), ONE << np.uint64(key % 64)
        made[KNOWN + key // 64] |= bit
        if value:
            made[KNOWN + self.words + key // 64] |= bit
        return made

    def only(self, branches: Branches, live: int, gone: int) -> Branches:
        """The branches without choices outside `live` (a mask of keys) and without what they assumed of the bits `gone`."""
        keep = self._keep.get((live, gone))
        if keep is None:
            live_words = [live >> 64 * word & ALL for word in range(self.words)]
            rest = [ALL] * (KNOWN - 2)
            keep = np.array([~gone & ALL, ~gone & ALL, *rest, *live_words, *live_words], np.uint64)[:, None]
            self._keep[live, gone] = keep
        return distinct(branches & keep)


def assume(branches: Branches, cube: Cube) -> Branches:
    """The branches that can lie in a cube, with it assumed (a new array)."""
    if not cube.care:
        return branches.copy()
    care, want = np.uint64(cube.care), np.uint64(cube.want)
    made = branches[:, (branches[WANT] ^ want) & branches[CARE] & care == 0]
    made[CARE] |= care
    made[WANT] |= want
    return made


def together(parts: Sequence[Branches]) -> Branches:
    """All branches of some arrays (at least one)."""
    some = [p for p in parts if p.shape[1]]
    if len(some) < 2:
        return some[0] if some else parts[0]
    return np.concatenate(some, axis=1)


def distinct(branches: Branches) -> Branches:
    """The branches without repetitions; one that is not lazy stands for its lazy twin."""
    if branches.shape[1] < 2:
        return branches
    first = branches[:, :1]
    keys = [line for i, line in enumerate(branches) if i != LAZY and (line != first[i]).any()]
    if not keys:
        return branches[:, branches[LAZY].argmin()][:, None]
    order = np.lexsort([branches[LAZY], *keys])
    ordered = np.array(keys)[:, order]
    new = np.ones(len(order), np.bool_)
    new[1:] = (ordered[:, 1:] != ordered[:, :-1]).any(axis=0)
    return branches[:, order[new]]
