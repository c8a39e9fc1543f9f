"""New plans from old ones: one or a few changes, drawn from a seeded generator.

A change follows what the parent did and perturbs it: towards a row of the table that nobody has seen fire, a fault
where it has not struck yet, two things at about the same time, an act left out, moved or done twice. What brought
something new is drawn more often.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

from sequencer.description.box import ContactInput
from sequencer.description.grounds import PadPart
from sequencer.description.pad import Pad
from sequencer.simulation.events import At, Event, Hold, InState, Moment, Press, Strike, Switch, Walk
from sequencer.table import Table
from sequencer.trials.aims import Aims
from sequencer.trials.frontier import Frontier, Parent
from sequencer.trials.menu import HELD_MS, Menu, mends
from sequencer.trials.plan import Plan, event, ranges

SLIPS = ("skip", "double", "early", "late", "swap")
MOST_ACTS = 40
SETTLES_MS = (2_000, 5_000, 10_000, 30_000, 30_000, 120_000)
FIRST = {"aim": 2.0, "chain": 3.0, "race": 2.0, "beside": 2.0, "stand": 2.0}
"""How much likelier a change is drawn than others that paid as well."""
PATIENCE_MS = (3_000, 5_000, 5_000, 10_000, 10_000, 20_000, 60_000)


Change = Callable[[random.Random, Parent], Plan]


class Changer:
    """Makes new plans for one pad. Everything comes from the generator handed in."""

    def __init__(self, pad: Pad, table: Table, menu: Menu, frontier: Frontier) -> None:
        self.pad, self.table, self.menu, self.most, self.frontier = pad, table, menu, 0, frontier
        self.aims = Aims(pad, table, menu)
        self.spans = ranges(pad)
        self.mends = mends(pad)
        self.gate = next((part.gate for part in pad.parts(PadPart).values() if part.gate), None)
        sense = pad.inputs[self.gate] if self.gate else None
        self.gate_word = f"not {sense.contact.word}" if isinstance(sense, ContactInput) else ""
        self.timed: set[str] = {name for name, times in menu.timers.items() if times}
        self.changes: dict[str, Change] = {
            "aim": self._aim, "chain": self._chain, "race": self._race, "beside": self._beside, "stand": self._stand, "strike": self._strike, "act": self._act,
            "move": self._moved, "drop": self._drop, "cut": self._cut, "hold": self._hold, "slip": self._slip,
        }  # fmt: skip
        self.used: Counter[str] = Counter()
        self.paid: Counter[str] = Counter()

    # ---- which change ------------------------------------------------------------------------

    def changed(self, rng: random.Random, parent: Parent, other: Plan, most: int) -> tuple[Plan, int, str]:
        """(the parent with one to three changes, patience in ms, the first change's name); `other`: a plan to take a
        part of; `most`: so many faults in it. Steps or not, seed and values stay."""
        plan, first, self.most = parent.plan, "", most
        names = [name for name in self.changes if most or name not in ("strike", "slip")]
        for _ in range(rng.choice((1, 1, 1, 2, 2, 3))):
            weights = [FIRST.get(name, 1.0) * (self.paid[name] + 5.0) / (self.used[name] + 10.0) for name in names]
            name = rng.choices(names, weights)[0]
            if other.events and rng.random() < 0.04:
                plan = self._spliced(rng, plan, other)
            else:
                plan = self.changes[name](rng, replace(parent, plan=plan))
            first = first or name
        patience = rng.choice(PATIENCE_MS)
        if first == "cut":
            patience = max(patience, self._longest(parent) + 5_000)
        # watched for long enough that an act late in a state is still waited for
        settle = max(rng.choice(SETTLES_MS), *(e.moment.after_ms + 2_000 for e in plan.events if isinstance(e.moment, InState)), 0)
        return replace(plan, settle_ms=settle), patience, first

    def told(self, name: str, new: int) -> None:
        """What a plan of this change came upon."""
        self.used[name] += 1
        self.paid[name] += min(new, 3)

    def reseeded(self, rng: random.Random, plan: Plan) -> Plan:
        """The same plan on another make of the pad: a number elsewhere in its range, another seed."""
        if not self.spans or rng.random() < 0.2:
            return replace(plan, seed=rng.choice((0, rng.randrange(1 << 16))))
        if plan.values and rng.random() < 0.3:
            return replace(plan, values=())
        (name, key), span = rng.choice(list(self.spans.items()))
        value = rng.choice((span.low, span.high, rng.uniform(span.low, span.high)))
        return replace(plan, values=(*(v for v in plan.values if v[:2] != (name, key)), (name, key, value)))

    def _longest(self, parent: Parent) -> int:
        """The longest least time of a row of the states the parent was in, ms; at most five minutes."""
        names = {state for _, state in parent.moves}
        return min(300_000, max((t for name in names for t in self.menu.timers[name]), default=0))

    # ---- the parts of a change -----------------------------------------------------------------

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
        row = rng.choices(fresh, [1.0 / (1 + self.frontier.tries[row]) for row in fresh])[0]
        self.frontier.tries[row] += 1
        return row

    def _stay(self, rng: random.Random, parent: Parent) -> tuple[int, str, int, bool] | None:
        """A stay of the parent; those of states with rows that never fired are drawn more."""
        stays = parent.stays
        if not stays:
            return None
        return rng.choices(stays, [1.0 + min(4, len(self.frontier.open_rows(state))) for _, state, _, _ in stays])[0]

    # ---- changes -------------------------------------------------------------------------------

    def _aim(self, rng: random.Random, parent: Parent) -> Plan:
        """Acts that make the literals of a row hold in its state."""
        stay = self._stay(rng, parent)
        row = self._rows(rng, stay[1]) if stay else None
        if stay is None or row is None:
            return self._act(rng, parent)
        events, _ = self.aims.row(rng, row, self._within(rng, stay[2]))
        if not stay[3]:
            events = [event(At(stay[0] + e.moment.after_ms), e.action) for e in events if isinstance(e.moment, InState)]
        return self._more(parent.plan, events)

    def _chain(self, rng: random.Random, parent: Parent) -> Plan:
        """Rows one after the other, each in the state that the one before leads to."""
        stay = self._stay(rng, parent)
        if stay is None or not stay[3]:
            return self._aim(rng, parent)
        plan, state, start, seen = parent.plan, stay[1], self._within(rng, stay[2]), {stay[1]}
        for _ in range(rng.randint(2, 5)):
            row = self._rows(rng, state)
            if row is None:
                break
            events, _ = self.aims.row(rng, row, start)
            plan = self._more(plan, events)
            state, start = self.table.states[self.table.rows[row].to].name, self._within(rng, 2_000)
            if state in seen:
                break
            seen.add(state)
        return plan

    def _race(self, rng: random.Random, parent: Parent) -> Plan:
        """Two rows of a state, or one and a row of where it leads, that come true at about the same time."""
        stay = self._stay(rng, parent)
        row = self._rows(rng, stay[1]) if stay else None
        if stay is None or row is None:
            return self._act(rng, parent)
        state = stay[1]
        events, soonest = self.aims.row(rng, row, self._within(rng, stay[2]))
        after = self.table.states[self.table.rows[row].to].name
        second = self._rows(rng, rng.choice((state, after)))
        if second is not None:
            done = soonest + self._near(rng)
            events += self.aims.together(rng, second, done, lambda ms: InState(state, ms))
        return self._more(parent.plan, events)

    def _near(self, rng: random.Random) -> int:
        """A small time to either side, ms: from one scan up to half a second, seldom more."""
        scan = self.menu.scan_ms
        return rng.choice((-1, 1)) * rng.choice((0, 1, 2, 3, 5, 8, 12, 20, 50)) * scan

    def _beside(self, rng: random.Random, parent: Parent) -> Plan:
        """A row of the state left or entered comes true at about a move that the parent made."""
        stays = parent.stays
        if len(stays) < 2:
            return self._race(rng, parent)
        at = rng.randrange(1, len(stays))
        ms = stays[at][0] + self._near(rng)
        row = self._rows(rng, stays[rng.choice((at - 1, at))][1])
        return parent.plan if row is None else self._more(parent.plan, self.aims.together(rng, row, ms, At))

    def _stand(self, rng: random.Random, parent: Parent) -> Plan:
        """A contact stands otherwise than ever before in a state, from then on or from a little earlier."""
        stay = self._stay(rng, parent)
        if stay is None or not self.table.contacts:
            return self._act(rng, parent)
        contact, level = rng.choice(self.frontier.open_levels(stay[1]) or [(rng.randrange(len(self.table.contacts)), rng.randrange(2))])
        makes = self.aims.contact(rng, contact, bool(level), 0, False)
        early = rng.choice((0, 0, -self.menu.scan_ms, -rng.randrange(0, 2_000), rng.randrange(0, max(stay[2], 1))))
        moment: Moment = InState(stay[1], 0) if early == 0 and stay[3] else At(max(0, stay[0] + early) // self.menu.scan_ms * self.menu.scan_ms)
        return self._more(parent.plan, [event(moment, make.action) for make in makes])

    def _act(self, rng: random.Random, parent: Parent) -> Plan:
        """Any act at any moment."""
        action = rng.choice((*self.menu.acts, *self.mends))
        moment = self.moment(rng, parent)
        if isinstance(action, Press):
            action = Press(action.input, rng.choice(HELD_MS))
        made = [event(moment, action)]
        if isinstance(action, Walk) and action.direction == "in" and self.gate and rng.random() < 0.8:
            made.insert(0, event(moment, Switch(self.gate, self.gate_word)))
        return self._more(parent.plan, made)

    def _strike(self, rng: random.Random, parent: Parent) -> Plan:
        """One fault more, or another in its place: often one that has not been there in a state of the parent's."""
        menu = self.menu
        pool = menu.slips if menu.slips and rng.random() < 0.15 else menu.equipment or menu.slips
        if not pool or self.most < 1:
            return self._race(rng, parent)
        stays = parent.stays
        if stays and rng.random() < 0.7:
            ms, state, lasts, first = rng.choice(stays)
            fault = rng.choice([f for f in self.frontier.open_faults(state) if f in pool] or pool)
            after = self._within(rng, lasts)
            moment: Moment = InState(state, after) if first else At(ms + after)
        else:
            fault, moment = rng.choice(pool), self.moment(rng, parent)
        return self._more(parent.plan, [event(moment, Strike(fault.part, fault.mode))])

    def _drop(self, rng: random.Random, parent: Parent) -> Plan:
        """One event left out."""
        plan = parent.plan
        if not plan.events:
            return self._act(rng, parent)
        gone = rng.randrange(len(plan.events))
        return replace(plan, events=plan.events[:gone] + plan.events[gone + 1 :])

    def _cut(self, rng: random.Random, parent: Parent) -> Plan:
        """Nobody does anything more from one act on: what times out does so."""
        plan = parent.plan
        if plan.steps or not plan.acts:
            return self._act(rng, parent)
        acts = sorted(plan.acts, key=lambda e: e.moment.ms if isinstance(e.moment, At) else 0)
        return replace(plan, events=(*plan.strikes, *acts[: rng.randrange(len(acts))]))

    def _hold(self, rng: random.Random, parent: Parent) -> Plan:
        """A button held down from some moment on."""
        inputs = [act.input for act in self.menu.acts if isinstance(act, Hold)]
        if not inputs:
            return self._act(rng, parent)
        return self._more(parent.plan, [event(self.moment(rng, parent), Hold(rng.choice(inputs)))])

    def _slip(self, rng: random.Random, parent: Parent) -> Plan:
        plan = parent.plan
        if not plan.steps:
            return self._drop(rng, parent)
        if plan.slips and rng.random() < 0.3:
            return replace(plan, slips=())
        return replace(plan, slips=(f"{rng.choice(SLIPS)} {rng.randint(1, len(self.pad.crew.steps))}",))

    def _spliced(self, rng: random.Random, plan: Plan, other: Plan) -> Plan:
        cut = rng.randrange(len(other.events))
        return self._more(plan, [e for e in other.events[cut:] if not isinstance(e.action, Strike)])

    def _moved(self, rng: random.Random, parent: Parent) -> Plan:
        """One event, or everything from one moment on, at another time."""
        plan, scan = parent.plan, self.menu.scan_ms
        if not plan.events:
            return self._act(rng, parent)
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
