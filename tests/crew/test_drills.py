"""The drills of the Curlew day: every scenario of the launch-day list, each ending as its file says.

The list of scenarios is common practice, no published source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.description import load
from sequencer.simulation import simulate
from sequencer.table import compile_table

PAD = load(Path(__file__).resolve().parents[2] / "configs" / "curlew.yaml")
TABLE = compile_table(PAD)
SCENARIOS = {
    "plain day": "full_day", "leak found": "leak_found", "cooling looks like a leak": "cooling_is_no_leak",
    "regulator creeps": "regulator_creeps", "fill valve stuck open": "fill_sticks_open", "person at three": "person_at_three",
    "gust": "gust_in_the_count", "servo stalls, one retry": "servo_stalls", "late release": "goes_by_itself_late",
    "pin forgotten": "pin_forgotten", "brown-out": "power_blinks", "link lost briefly": "link_short", "link lost": "link_long",
    "sensor wire": "sensor_wire_breaks", "vent iced": "dump_freezes", "trapped gas": "upper_stays_full",
    "half latched": "half_latched", "levers move": "lets_go_early", "hose bursts": "hose_bursts", "foreign frames": "foreign_frames",
    "key cycled": "key_cycled", "weather": "weather_stop", "vessel bursts": "vessel_bursts", "dress rehearsal": "wet_dress",
}  # fmt: skip


def test_every_scenario_of_the_list_has_its_drill() -> None:
    assert len(SCENARIOS) >= 23
    assert set(SCENARIOS.values()) <= set(PAD.drills)


@pytest.mark.parametrize("name", list(PAD.drills))
def test_the_drill_ends_as_the_file_says(name: str) -> None:
    run = simulate(PAD, drill=name, table=TABLE, trace=False)
    assert run.against == ()
    assert PAD.drills[name].ends and run.state_at_end in PAD.drills[name].ends


def test_the_pin_drill_skips_the_line_that_pulls_the_pin() -> None:
    number = int(PAD.drills["pin_forgotten"].slips[0].removeprefix("skip "))
    assert PAD.crew.steps[number - 1].set == {"locking_pin": "out"}


def test_the_late_consent_is_the_consent_to_count() -> None:
    number = int(PAD.drills["regulator_creeps"].slips[0].removeprefix("late "))
    assert PAD.crew.steps[number - 1].press == "consent" and PAD.crew.steps[number - 1].during == "holding"
