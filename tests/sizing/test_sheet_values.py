"""The sheet's numbers against worked values from standards and handbooks, each source named."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.description import loads
from sequencer.quantities import ATMOSPHERE
from sequencer.sizing import sizing_sheet
from sequencer.sizing.cooling import warm_fill
from sequencer.sizing.sensing import false_trips_per_hour
from sequencer.sizing.sheet import BLAST_ONLY
from tests.sizing import pads

KGF = 9.80665




def test_stored_energy_is_that_of_the_pneumatic_test_rule() -> None:
    # ASME PCC-2 Art. 501 (II-2), worked: 10 bar gauge, 50 l: 68 125.4 J; 15 bar, 20 l: 43 730.4 J
    assert sizing_sheet(pads.tank()).line("energy in tank").value == pytest.approx(68_125.4, rel=1e-5)
    high = pads.tank(volume="20 l", full="15 bar", rated="18 bar", supply="17 bar")
    assert sizing_sheet(high).line("energy in tank").value == pytest.approx(43_730.4, rel=1e-5)


def test_water_in_the_vessel_takes_room_from_the_gas() -> None:
    # ASME PCC-2, 33.33 l of gas at 10 bar gauge: 45 416.96 J
    sheet = sizing_sheet(pads.tank(water="water: 16.666667 l, "))
    assert sheet.line("energy in tank").value == pytest.approx(45_416.96, rel=1e-5)
    assert sheet.line("energy in tank").worst > 68_125.4  # the bad end has lost its water


def test_thirty_metres_and_the_impulse_table_govern_a_club_vessel() -> None:
    # ASME PCC-2 floor 30 m; NFPA 1127 table (from memory) 100 ft = 30.48 m up to 1280 N s
    assert sizing_sheet(pads.tank()).line("stand-off, all people").value == 30.0
    wet = sizing_sheet(pads.tank(water="water: 17 l, "))
    assert wet.line("stand-off, all people").value == pytest.approx(30.48)


@given(st.floats(1.0, 200.0), st.floats(2.0, 14.0), st.floats(0.0, 200.0))
@settings(max_examples=40)
def test_the_stand_off_is_never_below_a_rule_and_the_local_distance_only_enlarges_it(volume: float, full: float, local: float) -> None:
    size = {"volume": f"{volume:.3f} l", "full": f"{full:.3f} bar", "supply": "16 bar", "rated": "20 bar"}
    local = round(local, 3)
    more = f"  ground: {{people: up to 1, walk: at least 10 s, local_distance: {local} m}}"
    alone, own = sizing_sheet(pads.tank(**size)), sizing_sheet(pads.tank(**size, more=more))
    distance = own.line("stand-off, all people").value
    assert distance >= alone.line("stand-off, all people").value
    assert distance == pytest.approx(max(local, alone.line("stand-off, all people").value), rel=1e-6)
    rules = [line for line in own.lines if line.name.startswith("rule: ")]
    assert len(rules) >= 4 and all(line.value <= distance for line in rules)
    assert all(line.note == BLAST_ONLY for line in (*rules, own.line("stand-off, all people")))


def test_a_local_distance_shorter_than_the_rules_is_told_to_count_for_nothing() -> None:
    more = "  ground: {people: up to 1, walk: at least 10 s, local_distance: 5 m}"
    line = sizing_sheet(pads.tank(more=more)).line("stand-off, all people")
    assert line.value == 30.0 and "counts for nothing" in line.warning


def test_the_fill_time_is_the_closed_form_of_the_flow_standard() -> None:
    # ISO 6358, worked: 50 l, C 0.5, b 0.3, supply 13 bar abs, 1 to 11 bar abs in 85.2005 s; here from 1.013 to 11.013
    assert sizing_sheet(pads.tank()).line("filling: tank").value == pytest.approx(85.2005, rel=2e-3)


def test_the_vent_time_is_the_closed_form_of_the_flow_standard() -> None:
    # ISO 6358, worked: 50 l, C 2, b 0.3, 11 to 1.07 bar abs into 1 bar in 63.484 s; here into 1.013 bar, same excess
    line = sizing_sheet(pads.tank(empty="0.07 bar")).line("dump_line: tank empty in")
    assert line.value == pytest.approx(63.484, rel=0.015)


def test_water_below_the_vent_leaves_first_and_takes_its_time() -> None:
    # worked with one discharge coefficient for gas and water: 17 l of water below the vent: 95.64 s against 63.5 s dry
    below = {"water": "water: 17 l, ", "empty": "0.07 bar"}
    wet = sizing_sheet(pads.tank(**below, dump=", above_water: no")).line("dump_line: tank empty in")
    over = sizing_sheet(pads.tank(**below)).line("dump_line: tank empty in")
    assert wet.value >= 95.64 * 0.985 > over.value
    assert "water leaves first" in wet.note and "water leaves first" not in over.note


def test_a_piloted_vent_never_empties_the_vessel() -> None:
    # common practice, no published source: piloted valves need 0.3 to 0.5 bar
    line = sizing_sheet(pads.tank(dump=", needs_difference: 0.4 bar")).line("dump_line: tank empty in")
    assert math.isinf(line.worst) and line.judgement == "fails" and "never empties" in line.warning


def test_a_wait_shorter_than_the_slowest_vent_fails() -> None:
    # case: vent from 5 bar with a fixed 15 s timer
    short = sizing_sheet(pads.tank(wait="15 s")).line("dump_line: tank empty in")
    long = sizing_sheet(pads.tank(wait="300 s")).line("dump_line: tank empty in")
    assert short.judgement == "fails" and long.judgement == "holds"
    assert short.margin == pytest.approx(15.0 / short.worst)


def test_relief_capacity_is_the_choked_balance() -> None:
    # worked: 13 bar abs supply, C_feed 0.5, relieving 14.2 bar abs: C_relief 0.45775 is just enough
    line = sizing_sheet(pads.tank()).line("tank: relief capacity")
    relieving = 1.1 * 11.5e5 + ATMOSPHERE
    assert line.value == pytest.approx(1.0 * relieving / (0.5 * 13e5), rel=1e-9)
    assert pytest.approx(0.45775, rel=1e-4) == 0.5 * 13e5 / 14.2e5


def test_proof_test_holds_start_low_and_climb_by_tenths() -> None:
    # ASME B31.3 345.5 (first look 170 kPa), ASME VIII-1 UG-100 (half, then tenths; from memory)
    assert sizing_sheet(pads.tank()).line("tank: proof-test holds").words == "1.7 10 12 14 16 18 20 bar"


def test_separating_forces_are_pressure_times_sealing_area() -> None:
    # worked: 50 mm at 20 bar: 400.44 kgf; 63 mm at 10 bar: 317.87 kgf; 50 mm at 0.2 bar: 39.27 N
    sheet = sizing_sheet(pads.tank(more=pads.head()))
    assert sheet.line("hold_down: load in the proof test").value == pytest.approx(400.44 * KGF, rel=1e-4)
    assert sheet.line("hold_down: force at 'vented'").value == pytest.approx(39.27, rel=1e-4)
    wide = sizing_sheet(pads.tank(more=pads.head(seat="63 mm")))
    assert wide.line("hold_down: load at working").value == pytest.approx(317.87 * KGF, rel=1e-4)


@pytest.mark.parametrize(
    ("angle", "friction", "judged"),
    [
        ("5 deg", "0.15", "fails"),  # wedge, W tan(theta - phi) <= 0: holds itself (Marks', from memory)
        ("12 deg", "0.20 (0.15 to 0.30)", "fails"),  # dirt locks it: tan 12 deg < 0.30
        ("20 deg", "0.16 (0.11 to 0.25)", "holds"),
        ("15 deg", "0.16 (0.11 to 0.25)", "thin"),
    ],
)
def test_a_contact_within_the_friction_angle_can_seize(angle: str, friction: str, judged: str) -> None:
    sheet = sizing_sheet(pads.tank(more=pads.head(angle=angle, friction=friction)))
    assert sheet.line("hold_down: opens when dirty").judgement == judged
    if judged == "fails":
        assert sheet.line("hold_down: lets go on command").words == "none: it can seize"


def test_a_steep_greased_contact_is_not_said_to_hold_itself() -> None:
    # wedge: 5 deg with 0.08 pushes out (22.3 N at 3000 N): grease unlocks it
    greased = sizing_sheet(pads.tank(more=pads.head(angle="5 deg", friction="0.10 (0.08 to 0.15)")))
    dry = sizing_sheet(pads.tank(more=pads.head(angle="5 deg", friction="0.15 (0.12 to 0.2)")))
    assert greased.line("hold_down: held by friction alone").words == "no"
    assert dry.line("hold_down: held by friction alone").words == "yes"


def test_the_bench_seizes_at_five_degrees_and_needs_half_the_force_at_twenty_that_it_needs_at_thirty() -> None:
    # common practice, no published source: 5 deg seizes under 750 kgf; at 500 kgf 30 deg needs about twice what 20 deg needs
    pushes = {a: sizing_sheet(pads.tank(more=pads.head(angle=a, friction="0.16"))).line("hold_down: pushed out at contact").value
              for a in ("5 deg", "20 deg", "30 deg")}  # fmt: skip
    assert pushes["5 deg"] == 0.0
    assert pushes["30 deg"] / pushes["20 deg"] == pytest.approx(2.0, rel=0.1)


def test_false_trips_of_a_lossy_link_are_those_of_runs_of_losses() -> None:
    # 5 % lost, every 100 ms: three in a row 4.28 per h, five 0.0107 per h (computed from the formula)
    assert false_trips_per_hour(0.05, 3, 0.1) == pytest.approx(4.28, abs=0.01)
    assert false_trips_per_hour(0.05, 5, 0.1) == pytest.approx(0.0107, abs=1e-4)
    five, three = (sizing_sheet(pads.tank(within=w)).line("radio_ok: false trips") for w in ("500 ms", "300 ms"))
    assert five.value * 3600 == pytest.approx(0.0107, abs=1e-4) and five.judgement == "holds"
    assert three.value * 3600 == pytest.approx(4.28, abs=0.01) and three.judgement == "fails"


def test_a_runs_of_losses_count_agrees_with_a_long_count() -> None:
    import random

    rng, run, found, n = random.Random(7), 0, 0, 2_000_000
    for _ in range(n):
        run = run + 1 if rng.random() < 0.05 else 0
        found += run == 3
    assert found / n * 36_000 == pytest.approx(false_trips_per_hour(0.05, 3, 0.1), rel=0.15)


@pytest.mark.parametrize(
    ("condition", "once", "ms"),
    [
        # 20 ms filter + 2 scans of 10 ms; what a condition must have stood for delays it becoming true, what it lingers becoming false
        ("away: stop is not pressed for 1 s", "not away", 40.0),
        ("away: stop is not pressed lingers 300 ms", "not away", 340.0),
        ("down: stop is pressed for 1 s", "down", 1040.0),
        ("down: stop is pressed lingers 300 ms", "down", 40.0),
    ],
)
def test_a_delay_counts_on_the_side_on_which_it_delays(condition: str, once: str, ms: float) -> None:
    text = pads.tank().text.replace("stop_down: stop is pressed", condition).replace("once: stop_down", f"once: {once}")
    assert sizing_sheet(loads(text, "delay.yaml")).line("stop_stops").value == pytest.approx(ms / 1000)


def test_reaction_is_filter_and_two_scans_and_actuator() -> None:
    # worked: 20 ms filter + 2 x 10 ms scans + 20 ms = 60 ms (common practice)
    assert sizing_sheet(pads.tank()).line("trip stop: stop_down").value == pytest.approx(0.060)


def test_filling_without_heat_exchange_is_the_adiabatic_fill() -> None:
    # ideal gas, textbook: 1 to 11 bar from 293.15 K ends at 396.01 K; 1 to 6 bar at 384.76 K
    t0 = 293.15
    assert warm_fill(0.05, 1e5, t0, 11e5, 0.01, 0.0, t0, t0) == pytest.approx(396.01, abs=0.01)
    assert warm_fill(0.05, 1e5, t0, 6e5, 0.01, 0.0, t0, t0) == pytest.approx(384.76, abs=0.01)
    assert warm_fill(0.05, 1e5, t0, 11e5, 0.01, 1e6, t0, t0) == pytest.approx(t0, abs=0.01)


def test_the_warm_fill_agrees_with_an_independent_integration() -> None:
    from scipy.integrate import solve_ivp

    # scipy's integrator on m cv dT/dt = q cp Ts - q cv T - G (T - Tw)
    v, q, g, t0, cv, r = 0.01, 0.003, 4.0, 290.0, 717.625, 287.05
    m0 = 1e5 * v / (r * t0)

    def slope(t: float, y: list[float]) -> list[float]:
        return [(q * 1.4 * cv * t0 - q * cv * y[0] - g * (y[0] - t0)) / ((m0 + q * t) * cv)]

    def reached(t: float, y: list[float]) -> float:
        return (m0 + q * t) * r * y[0] / v - 11e5

    reached.terminal = True
    done = solve_ivp(slope, (0.0, 1000.0), [t0], events=reached, rtol=1e-10, atol=1e-10)
    assert warm_fill(v, 1e5, t0, 11e5, q, g, t0, t0) == pytest.approx(done.y_events[0][0][0], rel=1e-6)


def test_cooling_gas_sinks_in_proportion_to_its_temperature() -> None:
    # case: 5.0 bar gauge from 30 to 20 degC: about 4.8 bar gauge without a leak
    from sequencer.site.vessel import settled_pressure

    assert settled_pressure(5e5 + ATMOSPHERE, 303.15, 293.15) - ATMOSPHERE == pytest.approx(4.8e5, abs=0.01e5)
    sheet = sizing_sheet(pads.tank())
    line = sheet.line("filling: tank sags by")
    assert 0.0 < line.value < line.worst < (10e5 + ATMOSPHERE) * (1 - 293.15 / 396.01)  # never beyond the adiabatic end


def test_a_shut_in_vessel_warms_in_proportion_to_its_temperature() -> None:
    # ideal gas: 11 bar abs between 293.15 and 303.15 K moves by 0.375 bar (0.36286 bar the other way, from 303.15 K)
    line = sizing_sheet(pads.tank()).line("tank: sun warms it by")
    assert line.worst == pytest.approx((10e5 + ATMOSPHERE) * 10 / 293.15, rel=1e-6)
    assert line.worst * 293.15 / 303.15 == pytest.approx(0.36286e5, rel=2e-3)
    assert "weather.swing" in line.assumed


def test_a_vessel_that_nothing_watches_for_leaks_is_told_of() -> None:
    line = sizing_sheet(pads.tank()).line("tank: leak watch")
    assert line.words == "none" and "any leak passes" in line.warning
