"""The shortest way to a breach: rebuilt from the layers, and told in the crew's words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sequencer.proof.engine import Engine, Words
from sequencer.proof.explore import Explored, forward
from sequencer.proof.judging import Breach
from sequencer.proof.system import Actor, System


@dataclass(frozen=True)
class StoryStep:
    """One line of a story. `row` is its number in the system, `place` where the box stands afterwards."""

    says: str
    actor: Actor
    row: int
    place: int
    word: int


def within(layer: Words, word: int) -> bool:
    """Whether a sorted array holds a word."""
    at = int(np.searchsorted(layer, np.uint64(word)))
    return at < len(layer) and int(layer[at]) == word


def path(system: System, explored: Explored, breach: Breach, engine: Engine | None = None) -> list[StoryStep]:
    """The rows from a start to the breach, a shortest one. Raises LookupError when a layer does not lead back."""
    engine = engine or forward(system)
    steps: list[StoryStep] = []
    word = breach.source
    depth = next(d for d, layer in enumerate(explored.layers) if within(layer, word))
    if breach.row is not None:
        row = system.rows[breach.row]
        steps.append(StoryStep(row.says, row.actor, breach.row, system.layout.place_of(breach.word), breach.word))
    while depth > 0:
        found = engine.back(explored.layers[depth - 1], word)
        if found is None:
            raise LookupError(f"layer {depth - 1} does not lead to {word:#x}")
        before, number = found
        row = system.rows[number]
        steps.append(StoryStep(row.says, row.actor, number, system.layout.place_of(word), word))
        word, depth = before, depth - 1
    return steps[::-1]
