"""The public strategies: what they draw is what the pad has, and any of it can be played."""

from __future__ import annotations

from functools import cache

from hypothesis import HealthCheck, find, given, settings
from hypothesis import strategies as st

from sequencer.description import Pad, load
from sequencer.description.faults import faults
from sequencer.simulation import simulate
from sequencer.simulation.events import At, Event, Hold, InState, Mend, Strike
from sequencer.trials.plan import ranges
from sequencer.trials.strategies import (
    broken,
    days,
    fault_schedules,
    held_buttons,
    links,
    moments,
    operators,
    play,
    values,
)

QUICK = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@cache
def bench() -> Pad:
    return load("configs/bench.yaml")


@cache
def club() -> Pad:
    return load("configs/club.yaml")


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_moments_are_whole_periods_and_name_states_of_the_file(data: st.DataObject) -> None:
    moment = data.draw(moments(club()))
    assert isinstance(moment, At | InState)
    ms = moment.ms if isinstance(moment, At) else moment.after_ms
    assert ms >= 0 and (isinstance(moment, InState) or ms % club().scan_ms == 0)
    assert isinstance(moment, At) or moment.state in club().states


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_schedule_strikes_no_part_twice_and_no_more_than_asked(data: st.DataObject) -> None:
    drawn = data.draw(fault_schedules(club(), equipment=2, slips=1))
    struck = [e.action for e in drawn]
    kinds = {f.name: f.kind for f in faults(club())}
    names = [f"{a.part}: {a.mode}" for a in struck if isinstance(a, Strike)]
    assert len(names) == len(struck) and len({a.part for a in struck if isinstance(a, Strike)}) == len(struck)
    assert sum(kinds[n] == "equipment" for n in names) <= 2 and sum(kinds[n] == "slip" for n in names) <= 1


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_values_lie_within_what_the_file_gives(data: st.DataObject) -> None:
    known = ranges(club())
    drawn = data.draw(values(club()))
    assert all(known[name, key].low <= value <= known[name, key].high for name, key, value in drawn)
    assert len({v[:2] for v in drawn}) == len(drawn)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_a_link_is_struck_before_it_is_said_to_be_well_again(data: st.DataObject) -> None:
    drawn = data.draw(links(club()))
    assert all(isinstance(e.action, Strike | Mend) and e.action.part == "radio" for e in drawn)
    assert not drawn or isinstance(drawn[0].action, Strike)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_held_buttons_are_held_and_any_act_is_an_event(data: st.DataObject) -> None:
    assert all(isinstance(e.action, Hold) and not e.action.let_go for e in data.draw(held_buttons(club())))
    assert all(isinstance(e, Event) for e in data.draw(operators(club(), most=4)))


@QUICK
@given(st.data())
def test_any_acts_can_be_simulated(data: st.DataObject) -> None:
    run = simulate(bench(), data.draw(operators(bench(), most=5, longest_ms=10_000)), until_ms=12_000, trace=False)
    assert run.ended_ms == 12_000


@QUICK
@given(st.data())
def test_a_held_button_alone_never_pulls_the_release_of_the_bench(data: st.DataObject) -> None:
    run = simulate(bench(), data.draw(held_buttons(bench())), until_ms=12_000, trace=False)
    assert not any(line.what.startswith("lets go") for line in run.lines)


@QUICK
@given(st.data())
def test_a_day_is_played_with_no_more_acts_than_it_has(data: st.DataObject) -> None:
    day = data.draw(days(bench(), equipment=1, most=4))
    trial = play(bench(), day, longest_ms=40_000)
    assert set(trial.plan.events) <= set(day.events)
    assert set(broken(bench(), day)) <= set(bench().interlocks)


def test_hypothesis_shrinks_a_day_to_the_plainest() -> None:
    plainest = find(days(club(), equipment=1), lambda day: len(day.strikes) == 1, settings=settings(max_examples=300, deadline=None, database=None))
    assert len(plainest.events) == 1 and not plainest.values and plainest.seed == 0
