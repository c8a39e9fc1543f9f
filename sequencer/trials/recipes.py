"""What a campaign has learned by itself: the acts and faults after which a condition came to a value it never had there.

Nothing here knows physics. A trial in which some own events were followed, in the same stay of a state, by a value that a
condition never had in that state is a recipe for that value, in any state. Recipes whose rows then fire are drawn more.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from sequencer.simulation.events import Action, At, Event, InState, Press, Strike
from sequencer.table import Table
from sequencer.trials.probe import Trial

MOST_EVENTS, KEPT, LONGEST_MS = 3, 8, 120_000
"""Events of a recipe, recipes for one value, and the longest from the first event to the value."""


@dataclass(eq=False)
class Recipe:
    """steps: (ms after the first, act or fault). after_ms: from the first to the value. tried, won: how it went."""

    steps: tuple[tuple[int, Action], ...]
    after_ms: int
    tried: int = 0
    won: int = 0

    @property
    def strikes(self) -> int:
        """Faults in it."""
        return sum(isinstance(action, Strike) for _, action in self.steps)

    @property
    def worth(self) -> float:
        """How much it is drawn: what was won so far, and what is simple and quick."""
        return (self.won + 1.0) / (self.tried + 2.0) / len(self.steps) / (1.0 + self.after_ms / 10_000)


@dataclass
class Recipes:
    """Recipes by (bit, its value)."""

    table: Table
    known: dict[tuple[int, bool], list[Recipe]] = field(default_factory=dict)

    def learn(self, own: Sequence[Event], trial: Trial) -> None:
        """Take in a trial; `own`: those of its events that its parent did not have."""
        if not own or not trial.came:
            return
        names = [state.name for state in self.table.states]
        entered = {state: ms for ms, state in reversed(trial.moves)}
        done = sorted(((ms, e) for e in own if (ms := _time(e, entered)) is not None), key=lambda one: one[0])
        for key, ms in trial.came:
            state, bit, value = _bit(key)
            before = [(at, e) for at, e in done if at < ms]
            if not before or len(before) > MOST_EVENTS or ms - before[0][0] > LONGEST_MS:
                continue
            stay = max(((at, name) for at, name in trial.moves if at < ms), key=lambda one: one[0], default=(0, ""))
            if stay[1] == names[state] and before[-1][0] >= stay[0]:
                self._keep((bit, bool(value)), before, ms)

    def _keep(self, of: tuple[int, bool], before: list[tuple[int, Event]], ms: int) -> None:
        first = before[0][0]
        made = Recipe(tuple((at - first, e.action) for at, e in before), ms - first)
        known = self.known.setdefault(of, [])
        acts = {_plain(action) for _, action in made.steps}
        if any({_plain(action) for _, action in one.steps} <= acts for one in known):
            return
        known.append(made)
        if len(known) > KEPT:
            known.remove(min(known, key=lambda one: one.worth))

    def draw(self, rng: random.Random, bit: int, value: bool, most: int) -> Recipe | None:
        """A recipe with at most so many faults; None where there is none."""
        fits = [one for one in self.known.get((bit, value), ()) if one.strikes <= most]
        return rng.choices(fits, [one.worth for one in fits])[0] if fits else None


def _time(one: Event, entered: dict[str, int]) -> int | None:
    """When an event was done; None when its state was never entered."""
    if isinstance(one.moment, At):
        return one.moment.ms
    if isinstance(one.moment, InState) and one.moment.state in entered:
        return entered[one.moment.state] + one.moment.after_ms
    return None


def _bit(key: Any) -> tuple[int, int, int]:
    """(state, bit, value) of the key of a bit."""
    return key[0], *key[2]


def _plain(action: Action) -> object:
    return (Press, action.input) if isinstance(action, Press) else action
