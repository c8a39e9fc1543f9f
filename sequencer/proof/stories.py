"""The shortest way to a breach: rebuilt from the layers, and told in the crew's words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sequencer.proof.explore import Breach, Explored, compiled, taken
from sequencer.proof.system import Actor, System


@dataclass(frozen=True)
class StoryStep:
    """One line of a story. `row` is its number in the system, `place` where the box stands afterwards."""

    says: str
    actor: Actor
    row: int
    place: int
    word: int


def path(system: System, explored: Explored, breach: Breach) -> list[StoryStep]:
    """The rows from a start to the breach, a shortest one. Raises LookupError when a layer does not lead back."""
    rows = compiled(system, [(i, r) for i, r in enumerate(system.rows) if r.forward])
    kept = np.uint64(~system.spent & ((1 << 64) - 1))
    steps: list[StoryStep] = []
    word = breach.source
    depth = next(d for d, layer in enumerate(explored.layers) if _in(layer, word))
    if breach.row is not None:
        row = system.rows[breach.row]
        steps.append(StoryStep(row.says, row.actor, breach.row, system.layout.place_of(breach.word), breach.word))
    while depth > 0:
        found = None
        for row in rows:
            sources = taken(row, explored.layers[depth - 1])
            if not len(sources):
                continue
            hits = np.flatnonzero(((sources & row.keep | row.put) & kept) == np.uint64(word))
            if len(hits):
                found = (row, int(sources[hits[0]]))
                break
        if found is None:
            raise LookupError(f"layer {depth - 1} does not lead to {word:#x}")
        row, before = found
        steps.append(StoryStep(row.row.says, row.row.actor, row.number, system.layout.place_of(word), word))
        word, depth = before, depth - 1
    return steps[::-1]


def _in(layer: np.ndarray, word: int) -> bool:  # type: ignore[type-arg]
    at = int(np.searchsorted(layer, np.uint64(word)))
    return at < len(layer) and int(layer[at]) == word
