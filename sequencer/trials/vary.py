"""New plans from old ones: one or a few changes, drawn from a seeded generator.

Moments are drawn where something can depend on them: near the times at which a row of a state falls due, near
the moves that the parent made, and anywhere.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from sequencer.description.box import ContactInput
from sequencer.description.grounds import PadPart
from sequencer.description.pad import Pad
from sequencer.simulation.events import Action, At, Event, Hold, InState, Moment, Press, Strike, Switch, Walk
from sequencer.simulation.session import Session
from sequencer.trials.menu import HELD_MS, Menu, mends
from sequencer.trials.plan import Plan, event, ranges

SLIPS = ("skip", "double", "early", "late", "swap")
MOST_ACTS = 24


@dataclass(frozen=True)
class Parent:
    """A plan worth changing, with what came of it."""

    plan: Plan
    moves: tuple[tuple[int, str], ...] = ()
    ended_ms: int = 60_000


def recorded(pad: Pad) -> Plan | None:
    """The nominal day as acts at times; None for a file without steps."""
    if not pad.crew.steps:
        return None
    done: list[tuple[int, Action]] = []

    class Recorder(Session):
        def act(self, who: str, action: Action) -> None:
            done.append((self.ms, action))
            super().act(who, action)

    day = Recorder(pad, steps=list(pad.crew.steps), record=False)
    while not day.driver.idle and day.ms < 3_600_000:
        day.tick()
    events = []
    for ms, action in done:
        if isinstance(action, Hold):
            if not action.let_go:
                later = (m for m, a in done if m > ms and isinstance(a, Hold) and a.input == action.input and a.let_go)
                events.append(event(At(ms), Press(action.input, next(later, ms + 300) - ms)))
            continue
        events.append(event(At(ms), action))
    return Plan(tuple(events))


def seeds_of(pad: Pad, table_moves: Callable[[Plan], Parent]) -> list[Parent]:
    """Where a campaign begins: nobody does anything, the day as written, and the day as acts of anyone."""
    plans = [Plan()]
    day = recorded(pad)
    if day is not None:
        plans += [Plan(steps=True), day]
    return [table_moves(plan) for plan in plans]


class Changer:
    """Makes new plans for one pad. Everything comes from the generator handed in."""

    def __init__(self, pad: Pad, menu: Menu, most_faults: int) -> None:
        self.pad, self.menu, self.most = pad, menu, most_faults
        self.spans = ranges(pad)
        self.mends = mends(pad)
        self.gate = next((part.gate for part in pad.parts(PadPart).values() if part.gate), None)
        sense = pad.inputs[self.gate] if self.gate else None
        self.gate_word = f"not {sense.contact.word}" if isinstance(sense, ContactInput) else ""
        self.timed: set[str] = {name for name, times in menu.timers.items() if times}

    def changed(self, rng: random.Random, parent: Parent, other: Plan) -> Plan:
        """The parent with one to four changes; `other` is a plan to take a part of."""
        plan = parent.plan
        for _ in range(rng.choice((1, 1, 1, 2, 2, 3, 4))):
            plan = self._one(rng, replace(parent, plan=plan), other)
        return replace(plan, settle_ms=rng.choice((2_000, 5_000, 10_000, 30_000, 30_000, 120_000)))

    def _one(self, rng: random.Random, parent: Parent, other: Plan) -> Plan:
        plan, roll = parent.plan, rng.random()
        if roll < 0.34:
            return self._more(plan, self._acts(rng, parent))
        if roll < 0.52:
            return self._struck(rng, parent)
        if roll < 0.62 and plan.events:
            gone = rng.randrange(len(plan.events))
            return replace(plan, events=plan.events[:gone] + plan.events[gone + 1 :])
        if roll < 0.80 and plan.events:
            return self._moved(rng, parent)
        if roll < 0.86 and self.pad.crew.steps:
            return self._slipped(rng, plan)
        if roll < 0.91 and other.events:
            cut = rng.randrange(len(other.events))
            kept = [e for e in other.events[cut:] if not isinstance(e.action, Strike)]
            return self._more(plan, kept)
        if roll < 0.95 and self.spans:
            return self._valued(rng, plan)
        if roll < 0.97:
            return replace(plan, seed=rng.choice((0, rng.randrange(1 << 16))))
        return self._more(plan, self._acts(rng, parent))

    def _more(self, plan: Plan, extra: Sequence[Event]) -> Plan:
        room = MOST_ACTS - len(plan.acts)
        return replace(plan, events=(*plan.events, *extra[: max(room, 0)]))

    def moment(self, rng: random.Random, parent: Parent) -> Moment:
        """A moment of the day that the parent had."""
        scan, visited = self.menu.scan_ms, [state for _, state in parent.moves]
        roll = rng.random()
        if roll < 0.6 and self.timed:
            state = rng.choice(visited) if visited and rng.random() < 0.8 else rng.choice(self.menu.states)
            times = self.menu.timers[state]
            if times and rng.random() < 0.6:
                after = rng.choice(times) + rng.randint(-3, 3) * scan
            else:
                after = rng.choice((0, scan, rng.randrange(0, 2_000), rng.randrange(0, 30_000)))
            return InState(state, max(0, after) // scan * scan)
        if roll < 0.8 and parent.moves:
            return At(max(0, rng.choice(parent.moves)[0] + rng.randint(-5, 10) * scan) // scan * scan)
        return At(rng.randrange(0, max(parent.ended_ms, scan)) // scan * scan)

    def _acts(self, rng: random.Random, parent: Parent) -> list[Event]:
        action = rng.choice((*self.menu.acts, *self.mends))
        moment = self.moment(rng, parent)
        if isinstance(action, Press):
            action = Press(action.input, rng.choice(HELD_MS))
        made = [event(moment, action)]
        if isinstance(action, Walk) and action.direction == "in" and self.gate and rng.random() < 0.8:
            made.insert(0, event(moment, Switch(self.gate, self.gate_word)))
        return made

    def _struck(self, rng: random.Random, parent: Parent) -> Plan:
        """One fault more, or another in its place; never two modes of one part."""
        plan, menu = parent.plan, self.menu
        pool = menu.slips if menu.slips and rng.random() < 0.25 else menu.equipment or menu.slips
        if not pool or self.most < 1:
            return plan
        fault = rng.choice(pool)
        others = [e for e in plan.strikes if isinstance(e.action, Strike) and e.action.part != fault.part]
        rng.shuffle(others)
        kept = others[: self.most - 1]
        return replace(plan, events=(*kept, *plan.acts, event(self.moment(rng, parent), Strike(fault.part, fault.mode))))

    def _moved(self, rng: random.Random, parent: Parent) -> Plan:
        """One event, or everything from one moment on, at another time."""
        plan, scan = parent.plan, self.menu.scan_ms
        at = rng.randrange(len(plan.events))
        chosen, events = plan.events[at], list(plan.events)
        if isinstance(chosen.moment, At) and rng.random() < 0.4:
            shift = rng.choice((-1, 1)) * rng.choice((scan, 10 * scan, 1_000, 10_000, 60_000))
            start = chosen.moment.ms
            events = [
                replace(e, moment=At(max(0, e.moment.ms + shift))) if isinstance(e.moment, At) and e.moment.ms >= start else e
                for e in events
            ]  # fmt: skip
        elif isinstance(chosen.moment, InState) and rng.random() < 0.6:
            after = chosen.moment.after_ms + rng.choice((-1, 1)) * rng.choice((scan, 2 * scan, 5 * scan, 500, 5_000))
            events[at] = replace(chosen, moment=replace(chosen.moment, after_ms=max(0, after)))
        else:
            events[at] = replace(chosen, moment=self.moment(rng, parent))
        return replace(plan, events=tuple(events))

    def _slipped(self, rng: random.Random, plan: Plan) -> Plan:
        if plan.slips and rng.random() < 0.5:
            return replace(plan, slips=())
        if not plan.steps:
            return plan
        return replace(plan, slips=(f"{rng.choice(SLIPS)} {rng.randint(1, len(self.pad.crew.steps))}",))

    def _valued(self, rng: random.Random, plan: Plan) -> Plan:
        """A number at an end of its range, or within; sometimes all back to nominal."""
        if plan.values and rng.random() < 0.3:
            return replace(plan, values=())
        (name, key), span = rng.choice(list(self.spans.items()))
        value = rng.choice((span.low, span.high, rng.uniform(span.low, span.high)))
        return replace(plan, values=(*(v for v in plan.values if v[:2] != (name, key)), (name, key, value)))
