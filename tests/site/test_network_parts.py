"""Parts of the gas network one by one: regulator, relief, piloted and check valves, water, soft hoses, strokes."""

from __future__ import annotations

import pytest

from sequencer.errors import SequencerError
from sequencer.site import vessel
from sequencer.site.flow import P_ATM, Conductance
from sequencer.site.network import Network
from sequencer.site.parts import Path, Regulator, Reservoir, Volume, relief
from tests.site.small_nets import AIR, BAR, path, run_to


def test_a_fast_fill_warms_and_then_sags_without_a_leak() -> None:
    net = Network(
        [Volume("v", 0.002, wall_exchange=0.5, wall_capacity=200.0)], [Reservoir("supply", 8 * BAR)],
        [path("fill", "supply", "v", 1.0)],
    )
    run_to(net, 0, 7 * BAR)
    net.set_opening(0, 0.0, at_once=True)
    hot, top = net.T[0], net.p[0]
    seen = [top]
    for _ in range(1500):
        net.step(0.02)
        seen.append(net.p[0])
    assert hot > 330.0
    assert all(b <= a for a, b in zip(seen, seen[1:], strict=False))
    assert net.p[0] < 0.9 * top


def test_water_below_the_line_leaves_before_gas_in_the_closed_form_time() -> None:
    C = Conductance(2.0e-8, 0.3)
    net = Network(
        [Volume("v", 0.05, water=0.017, pressure=11.01325 * BAR, thermal="isothermal")], [Reservoir("air", P_ATM)],
        [Path("nozzle", "v", "air", C, wet="source")],
    )
    seconds, p_then = vessel.water_out(0.05, 0.017, 11.01325 * BAR, C.effective_area)
    t = 0.0
    while net.water[0] > 0.0:
        assert net.taken[0] == 0.0
        net.step(0.02)
        t += 0.02
    assert t == pytest.approx(seconds, abs=0.04)
    assert net.p[0] == pytest.approx(p_then, rel=2e-3)
    net.step(0.02)
    assert net.taken[0] > 0.0


def test_adiabatic_gas_pays_for_the_water_it_drives_out() -> None:
    # isentropic expansion p*V^1.4 of the gas while only water leaves
    net = Network(
        [Volume("v", 0.05, water=0.017, pressure=11 * BAR, thermal="adiabatic")], [AIR],
        [path("nozzle", "v", "air", 2.0, wet="source")],
    )
    for _ in range(1000):
        net.step(0.02)
    v1, v2 = 0.033, net.gas_volume[0]
    assert net.water[0] > 0.0
    assert net.p[0] == pytest.approx(11 * BAR * (v1 / v2) ** 1.4, rel=1e-6)


def test_a_regulator_holds_its_setting_droops_under_flow_and_creeps_with_a_leaking_seat() -> None:
    net = Network(
        [Volume("cylinder", 0.01, pressure=200 * BAR, thermal="isothermal"), Volume("line", 1e-4, thermal="isothermal")],
        [AIR],
        [Regulator("r", "cylinder", "line", Conductance(0.3e-8, 0.3), set_to=9 * BAR, droop=1 * BAR),
         path("use", "line", "air", 0.5, opening=0.0)],
    )
    for _ in range(200):
        net.step(0.02)
    assert net.p[1] == pytest.approx(9 * BAR, rel=2e-3)
    assert net.p[1] <= 9 * BAR * (1 + 1e-9)
    net.set_opening(1, 1.0)
    for _ in range(100):
        net.step(0.02)
    assert 8 * BAR < net.p[1] < 8.97 * BAR
    net.set_opening(1, 0.0)
    net.set_creep(0, 1e-13)
    for _ in range(1500):
        net.step(0.02)
    assert net.p[1] > 9.2 * BAR
    net.fail_open(0)
    for _ in range(100):
        net.step(0.02)
    assert net.p[1] > 150 * BAR


def test_a_relief_valve_opens_at_its_setting_and_keeps_the_pressure_bounded() -> None:
    valve = relief("relief", "v", "air", Conductance(1e-8, 0.3), 8.5 * BAR)
    net = Network([Volume("v", 0.002, pressure=8.4 * BAR, thermal="adiabatic")], [AIR, Reservoir("supply", 20 * BAR)],
                  [valve, path("fill", "supply", "v", 0.2)])
    top = 0.0
    for _ in range(500):
        net.step(0.02)
        top = max(top, net.p[0])
    assert top < valve.opens_at + valve.lift
    assert net.q[0] > 0.0
    net.set_opening(1, 0.0)
    for _ in range(500):
        net.step(0.02)
    assert net.q[0] == 0.0
    assert valve.reseats_at * 0.99 < net.p[0] <= valve.reseats_at


def test_a_piloted_vent_does_not_empty_the_vessel() -> None:
    # common practice, no published source: 0.3 to 0.5 bar is needed to stay open
    net = Network([Volume("v", 0.002, pressure=7 * BAR, thermal="isothermal")], [AIR],
                  [path("vent", "v", "air", 3.0, needs=0.4 * BAR)])
    for _ in range(3000):
        net.step(0.02)
    assert 0.3 * BAR < net.p[0] - BAR <= 0.4 * BAR


def test_a_check_valve_traps_gas_behind_an_emptied_hose() -> None:
    net = Network(
        [Volume("hose", 1e-4, pressure=7 * BAR, thermal="isothermal"), Volume("bottle", 2e-3, pressure=7 * BAR, thermal="isothermal")],
        [AIR], [path("check", "hose", "bottle", one_way=True), path("vent", "hose", "air")],
    )
    for _ in range(500):
        net.step(0.02)
    assert net.p[0] == pytest.approx(BAR, rel=1e-3)
    assert net.p[1] == pytest.approx(7 * BAR, rel=1e-12)
    net.set_one_way(0, False)
    for _ in range(500):
        net.step(0.02)
    assert net.p[1] == pytest.approx(BAR, rel=1e-2)


def test_a_soft_hose_holds_more_gas_than_a_stiff_one() -> None:
    def filled(stretch: float) -> Network:
        net = Network([Volume("hose", 1e-4, thermal="isothermal", stretch=stretch)], [Reservoir("s", 9 * BAR)], [path("f", "s", "hose")])
        for _ in range(500):
            net.step(0.02)
        return net

    stiff, soft = filled(0.0), filled(5e-8)
    assert soft.p[0] == pytest.approx(9 * BAR, rel=1e-4)
    grown = 1 + 5e-8 * (soft.p[0] - P_ATM)
    assert soft.mass[0] / stiff.mass[0] == pytest.approx(grown, rel=1e-4)


def test_a_valve_moves_with_its_own_stroke() -> None:
    net = Network([Volume("v", 0.002, pressure=7 * BAR)], [AIR], [path("vent", "v", "air", opening=0.0, opens_in=0.1, shuts_in=0.05)])
    net.set_opening(0, 1.0)
    seen = []
    for _ in range(6):
        net.step(0.02)
        seen.append(round(net.opening[0], 9))
    assert seen == [0.2, 0.4, 0.6, 0.8, 1.0, 1.0]


def test_wrong_names_and_wrong_volumes_are_refused() -> None:
    with pytest.raises(SequencerError, match="nowhere"):
        Network([Volume("v", 1e-3)], [AIR], [path("p", "v", "nowhere")])
    with pytest.raises(SequencerError):
        Network([Volume("air", 1e-3)], [AIR], [])
    with pytest.raises(SequencerError):
        Volume("v", 1e-3, water=1e-3)
