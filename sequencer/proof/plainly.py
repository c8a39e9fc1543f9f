"""The story with the fewest departures from the crew's own day.

A shortest story is often a strange one, and a simulator whose gas obeys its lines cannot always follow it. So the moves
that the box makes on the nominal day are taken first, as far as they lead, then one other move or a power blink, and so
on until the rule breaks. What comes out is a path of the same system, only another one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine, Judge, Words, merged, missing, unique
from sequencer.proof.judging import Breach, Court
from sequencer.proof.stories import StoryStep, within
from sequencer.proof.system import Row, System

MOST = 2_000_000
"""Situations after which the search is given up."""


@dataclass
class Layer:
    """Words first reached together: by `engine` from the layers of these numbers, the first of them first."""

    words: Words
    engine: Engine
    before: tuple[int, ...]


def nominal(draft: Draft) -> frozenset[int]:
    """Rows of the table that fire on the crew's nominal day, in the simulator; empty where the file has no crew."""
    known: dict[str, frozenset[int]] = draft.found.setdefault("nominal", {})
    if "rows" not in known:
        known["rows"] = frozenset()
        if draft.pad.crew.steps:
            from sequencer.simulation import simulate

            run = simulate(draft.pad, crew=True, trace=False)
            known["rows"] = frozenset(entry.row for entry in run.log if entry.row >= 0)
    return known["rows"]


class Plain:
    """Situations in the order of how far the way to them departs from the crew's own day."""

    def __init__(self, draft: Draft, system: System, judge: Judge | None = None) -> None:
        fires = nominal(draft)
        numbered = [(i, r) for i, r in enumerate(system.rows) if r.forward]
        usual = [(i, r) for i, r in numbered if r.tag != "blink" and (r.origin is None or r.origin in fires)]
        names = {i for i, _ in usual}
        self.system, self.judge = system, judge
        self.engine = Engine(system, usual)
        self.other = Engine(system, [(i, r) for i, r in numbered if i not in names])
        starts = np.unique(np.array(system.starts, np.uint64) & np.uint64(~system.free & (1 << 64) - 1))
        self.layers = [Layer(starts, self.engine, ())]
        self.reached = starts

    def grow(self, most: int = MOST) -> Iterator[Words]:
        """One layer after the other, until nothing is new or `most` situations are reached. A departure is taken from
        each layer since the last one in turn, so that one early in the day comes before one late in it."""
        fresh, first = self.reached, 0
        before: tuple[int, ...] = (0,)
        yield fresh
        while len(fresh) and len(self.reached) < most:
            while len(fresh) and len(self.reached) < most:
                fresh = self._next(fresh, self.engine, before)
                before = (len(self.layers) - 1,)
                yield fresh
            last, since = len(self.layers), []
            for number in range(first, last):
                since.append(self._next(self.layers[number].words, self.other, (number,)))
                yield since[-1]
            fresh, first, before = unique(since), last, tuple(range(last, len(self.layers)))

    def _next(self, words: Words, engine: Engine, before: tuple[int, ...]) -> Words:
        fresh = missing(unique(engine.images(words, self.judge)), self.reached)
        self.reached = merged(self.reached, fresh)
        self.layers.append(Layer(fresh, engine, before))
        return fresh

    def path(self, breach: Breach, row: Row | None) -> list[StoryStep]:
        """The steps to a breach, the row that brings it about last."""
        word, steps = breach.source, []
        if breach.row is not None:
            assert row is not None
            steps.append(_step(self.system, row, breach.row, breach.word))
        at = next(i for i, layer in enumerate(self.layers) if within(layer.words, word))
        while at > 0:
            layer = self.layers[at]
            for before in layer.before:
                found = layer.engine.back(self.layers[before].words, word)
                if found is not None:
                    break
            else:
                raise LookupError(f"layer {at} is not led to {word:#x}")
            steps.append(_step(self.system, self.system.rows[found[1]], found[1], word))
            word, at = found[0], before
        return steps[::-1]


def plain_story(draft: Draft, system: System, rule: str) -> list[StoryStep] | None:
    """The steps of such a story to a breach of the rule (by name); None where there is no crew, or it is not found."""
    if not nominal(draft):
        return None
    number = next(i for i, check in enumerate(system.rules) if check.name == rule)
    court = Court(system, dict(enumerate(system.rows)), rules={number})
    plain = Plain(draft, system, court.images)
    for fresh in plain.grow():
        court.words(fresh)
        if court.found:
            breach = court.found[0]
            return plain.path(breach, None if breach.row is None else system.rows[breach.row])
    return None


def _step(system: System, row: Row, number: int, word: int) -> StoryStep:
    return StoryStep(row.says, row.actor, number, system.layout.place_of(word), word)
