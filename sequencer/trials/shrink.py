"""A failing plan made small: the fewest faults and acts, nominal values, the plain day, the roundest times.

Every step keeps the same rule broken with no more faults than before. The order of the attempts is fixed, so the
same failure always becomes the same story.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from sequencer.simulation.events import At, Event, InState, Press, Strike
from sequencer.trials.plan import SETTLE_MS, Plan, event
from sequencer.trials.probe import Breach, Trial, happened

if TYPE_CHECKING:
    from sequencer.trials.campaign import Bench

MOST_TRIALS = 200
ROUND_MS = (60_000, 30_000, 10_000, 5_000, 1_000, 500, 100)


class _Shrinker:
    def __init__(self, bench: Bench, plan: Plan, breach: Breach) -> None:
        self.bench, self.rule = bench, breach.rule
        self.faults = frozenset(breach.faults)
        self.breach, self.trials = breach, 0
        self.plan = plan
        self.seen: set[Plan] = set()
        self.trial: Trial

    def works(self, plan: Plan) -> bool:
        """Whether the plan breaks the rule as well; if so it becomes the plan, without what came too late for it."""
        if plan == self.plan or not self._breaks(plan):
            return False
        happened_ = tuple(e for e in happened(self.trial, self.plan.ordered) if not _late(e, self.breach.ms))
        if len(happened_) < len(self.plan.events):  # what came too late may have kept the crew waiting for it
            self._breaks(replace(self.plan, events=happened_))
        return True

    def _breaks(self, plan: Plan) -> bool:
        if plan in self.seen or self.trials >= MOST_TRIALS:
            return False
        self.seen.add(plan)
        self.trials += 1
        trial = self.bench.try_(plan, enough=lambda b: b.rule == self.rule)
        breach = next((b for b in trial.breaches if b.rule == self.rule), None)
        if breach is None or not (len(breach.faults) < len(self.faults) or frozenset(breach.faults) <= self.faults):
            return False
        if (self.breach.asked and not breach.asked) or breach.unpowered != self.breach.unpowered:
            return False
        self.trial, self.plan, self.breach, self.faults = trial, trial.plan, breach, frozenset(breach.faults)
        return True

    def all(self) -> None:
        if not self.breach.asked:  # no failure: only the faults it takes are of interest
            self.works(replace(self.plan, values=(), slips=(), seed=0))
            for strike in self.plan.strikes:
                self.works(replace(self.plan, events=tuple(e for e in self.plan.events if e != strike)))
            if not self.breach.asked:
                return
        before = None
        while before != self.plan and self.trials < MOST_TRIALS:
            before = self.plan
            for change in (self._plain, self._fewer, self._rounder, self._simpler):
                change()

    def _plain(self) -> None:
        """No values, no slips, seed 0, and the day's steps in place of the same acts one by one."""
        plan = self.plan
        self.works(replace(plan, values=()))
        for value in self.plan.values:
            self.works(replace(self.plan, values=tuple(v for v in self.plan.values if v != value)))
        self.works(replace(self.plan, seed=0))
        for slip in self.plan.slips:
            self.works(replace(self.plan, slips=tuple(s for s in self.plan.slips if s != slip)))
        if self.plan.steps:
            self.works(replace(self.plan, steps=False, slips=()))
        elif len(self.plan.acts) > 2 and self.bench.pad.crew.steps:
            acts = self.plan.acts
            tried = ((), *((act,) for act in acts[::-1]), *(acts[-n:] for n in range(2, len(acts) + 1)))
            any(self.works(replace(self.plan, steps=True, events=(*self.plan.strikes, *some))) for some in tried)
        self.works(replace(self.plan, settle_ms=SETTLE_MS))

    def _fewer(self) -> None:
        """Halves, quarters … and single events taken away, the later ones first."""
        size = max(1, len(self.plan.events) // 2)
        while size:
            at = len(self.plan.events)
            while at > 0:
                low, events = max(0, at - size), self.plan.ordered
                self.works(replace(self.plan, events=events[:low] + events[at:]))
                at = min(low, len(self.plan.events))
            size //= 2

    def _rounder(self) -> None:
        """Each moment rounder: an entry of a state rather than a time after it, whole minutes rather than odd ones."""
        for index in range(len(self.plan.ordered)):
            for moved in self._moments(index):
                if index < len(self.plan.ordered) and self.works(self._with(index, moved)):
                    break

    def _with(self, index: int, changed: Event) -> Plan:
        events = self.plan.ordered
        return replace(self.plan, events=events[:index] + (changed,) + events[index + 1 :])

    def _moments(self, index: int) -> Iterator[Event]:
        chosen = self.plan.ordered[index]
        now = chosen.moment
        assert isinstance(now, At | InState)
        ms = now.ms if isinstance(now, At) else now.after_ms
        for near in [0, *(r for unit in ROUND_MS for r in (ms // unit * unit, -(-ms // unit) * unit))]:
            if near == ms:
                return
            yield replace(chosen, moment=At(near) if isinstance(now, At) else InState(now.state, near))

    def _simpler(self) -> None:
        """Presses as people press, and a time of day told as 'in STATE' where that is rounder."""
        for index, old in enumerate(self.plan.ordered):
            if index >= len(self.plan.ordered) or self.plan.ordered[index] != old:
                continue
            if isinstance(old.action, Press) and old.action.held_ms != 300:
                self.works(self._with(index, event(old.moment, Press(old.action.input, 300))))
            if isinstance(old.moment, At) and old.moment.ms % 1000:
                trial = self.bench.try_(self.plan, enough=lambda b: b.rule == self.rule)
                at = old.moment.ms
                before = [(ms, state) for ms, state in trial.moves if ms <= at]
                if before:
                    ms, state = before[-1]
                    if not self.works(self._with(index, replace(old, moment=InState(state, 0)))):
                        rounded = (at - ms) // 100 * 100
                        self.works(self._with(index, replace(old, moment=InState(state, rounded))))


def _late(e: Event, ms: int) -> bool:
    return isinstance(e.moment, At) and e.moment.ms > ms


def shrink(bench: Bench, plan: Plan, breach: Breach) -> tuple[Plan, Breach]:
    """The small plan, and the breach as it comes about in it."""
    work = _Shrinker(bench, plan, breach)
    work.all()
    return work.plan, work.breach


def faults_of(plan: Plan) -> tuple[str, ...]:
    """The names of the faults that strike in a plan."""
    return tuple(f"{e.action.part}: {e.action.mode}" for e in plan.strikes if isinstance(e.action, Strike))
