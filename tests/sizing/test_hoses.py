"""Hoses on the sheet: its ends hold whichever end of the hose the valve sits at, and what stays shut in is told.

The yardstick is the gas network with the hose as a volume of its own, which the sheet does not have.
"""

from __future__ import annotations

import math

import pytest

from sequencer.description import Pad
from sequencer.site import energy, flow, hoses, resolve, vessel
from sequencer.site.network import Network
from sequencer.site.parts import Path, Reservoir, Volume
from sequencer.sizing import sizing_sheet
from sequencer.sizing.filling import stage_times
from sequencer.sizing.levels import levels
from sequencer.sizing.venting import vent_times
from tests.sizing import pads

ATM = 101_325.0
ROOM = 20.0 * math.pi / 4.0 * 0.012**2  # 20 m of 12 mm: 2.26 l on a 5 l tank


def piped(**changes: str) -> Pad:
    text = {"volume": "5 l", "full": "6 bar", "fill": ", hose: 20 m of 12 mm", **changes}
    return pads.tank(**text)


def network(pad: Pad, valve_at_the_tank: bool, tank: float, gauge: float, filling: bool) -> Network:
    """Supply, valve and hose, tank, vent; the hose as a volume, before or behind the valve."""
    line, supply = resolve.line(pad, "fill_line"), resolve.supply(pad, "source")
    valve, pipe = flow.Conductance(0.5 * 1e-8, 0.3), flow.hose(line.hose_length, line.hose_bore)
    first, second = (pipe, valve) if valve_at_the_tank else (valve, pipe)
    hose = supply.nominal + ATM if valve_at_the_tank else gauge + ATM
    closed = 1.0 if filling else 0.0
    return Network(
        [Volume("tank", tank, pressure=gauge + ATM, thermal="isothermal"), Volume("hose", line.hose_volume, pressure=hose, thermal="isothermal")],
        [Reservoir("source", supply.nominal + ATM), Reservoir("air", ATM)],
        [
            Path("in", "source", "hose", first, opening=closed if not valve_at_the_tank else 1.0),
            Path("on", "hose", "tank", second, opening=closed if valve_at_the_tank else 1.0),
            Path("vent", "tank", "air", resolve.line(pad, "dump_line").nominal, opening=1.0 - closed),
        ],
    )  # fmt: skip


def passes(net: Network, gauge: float) -> float:
    """Time until the tank passes a gauge pressure, s."""
    rising, t = net.p[0] < gauge + ATM, 0.0
    while (net.p[0] < gauge + ATM) == rising:
        net.step(0.005)
        t += 0.005
        assert t < 300.0
    return t


@pytest.mark.parametrize("valve_at_the_tank", [False, True])
def test_a_fill_lies_between_the_sheets_shortest_and_longest(valve_at_the_tank: bool) -> None:
    pad = piped()
    level = levels(pad)["tank"]
    shortest, _, longest = stage_times(pad, level, level.stages[0])
    took = passes(network(pad, valve_at_the_tank, 0.005, 0.0, filling=True), 6e5)
    assert shortest < took < longest * 1.02  # a pipe's two halves in series with its room are a little quicker or slower


@pytest.mark.parametrize("hose", ["20 m of 12 mm", "15 m of 4 mm", "60 m of 6 mm", "100 m of 3 mm"])
@pytest.mark.parametrize("valve_at_the_tank", [False, True])
def test_a_vent_is_over_by_the_sheets_longest_time(valve_at_the_tank: bool, hose: str) -> None:
    pad = piped(volume="1 l", fill=f", hose: {hose}")
    level = levels(pad)["tank"]
    _, longest = vent_times(pad, level, level.vents[0])
    took = passes(network(pad, valve_at_the_tank, 0.001, level.highest, filling=False), level.vented)
    assert took < longest * 1.003 + 0.005  # the yardstick's own step


def test_a_hose_that_holds_as_much_as_the_vessel_keeps_it_charged_longer_than_one_room_of_that_size() -> None:
    # two rooms in the network; with the hose as wide as the vessel there is one room again
    path, ends = flow.Conductance(4e-8, 0.35), (11e5, 1.06e5)
    slow = hoses.Hose(flow.hose_volume(100.0, 0.006), flow.hose(100.0, 0.006))
    assert hoses.lag(0.001, [slow], path, *ends) > 2.0
    wide = hoses.Hose(slow.room, flow.Conductance(1e-4, 0.5))
    assert hoses.lag(0.001, [wide], path, *ends) == pytest.approx(1.0, abs=0.01)
    assert hoses.lag(0.001, [], path, *ends) == 1.0


def test_the_pocket_of_a_hose_is_told_with_its_energy_its_states_and_what_it_does_to_the_tank() -> None:
    sheet = sizing_sheet(piped())
    line = sheet.line("fill_line: pocket before its valve")
    assert line.value == pytest.approx(11.98675e5)
    assert "2.3 l of hose" in line.note and "in every state but filling" in line.note
    let_in = sheet.line("fill_line: pocket let into tank")
    assert let_in.value == pytest.approx(11.98675e5 * ROOM / (ROOM + 0.005))  # Boyle, by hand
    assert "more than 'vented'" in let_in.warning


def test_what_the_sheet_says_of_a_pocket_let_in_is_what_the_network_does() -> None:
    pad = piped()
    net = network(pad, True, 0.005, 0.0, filling=True)
    net.set_opening(0, 0.0, at_once=True)  # the supply is shut, the hose is charged
    for _ in range(4000):
        net.step(0.005)
    line = sizing_sheet(pad).line("fill_line: pocket let into tank")
    assert line.value == pytest.approx(net.p[0] - ATM, rel=1e-3)


def test_stored_energy_counts_the_hoses_at_the_higher_of_their_ends() -> None:
    bare, hosed = (sizing_sheet(pads.tank(volume="5 l", fill=fill)) for fill in ("", ", hose: 20 m of 12 mm"))
    more = hosed.line("energy, vessels and hoses").value - bare.line("energy, vessels and hoses").value
    assert more == pytest.approx(energy.pcc2_energy(12.65e5 + 101_000.0, ROOM), rel=1e-6)  # the relief's 11.5 bar and a tenth
    with pytest.raises(KeyError):
        bare.line("energy in hoses")


def test_gas_between_a_check_valve_and_a_shut_valve_is_told() -> None:
    more = ("  second: {volume: 1 l, rated: 12 bar}\n"
            "  on: {line: tank to second, opened_by: fill, one_way: yes, hose: 1 m of 4 mm}")  # fmt: skip
    line = sizing_sheet(pads.tank(more=more)).line("on: pocket before its valve")
    assert line.value == pytest.approx(12.65e5) and "the check valve has shut behind tank" in line.note


def test_the_shortest_fill_is_that_of_the_bare_tank() -> None:
    # a hose before the valve is full already
    pad = piped()
    level = levels(pad)["tank"]
    line = resolve.line(pad, "fill_line")
    bare = vessel.fill_time(0.005, line.most, resolve.supply(pad, "source").most + ATM, ATM, 6e5 + ATM, resolve.air_temperature(pad).high, "adiabatic")
    assert stage_times(pad, level, level.stages[0])[0] == pytest.approx(bare)
