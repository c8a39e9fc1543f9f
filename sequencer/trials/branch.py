"""Many plans that begin alike: the common part is played once, each variant goes on from where it differs.

A variant is a forked copy of the running trial, so it is the very run that it would be from the start. Where the
system cannot fork, the common part is played again for each variant; a test holds the two equal.
"""

from __future__ import annotations

import gc
import os
import pickle
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sequencer.simulation.events import At, Event, InState
from sequencer.trials.hands import steps_of
from sequencer.trials.plan import Plan
from sequencer.trials.probe import NEVER, Breach, Key, Patience, Playing, Trial

if TYPE_CHECKING:
    from sequencer.trials.campaign import Bench

_FORKS = hasattr(os, "fork")


@dataclass(frozen=True)
class Group:
    """A plan and variants of it, each with its patience in ms. Steps or not, seed and values are those of the plan.
    whole: the plan itself is a trial too."""

    plan: Plan
    variants: tuple[tuple[Plan, int], ...]
    whole: bool = False


@dataclass
class _Variant:
    """What a variant does otherwise: events come and gone, and the first step (from 0) that is another."""

    number: int
    plan: Plan
    patience: Patience
    own: list[Event]
    other: list[Event]
    step: int

    def due_ms(self, ms: int, state: str, since_ms: int) -> int:
        """When it begins to differ, as things stand; NEVER while that cannot be said."""
        due = NEVER
        for one in self.other:
            moment = one.moment
            if isinstance(moment, At):
                due = min(due, moment.ms)
            elif isinstance(moment, InState) and moment.state == state:
                due = min(due, since_ms + moment.after_ms)
        return due


def _variant(bench: Bench, base: Plan, number: int, plan: Plan, patience: Patience) -> _Variant:
    if (plan.steps, plan.seed, plan.values) != (base.steps, base.seed, base.values):
        raise ValueError("a variant has the steps, the seed and the values of its plan")
    was, now = Counter(base.events), Counter(plan.events)
    own = list((now - was).elements())
    step = NEVER
    if plan.slips != base.slips:
        before, after = steps_of(bench.pad, base), steps_of(bench.pad, plan)
        step = next((i for i, (a, b) in enumerate(zip(before, after, strict=False)) if a != b), min(len(before), len(after)))
    return _Variant(number, plan, patience, own, own + list((was - now).elements()), step)


def grow(bench: Bench, group: Group, known: frozenset[Key] | set[Key], enough: Callable[[Breach], bool], *, forks: bool = _FORKS) -> list[Trial | None]:
    """The trial of each variant, None for one that never comes to differ; last the plan's own when it is asked for."""
    variants = [
        _variant(bench, group.plan, number, plan, Patience(ms, known)) for number, (plan, ms) in enumerate(group.variants)
    ]  # fmt: skip
    found: list[Trial | None] = [None] * len(variants)
    play = Playing(bench.pad, bench.table, bench.menu, group.plan, enough)
    if forks:
        gc.collect()
        gc.freeze()
    try:
        for one in _as_they_differ(play, variants, bench.longest_ms, group.whole):
            if forks:
                found[one.number] = _forked(play, one, bench.longest_ms)
            else:
                again = Playing(bench.pad, bench.table, bench.menu, group.plan, enough)
                next(iter(_as_they_differ(again, [one], bench.longest_ms, False)))
                found[one.number] = _on(again, one, bench.longest_ms)
    finally:
        if forks:
            gc.unfreeze()
    return [*found, play.trial()] if group.whole else found


def _as_they_differ(play: Playing, variants: Sequence[_Variant], longest_ms: int, whole: bool) -> Iterator[_Variant]:
    """Play the plan; each variant comes up just before the first period in which it differs. A plan is played to its
    end as long as variants may still come up, or when it is to be played `whole`."""
    left, site = list(variants), play.site
    while True:
        state, since = site.state_name, site.box.since_ms
        due = [(one.due_ms(site.ms, state, since), one) for one in left]
        come_to = site.steps.come_to
        for ms, one in due:
            if ms <= site.ms or one.step <= come_to:
                yield one
                left.remove(one)
        waiting = [(ms, one.step) for ms, one in due if one in left]
        if not waiting and not whole:
            return
        play.pause_since = since
        play.pause_ms = min((ms for ms, _ in waiting), default=NEVER)
        play.pause_step = min((step for _, step in waiting), default=NEVER)
        if play.go(longest_ms):
            return


def _on(play: Playing, one: _Variant, longest_ms: int) -> Trial:
    play.branch(one.plan, one.own, one.patience)
    play.go(longest_ms)
    return play.trial()


def _forked(play: Playing, one: _Variant, longest_ms: int) -> Trial:
    """The variant's trial, played by a copy of this process. What the copy raises is raised here."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        answer: Trial | Exception
        try:
            gc.disable()
            os.close(read)
            answer = _on(play, one, longest_ms)
        except Exception as error:  # told to the parent, which raises it
            answer = error
        try:
            with os.fdopen(write, "wb") as pipe:
                pickle.dump(answer, pipe, pickle.HIGHEST_PROTOCOL)
        finally:
            os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as pipe:
        told = pipe.read()
    os.waitpid(child, 0)
    if not told:
        raise RuntimeError("a copy of the process ended without an answer")
    answer = pickle.loads(told)
    if isinstance(answer, Exception):
        raise answer
    assert isinstance(answer, Trial)
    return answer
