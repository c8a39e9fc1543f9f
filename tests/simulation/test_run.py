"""Whole runs of the club pad on the real site, and what they must show."""

from __future__ import annotations

from functools import cache

import pytest

from sequencer.description import Pad, load, loads
from sequencer.description.faults import faults
from sequencer.errors import SequencerError
from sequencer.report.story import ending
from sequencer.simulation import Event, Run, simulate, story
from sequencer.simulation.events import (
    At,
    Blink,
    Hold,
    InState,
    Once,
    PowerOff,
    Press,
    SetPressure,
    Strike,
    Switch,
    Walk,
)
from sequencer.simulation.reasons import behind
from sequencer.table import boxlog, compile_table
from tests.quick_club import quick_club


@cache
def club() -> Pad:
    return load("configs/club.yaml")


@cache
def nominal(seed: int = 0) -> Run:
    return simulate(club(), crew=True, seed=seed, trace=True)


def moves(run: Run) -> list[str]:
    return [entry.to for entry in run.log if entry.kind == "move"]


def test_the_nominal_run_releases_and_comes_back_to_rest_with_people_allowed() -> None:
    run = nominal()
    assert run.verdict == "pass", run.against
    assert moves(run) == ["rest", "armed", "filling", "holding", "counting", "releasing", "gone", "dumping", "rest"]
    assert run.people_allowed and run.crew_finished
    assert any(line.what.startswith("lets go") for line in run.lines)


def test_the_same_seed_gives_the_same_run_to_the_last_line() -> None:
    again = simulate(club(), crew=True, seed=0, trace=True)
    assert again == nominal()
    assert again.trace is not None and nominal().trace is not None
    assert (again.trace.pressures["bottle"] == nominal().trace.pressures["bottle"]).all()


def test_another_seed_gives_other_times_but_the_same_story() -> None:
    other = nominal(7)
    assert other.log_ms != nominal().log_ms
    assert moves(other) == moves(nominal())


def test_the_log_written_is_the_log_read() -> None:
    run = nominal()
    assert tuple(boxlog.read(boxlog.write(run.log))) == run.log
    assert run.log[0] == boxlog.power_up("power-on", run.checksum)


def test_every_move_of_the_log_is_a_row_of_the_table_whose_bits_hold() -> None:
    table = compile_table(club())
    for entry in nominal().log[1:]:
        row = table.rows[entry.row]
        assert (table.states[row.state].name, table.states[row.to].name) == (entry.origin, entry.to)
        assert entry.bits & row.care == row.want


@pytest.mark.parametrize("name", [fault.name for fault in faults(load("configs/club.yaml"))])
def test_every_fault_runs_and_shows_its_name_in_the_story(name: str) -> None:
    part, mode = name.split(": ")
    run = simulate(club(), [Event(InState("filling", 1000), Strike(part, mode))], crew=True, trace=False, until_ms=125_000)
    assert run.faults == (name,)
    assert any(line.kind == "fault" and name in line.why for line in run.lines)


@pytest.mark.parametrize("name", list(load("configs/club.yaml").drills))
def test_every_drill_of_the_file_ends_as_it_says(name: str) -> None:
    run = simulate(club(), drill=name, trace=False)
    assert run.verdict == "pass", run.against


def test_a_drill_that_is_not_there_is_told_with_the_nearest_name() -> None:
    with pytest.raises(SequencerError, match="servo_sticks"):
        simulate(club(), drill="servo_stick")


def ready_to_arm() -> list[Event]:
    """Everything for arming but the arm switch itself."""
    from sequencer.simulation.events import Latch

    return [
        Event(At(0), Latch("hold_down")), Event(At(0), Switch("gate", "shut")), Event(At(0), Walk("pad_hand", "out")),
        Event(InState("rest"), Switch("key", "turned")),
    ]  # fmt: skip


def test_a_button_held_from_power_up_does_nothing_through_arming_and_filling_until_let_go() -> None:
    """The kind of case C10: a switch that was closed when the board started counted as a press."""
    events = [*ready_to_arm(), Event(At(0), Hold("button")), Event(InState("rest", 2000), Switch("arm", "switched up"))]
    run = simulate(club(), events, until_ms=120_000, trace=False)
    assert moves(run)[:2] == ["rest", "armed"]
    assert "filling" not in moves(run)
    let_go = [Event(InState("armed", 10_000), Hold("button", let_go=True)), Event(InState("armed", 12_000), Press("button"))]
    assert "filling" in moves(simulate(club(), [*events, *let_go], until_ms=120_000, trace=False))


def test_an_arm_switch_up_since_power_up_does_not_arm() -> None:
    events = [*ready_to_arm(), Event(At(0), Switch("arm", "switched up"))]
    assert moves(simulate(club(), events, until_ms=150_000, trace=False)) == ["rest"]


def test_a_stop_held_from_power_up_keeps_the_box_from_arming_until_let_go() -> None:
    held = [*ready_to_arm(), Event(At(0), Hold("stop"))]
    arm = Event(InState("rest", 2000), Switch("arm", "switched up"))
    assert moves(simulate(club(), [*held, arm], until_ms=90_000, trace=False)) == ["rest"]
    let_go = Event(InState("rest", 1000), Hold("stop", let_go=True))
    assert moves(simulate(club(), [*held, let_go, arm], until_ms=90_000, trace=False))[:2] == ["rest", "armed"]


def test_a_power_blink_under_pressure_lands_in_the_first_state_and_is_logged() -> None:
    run = simulate(club(), [Event(InState("holding", 500), Blink(300))], crew=True, trace=False)
    again = [i for i, entry in enumerate(run.log) if entry.kind == "power-up"][1]
    assert run.log[again - 1].to == "holding"
    assert all(entry.origin == "dumping" for entry in run.log[again + 1 : again + 2])
    assert run.log[again].cause == "power-on"


def test_a_hung_box_is_reset_by_the_watchdog_and_the_log_names_the_cause() -> None:
    run = simulate(club(), [Event(InState("holding", 500), Strike("box", "hangs"))], crew=True, trace=False)
    assert [entry.cause for entry in run.log if entry.kind == "power-up"] == ["power-on", "watchdog"]


def test_a_supply_that_sags_under_a_stalled_servo_resets_the_box_as_a_brown_out() -> None:
    events = [Event(InState("counting"), Strike("release", "jammed")), Event(InState("counting"), Strike("battery", "sags"))]
    run = simulate(loads(quick_club(), "club.yaml"), events, crew=True, trace=False, until_ms=160_000)
    causes = [entry.cause for entry in run.log if entry.kind == "power-up"]
    assert causes[0] == "power-on" and "brown-out" in causes[1:]
    assert run.state_at_end == "dumping"


def test_without_power_no_state_is_shown_and_nobody_is_allowed_on_the_pad() -> None:
    run = simulate(club(), [Event(InState("rest"), PowerOff())], until_ms=90_000, trace=False)
    assert run.state_at_end == "" and not run.people_allowed


def test_someone_walking_in_under_pressure_breaks_the_rule_at_that_moment() -> None:
    events = [*ready_to_arm(), Event(At(0), SetPressure("bottle", 4e5)), Event(At(40), Strike("pad", "walks in"))]
    run = simulate(club(), events, until_ms=3_000, trace=False)
    assert "nobody_near_gas" in [judged.name for judged in run.broken]
    assert run.broken[0].ms is not None and run.broken[0].ms <= 80


def test_a_replay_in_order_waits_for_each_event_and_reports_what_never_came() -> None:
    bottle_full = club().interlocks["nobody_near_gas"].never.expression
    events = story(Event(InState("rest"), Switch("key", "turned")), Event(Once(bottle_full), Press("stop")))
    run = simulate(club(), events, until_ms=70_000, trace=False)
    assert run.waiting == ("press stop once something is true",)
    assert run.verdict == "fail"


@pytest.mark.parametrize(
    ("what", "outcome"),
    [
        ((Event(InState("releasing"), Switch("stop", "pressed"), "director"),), "held"),
        ((Event(InState("releasing"), Strike("beacon", "dead")), Event(InState("releasing"), Switch("stop", "pressed"), "director")), "held"),
        ((Event(InState("releasing"), Blink()),), "held"),
        ((Event(InState("releasing"), Strike("stop", "wire cut")),), "broken"),
        ((Event(InState("releasing"), Strike("battery", "fails")),), "broken"),
    ],
)  # fmt: skip
def test_a_release_taken_back_by_a_stop_owes_nothing_but_taken_back_by_a_fault_it_is_still_owed(what: tuple[Event, ...], outcome: str) -> None:
    run = simulate(club(), what, crew=True)
    assert "releasing" in moves(run)
    assert next(j for j in run.judged if j.name == "lets_go").outcome == outcome
    assert not any(line.what.startswith("lets go") for line in run.lines)


def test_the_readings_behind_a_condition_are_all_that_it_is_made_from() -> None:
    table = compile_table(club())

    def of(name: str) -> frozenset[str]:
        return behind(table, 1 << table.bit_index(name))

    assert of("pressed") == {"button"} and of("at_pressure") == {"bottle_sensor"} and of("radio_ok") == {"radio"}
    assert of("no_rise") == {"bottle_sensor"}
    assert behind(table, 1 << table.bit_index("key_in") | 1 << table.bit_index("latched")) == {"key", "head"} and behind(table, 0) == set()


def test_a_waived_rule_is_told_with_its_reason_and_fails_the_run_all_the_same() -> None:
    text = load("configs/club.yaml").text
    rule = "  arming_is_meant:\n"
    assert text.count(rule) == 1
    waived = text.replace(rule, f"{rule}    waive: We know it.\n").replace("and box says radio_ok\n", "and box says radio_ok and bottle at least 9 bar\n", 1)
    run = simulate(loads(waived, "club.yaml"), crew=True)
    assert any(one.name == "arming_is_meant" and one.waived == "We know it." and one.outcome == "broken" for one in run.judged)
    assert run.verdict == "fail" and "[waived: We know it.]" in " ".join(" ".join(ending(run)).split())
