"""Variants that go on from where they differ are the very trials that they would be from the start."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from sequencer.simulation.events import At, InState, Press, Strike, Switch
from sequencer.trials.branch import Group, grow
from sequencer.trials.frontier import Frontier, Parent
from sequencer.trials.nominal import in_states, recorded
from sequencer.trials.plan import Plan, event
from sequencer.trials.probe import Breach
from sequencer.trials.vary import Changer
from tests.trials.the_club import bench, club

FOR_EVER = 1 << 60


def never(_: Breach) -> bool:
    return False


VARIANTS = (
    Plan((event(InState("holding", 1_000), Switch("stop", "pressed")),), steps=True),
    Plan((event(At(113_000), Press("stop", 300)), event(InState("filling", 0), Strike("radio", "lost"))), steps=True),
    Plan((event(InState("armed", 500), Switch("gate", "not shut")),), steps=True, settle_ms=5_000),
    Plan((), steps=True, slips=("late 9",)),
)


@pytest.mark.parametrize("forks", [True, False])
def test_a_variant_is_the_trial_that_it_would_be_from_the_start(forks: bool) -> None:
    base = Plan(steps=True)
    grown = grow(bench(), Group(base, tuple((plan, FOR_EVER) for plan in VARIANTS), whole=True), frozenset(), never, forks=forks)
    alone = [bench().try_(plan, enough=never) for plan in (*VARIANTS, base)]
    assert len(grown) == len(alone)
    for one, other in zip(grown, alone, strict=True):
        assert one is not None
        assert (one.plan, one.breaches, one.moves, one.ended_ms, one.wrong) == (other.plan, other.breaches, other.moves, other.ended_ms, other.wrong)
        if one.plan.slips:  # what was visited before the slip is visited with nothing wrong yet
            assert {k[:2] for k in other.keys} <= {k[:2] for k in one.keys}
        else:
            assert one.keys == other.keys


def test_random_variants_of_random_plans_are_those_trials_too() -> None:
    day = recorded(club())
    assert day is not None
    frontier = Frontier(bench().table, bench().menu.faults)
    changer = Changer(club(), bench().table, bench().menu, frontier)
    rng, held = random.Random(5), 0
    trial = bench().try_(day, enough=never)
    parent = Parent(replace(day, settle_ms=2_000), trial.moves, trial.ended_ms)
    plans = [replace(changer.changed(rng, parent, day, 2).plan, settle_ms=2_000) for _ in range(10)]
    grown = grow(bench(), Group(parent.plan, tuple((plan, FOR_EVER) for plan in plans)), frozenset(), never)
    for plan, one in zip(plans, grown, strict=True):
        if one is not None:
            other = bench().try_(plan, enough=never)
            end = min(one.ended_ms, other.ended_ms)  # a variant without the parent's last acts forks only when those are due
            assert one.ended_ms == other.ended_ms or len(plan.acts) < len(parent.plan.acts)
            assert [b for b in one.breaches if b.ms <= end] == [b for b in other.breaches if b.ms <= end]
            assert [move for move in one.moves if move[0] <= end] == [move for move in other.moves if move[0] <= end]
            assert one.ended_ms != other.ended_ms or one.plan.events == other.plan.events
            held += 1
    assert held >= 6


def test_a_variant_that_never_comes_to_differ_is_no_trial() -> None:
    late = Plan((event(InState("hung_up", 0), Switch("stop", "pressed")),), steps=True)
    assert grow(bench(), Group(Plan(steps=True), ((late, FOR_EVER),)), frozenset(), never) == [None]


def test_a_variant_has_the_seed_and_the_values_of_its_plan() -> None:
    with pytest.raises(ValueError, match="seed"):
        grow(bench(), Group(Plan(steps=True), ((Plan(steps=True, seed=3), FOR_EVER),)), frozenset(), never)


def test_what_a_copy_raises_is_raised_here() -> None:
    def fails(_: Breach) -> bool:
        raise KeyError("a breach is judged")

    breaking = Plan((event(InState("filling", 0), Strike("pad", "walks in")),), steps=True)
    with pytest.raises(KeyError, match="a breach is judged"):
        grow(bench(), Group(Plan(steps=True), ((breaking, FOR_EVER),)), frozenset(), fails)


def test_a_patient_variant_ends_once_nothing_new_comes() -> None:
    base = Plan(steps=True)
    plan = VARIANTS[0]
    long = grow(bench(), Group(base, ((plan, FOR_EVER),)), frozenset(), never)[0]
    assert long is not None
    known = long.keys
    short = grow(bench(), Group(base, ((plan, 3_000),)), known, never)[0]
    assert short is not None
    assert short.ended_ms < long.ended_ms and short.keys <= long.keys
    assert short.moves == long.moves[: len(short.moves)] and short.moves[-1][1] == "dumping"


def test_the_day_in_states_moves_the_box_as_the_day_at_times() -> None:
    day = recorded(club())
    assert day is not None
    plain = bench().try_(day, enough=never)
    told = in_states(day, plain.moves)
    assert sum(isinstance(e.moment, InState) for e in told.events) > len(told.events) // 2
    assert [state for _, state in bench().try_(told, enough=never).moves] == [state for _, state in plain.moves]
