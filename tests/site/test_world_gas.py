"""The pad's gas: the quasi-static regulator against the full network, water, mass, two heads on one vehicle."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from sequencer.site.build import gas
from sequencer.site.flow import DM3_S_BAR, P_ATM, Conductance
from sequencer.site.network import Network
from sequencer.site.parts import Path, Regulator, Reservoir, Volume

Make = Callable[..., Any]


def test_the_quasi_static_regulator_fills_like_a_full_network_with_its_outlet_and_cylinder(rig: Make) -> None:
    """An independent model of the same pad: cylinder as a volume, regulator as a path, 50 ml at its outlet."""
    made = rig("curlew.yaml", ("creep: 0.1 bar (0 to 0.15)", "creep: 0 bar"))
    world = made.world
    world.latch("hold_down")
    world.set_switch("key", "turned")
    world.set_hand_valve("cylinder", True)
    plan = gas(made.pad)
    lower, line = plan.net.volumes[plan.net.index("lower")], plan.lines["fill_line"].resolved.nominal
    ambient = plan.temperature
    full = Network(
        [lower, Volume("outlet", 50e-6, pressure=11.6e5 + P_ATM, temperature=ambient, thermal="isothermal"),
         Volume("cylinder", 0.05, pressure=16e5 + P_ATM, temperature=ambient, thermal="isothermal")],
        [Reservoir("air", P_ATM, ambient)],
        [Regulator("regulator", "cylinder", "outlet", Conductance(2 * DM3_S_BAR, 0.3), set_to=11.6e5 + P_ATM, droop=0.4e5),
         Path("line", "outlet", "lower", line)],
        ambient=ambient,
    )  # fmt: skip
    made.run(0.1, dump_lower="shut", dump_upper="shut")
    for _ in range(3):
        made.run(20.0, dump_lower="shut", dump_upper="shut", fill_lower="open")
        for _ in range(1000):
            full.step(0.02)
        ours, theirs = world.pressure("lower"), full.p[0] - P_ATM
        assert ours == pytest.approx(theirs, rel=0.01)  # valve stroke and droop lag: within 1 %
    assert world.supplies["cylinder"].cylinder == pytest.approx(full.p[2], rel=2e-3)


def test_a_line_that_asks_for_more_than_the_regulators_seat_can_give_gets_no_more(rig: Make) -> None:
    made = rig("club.yaml", ("bore: 0.6 mm, hose: 10 m of 4 mm", "bore: 12 mm"))
    made.world.fault("fill_line", "stuck open")
    made.world.latch("hold_down")
    made.world.fault("relief", "stuck")
    made.world.fault("dump_line", "stuck open")
    made.run(20.0)
    # the seat passes 2 l/s/bar from 13 bar abs; the wide line shares it out at a lower outlet
    q = made.world.net.q[made.world.lines["fill_line"].plan.path]
    assert q <= 2.0e-8 * 1.185 * (293.15 / 288.15) ** 0.5 * (12e5 + P_ATM) * 1.05


def test_water_leaves_first_through_a_dump_below_it_and_the_vent_takes_longer(rig: Make) -> None:
    times = []
    for wet in (False, True):
        below = [("measured: 6 bar to 3 bar in 2 s", "bore: 3 mm" + (", above_water: no" if wet else ""))]
        made = rig("club.yaml", *below)
        made.world.set_pressure("bottle", 6e5)
        start = made.world.ground.now
        made.run(60.0, until=lambda made=made: made.world.pressure("bottle") < 0.1e5, dump="open")
        times.append(made.world.ground.now - start)
        water = made.world.net.water[made.world.net.index("bottle")]
        assert water == pytest.approx(0.0 if wet else 0.0007, abs=1e-9)
    assert times[1] > 1.2 * times[0]


def test_a_fast_fill_warms_then_sags_and_a_vented_vessel_that_is_shut_comes_up_again(rig: Make) -> None:
    made = rig("club.yaml", ("bore: 0.6 mm, ", ""))
    made.world.latch("hold_down")
    made.run(60.0, until=lambda: made.world.pressure("bottle") > 6e5, fill="open", dump="shut")
    full = made.world.pressure("bottle")
    sagged = made.run(60.0, dump="shut").world.pressure("bottle")
    assert sagged < full - 0.5e5
    made.run(10.0, until=lambda: made.world.pressure("bottle") < 1.5e5, dump="open")
    low = made.run(0.1, dump="shut").world.pressure("bottle")
    assert made.run(60.0).world.pressure("bottle") > low + 0.1e5


def test_isothermal_gas_does_not_sag_and_adiabatic_gas_never_comes_back(rig: Make) -> None:
    for thermal in ("isothermal", "adiabatic"):
        made = rig("club.yaml", thermal=thermal)
        made.world.latch("hold_down")
        made.run(60.0, until=lambda made=made: made.world.pressure("bottle") > 6e5, fill="open", dump="shut")
        made.run(0.2, dump="shut")
        shut = made.world.pressure("bottle")
        assert made.run(60.0).world.pressure("bottle") == pytest.approx(shut, rel=1e-9)
        temperature = made.world.net.T[0]
        assert temperature == pytest.approx(288.15) if thermal == "isothermal" else temperature > 340.0


BACKUP = (
    "  wire:       {wire",
    "  second:\n    release_head: bottle\n    seat: 22 mm\n    contact_angle: 20 deg\n    backup_for: hold_down\n"
    "  wire:       {wire",
)  # fmt: skip


@pytest.mark.parametrize("which", ["hold_down", "second"])
def test_either_of_two_heads_of_one_vehicle_lets_it_go(rig: Make, which: str) -> None:
    made = rig("club.yaml", BACKUP)
    world = made.world
    world.latch("hold_down")  # a backup is closed with the head it backs up
    made.run(0.2, dump="shut")
    world.set_pressure("bottle", 6e5)
    assert made.run(0.5).said("bottle") == []
    world.fault(which, "lets go early")
    made.run(0.2)
    assert made.said(which) == ["lets go"] and made.said("bottle") == ["leaves at 6.0 bar"]
    assert world.head_state("hold_down") == world.head_state("second") == "let go"


def test_a_quiet_pad_may_be_left_alone_without_losing_its_time(rig: Make) -> None:
    """A network that was asked to keep up every scan against one that may owe up to half a second."""
    lazy, eager = (rig("club.yaml") for _ in range(2))
    for made in (lazy, eager):
        made.world.set_pressure("bottle", 6e5)
        made.run(0.1, dump="shut")
    for _ in range(3000):
        lazy.step()
        eager.step()
        eager.world.net.settle()
    lazy.world.net.settle()
    assert lazy.world.pressure("bottle") == pytest.approx(eager.world.pressure("bottle"), rel=1e-6)
