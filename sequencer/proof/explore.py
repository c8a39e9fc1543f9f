"""Breadth-first exploration of a `System`: every situation that any order of rows can reach.

Layers are kept, predecessors are not: a path is rebuilt from the layers. Memory: eight bytes per situation, twice.
"""

from __future__ import annotations

from collections.abc import Callable
from ctypes import CDLL
from dataclasses import dataclass

import numpy as np

from sequencer.proof import compiled, kernel
from sequencer.proof.engine import Engine, Words, merged, missing, unique
from sequencer.proof.judging import Breach, Court
from sequencer.proof.system import System
from sequencer.proof.words import TooLarge

BUDGET = 40_000_000
"""Most situations before the exploration gives up and says so."""


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


def forward(system: System) -> Engine:
    """The engine of all rows that the exploration takes."""
    return Engine(system, [(i, r) for i, r in enumerate(system.rows) if r.forward])


def explore(
    system: System, *, budget: int = BUDGET, engine: Engine | None = None,
    progress: Callable[[int, int], None] | None = None, judged: bool = True,
) -> Explored:  # fmt: skip
    """Reach everything from the starts. Raises TooLarge when more than `budget` situations are found."""
    made = kernel.library()
    starts = np.unique(np.array(system.starts, np.uint64) & np.uint64(~system.free & (1 << 64) - 1))
    if made and engine is None:
        found = _compiled(made, system, starts, budget, progress)
        if not judged or not compiled.broken(made, system, found.all):
            return found if not judged else _judged(system, found)
    engine = engine or forward(system)
    court = Court(system, dict(enumerate(system.rows)))
    frontier = starts
    visited, layers, transitions = frontier, [frontier], 0
    if judged:
        court.words(frontier)
    while len(frontier):
        court.depth = len(layers)
        pieces = engine.images(frontier, court.images if judged else None)
        transitions += sum(map(len, pieces))
        fresh = missing(unique(pieces), visited)
        if judged:
            court.words(fresh)
        if len(visited) + len(fresh) > budget:
            raise too_large(budget, len(layers), system)
        visited = merged(visited, fresh)
        if len(fresh):
            layers.append(fresh)
        frontier = fresh
        if progress:
            progress(len(layers), len(visited))
    return Explored(layers, court.found, transitions, visited)


def _compiled(made: CDLL, system: System, starts: Words, budget: int, progress: Callable[[int, int], None] | None) -> Explored:
    """The same layers from the kernel, not judged yet."""
    layers: list[Words] = []
    count = transitions = 0
    for layer, taken in compiled.explored(made, system, starts):
        count, transitions = count + len(layer), taken
        if count > budget:
            raise too_large(budget, len(layers), system)
        if len(layer):
            layers.append(layer)
        if progress and len(layers) > 1:
            progress(len(layers), count)
    return Explored(layers, [], transitions)


def _judged(system: System, found: Explored) -> Explored:
    """Judge the words themselves; no image of a scan breaks a rule."""
    court = Court(system, {})
    for court.depth, layer in enumerate(found.layers):
        court.words(layer)
    found.breaches = court.found
    return found


def too_large(budget: int, depth: int, system: System) -> TooLarge:
    return TooLarge(
        f"more than {budget:,} situations (depth {depth}, {len(system.layout.index)} bits); the proof gives up here and says "
        "nothing. Leave out thresholds that no rule needs, or allow more with --budget"
    )
