"""New plans from old ones: one or a few changes, drawn from a seeded generator.

A change follows what the parent did and perturbs it: towards a row of the table that nobody has seen fire, a fault
where it has not struck yet, two things at about the same time, an act left out, moved or done twice. What brought
something new is drawn more often.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from sequencer.description.pad import Pad
from sequencer.simulation.events import At, Hold, InState, Moment, Press, Strike, Switch, Walk
from sequencer.table import Table
from sequencer.trials.draws import Draws
from sequencer.trials.frontier import Frontier, Parent
from sequencer.trials.menu import HELD_MS, Menu
from sequencer.trials.plan import Plan, event
from sequencer.trials.recipes import Recipe

SLIPS = ("skip", "double", "early", "late", "swap")
SETTLES_MS = (2_000, 5_000, 10_000, 30_000, 30_000, 120_000)
FIRST = {"aim": 4.0, "wait": 2.0, "against": 2.0, "chain": 3.0, "race": 2.0, "beside": 2.0, "stand": 2.0}
"""How much likelier a change is drawn than others that paid as well."""
PATIENCE_MS = (3_000, 5_000, 5_000, 10_000, 10_000, 20_000, 60_000)
BRIEF_MS = 90_000
"""A day that is over sooner is always played to its end."""


Change = Callable[[random.Random, Parent], Plan]


@dataclass(frozen=True)
class Made:
    """A new plan, how long it is followed in ms, the first change's name, and the rows and recipes it leans on."""

    plan: Plan
    patience_ms: int
    name: str
    rows: tuple[int, ...] = ()
    recipes: tuple[Recipe, ...] = ()


class Changer(Draws):
    """Makes new plans for one pad. Everything comes from the generator handed in."""

    def __init__(self, pad: Pad, table: Table, menu: Menu, frontier: Frontier) -> None:
        super().__init__(pad, table, menu, frontier)
        self.changes: dict[str, Change] = {
            "aim": self._aim, "wait": self._wait, "against": self._against, "chain": self._chain, "race": self._race, "beside": self._beside, "stand": self._stand, "strike": self._strike, "act": self._act,
            "move": self._moved, "drop": self._drop, "cut": self._cut, "hold": self._hold, "slip": self._slip,
        }  # fmt: skip
        self.used: Counter[str] = Counter()
        self.paid: Counter[str] = Counter()

    # ---- which change ------------------------------------------------------------------------

    def changed(self, rng: random.Random, parent: Parent, other: Plan, most: int) -> Made:
        """The parent with one to three changes; `other`: a plan to take a part of; `most`: so many faults in it. Steps or
        not, seed and values stay."""
        plan, first, self.most = parent.plan, "", most
        self.rows, self.due_ms, self.aims.most = [], 0, most
        self.aims.used.clear()
        names = [name for name in self.changes if most or name not in ("strike", "slip")]
        for _ in range(rng.choice((1, 1, 1, 2, 2, 3))):
            weights = [FIRST.get(name, 1.0) * (self.paid[name] + 5.0) / (self.used[name] + 10.0) for name in names]
            name = rng.choices(names, weights)[0]
            if other.events and rng.random() < 0.04:
                plan = self._spliced(rng, plan, other)
            else:
                plan = self.changes[name](rng, replace(parent, plan=plan))
            first = first or name
        patience = rng.choice(PATIENCE_MS) if first not in ("aim", "wait") else 3_000
        if first == "cut":
            patience = max(patience, self._longest(parent) + 5_000)
        elif parent.ended_ms < BRIEF_MS or rng.random() < 0.02:  # what comes of it may come late in the day
            patience = max(patience, parent.ended_ms)
        patience = max(patience, self.due_ms)
        # watched for long enough that an act late in a state is still waited for
        settle = max(rng.choice(SETTLES_MS), self.due_ms, *(e.moment.after_ms + 2_000 for e in plan.events if isinstance(e.moment, InState)))
        return Made(replace(plan, settle_ms=settle), patience, first, tuple(self.rows), tuple(self.aims.used))

    def told(self, made: Made, new: int, fired: Collection[int] = ()) -> None:
        """What a plan came upon, and the rows that fired in it."""
        self.used[made.name] += 1
        self.paid[made.name] += min(new, 3)
        hit = any(row in fired for row in made.rows)
        for recipe in made.recipes:
            recipe.tried += 1
            recipe.won += hit

    def reseeded(self, rng: random.Random, plan: Plan) -> Plan:
        """The same plan on another make of the pad: a number elsewhere in its range, another seed."""
        if not self.spans or rng.random() < 0.2:
            return replace(plan, seed=rng.choice((0, rng.randrange(1 << 16))))
        if plan.values and rng.random() < 0.3:
            return replace(plan, values=())
        (name, key), span = rng.choice(list(self.spans.items()))
        value = rng.choice((span.low, span.high, rng.uniform(span.low, span.high)))
        return replace(plan, values=(*(v for v in plan.values if v[:2] != (name, key)), (name, key, value)))

    # ---- changes -------------------------------------------------------------------------------

    def _aim(self, rng: random.Random, parent: Parent) -> Plan:
        """Acts that make the literals of a row hold in its state; what ended the state before that is kept away."""
        stay = self._stay(rng, parent)
        row = self._rows(rng, stay[1]) if stay else None
        if stay is None or row is None:
            return self._act(rng, parent)
        start = self._within(rng, stay[2])
        events, soonest = self.aims.row(rng, row, start, self.frontier.stands(stay[1]))
        plan = parent.plan
        if soonest > stay[2] and rng.random() < 0.8:
            plan, more = self._kept(rng, parent, stay, start)
            events = [*more, *events]
        elif not events:
            return self._act(rng, parent)
        return self._in(plan, stay, events, soonest)

    def _wait(self, rng: random.Random, parent: Parent) -> Plan:
        """A state is not left as it was, so that something else leads out of it, its timeout at the latest."""
        stay = self._stay(rng, parent)
        if stay is None:
            return self._act(rng, parent)
        spec = self.table.states[self.frontier.index[stay[1]]]
        timed = [row for row in range(spec.first_row, spec.end_row) if self.table.rows[row].least]
        plan, events = self._kept(rng, parent, stay, self._within(rng, stay[2]))
        soonest = 0
        if any(map(self.frontier.hope, timed)):
            row = rng.choices(timed, [self.frontier.hope(row) / (1 + self.table.rows[row].least * self.menu.scan_ms / 20_000) for row in timed])[0]
            self.frontier.tries[row] += 1
            self.rows.append(row)
            soonest = self.table.rows[row].least * self.menu.scan_ms
        return self._in(plan, stay, events, soonest)

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

    def _beside(self, rng: random.Random, parent: Parent) -> Plan:
        """A row of the state left or entered comes true at about a move that the parent made."""
        stays = parent.stays
        if len(stays) < 2:
            return self._race(rng, parent)
        at = rng.randrange(1, len(stays))
        ms = stays[at][0] + self._near(rng)
        row = self._rows(rng, stays[rng.choice((at - 1, at))][1])
        return parent.plan if row is None else self._more(parent.plan, self.aims.together(rng, row, ms, At))

    def _against(self, rng: random.Random, parent: Parent) -> Plan:
        """What a rule looks at is made otherwise at about a move, or from a while before it on."""
        stay = self._stay(rng, parent)
        if stay is None or not self.aims.against:
            return self._act(rng, parent)
        states, leaf, so = rng.choice(self.aims.against)
        fits = [one for one in parent.stays if one[1] in states]
        stay = rng.choice(fits) if fits else stay
        makes = self.aims.leaf(rng, leaf, so if rng.random() < 0.9 else not so)
        scan, (ms, state, lasts, first) = self.menu.scan_ms, stay
        if rng.random() < 0.3:
            after = self._within(rng, lasts)
            moment: Moment = InState(state, after) if first else At(ms + after)
        else:
            before = rng.choice((0, scan, rng.randrange(0, 2_000), rng.randrange(0, 2_000), rng.randrange(0, 20_000)))
            moment = At(max(0, ms + (before if rng.random() < 0.2 else -before)) // scan * scan)
        return self._more(parent.plan, [event(moment, make.action) for make in makes])

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
            fresh = [f for f in self.frontier.open_faults(state) if f in pool]
            fault = rng.choice([f for f in fresh if f.name not in self.frontier.struck] or fresh or pool)
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

