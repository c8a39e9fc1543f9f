"""The parts that changes of a plan are drawn from: moments, stays, rows to aim at, room for one more event."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace

from sequencer.description.box import ContactInput
from sequencer.description.grounds import PadPart
from sequencer.description.pad import Pad
from sequencer.simulation.events import At, Event, InState, Moment, Strike
from sequencer.table import Table
from sequencer.trials.aims import Aims
from sequencer.trials.frontier import Frontier, Parent
from sequencer.trials.menu import Menu, mends
from sequencer.trials.plan import Plan, event, ranges
from sequencer.trials.recipes import Recipes

MOST_ACTS = 40
MOST_DUE_MS = 300_000
"""The longest that anything is waited for."""


class Draws:
    """One pad's menu, table and frontier, and what is drawn from them. rows, due_ms: what the change under way aims at, and
    how long that takes."""

    def __init__(self, pad: Pad, table: Table, menu: Menu, frontier: Frontier) -> None:
        self.pad, self.table, self.menu, self.most, self.frontier = pad, table, menu, 0, frontier
        self.recipes = Recipes(table)
        self.aims = Aims(pad, table, menu, self.recipes)
        self.rows, self.due_ms = list[int](), 0
        self.spans = ranges(pad)
        self.mends = mends(pad)
        self.gate = next((part.gate for part in pad.parts(PadPart).values() if part.gate), None)
        sense = pad.inputs[self.gate] if self.gate else None
        self.gate_word = f"not {sense.contact.word}" if isinstance(sense, ContactInput) else ""
        self.timed: set[str] = {name for name, times in menu.timers.items() if times}

    def _longest(self, parent: Parent) -> int:
        """The longest least time of a row of the states the parent was in, ms; at most five minutes."""
        names = {state for _, state in parent.moves}
        return min(MOST_DUE_MS, max((t for name in names for t in self.menu.timers[name]), default=0))

    def _more(self, plan: Plan, extra: Sequence[Event]) -> Plan:
        """With more events, as far as there is room; never two faults of one part, never more faults than allowed."""
        room = MOST_ACTS - len(plan.acts)
        acts = [e for e in extra if not isinstance(e.action, Strike)][: max(room, 0)]
        plan = replace(plan, events=(*plan.events, *acts))
        for one in extra:
            if isinstance(one.action, Strike) and self.most > 0:
                part = one.action.part
                others = [e for e in plan.strikes if isinstance(e.action, Strike) and e.action.part != part]
                kept = others[max(0, len(others) - self.most + 1) :]
                plan = replace(plan, events=(*kept, one, *plan.acts))
        return plan

    def moment(self, rng: random.Random, parent: Parent) -> Moment:
        """A moment of the day that the parent had."""
        scan, visited = self.menu.scan_ms, [state for _, state in parent.moves]
        roll = rng.random()
        if roll < 0.6 and self.timed:
            state = rng.choice(visited) if visited and rng.random() < 0.9 else rng.choice(self.menu.states)
            times = self.menu.timers[state]
            if times and rng.random() < 0.6:
                after = rng.choice(times) + rng.randint(-3, 3) * scan
            else:
                after = rng.choice((0, scan, rng.randrange(0, 2_000), rng.randrange(0, 30_000)))
            return InState(state, max(0, after) // scan * scan)
        if roll < 0.8 and parent.moves:
            return At(max(0, rng.choice(parent.moves)[0] + rng.randint(-5, 10) * scan) // scan * scan)
        return At(rng.randrange(0, max(parent.ended_ms, scan)) // scan * scan)

    def _within(self, rng: random.Random, stay_ms: int) -> int:
        """A time within a stay: often its beginning."""
        scan = self.menu.scan_ms
        return rng.choice((0, scan, rng.randrange(0, 2_000), rng.randrange(0, max(stay_ms, scan)))) // scan * scan

    def _rows(self, rng: random.Random, state: str) -> int | None:
        """A row of a state; mostly one that never fired, those seldom aimed at first. None for a state without rows."""
        spec = self.table.states[self.frontier.index[state]]
        known = [row for row in range(spec.first_row, spec.end_row) if row in self.frontier.rows]
        fresh = self.frontier.open_rows(state)
        if known and (not fresh or rng.random() < 0.3):
            return rng.choice(known)
        if not fresh:
            return None
        row = rng.choices(fresh, [self.frontier.hope(row) for row in fresh])[0]
        self.frontier.tries[row] += 1
        self.rows.append(row)
        return row

    def _stay(self, rng: random.Random, parent: Parent) -> tuple[int, str, int, bool] | None:
        """A stay of the parent; those of states with rows that never fired are drawn more."""
        stays = parent.stays
        if not stays:
            return None
        return rng.choices(stays, [0.2 + self.frontier.hopes(state) for _, state, _, _ in stays])[0]

    def _near(self, rng: random.Random) -> int:
        """A small time to either side, ms: from one scan up to half a second, seldom more."""
        scan = self.menu.scan_ms
        return rng.choice((-1, 1)) * rng.choice((0, 1, 2, 3, 5, 8, 12, 20, 50)) * scan

    def _kept(self, rng: random.Random, parent: Parent, stay: tuple[int, str, int, bool], start: int) -> tuple[Plan, list[Event]]:
        """(the parent's plan, where it can be with nobody acting from the stay on; acts that keep its row from firing)."""
        ms, state, lasts, _ = stay
        after = next((name for at, name in parent.moves if at >= ms + lasts), "")
        rows = [r for r in range(*self._span(state)) if self.table.states[self.table.rows[r].to].name == after]
        events: list[Event] = []
        if rows and rng.random() < 0.7:
            makes = self.aims.hindered(rng, rng.choice(rows))
            events = [event(InState(state, min(start, max(lasts - 500, 0)) // self.menu.scan_ms * self.menu.scan_ms), m.action) for m in makes]
        plan = parent.plan
        if not plan.steps and rng.random() < 0.7:
            entered = {name: at for at, name in reversed(parent.moves)}
            acts = tuple(e for e in plan.acts if _done_ms(e, entered) < ms)
            plan = replace(plan, events=(*plan.strikes, *acts))
        return plan, events

    def _span(self, state: str) -> tuple[int, int]:
        spec = self.table.states[self.frontier.index[state]]
        return spec.first_row, spec.end_row

    def _in(self, plan: Plan, stay: tuple[int, str, int, bool], events: Sequence[Event], soonest: int) -> Plan:
        """The plan with events of a stay, followed until `soonest` after its entry at least."""
        last = max((e.moment.after_ms for e in events if isinstance(e.moment, InState)), default=0)
        self.due_ms = max(self.due_ms, min(soonest - last, MOST_DUE_MS) + 1_000)
        if not stay[3]:
            events = [event(At(stay[0] + e.moment.after_ms), e.action) for e in events if isinstance(e.moment, InState)]
        return self._more(plan, events)


def _done_ms(one: Event, entered: dict[str, int]) -> int:
    """When an event of a plan came, by the states' first entries; what never came counts as late."""
    if isinstance(one.moment, At):
        return one.moment.ms
    if isinstance(one.moment, InState) and one.moment.state in entered:
        return entered[one.moment.state] + one.moment.after_ms
    return 1 << 60
