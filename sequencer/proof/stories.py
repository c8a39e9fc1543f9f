"""The shortest way to a breach: rebuilt from the layers, and told in the crew's words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sequencer.description.faults import Fault
from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine, Words
from sequencer.proof.explore import Explored, forward
from sequencer.proof.judging import Breach
from sequencer.proof.result import Told
from sequencer.proof.system import Actor, Row, System


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


def told_lines(
    draft: Draft, system: System, steps: list[StoryStep], strikes: Mapping[int, tuple[Fault, ...]] | None = None
) -> tuple[Told, ...]:
    """A story in the crew's words: what the box only reads, and scans that change nothing, are left out."""
    shown = []
    for number, step in enumerate(steps):
        row = system.rows[step.row]
        before = draft.told(steps[number - 1].place) if number else "no power"
        for fault in (strikes or {}).get(number, ()):
            shown.append(Told("part" if fault.kind == "equipment" else "slip", f"FAULT: {fault.says}", before))
        last = number == len(steps) - 1
        if row.tag == "near" or (row.actor == "reading" and not last) or (row.scan and row.to is None and not last):
            continue
        shown.append(Told(step.actor, step.says + _because(draft, row), draft.told(step.place)))
    return tuple(shown)


def _because(draft: Draft, row: Row) -> str:
    """Why a move fired, in the file's words."""
    if row.origin is None:
        return ""
    origin = draft.table.rows[row.origin].origin
    if origin.startswith("trip "):
        return f": {draft.pad.trips[origin.removeprefix('trip ')].once.text}"
    state, _, number = origin.partition(" exit ")
    once = draft.pad.states[state].leave[int(number) - 1].once
    return f": {once.text}" if once is not None else ": its time is up"
