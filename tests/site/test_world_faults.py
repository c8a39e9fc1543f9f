"""Each fault of lines, supplies and reliefs, by its effect on the gas."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

FILL = {"fill": "open", "dump": "shut"}
Make = Callable[..., Any]


# ---- lines ------------------------------------------------------------------------------------


def test_a_valve_stuck_open_stays_open_whatever_is_commanded(club: Any) -> None:
    club.world.fault("dump_line", "stuck open")
    club.run(10.0, dump="shut")
    assert club.world.line_open("dump_line") and club.world.pressure("bottle") < 0.3e5


def test_a_valve_stuck_shut_keeps_the_gas_in_and_says_that_it_does_not_open(club: Any) -> None:
    club.world.fault("dump_line", "stuck shut")
    club.run(10.0, dump="open")
    assert not club.world.line_open("dump_line") and club.world.pressure("bottle") > 5e5
    assert club.said("dump_line") == ["does not open"]
    club.world.clear("dump_line")
    assert club.run(1.0).world.line_open("dump_line")


def test_a_leaking_valve_counts_as_shut_and_loses_gas_all_the_same(club: Any) -> None:
    before = club.run(5.0).world.pressure("bottle")
    club.world.fault("dump_line", "leaks")
    club.run(20.0)
    assert not club.world.line_open("dump_line") and club.world.pressure("bottle") < before - 0.5e5


def test_a_slow_valve_takes_seconds(club: Any) -> None:
    club.world.fault("dump_line", "slow")
    club.run(0.5, dump="open")
    assert club.world.pressure("bottle") > 5e5
    club.run(10.0)
    assert club.world.pressure("bottle") < 0.5e5


@pytest.mark.parametrize(("mode", "empties"), [("stuck open", True), ("stuck shut", False)])
def test_a_stuck_hand_valve_does_not_follow_the_hand(club: Any, mode: str, empties: bool) -> None:
    club.world.fault("hand_dump", mode)
    club.world.set_hand_valve("hand_dump", mode == "stuck shut")
    club.run(15.0)
    assert (club.world.pressure("bottle") < 0.5e5) is empties


def test_a_hose_that_comes_off_lets_the_bottle_out_and_the_supply_blow_into_the_open(club: Any) -> None:
    world = club.world
    world.fault("fill_line", "hose off")
    club.run(3.0)
    assert world.pressure("bottle") < 1e5  # a 4 mm fitting
    air = world.net.taken[0]
    club.run(5.0, **FILL)
    assert world.net.taken[0] > air and world.pressure("bottle") < 0.1e5


def test_a_check_valve_keeps_the_bottle_full_when_the_hose_comes_off_unless_it_leaks_back(rig: Make) -> None:
    for leaks in (False, True):
        made = rig("club.yaml", ("hose: 10 m of 4 mm", "hose: 10 m of 4 mm, one_way: yes"))
        made.world.set_pressure("bottle", 6e5)
        if leaks:
            made.world.fault("fill_line", "leaks back")
        made.world.fault("fill_line", "hose off")
        made.run(3.0, dump="shut")
        assert (made.world.pressure("bottle") < 1e5) is leaks


def test_a_kinked_hose_fills_slowly(rig: Make) -> None:
    rise = []
    for kinked in (False, True):
        made = rig("club.yaml")
        made.world.latch("hold_down")
        if kinked:
            made.world.fault("fill_line", "kinked")
        rise.append(made.run(3.0, **FILL).world.pressure("bottle"))
    assert 0.0 < rise[1] < 0.1 * rise[0]


def test_a_check_valve_that_sticks_traps_gas_behind_an_open_dump(rig: Make) -> None:
    manifold = ("  dump_line:  {line: bottle to air,",
                "  manifold: {volume: 0.2 l, rated: 8 bar}\n"
                "  neck: {line: bottle to manifold, one_way: yes, cracks_at: 0.1 bar, bore: 5 mm}\n"
                "  dump_line:  {line: manifold to air,")  # fmt: skip
    for traps in (False, True):
        made = rig("club.yaml", manifold, ("measured: 6 bar to 3 bar in 2 s", "bore: 3 mm"))
        world = made.world
        world.set_pressure("bottle", 5e5)
        if traps:
            world.fault("neck", "traps")
        made.run(30.0, dump="open")
        assert world.pressure("manifold") < 0.05e5
        # a sound check valve still keeps its cracking pressure in the bottle
        assert world.pressure("bottle") > 4e5 if traps else 0.05e5 < world.pressure("bottle") < 0.2e5


# ---- supplies and reliefs ---------------------------------------------------------------------


def _fills_to(made: Any, mode: str | None, seconds: float = 60.0) -> float:
    made.world.fault("relief", "stuck")
    made.world.latch("hold_down")
    if mode:
        made.world.fault("cylinder", mode)
    return made.run(seconds, **FILL).world.pressure("bottle") / 1e5


def test_a_sound_regulator_fills_to_its_set_pressure_and_a_little_creep(rig: Make) -> None:
    assert _fills_to(rig("club.yaml"), None) == pytest.approx(8.05, abs=0.15)


def test_a_creeping_regulator_fills_beyond_its_set_pressure(rig: Make) -> None:
    assert _fills_to(rig("club.yaml"), "creeps") > 8.7


def test_a_regulator_that_fails_open_gives_the_cylinders_pressure(rig: Make) -> None:
    assert _fills_to(rig("club.yaml"), "fails open", 120.0) == pytest.approx(12.0, abs=0.3)


def test_a_supply_that_runs_down_ends_the_fill_early_and_says_so(rig: Make) -> None:
    made = rig("club.yaml")
    assert _fills_to(made, "runs down") < 5.0
    assert any("has run down" in what for what in made.said("cylinder"))


def test_a_supply_shut_by_hand_gives_nothing(rig: Make) -> None:
    made = rig("club.yaml")
    made.world.set_hand_valve("cylinder", False)
    assert _fills_to(made, None, 20.0) == pytest.approx(0.0, abs=0.01)


def test_a_relief_valve_opens_at_its_set_pressure_and_shuts_below(rig: Make) -> None:
    made = rig("club.yaml")
    made.world.latch("hold_down")
    made.world.fault("cylinder", "fails open")
    made.run(60.0, **FILL)
    assert made.world.pressure("bottle") < 7.5e5 * 1.1
    made.run(60.0, dump="shut")
    assert [what.split(" at ")[0] for what in made.said("relief")] == ["opens", "shuts"]
    assert made.told_at("relief", "opens at 7.5 bar")


def test_a_stuck_relief_lets_the_pressure_pass_the_rating(rig: Make) -> None:
    made = rig("club.yaml")
    _fills_to(made, "fails open")
    assert made.said("relief") == [] and made.said("bottle") == ["rises above its rating of 8.0 bar"]


def test_a_relief_set_low_keeps_the_pad_from_its_pressure(rig: Make) -> None:
    made = rig("club.yaml")
    made.world.latch("hold_down")
    made.world.fault("relief", "set low")
    made.run(60.0, **FILL)
    assert made.world.pressure("bottle") < 0.65 * 7.5e5
    assert made.said("relief")[0] == "opens at 4.5 bar"
