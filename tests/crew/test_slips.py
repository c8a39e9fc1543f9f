"""Every line done wrong: the table is checked against slips whose end is known beforehand."""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.crew import slips as room
from sequencer.crew.slips import Slips, slips
from sequencer.crew.slips_text import slips_text
from sequencer.description import load, loads

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
CURLEW = load(CONFIGS / "curlew.yaml")
BENCH = load(CONFIGS / "bench.yaml")


def line(text: str) -> int:
    return next(n for n, step in enumerate(CURLEW.crew.steps, 1) if step.do.startswith(text))


@pytest.fixture(scope="module")
def table() -> Slips:
    wanted = (line("Walk out with the key"), line("Pull the pin"), line("Pull on the vehicle"))
    return slips(CURLEW, lines=wanted, kinds=("skip", "early"))


def result(table: Slips, number: int, kind: str) -> str:
    return next(slip.result for slip in table.slips if (slip.number, slip.kind) == (number, kind))


def test_a_key_left_on_the_pad_stops_the_day(table: Slips) -> None:
    assert result(table, line("Walk out with the key"), "skip") == "refused"


def test_a_pin_left_in_is_refused_and_one_pulled_early_trips(table: Slips) -> None:
    assert result(table, line("Pull the pin"), "skip") == "refused"
    assert result(table, line("Pull the pin"), "early") == "trips"


def test_a_line_done_twice_changes_nothing_where_the_box_listens_to_edges() -> None:
    press = next(n for n, step in enumerate(BENCH.crew.steps, 1) if step.press == "release_button")
    assert result(slips(BENCH, lines=(press,), kinds=("double",)), press, "double") == "no change"


def test_a_line_that_is_only_looked_at_is_said_to_rest_on_people(table: Slips) -> None:
    assert result(table, line("Pull on the vehicle"), "skip") == "people only"
    assert line("Pull on the vehicle") in table.unmissed


def test_a_hazard_that_only_a_step_prevents_is_named() -> None:
    # without the rule that the pad hand holds the key, nothing but walking out keeps people from the gas
    text = CURLEW.text.replace("holds: the key, never: lets the key", "never: lets the key")
    assert text != CURLEW.text
    number = line("Walk out with the key")
    table = slips(loads(text, "curlew.yaml"), lines=(number,), kinds=("skip",))
    assert "nobody_near_gas" in table.only_people[0].broken
    assert table.passed  # the file asks that rule to withstand no slip
    assert "Hazards that only a human step prevents\n  skip" in slips_text(table)

    strict = text.replace("withstand: {equipment: 1, slips: 0}", "withstand: {equipment: 1, slips: 1}")
    assert not slips(loads(strict, "curlew.yaml"), lines=(number,), kinds=("skip",)).passed


def test_branching_off_and_running_again_from_the_start_give_the_same_table(monkeypatch: pytest.MonkeyPatch) -> None:
    wanted = (len(BENCH.crew.steps) - 3, len(BENCH.crew.steps) - 1)
    branched = slips(BENCH, lines=wanted)
    assert len({slip.result for slip in branched.slips}) > 1
    monkeypatch.setattr(room.multiprocessing, "get_all_start_methods", lambda: ["spawn"])
    assert slips(BENCH, lines=wanted) == branched


def test_a_branch_ended_early_for_standing_as_the_plain_day_says_what_running_on_says(monkeypatch: pytest.MonkeyPatch) -> None:
    club = load(CONFIGS / "club.yaml")
    wanted = (3, 5, 7)
    early = slips(club, lines=wanted, kinds=("skip", "double", "swap"))
    monkeypatch.setattr(room._Plain, "like", lambda self, session, left: False)
    assert slips(club, lines=wanted, kinds=("skip", "double", "swap")) == early


def test_a_supply_left_shut_is_noticed_only_when_gas_is_wanted() -> None:
    number = line("Open the cylinder")
    assert result(slips(CURLEW, lines=(number,), kinds=("skip",)), number, "skip") == "trips"


def test_the_text_fits_eighty_columns_and_opens_with_what_it_is_blind_to(table: Slips) -> None:
    text = slips_text(table)
    assert text.splitlines()[1].startswith("Blind to:")
    assert all(len(one) <= 80 for one in text.splitlines())
