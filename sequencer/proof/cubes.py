"""Unions of cubes with as few of them as are found quickly."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from sequencer.proof import kernel
from sequencer.proof.engine import Ints, Words
from sequencer.proof.words import Cube


def joined_all(care: Words, want: Words, ends: Ints) -> list[list[Cube]]:
    """`joined` of many groups at once; they stand one behind the other and end at `ends`."""
    made = kernel.library()
    found = kernel.join(made, care, want, ends) if made else None
    if found is None:
        pairs = list(zip(care.tolist(), want.tolist(), strict=True))
        return [joined(set(pairs[a:b])) for a, b in pairwise([0, *ends.tolist()])]
    cubes = list(map(Cube, found[0].tolist(), found[1].tolist()))
    return [cubes[a:b] for a, b in pairwise([0, *found[2].tolist()])]


FEW = 12
"""Cubes up to which comparing them one by one is quicker than all at once."""


def joined(cubes: set[tuple[int, int]]) -> list[Cube]:
    """The same union with fewer cubes, given as (care, want): those that lie in another drop out, two that differ in one
    bit join, until nothing changes."""
    while len(cubes) > 1:
        merged: set[tuple[int, int]] = set()
        used: set[tuple[int, int]] = set()
        for care, want in cubes:
            left = care & ~want
            while left:
                bit = left & -left
                left ^= bit
                if (care, want | bit) in cubes:
                    merged.add((care ^ bit, want))
                    used |= {(care, want), (care, want | bit)}
        now = _absorbed((cubes - used) | merged)
        if now == cubes:
            break
        cubes = now
    return sorted(Cube(*c) for c in cubes)


def _absorbed(cubes: set[tuple[int, int]]) -> set[tuple[int, int]]:
    """The cubes that lie in no other one."""
    if len(cubes) > FEW:
        care, want = np.array(list(cubes), np.uint64).T
        within = ((care[:, None] & ~care) == 0) & ((want & care[:, None]) == want[:, None])
        np.fill_diagonal(within, False)
        free = ~within.any(axis=0)
        return set(zip(care[free].tolist(), want[free].tolist(), strict=True))
    kept: list[tuple[int, int]] = []
    for care_, want_ in sorted(cubes, key=lambda c: c[0].bit_count()):
        for c, w in kept:
            if c & care_ == c and want_ & c == w:
                break
        else:
            kept.append((care_, want_))
    return set(kept)
