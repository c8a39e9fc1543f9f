"""Closed forms of blow-down and fill against worked values and an independent integrator (scipy)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sequencer.errors import SequencerError
from sequencer.site import vessel
from sequencer.site.flow import DM3_S_BAR, R_AIR, Conductance, mass_flow
from sequencer.site.vessel import Process

BAR = 1e5
V = 0.050
VENT = Conductance(2 * DM3_S_BAR, 0.3)
FILL = Conductance(0.5 * DM3_S_BAR, 0.3)


def test_the_time_constant_of_fifty_litres_through_two_units() -> None:
    assert vessel.time_constant(V, VENT.C) == pytest.approx(25.0711, abs=1e-4)


@pytest.mark.parametrize(
    ("to", "seconds"), [(10 / 3, 29.9330), (1.5, 50.800), (1.2, 58.163), (1.07, 63.484), (1.01, 68.341), (1.0, 71.306)]
)
def test_isothermal_vent_times_are_the_worked_ones(to: float, seconds: float) -> None:
    assert vessel.vent_time(V, VENT, 11 * BAR, to * BAR, BAR) == pytest.approx(seconds, abs=6e-4)


def test_adiabatic_vent_unchokes_and_chills_as_worked() -> None:
    assert vessel.vent_time(V, VENT, 11 * BAR, 10 / 3 * BAR, BAR, process="adiabatic") == pytest.approx(23.3123, abs=1e-4)
    assert vessel.adiabatic_temperature(11.0, 10 / 3) == pytest.approx(208.42, abs=0.01)
    p = vessel.vent_pressure(V, VENT, 11 * BAR, 10.0, BAR, process="adiabatic")
    assert p / BAR == pytest.approx(6.42785, abs=1e-5)
    assert vessel.adiabatic_temperature(11 * BAR, p) == pytest.approx(251.435, abs=1e-3)


def test_isothermal_pressure_after_ten_seconds() -> None:
    assert vessel.vent_pressure(V, VENT, 11 * BAR, 10.0, BAR) / BAR == pytest.approx(7.38190, abs=1e-5)


def test_a_chilled_vessel_shut_again_comes_back_up() -> None:
    assert vessel.settled_pressure(10 / 3, 208.42, 293.15) == pytest.approx(4.69, abs=0.005)


def test_isothermal_fill_times_and_rate_are_the_worked_ones() -> None:
    assert vessel.fill_rate(V, FILL, 13 * BAR, BAR) == pytest.approx(12_963.1, abs=0.1)
    for to, seconds in ((3.9, 22.3712), (11, 85.2005), (13, 132.640)):
        assert vessel.fill_time(V, FILL, 13 * BAR, BAR, to * BAR) == pytest.approx(seconds, abs=6e-4)


@pytest.mark.parametrize(("to", "hot", "settled"), [(11, 396.01, 8.1429), (6, 384.76, 4.5714)])
def test_a_fast_fill_ends_hot_and_sags_when_it_cools(to: float, hot: float, settled: float) -> None:
    t = vessel.fill_end_temperature(BAR, to * BAR)
    assert t == pytest.approx(hot, abs=0.01)
    assert vessel.settled_pressure(to, t, 293.15) == pytest.approx(settled, abs=1e-4)


def test_ten_degrees_of_cooling_at_eleven_bar() -> None:
    assert 11 - vessel.settled_pressure(11, 303.15, 293.15) == pytest.approx(0.36286, abs=1e-5)


def test_water_leaves_first_in_the_worked_time() -> None:
    # 50 l with 17 l water, 10 bar gauge, 4 mm hole with Cd 0.8; worked with water of 1000 kg/m3 (here 998.2)
    seconds, p = vessel.water_out(0.050, 0.017, 11.01325 * BAR, 0.8 * math.pi * 0.002**2)
    assert seconds == pytest.approx(42.87, rel=2e-3)
    assert p / BAR == pytest.approx(7.2687, abs=1e-4)


def _independent(p_from: float, p_to: float, b: float, process: Process) -> float:
    """Seconds by a Runge-Kutta of order 8 on (mass, temperature), nothing shared but the flow law."""

    def rate(_: float, y: list[float]) -> list[float]:
        m, t = y
        q = mass_flow(m * R_AIR * t / V, BAR, t, VENT.C, b)
        return [-q, 0.0 if process == "isothermal" else -0.4 * t * q / m]

    def reached(_: float, y: list[float]) -> float:
        return float(y[0] * R_AIR * y[1] / V - p_to)

    reached.terminal = True
    m0 = p_from * V / (R_AIR * 293.15)
    out = solve_ivp(rate, (0, 400), [m0, 293.15], method="DOP853", rtol=1e-10, atol=1e-14, events=reached)
    return float(out.t_events[0][0])


@pytest.mark.parametrize("process", ["isothermal", "adiabatic"])
@pytest.mark.parametrize("b", [0.1, 0.3, 0.5, 0.55])
def test_closed_vent_times_agree_with_an_independent_integrator(b: float, process: Process) -> None:
    for p_from, p_to in ((9.0, 1.1), (1.6, 1.05), (9.0, 5.0)):
        path = Conductance(VENT.C, b)
        mine = vessel.vent_time(V, path, p_from * BAR, p_to * BAR, BAR, process=process)
        assert mine == pytest.approx(_independent(p_from * BAR, p_to * BAR, b, process), rel=1e-6)


@given(st.floats(2, 40), st.floats(1.02, 1.9), st.floats(0.05, 0.6), st.floats(0.2, 60))
def test_a_timed_blow_down_gives_back_the_conductance_that_made_it(start: float, end: float, b: float, s: float) -> None:
    path = vessel.conductance_from_blow_down(0.002, start * BAR, end * BAR, s, b=b, p_back=BAR)
    assert vessel.vent_time(0.002, path, start * BAR, end * BAR, BAR) == pytest.approx(s, rel=1e-9)
    cold = vessel.conductance_from_blow_down(0.002, start * BAR, end * BAR, s, b=b, p_back=BAR, process="adiabatic")
    assert cold.C < path.C


def test_a_blow_down_that_rises_is_refused() -> None:
    with pytest.raises(SequencerError):
        vessel.conductance_from_blow_down(0.002, 3 * BAR, 6 * BAR, 9)


def test_a_shut_path_never_vents_and_never_fills() -> None:
    shut = Conductance(0.0, 0.3)
    assert vessel.vent_time(V, shut, 2 * BAR, BAR, BAR) == math.inf
    assert vessel.fill_time(V, shut, 2 * BAR, BAR, 1.5 * BAR) == math.inf
    assert vessel.fill_time(V, FILL, 2 * BAR, BAR, 3 * BAR) == math.inf
