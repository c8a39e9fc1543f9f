"""The crew's steps as the run's driver, on the toy site."""

from __future__ import annotations

from pathlib import Path

from sequencer.description import Pad, load, loads
from sequencer.simulation import Event, Run, simulate
from sequencer.simulation.events import InState, SetPressure, Strike
from tests.simulation.stand_in import StandIn

TEXT = Path("configs/club.yaml").read_text(encoding="utf-8")
CLUB = load("configs/club.yaml")


def run(pad: Pad = CLUB, *events: Event, **more: object) -> Run:
    return simulate(pad, events, crew=True, make_world=StandIn, **more)


def said(run: Run) -> str:
    return " | ".join(f"{line.who}: {line.what}" for line in run.lines)


def test_a_dial_that_shows_gas_stops_the_crew_and_is_told() -> None:
    pad = loads(TEXT.replace("opened_by: dump, measured: 6 bar to 3 bar in 2 s}", "opened_by: hand, measured: 6 bar to 3 bar in 2 s}").replace("dump_line: leaks", "fill_line: leaks"))
    late = run(pad, Event(InState("rest", 300), SetPressure("bottle", 2e5)))
    assert "dial shows 2.00 bar, wanted is bottle below 0.1 bar" in said(late)
    assert not late.crew_finished


def test_a_day_on_which_nothing_was_released_is_no_pass() -> None:
    pad = loads(TEXT.replace("release: pulled, beacon: lit", "beacon: lit").replace("at_most: 60 s}", "at_most: 3 min}"))
    shown = run(pad)
    assert shown.crew_finished and shown.verdict == "fail"
    assert shown.against == ("hold_down never let go, so there was no release",)


def test_after_a_trip_the_crew_waits_no_ten_minutes_for_what_was_planned() -> None:
    tripped = run(CLUB, Event(InState("filling", 100), Strike("stop", "held")))
    stopped = [line for line in tripped.lines if "does not go on" in line.what]
    assert stopped and stopped[0].ms - tripped.log_ms[-1] <= 31_000


def test_the_crew_turns_to_the_card_of_the_state_it_stops_in() -> None:
    pad = loads(TEXT.replace("states: [hung_up]", "states: [hung_up, dumping]"))
    tripped = run(pad, Event(InState("filling", 100), Strike("stop", "held")))
    assert "turns to the card 'misfire'" in said(tripped)


def test_a_run_on_the_toy_site_is_the_same_to_the_last_field_twice() -> None:
    assert run() == run()
