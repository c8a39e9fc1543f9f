"""Breadth-first exploration of a `System` in numpy: every situation that any order of rows can reach.

Frontiers are sorted arrays of 64-bit words, contiguous per place; layers are kept, predecessors are not: a path is
rebuilt from the layers. Rules about the world are judged on every new word, rules about the box on every image of a
scan before duplicates are removed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from sequencer.proof.system import Bad, Row, System
from sequencer.proof.words import TooLarge

Words = npt.NDArray[np.uint64]
BUDGET = 40_000_000
"""Most situations before the exploration gives up and says so."""


@dataclass(frozen=True)
class Breach:
    """A rule broken: on the image of `row` from `source` (or on `word` itself: row None), first at this depth."""

    rule: int
    depth: int
    source: int
    row: int | None
    word: int


@dataclass
class Explored:
    """Layers of words in the order they were reached, and the first breaches found."""

    layers: list[Words]
    breaches: list[Breach]
    transitions: int = 0
    _all: Words | None = None

    @property
    def count(self) -> int:
        return sum(len(layer) for layer in self.layers)

    @property
    def all(self) -> Words:
        """Every reached word, sorted."""
        if self._all is None:
            self._all = np.sort(np.concatenate(self.layers)) if self.layers else np.empty(0, np.uint64)
        return self._all


@dataclass
class Compiled:
    """A row with its masks as numpy numbers and its places as ranges of words."""

    row: Row
    number: int
    ranges: list[tuple[np.uint64, np.uint64]]
    care: np.uint64
    want: np.uint64
    keep: np.uint64
    put: np.uint64
    unless: list[tuple[np.uint64, np.uint64]]


def compiled(system: System, rows: list[tuple[int, Row]]) -> list[Compiled]:
    """Rows ready to be applied to sorted arrays."""
    layout, shift = system.layout, system.layout.shift
    result = []
    for number, row in rows:
        runs: list[list[int]] = []
        for place in sorted(row.at):
            if runs and runs[-1][1] == place:
                runs[-1][1] = place + 1
            else:
                runs.append([place, place + 1])
        keep, put = ~row.clear & ((1 << 64) - 1), row.set
        if row.to is not None:
            keep &= layout.low
            put |= row.to << shift
        keep &= ~put & ~system.free & ((1 << 64) - 1)
        result.append(
            Compiled(
                row, number, [(np.uint64(a << shift), np.uint64(min(b << shift, (1 << 64) - 1))) for a, b in runs],
                np.uint64(row.guard.care & ~system.free), np.uint64(row.guard.want & ~system.free), np.uint64(keep), np.uint64(put),
                [(np.uint64(c.care), np.uint64(c.want)) for c, _ in row.unless],
            )
        )  # fmt: skip
    return result


def taken(row: Compiled, words: Words) -> Words:
    """The words of a sorted array from which the row may be taken."""
    parts = []
    for low, high in row.ranges:
        a, b = np.searchsorted(words, (low, high))
        part = words[a:b]
        if not len(part):
            continue
        mask = (part & row.care) == row.want
        for care, want in row.unless:
            mask &= (part & care) != want
        part = part[mask]
        if len(part):
            parts.append(part)
    if not parts:
        return np.empty(0, np.uint64)
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def missing(words: Words, known: Words) -> Words:
    """The sorted words that are not in a sorted array."""
    if not len(known) or not len(words):
        return words
    at = np.searchsorted(known, words)
    at[at == len(known)] = 0
    return words[known[at] != words]


@dataclass
class Judge:
    """Looks for breaches; remembers the first few of each rule."""

    system: System
    most: int = 8
    found: list[Breach] = field(default_factory=list)
    seen: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        shift = self.system.layout.shift
        self.world: list[tuple[int, Bad, npt.NDArray[np.bool_]]] = []
        self.scans: list[tuple[int, Bad, npt.NDArray[np.bool_]]] = []
        size = 1 << (64 - shift)
        for number, rule in enumerate(self.system.rules):
            for bad in rule.bad:
                table = np.zeros(size, np.bool_)
                table[list(bad.places)] = True
                (self.scans if bad.after_scan else self.world).append((number, bad, table))
        self.shift = np.uint64(shift)

    def words(self, words: Words, depth: int) -> None:
        """Judge new words for rules about the world alone."""
        for number, bad, table in self.world:
            if self.seen.get(number, 0) >= self.most:
                continue
            care, want = bad.cube.care & ~self.system.free, bad.cube.want & ~self.system.free
            hit = words[(words & np.uint64(care)) == np.uint64(want)]
            hit = hit[table[hit >> self.shift]]
            for word in hit[: self.most]:
                self._note(Breach(number, depth, int(word), None, int(word)))

    def images(self, row: Compiled, sources: Words, images: Words, depth: int) -> None:
        """Judge a scan's images for rules about the box."""
        free = self.system.free
        for number, bad, table in self.scans:
            if self.seen.get(number, 0) >= self.most or (row.row.lazy and bad.starts is None):
                continue
            if (row.row.guard.want ^ bad.cube.want) & row.row.guard.care & bad.cube.care & free:
                continue
            mask = (images & np.uint64(bad.cube.care & ~free)) == np.uint64(bad.cube.want & ~free)
            if not mask.any():
                continue
            mask &= table[images >> self.shift]
            if bad.starts is not None and mask.any():
                mask &= self._began(bad, sources)
            for i in np.flatnonzero(mask)[: self.most]:
                self._note(Breach(number, depth, int(sources[i]), row.number, int(images[i])))

    def _began(self, bad: Bad, sources: Words) -> Any:
        result = np.zeros(len(sources), np.bool_)
        for places, cube in bad.sources:
            here = np.isin(sources >> self.shift, np.array(sorted(places), np.uint64))
            result |= here & ((sources & np.uint64(cube.care)) == np.uint64(cube.want))
        return result

    def _note(self, breach: Breach) -> None:
        if self.seen.get(breach.rule, 0) < self.most:
            self.seen[breach.rule] = self.seen.get(breach.rule, 0) + 1
            self.found.append(breach)


def explore(
    system: System, starts: Words | None = None, known: Words | None = None, *, budget: int = BUDGET,
    progress: Callable[[int, int], None] | None = None, judged: bool = True,
) -> Explored:  # fmt: skip
    """Reach everything from the starts. Raises TooLarge when more than `budget` situations are found."""
    rows = compiled(system, [(i, r) for i, r in enumerate(system.rows) if r.forward])
    judge = Judge(system)
    first = np.unique(np.array(system.starts, np.uint64)) if starts is None else starts
    visited = first if known is None else np.union1d(known, first)
    layers, frontier, transitions = [first], first, 0
    kept = np.uint64(~system.spent & ((1 << 64) - 1))
    if judged:
        judge.words(first, 0)
    while len(frontier):
        depth = len(layers)
        images = []
        for row in rows:
            sources = taken(row, frontier)
            if not len(sources):
                continue
            image = sources & row.keep | row.put
            transitions += len(image)
            if judged and (row.row.scan or row.row.tag in ("settle", "boot")):
                judge.images(row, sources, image, depth)
            if not row.row.idle:
                images.append(image & kept if system.spent else image)
        if not images:
            break
        fresh = missing(np.unique(np.concatenate(images)), visited)
        if judged:
            judge.words(fresh, depth)
        if len(visited) + len(fresh) > budget:
            raise TooLarge(
                f"more than {budget:,} situations (depth {depth}, {len(system.layout.index)} bits); the proof gives up. "
                "Leave out thresholds that no rule needs, or raise the budget"
            )
        visited = np.sort(np.concatenate([visited, fresh]), kind="stable")
        if len(fresh):
            layers.append(fresh)
        frontier = fresh
        if progress:
            progress(depth, len(visited))
    return Explored(layers, judge.found, transitions)
