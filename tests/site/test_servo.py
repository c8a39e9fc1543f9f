"""Servo, supply and wire against catalogue arithmetic (from memory) and the ways hobby servos misbehave."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.site.servo import KGF_CM, Servo, ServoState, Supply, Wire, travel_budget

STRONG = Servo(20 * KGF_CM, rated_voltage=6.0, horn=0.025, stall_current=2.5)
LOCKED, PULLED = 1100.0, 1900.0


def test_twenty_kgf_cm_pull_78_newton_at_a_25_mm_horn() -> None:
    assert STRONG.stall_torque == pytest.approx(1.96133)
    assert STRONG.torque_at(6.0) / STRONG.horn == pytest.approx(78.45, abs=0.01)
    assert STRONG.torque_at(5.0) / KGF_CM == pytest.approx(16.67, abs=0.01)


def test_pulses_map_to_angles_as_in_the_catalogue() -> None:
    # 90 degrees over 1000 to 2000 us: 60 degrees from the end is 1666.67 us
    assert STRONG.pulse(math.radians(60 - 45)) == pytest.approx(1666.67, abs=0.01)
    assert STRONG.angle(1100) == pytest.approx(math.radians(-36))


def test_a_stall_sags_its_own_supply() -> None:
    # 2.5 A over 0.4 ohm is 1.0 V: a shared 5 V rail at 4.0 V (the current given at that voltage)
    assert Supply(5.0, 0.4).under(2.5) == pytest.approx(4.0)
    stalled = STRONG.stalled_voltage(Supply(5.0, 0.4))
    current = 2.5 * stalled / 6.0
    assert stalled == pytest.approx(5.0 - 0.4 * (current + STRONG.idle_current), abs=1e-9)
    assert STRONG.sagged_torque(Supply(5.0, 0.4)) < STRONG.torque_at(5.0)


def test_forty_five_degrees_take_012_s_without_load_and_double_at_half_torque() -> None:
    stiff = Supply(6.0)
    least, most = STRONG.travel_time(math.radians(45), 0.0, stiff)
    assert least == pytest.approx(0.12, abs=1e-3)
    assert most == pytest.approx(least + 0.020)
    assert STRONG.travel_time(math.radians(45), STRONG.stall_torque / 2, stiff)[0] == pytest.approx(0.24, abs=2e-3)
    assert STRONG.travel_time(math.radians(45), STRONG.stall_torque * 1.01, stiff)[1] == math.inf


@given(st.floats(3.5, 8.4), st.floats(0, 1.0), st.floats(0, 1.0))
def test_more_resistance_never_gives_more_pull(volts: float, one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert STRONG.pull_at(Supply(volts, high)) <= STRONG.pull_at(Supply(volts, low)) + 1e-12


def test_the_travel_budget_is_horn_less_slack_less_stretch_less_engagement() -> None:
    start, end = STRONG.angle(LOCKED), STRONG.angle(PULLED)
    budget = travel_budget(STRONG, Wire(0.0005, 0.00015 / 9.80665), start, end, 49.0, 0.003)
    assert budget.horn == pytest.approx(2 * 0.025 * math.sin(math.radians(36)))
    assert budget.margin == pytest.approx(budget.horn - 0.0005 - 0.00075 - 0.003, abs=1e-6)
    assert travel_budget(STRONG, Wire(off=True), start, end, 49.0, 0.003).margin < 0
    assert Wire(slack=0.01).catch_travel(0.004, 0.0) == 0.0


def ready() -> ServoState:
    state = ServoState(STRONG, STRONG.angle(LOCKED))
    for _ in range(10):
        state.step(0.02, 6.0, LOCKED)
    return state


def test_a_pulse_moves_the_horn_after_its_frame_and_in_its_time() -> None:
    state, steps = ready(), 0
    while abs(state.angle - STRONG.angle(PULLED)) > 1e-9:
        state.step(0.02, 6.0, PULLED, 30.0)
        steps += 1
        assert steps < 100
    _, most = STRONG.travel_time(math.radians(72), 30.0 * 0.025, Supply(6.0))
    assert steps * 0.02 <= most + 0.04
    assert steps * 0.02 >= math.radians(72) / STRONG.speed


def test_without_power_it_stays_and_a_pull_drags_it_back() -> None:
    state = ready()
    state.step(0.02, 0.0, PULLED)
    assert state.angle == STRONG.angle(LOCKED) and state.current == 0.0
    state.step(0.02, 0.0, None, 10.0)
    assert state.angle < STRONG.angle(LOCKED)


def test_power_without_pulses_twitches_and_then_does_what_its_kind_does() -> None:
    for kind in ("limp", "holds"):
        state = ServoState(Servo(2.0, without_pulses=kind), -0.6)
        seen = [state.step(0.02, 6.0, None) for _ in range(60)]
        assert max(seen[:4]) > -0.6
        there = [state.step(0.02, 6.0, 1500.0) for _ in range(60)][-1]
        assert there == pytest.approx(0.0)
        pulled = [state.step(0.02, 6.0, None, 5.0) for _ in range(10)][-1]  # pulses stop while the wire pulls
        assert pulled == pytest.approx(there) if kind == "holds" else pulled < there - 0.1


def test_power_with_a_locked_pulse_already_there_does_not_move_unless_it_twitches() -> None:
    calm = ServoState(STRONG, STRONG.angle(LOCKED))
    assert {round(calm.step(0.02, 6.0, LOCKED), 12) for _ in range(20)} == {round(STRONG.angle(LOCKED), 12)}
    nervous = ServoState(STRONG, STRONG.angle(LOCKED))
    nervous.twitches = True
    assert max(nervous.step(0.02, 6.0, LOCKED) for _ in range(20)) > STRONG.angle(LOCKED)


def test_a_jammed_servo_draws_its_stall_current_and_stays() -> None:
    state = ready()
    state.jammed = True
    for _ in range(5):
        state.step(0.02, 6.0, PULLED)
    assert state.angle == pytest.approx(STRONG.angle(LOCKED))
    assert state.stalled and state.current == pytest.approx(2.5 + STRONG.idle_current)


def test_too_heavy_a_pull_stalls_it_and_a_slow_one_takes_longer() -> None:
    state = ready()
    state.step(0.02, 6.0, PULLED, 500.0)
    state.step(0.02, 6.0, PULLED, 500.0)
    assert state.stalled and state.angle <= STRONG.angle(LOCKED)
    quick, slow = ready(), ready()
    slow.slow = 0.2
    for _ in range(8):
        quick.step(0.02, 6.0, PULLED)
        slow.step(0.02, 6.0, PULLED)
    assert slow.angle < quick.angle


def test_a_limp_servo_gives_no_torque() -> None:
    state = ready()
    state.limp = True
    before = state.angle
    state.step(0.02, 6.0, PULLED)
    assert state.angle == before
    state.step(0.02, 6.0, PULLED, 20.0)
    assert state.angle < before
