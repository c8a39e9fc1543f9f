"""Many runs side by side: each is the run that its own pad and seed would have had alone."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from sequencer.description import Pad, load
from sequencer.errors import SequencerError
from sequencer.site.lanes_world import LaneWorlds
from sequencer.table import Table, compile_table
from sequencer.trials.course import POWER_ON, Begin, Course, alone, at_phase, launch_phase, phase_steps
from sequencer.trials.draw import Draw, draw, nominal, parameters
from sequencer.trials.lanes import Together, together


@cache
def _pad(name: str) -> tuple[Pad, Table]:
    pad = load(f"configs/{name}.yaml")
    return pad, compile_table(pad)


@cache
def _leg(name: str) -> Begin:
    pad, table = _pad(name)
    return at_phase(pad, table, launch_phase(pad, table))


def _draws(name: str, count: int, seed: int = 0) -> list[Draw]:
    pad, _ = _pad(name)
    of = parameters(pad)
    return [draw(pad, of, seed, number) for number in range(count)]


def _equal(lanes: list[Course], singles: list[Course]) -> None:
    for a, b in zip(lanes, singles, strict=True):
        assert (a.passed, a.asked_ms, a.freed_ms, a.state, a.ended_ms, a.stopped) == (
            b.passed, b.asked_ms, b.freed_ms, b.state, b.ended_ms, b.stopped,
        )  # fmt: skip
        assert a.peaks == pytest.approx(b.peaks, rel=1e-9, abs=1e-3)
        assert a.at_asked == pytest.approx(b.at_asked, rel=1e-9, abs=1e-3)


def test_lanes_of_the_launch_leg_equal_single_runs_of_the_same_draws() -> None:
    _, table = _pad("curlew")
    draws = _draws("curlew", 4)
    lanes = together(draws, _leg("curlew"), table)
    _equal(lanes, [alone(one, _leg("curlew"), table) for one in draws])
    assert all(course.freed_ms is not None and len(course.passed) > 8 for course in lanes)
    assert len({course.freed_ms for course in lanes}) > 1


def test_lanes_of_a_whole_day_with_different_boot_times_equal_single_runs() -> None:
    _, table = _pad("club")
    draws = _draws("club", 5, seed=3)
    runs = Together(draws, POWER_ON, table)
    assert len(set(runs.clock.tolist())) > 1
    _equal(runs.run(), [alone(one, POWER_ON, table) for one in draws])


def test_the_rig_with_its_jack_is_flown_in_lanes_too() -> None:
    _, table = _pad("bench")
    draws = _draws("bench", 3, seed=1)
    _equal(together(draws, POWER_ON, table), [alone(one, POWER_ON, table) for one in draws])


def test_pressures_of_a_lane_are_those_of_its_own_world_at_every_scan() -> None:
    """To 1e-9 of the pressure, through filling, cooling and venting, with the valves driven by hand of this test."""
    pad, table = _pad("curlew")
    draws = _draws("curlew", 3, seed=5)
    single = [one.world() for one in draws]
    own = [one.world() for one in draws]
    rest = tuple(spec.idle for spec in table.outputs)
    index = {name: table.output_index(name) for name in ("fill_lower", "fill_upper", "dump_lower", "dump_upper")}
    fill = list(rest)
    fill[index["fill_lower"]] = fill[index["fill_upper"]] = fill[index["dump_lower"]] = fill[index["dump_upper"]] = 1
    shut = list(fill)
    shut[index["fill_lower"]] = shut[index["fill_upper"]] = 0
    for world in (*single, *own):
        world.latch("hold_down")
        world.set_switch("key", "turned")
        world.step(rest, 0.02)
    lanes = LaneWorlds(own, [one.seed for one in draws])
    for codes, scans in ((tuple(fill), 400), (tuple(shut), 300), (rest, 300)):
        lanes.command(np.arange(3), np.repeat(np.array([codes]).T, 3, axis=1))
        for _ in range(scans):
            lanes.step()
            for lane, world in enumerate(single):
                world.step(codes, 0.02)
                assert lanes.gas.p[:, lane].tolist() == pytest.approx(world.net.p, rel=1e-9)
                assert lanes.hold.load[0, lane] == pytest.approx(world.load("hold_down"), rel=1e-9, abs=1e-6)
                assert not lanes.lost


def test_samples_of_a_lane_are_those_of_its_own_world() -> None:
    _, table = _pad("curlew")
    draws = _draws("curlew", 3, seed=9)
    rest = tuple(spec.idle for spec in table.outputs)
    single, own = [one.world() for one in draws], [one.world() for one in draws]
    for world in (*single, *own):
        world.step(rest, 0.02)
    lanes = LaneWorlds(own, [one.seed for one in draws])
    for _ in range(700):  # more than one block of noise
        contacts, counts, heard = lanes.sample()
        for lane, world in enumerate(single):
            expected = world.sample()
            assert tuple(contacts[:, lane].astype(int)) == expected[0]
            assert tuple(counts[:, lane]) == expected[1]
            assert tuple(heard[:, lane].astype(int)) == expected[2]
            world.step(rest, 0.02)
        lanes.step()


def test_a_lane_whose_box_loses_its_supply_is_run_by_itself() -> None:
    _, table = _pad("club")
    draws = _draws("club", 2)
    begin = _leg("club")
    runs = Together(draws, begin, table)
    for _ in range(200):
        runs._scan()
    runs.worlds.load(1).set_power(False)
    runs.worlds.store(1)
    courses = runs.run()
    assert runs.worlds.lost == {1}
    _equal(courses, [alone(one, begin, table) for one in draws])


def test_a_leg_begins_where_the_nominal_day_stands() -> None:
    pad, table = _pad("curlew")
    assert launch_phase(pad, table) == "Pressurise"
    begin = _leg("curlew")
    assert begin.step == phase_steps(pad)["Pressurise"]
    assert begin.memory is not None and table.states[begin.memory.state].name == "rest"
    assert begin.memory.bits >> table.bit_index("leak_ok") & 1
    assert begin.latched == ("hold_down",) and ("locking_pin", True) in begin.pins
    course = alone(nominal(pad), begin, table)
    assert course.freed_ms is not None and not course.stopped


def test_a_leg_cannot_begin_with_gas_in_a_volume_or_at_a_phase_that_is_not_there() -> None:
    pad, table = _pad("curlew")
    with pytest.raises(SequencerError, match="there is gas in lower"):
        at_phase(pad, table, "Launch")
    with pytest.raises(SequencerError, match="no phase 'Lunch'"):
        at_phase(pad, table, "Lunch")
