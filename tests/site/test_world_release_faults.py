"""Faults of servo, wire, head, pin, supply and parting hose, by their effect on the release."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

PULL = {"dump": "shut", "servo_power": "on", "release": "pulled"}
FILL = {"fill": "open", "dump": "shut"}
Make = Callable[..., Any]


# ---- servo, wire, head, pin -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("part", "mode"),
    [("release", "jammed"), ("release", "limp"), ("wire", "off"), ("wire", "stretched"), ("servo_power", "stuck off"), ("battery", "fails")],
)
def test_a_fault_of_the_pull_leaves_the_head_latched(club: Any, part: str, mode: str) -> None:
    club.world.fault(part, mode)
    club.run(1.0, **PULL)
    assert club.world.head_state("hold_down") == "latched" and club.world.pressure("bottle") > (0 if part == "battery" else 5e5)
    assert (club.world.servo("release") > 70.0) is (part == "wire")


def test_a_jammed_servo_stalls_draws_its_current_and_sags_the_supply(club: Any) -> None:
    club.world.fault("release", "jammed")
    club.run(0.5, **PULL)
    # 6 V open, 0.2 ohm, 2.5 A at 6 V: 6 / (1 + 0.2*2.5/6) = 5.54 V
    assert club.world.voltage == pytest.approx(5.54, abs=0.02)
    assert club.said("release") == ["stalls, 2.3 A at 5.5 V"] and club.world.powered


def test_a_weak_supply_resets_the_box_when_the_servo_stalls(club: Any) -> None:
    club.world.fault("battery", "sags")
    club.world.fault("release", "jammed")
    club.run(0.1, until=lambda: not club.world.powered, **PULL)
    assert club.said("box") == ["resets: supply fell to 3.7 V"]
    club.off(0.1)  # undriven: the relay opens, the supply recovers, the box may start again
    assert club.world.powered and len(club.said("box")) == 1


def test_a_weak_supply_alone_does_nothing(club: Any) -> None:
    club.world.fault("battery", "sags")
    club.run(5.0)
    assert club.world.powered and club.said("box") == []


def test_a_slow_servo_lets_go_late_but_does(club: Any) -> None:
    start = club.world.ground.now
    club.world.fault("release", "slow")
    club.run(3.0, **PULL)
    assert 0.3 < club.told_at("hold_down", "lets go") - start < 1.5


def test_a_servo_that_twitches_releases_as_soon_as_it_gets_power_though_locked(club: Any) -> None:
    club.run(1.0, dump="shut", servo_power="on")
    assert club.world.head_state("hold_down") == "latched"  # a sound servo with pulses does not
    club.run(0.2, dump="shut")
    club.world.fault("release", "twitches")
    club.run(1.0, dump="shut", servo_power="on")
    assert club.world.head_state("hold_down") == "let go" and club.world.servo("release") < 1.0


def test_a_servo_without_pulses_jumps_a_little_at_power_up_and_then_hangs_limp(club: Any) -> None:
    club.world.fault("servo_power", "welded")
    club.off(0.04)
    assert club.world.servo("release") == pytest.approx(5.0, abs=0.1)  # the assumed twitch
    club.off(1.0)
    assert club.world.head_state("hold_down") == "latched"


def test_a_welded_relay_feeds_the_servo_unasked_and_its_second_pole_shows_it(rig: Make) -> None:
    made = rig("curlew.yaml")
    made.world.set_switch("key", "turned")
    made.run(0.2)
    assert made.contact("relay_seen") == 0
    made.world.fault("servo_power", "welded")
    made.run(0.2)
    assert made.contact("relay_seen") == 1
    made.run(0.2, release="pulled")
    made.run(1.0)
    assert made.world.servo("release") > 70.0


@pytest.mark.parametrize("mode", ["seized", "half latched", "latched on dirt", "lets go early", "lets go late"])
def test_no_fault_of_the_head_is_seen_by_its_contact_before_it_shows(rig: Make, mode: str) -> None:
    made = rig("club.yaml")
    made.world.fault("hold_down", mode)
    made.world.latch("hold_down")
    made.run(0.5, dump="shut")
    assert made.contact("head") == 1
    assert made.world.head_state("hold_down") == ("half latched" if mode.split()[0] in ("half", "latched") else "latched")


def test_a_seized_head_stays_shut_on_a_free_catch_and_says_so(club: Any) -> None:
    club.world.fault("hold_down", "seized")
    club.run(1.0, **PULL)
    assert club.world.head_state("hold_down") == "latched"
    assert club.said("hold_down") == ["seizes under 23 kgf: its catch is free and it stays shut"]


def test_a_head_that_lets_go_early_does_so_as_soon_as_it_is_loaded(rig: Make, club: Any) -> None:
    club.world.fault("hold_down", "lets go early")
    club.run(0.2)
    assert club.said("hold_down") == ["lets go"] and club.said("bottle") == ["leaves at 6.0 bar"]
    made = rig("club.yaml")
    made.world.latch("hold_down")
    made.world.fault("hold_down", "lets go early")
    assert made.run(5.0, dump="shut").said("hold_down") == []
    made.run(5.0, **FILL)
    assert made.said("hold_down") == ["lets go"]


def test_a_pin_blocks_a_head_that_would_let_go_early(rig: Make) -> None:
    made = rig("curlew.yaml")
    made.world.latch("hold_down")
    made.world.pin("locking_pin", True)
    made.world.fault("hold_down", "lets go early")
    made.world.set_pressure("lower", 5e5)
    made.run(1.0, dump_lower="shut", dump_upper="shut")
    assert made.world.head_state("hold_down") == "latched"
    made.world.fault("locking_pin", "falls out")
    made.run(0.2)
    assert made.said("locking_pin") == ["falls out"] and made.world.head_state("hold_down") == "let go"
    assert made.contact("pin_seen") == 0


def test_a_head_that_lets_go_late_surprises_after_seconds_even_with_the_servo_home_again(club: Any) -> None:
    start = club.world.ground.now
    club.world.fault("hold_down", "lets go late")
    club.run(1.0, **PULL)
    assert club.world.head_state("hold_down") == "latched"
    club.run(4.0)
    assert 3.0 < club.told_at("hold_down", "lets go") - start < 3.5


def test_a_half_latched_head_gives_way_below_its_rated_load(rig: Make) -> None:
    made = rig("club.yaml")
    made.world.fault("hold_down", "half latched")
    made.world.latch("hold_down")
    made.run(30.0, **FILL)
    # rated 8 bar on 22 mm: 31 kgf, 40 % of it
    assert made.said("hold_down") == ["slips, half latched, at 12 kgf", "lets go"]


def test_a_head_latched_on_dirt_creeps_off_after_a_while_under_load(club: Any) -> None:
    club.world.fault("hold_down", "latched on dirt")
    assert club.world.head_state("hold_down") == "half latched"
    club.run(15.0)
    assert club.said("hold_down") == []
    club.run(10.0)
    assert club.said("hold_down")[0].startswith("creeps off the dirt") and club.world.head_state("hold_down") == "let go"


def test_a_pin_that_stays_in_keeps_the_head_from_letting_go(rig: Make) -> None:
    made = rig("curlew.yaml")
    made.world.latch("hold_down")
    made.world.pin("locking_pin", True)
    made.world.set_switch("key", "turned")
    made.world.fault("locking_pin", "stays in")
    made.world.set_pressure("lower", 5e5)
    made.world.pin("locking_pin", False)
    made.run(1.0, dump_lower="shut", dump_upper="shut", servo_power="on", release="pulled")
    assert made.said("locking_pin") == ["does not come out"] and made.contact("pin_seen") == 1
    assert made.world.head_state("hold_down") == "latched"


def test_a_dead_lamp_stays_dark(club: Any) -> None:
    club.run(0.2, beacon="lit", dump="shut")
    assert club.world.switches["beacon"].closed
    club.world.fault("beacon", "dead")
    assert not club.world.switches["beacon"].closed
    club.world.clear("beacon")
    assert club.world.switches["beacon"].closed


# ---- the hose through the head ----------------------------------------------------------------


def _flown(rig: Make, *faults: tuple[str, str]) -> Any:
    made = rig("curlew.yaml")
    world = made.world
    world.latch("hold_down")
    world.set_switch("key", "turned")
    shut = {"dump_lower": "shut", "dump_upper": "shut"}
    made.run(0.2, **shut)
    world.set_pressure("lower", 9e5)
    world.set_pressure("upper", 7e5)
    for part, mode in faults:
        world.fault(part, mode)
    made.run(0.5, servo_power="on", release="pulled", **shut)
    assert world.head_state("hold_down") == "let go"
    return made


def test_the_hoses_part_at_release_and_both_vessels_are_gone(rig: Make) -> None:
    made = _flown(rig)
    assert made.said("fill_line") == ["parts"] and made.said("upper_line") == ["parts"]
    assert (made.world.pressure("lower"), made.world.pressure("upper")) == pytest.approx((0.0, 0.0), abs=1e-6)
    before = made.world.net.taken[0]
    made.run(1.0, fill_lower="open")
    assert made.world.net.taken[0] > before and made.world.pressure("lower") == pytest.approx(0.0, abs=1e-6)


def test_a_snagged_hose_holds_the_vehicle_with_the_upper_vessel_still_charged(rig: Make) -> None:
    made = _flown(rig, ("fill_line", "snags"))
    assert made.said("fill_line") == ["snags: its hose holds the vehicle"]
    assert made.world.pressure("lower") < 1e5 and made.world.pressure("upper") > 6e5
    made.run(20.0, dump_upper="open")
    assert made.world.pressure("upper") < 0.3e5


def test_a_hose_that_stays_charged_after_parting_says_so_and_lets_nothing_out(rig: Make) -> None:
    made = _flown(rig, ("fill_line", "stays charged"))
    assert made.said("fill_line")[0].startswith("parts and stays charged at ")
    before = made.world.net.taken[0]
    made.run(1.0, fill_lower="open")
    assert made.world.net.taken[0] == pytest.approx(before, abs=1e-12)


def test_without_the_key_the_works_supply_is_cut_in_hardware_whatever_the_box_commands(rig: Make) -> None:
    made = rig("curlew.yaml")
    made.world.latch("hold_down")
    everything = {"fill_lower": "open", "servo_power": "on", "release": "pulled", "dump_lower": "shut"}
    made.run(1.0, **everything)
    assert not made.world.line_open("fill_line") and made.world.servo("release") == 0.0
    assert not made.world.line_open("dump_line")  # the dumps are on the box's own battery
    made.world.set_switch("key", "turned")
    made.run(1.0)
    assert made.world.line_open("fill_line") and made.world.servo("release") > 70.0
