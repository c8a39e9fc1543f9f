"""Tolerance spread: what is drawn, what comes out, and that it is the same whatever the number of runs."""

from __future__ import annotations

import csv
import io
import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sequencer.cli.main import main
from sequencer.description import Pad, load, loads
from sequencer.description.grounds import HeadPart
from sequencer.errors import SequencerError
from sequencer.quantities import Span
from sequencer.report.plot_spread import edges
from sequencer.table import compile_table
from sequencer.trials.chances import Percentile
from sequencer.trials.course import POWER_ON, alone, at_phase, phase_steps
from sequencer.trials.draw import Parameter, draw, parameters
from sequencer.trials.lanes import together
from sequencer.trials.show import _bounds, show, table_of
from sequencer.trials.spread import Measure, Spread, begins, fly, spread
from tests.proof.small_pads import small_pad

RUNS = 60


@cache
def _pad(name: str) -> Pad:
    return load(f"configs/{name}.yaml")


@cache
def _trial() -> Spread:
    return spread(_pad("club"), RUNS, seed=4)


def test_every_range_of_the_file_and_every_default_the_world_asks_for_is_drawn() -> None:
    names = [p.name for p in parameters(_pad("curlew"))]
    assert {"cylinder.regulated", "hold_down.friction", "wire.slack", "work_battery.voltage"} <= set(names)
    assert {"assumed line.stroke", "assumed servo_data.speed", "assumed analog.lag", "assumed heartbeat.loss"} <= set(names)
    assert "assumed release_head.friction" not in names  # the file gives it
    assert not any("latency" in name or "boot" in name for name in names)  # drawn within each run


def test_a_draw_stays_in_its_range_with_the_nominal_value_as_median() -> None:
    import random

    parameter, rng = Parameter("x", Span(1.0, 2.0, 10.0, "ratio")), random.Random(1)
    values = np.array([parameter.draw(rng) for _ in range(4000)])
    assert values.min() >= 1.0 and values.max() <= 10.0
    assert abs((values < 2.0).mean() - 0.5) < 0.04  # five standard errors


def test_a_drawn_pad_has_the_drawn_values_and_the_defaults_only_in_its_own_world() -> None:
    pad = _pad("curlew")
    of = parameters(pad)
    one = draw(pad, of, 0, 1)
    value = dict(zip((p.name for p in of), one.values, strict=True))
    world = one.world()
    assert world.heads["hold_down"].head.contact_mu == value["hold_down.friction"]
    assert world.heads["hold_down"].delay == value["assumed release_head.lets_go_in"]
    assert world.lines["fill_line"].stroke == value["assumed line.stroke"]
    assert world.wires["wire"].whole.slack == value["wire.slack"]
    assert draw(pad, of, 0, 2).world().lines["fill_line"].stroke != value["assumed line.stroke"]
    from sequencer.site.world import World

    assert World(pad).lines["fill_line"].stroke == pytest.approx(0.05)


def test_run_number_i_is_the_same_whatever_the_number_of_runs_and_cores() -> None:
    pad = _pad("club")
    begin, _ = begins(pad, compile_table(pad), False, None)
    of = parameters(pad)
    many = fly(pad, begin, of, 4, range(12))
    assert fly(pad, begin, of, 4, [7]) == [many[7]]
    import sequencer.trials.spread as room

    assert room.FEW > 12
    try:
        room.FEW = 1
        assert fly(pad, begin, of, 4, range(12), cores=2) == many
    finally:
        room.FEW = 200


def test_the_same_seed_gives_the_same_trial_and_another_seed_another() -> None:
    again = spread(_pad("club"), RUNS, seed=4)
    assert np.array_equal(again.results, _trial().results, equal_nan=True)
    assert show(again) == show(_trial())
    assert not np.array_equal(spread(_pad("club"), 6, seed=5).values, _trial().values[:6])


def test_times_pressures_and_release_delay_spread_within_what_was_seen() -> None:
    found = {m.name: m for m in _trial().measures}
    assert {"until the head lets go", "bottle highest"} <= set(found)
    assert any(name.startswith("release delay after") for name in found)
    for measure in found.values():
        values = [p.value for p in measure.percentiles]
        assert measure.least <= values[0] and values[-1] <= measure.most
        assert values == sorted(values)


def test_what_drives_a_result_is_found() -> None:
    """In the club's pad the delay from command to release holds the head's own time to let go."""
    delay = next(m for m in _trial().measures if m.name.startswith("release delay"))
    assert any("lets_go_in" in name and rho > 0.3 for name, rho in delay.drivers)


def test_a_head_that_friction_holds_hangs_up_and_the_chance_says_so() -> None:
    text = Path("configs/club.yaml").read_text(encoding="utf-8")
    dry = text.replace("contact_angle: 20 deg (19 to 21)", "contact_angle: 11 deg (8 to 14)")
    assert dry != text
    found = spread(loads(dry, "dry.yaml"), 80, seed=1)
    hang = next(event for event in found.events if event.name.startswith("hang-up"))
    assert 0 < hang.chance.count < 80
    assert hang.chance.low < hang.chance.share < hang.chance.high
    assert {name for name, _ in hang.drivers[:2]} & {"hold_down.contact_angle", "hold_down.friction"}


def test_the_table_has_a_line_for_each_run_and_a_column_for_each_value() -> None:
    found = _trial()
    rows = list(csv.reader(io.StringIO(table_of(found))))
    assert len(rows) == RUNS + 1
    assert {len(row) for row in rows} == {2 + len(found.value_names) + len(found.result_names)}
    assert float(rows[1][1]) == found.values[0, 0]


def test_the_text_fits_80_columns_and_opens_with_what_it_is_blind_to() -> None:
    lines = show(_trial())
    assert max(len(line) for line in lines) <= 80
    assert any("do what the crew's nominal steps do" in line for line in lines[:4])


def test_the_command_writes_json_table_and_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, picture = tmp_path / "runs.csv", tmp_path / "runs.svg"
    code = main(["spread", "configs/club.yaml", "--runs", "12", "--json", "--csv", str(table), "--plot", str(picture)])
    answer = json.loads(capsys.readouterr().out)
    assert (code == 0) == (answer["verdict"] == "pass")
    assert answer["result"]["runs"] == 12 and answer["result"]["events"]
    assert len(table.read_text().splitlines()) == 13
    assert picture.read_text().startswith("<?xml")


def test_one_run_of_a_trial_can_be_told_by_itself(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["spread", "configs/club.yaml", "--story", "3"]) == 0
    said = capsys.readouterr().out
    assert "run 3 of the trial" in said and "lets go" in said


def test_a_leg_and_a_whole_day_cannot_both_be_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["spread", "configs/club.yaml", "--whole-day", "--from", "Fill"]) == 2
    assert "not both" in capsys.readouterr().err


def test_a_leg_of_a_rig_without_gas_begins_before_its_jack_is_pumped_and_every_run_pulls() -> None:
    pad = _pad("bench")
    table = compile_table(pad)
    begin, says = begins(pad, table, False, None)
    assert "'Load'" in says
    with pytest.raises(SequencerError, match="jack is pumped up"):
        at_phase(pad, table, "Pull")
    trial = spread(pad, 40, seed=2)
    happened = {event.name: event.chance.count for event in trial.events}
    assert happened["never asked to let go"] == 0 and happened["the crew stopped"] == 0
    measures = {m.name: m for m in trial.measures}
    load = measures["load on hold_down at release"]
    assert load.unit == "kgf" and 340.0 < load.least < load.most <= 400.0  # pumped to 400, the rig settles by up to 10 %
    assert load.drivers[0][0] == "jack.settles" and load.drivers[0][1] < -0.9
    assert not any(m.unit == "bar" for m in trial.measures)  # there is no gas on it


def test_lanes_of_a_rig_without_gas_equal_its_single_runs() -> None:
    pad = _pad("bench")
    table = compile_table(pad)
    begin, _ = begins(pad, table, False, None)
    draws = [draw(pad, parameters(pad), 3, number) for number in range(4)]
    assert together(draws, begin, table) == [alone(one, begin, table) for one in draws]


def test_the_first_phase_begins_at_power_on() -> None:
    pad = _pad("club")
    first = next(phase for phase, step in phase_steps(pad).items() if step == 0)
    assert at_phase(pad, compile_table(pad), first) == POWER_ON


def test_bars_of_times_are_whole_scans_wide_and_every_run_is_in_one() -> None:
    rng = np.random.default_rng(0)
    for scans, most in ((7, 40), (40, 40), (55, 40), (300, 40)):
        times = 5.0 + 0.02 * np.concatenate([np.arange(scans), rng.integers(0, scans, 500)])
        limits = edges(times, most)
        counts, _ = np.histogram(times, limits)
        assert counts.sum() == len(times) and len(counts) <= most + 1
        width = float(np.diff(limits)[0]) / 0.02
        assert abs(width - round(width)) < 1e-6
        assert (counts[:-1] > 0).all()  # no empty bar between scans
    smooth = rng.normal(10.0, 1.0, 500)
    limits = edges(smooth)
    assert len(limits) == 41 and np.histogram(smooth, limits)[0].sum() == 500
    assert list(edges(np.full(5, 2.0))) == [1.5, 2.5]


def test_a_pad_without_a_release_head_is_spread_too() -> None:
    """Nothing to hold and nothing to let go: lanes of no heads and no seats."""
    pad = small_pad(0)
    assert not pad.parts(HeadPart)
    found = spread(pad, 3, seed=0)
    assert len(found.values) == 3
    assert "never asked to let go" in "\n".join(show(found))


def test_a_percentile_that_few_runs_do_not_bound_is_told_in_words() -> None:
    few = Measure("bottle highest", "bar", 30, 5.0, 6.0, (Percentile(0.99, 5.9, 5.8, None),), ())
    many = Measure("bottle highest", "bar", 3000, 5.0, 6.0, (Percentile(0.99, 5.9, 5.8, 5.95),), ())
    assert _bounds(few) == "at least 5.800 bar, too few runs to bound it above (seen 5.000 to 6.000 bar)"
    assert _bounds(many) == "5.800 to 5.950 bar (seen 5.000 to 6.000 bar)"
