"""ISO 6358 flow against worked values of the standard's formula, textbook nozzle theory and handbook rules."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import SequencerError
from sequencer.site import flow
from sequencer.site.flow import DM3_S_BAR, Conductance, mass_flow

BAR = 1e5
TWO = Conductance(2 * DM3_S_BAR, 0.30)
pressures = st.floats(5e4, 3e7)
ratios = st.floats(0.05, 0.6)


@pytest.mark.parametrize(("p2", "q"), [(1.0, 0.0165900), (5.0, 0.0133725), (6.5, 0.00730091), (6.9, 0.00333454)])
def test_the_law_gives_the_worked_values_of_iso_6358(p2: float, q: float) -> None:
    # ISO 6358:1989 formula worked by hand for C = 2 dm3/(s.bar), b = 0.30, 293.15 K, 7 bar absolute
    assert mass_flow(7 * BAR, p2 * BAR, 293.15, TWO.C, TWO.b) == pytest.approx(q, rel=3e-6)


def test_colder_gas_carries_more_mass() -> None:
    # sqrt(T0/T1) of ISO 6358, worked: 283.15 K
    assert mass_flow(7 * BAR, BAR, 283.15, TWO.C, TWO.b) == pytest.approx(0.0168804, rel=3e-6)


def test_the_choked_flow_of_an_ideal_nozzle_is_the_textbook_one() -> None:
    # any gas dynamics text, gamma = 1.4
    assert pytest.approx(0.684731, abs=1e-6) == flow.NOZZLE_PSI


@pytest.mark.parametrize(
    ("mm", "C"), [(1, 0.12516), (2, 0.50063), (3, 1.12642), (4, 2.00253), (6, 4.50568)]
)
def test_orifices_of_discharge_080_have_the_worked_conductance(mm: float, C: float) -> None:
    assert pytest.approx(C, abs=1e-5) == flow.orifice(mm / 1000, 0.80).C / DM3_S_BAR


def test_the_effective_area_turns_back_into_the_conductance() -> None:
    # trade rule S[mm2] = 5 C (JIS), exact 5.02
    assert TWO.effective_area * 1e6 == pytest.approx(2 * 5.0202, rel=1e-4)
    assert pytest.approx(TWO.C) == flow.area_conductance(TWO.effective_area).C


@pytest.mark.parametrize(
    ("mm", "metres", "C", "b"),
    [(4, 1, 1.1964, 0.3544), (4, 10, 0.4539, 0.1345), (6, 10, 1.2951, 0.1705), (6, 30, 0.7681, 0.1011),
     (8, 20, 1.9708, 0.1460), (10, 30, 2.9005, 0.1375)],
)
def test_hoses_follow_the_textbook_correlation(mm: float, metres: float, C: float, b: float) -> None:
    # pneumatic-drives textbooks, from memory
    path = flow.hose(metres, mm / 1000)
    assert pytest.approx(C, abs=1e-4) == path.C / DM3_S_BAR
    assert path.b == pytest.approx(b, abs=1e-4)


@pytest.mark.parametrize(
    ("first", "second", "C", "b"),
    [((2, 0.3), (2, 0.3), 1.514431, 0.197274), ((2, 0.3), (4, 0.3), 1.930697, 0.184589),
     ((4, 0.3), (2, 0.3), 1.842612, 0.257296), ((1.5, 0.4), (3, 0.25), 1.481538, 0.231766),
     ((3, 0.2), (1, 0.5), 0.958105, 0.459421), ((1, 0.5), (4, 0.3), 1.0, 0.456250)],
)
def test_two_in_series_follow_the_annex_of_iso_6358(
    first: tuple[float, float], second: tuple[float, float], C: float, b: float
) -> None:
    one, two = (Conductance(c * DM3_S_BAR, r) for c, r in (first, second))
    both = flow.series([one, two])
    assert pytest.approx(C, abs=1e-6) == both.C / DM3_S_BAR
    assert both.b == pytest.approx(b, abs=1e-6)


@given(st.floats(0.1, 10), ratios, st.floats(0.1, 10), ratios)
def test_the_series_conductance_is_the_exact_choked_solution(c1: float, b1: float, c2: float, b2: float) -> None:
    # independent: bisect the pressure between the two for equal flows into vacuum
    one, two = Conductance(c1 * DM3_S_BAR, b1), Conductance(c2 * DM3_S_BAR, b2)
    low, high = 0.0, 10 * BAR
    for _ in range(200):
        mid = 0.5 * (low + high)
        into = mass_flow(10 * BAR, mid, 293.15, one.C, one.b)
        if into > mass_flow(mid, 0.0, 293.15, two.C, two.b):
            low = mid
        else:
            high = mid
    C = mass_flow(low, 0.0, 293.15, two.C, two.b) / (10 * BAR * flow.RHO0)
    # the exact solver keeps the straight line near equal pressures, hence the tolerance
    assert pytest.approx(C, rel=3e-3) == flow.series_pair(one, two).C


def test_an_impossible_conductance_is_refused() -> None:
    for C, b in ((-1.0, 0.3), (math.nan, 0.3), (1.0, 1.0), (1.0, -0.1)):
        with pytest.raises(SequencerError):
            Conductance(C, b)


@given(pressures, pressures, ratios)
def test_flow_turned_round_is_the_same_flow_the_other_way(p1: float, p2: float, b: float) -> None:
    assert mass_flow(p1, p2, 293.15, 1e-8, b) == -mass_flow(p2, p1, 293.15, 1e-8, b)


@given(pressures, st.floats(0, 1), st.floats(0, 1), ratios, st.floats(0.4, 0.6))
def test_flow_never_falls_when_the_outlet_sinks(p1: float, r1: float, r2: float, b: float, m: float) -> None:
    low, high = sorted((r1, r2))
    more = mass_flow(p1, low * p1, 293.15, 1e-8, b, m=m)
    assert more >= mass_flow(p1, high * p1, 293.15, 1e-8, b, m=m) * (1 - 1e-12) >= 0.0


@given(st.floats(2e5, 2e6), st.floats(0.02, 0.97), ratios, st.sampled_from([0.0, 2e4]))
def test_the_slopes_are_those_of_the_flow(p1: float, r: float, b: float, cracking: float) -> None:
    p2 = r * (p1 - cracking)
    if abs(p2 / p1 - b) < 1e-3:
        return
    _, k1, k2 = flow.flow_and_slopes(p1, p2, 293.15, 1e-8, b, 0.5, cracking)
    d = p1 * 1e-6

    def q(a: float, c: float) -> float:
        return mass_flow(a, c, 293.15, 1e-8, b, cracking=cracking)

    scale = q(p1, p2) / p1
    assert k1 == pytest.approx((q(p1 + d, p2) - q(p1 - d, p2)) / (2 * d), rel=2e-4, abs=1e-5 * scale)
    assert -k2 == pytest.approx((q(p1, p2 + d) - q(p1, p2 - d)) / (2 * d), rel=2e-4, abs=1e-5 * scale)


def test_below_its_cracking_difference_a_check_valve_passes_nothing() -> None:
    assert mass_flow(2 * BAR, 1.6 * BAR, 293.15, 1e-8, 0.3, cracking=0.5 * BAR) == 0.0
    assert mass_flow(2 * BAR, 1.4 * BAR, 293.15, 1e-8, 0.3, cracking=0.5 * BAR) > 0.0


def test_near_equal_pressures_the_law_is_a_straight_line_through_zero() -> None:
    one = mass_flow(BAR * 10, BAR * 9.9995, 293.15, 1e-8, 0.3)
    half = mass_flow(BAR * 10, BAR * 9.99975, 293.15, 1e-8, 0.3)
    assert half == pytest.approx(one / 2, rel=1e-9)
