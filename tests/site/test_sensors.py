"""Channels between the world and the box: counts, faults, bounce, heartbeat, power, against published practice."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import SequencerError
from sequencer.site.rig import RigCreep
from sequencer.site.sensors import (
    Analog,
    AnalogChannel,
    ContactChannel,
    HeartbeatChannel,
    false_trips_per_hour,
)

BAR = 1e5
# ratiometric 0.5-4.5 V of 5 V on a 10-bit converter, 0-10 bar (counts 102 and 922, usual practice)
PRESSURE = Analog((102, 0.0), (922, 10 * BAR), 10, valid=(51, 973))


def test_calibration_points_read_back_exactly() -> None:
    assert PRESSURE.counts(0.0) == 102 and PRESSURE.counts(10 * BAR) == 922
    assert PRESSURE.value(512) == pytest.approx(5 * BAR)
    assert PRESSURE.per_count == pytest.approx(10 * BAR / 820)


def test_a_ratiometric_transducer_reads_eight_bar_at_half_scale() -> None:
    # usual 0.5-4.5 V practice: 0-16 bar at 2.5 V of 5 V is 8.0 bar; diagnostics at 0.25 V and 4.75 V are -1 and 17 bar
    wide = Analog((1024 * 5 // 50, 0.0), (1024 * 45 // 50, 16.0), 10)
    assert wide.value(512) == pytest.approx(8.0, abs=0.02)
    assert wide.value(51) == pytest.approx(-1.0, abs=0.02)
    assert wide.value(973) == pytest.approx(17.0, abs=0.02)


@given(st.floats(-5e5, 3e6), st.floats(-5e5, 3e6))
def test_counts_never_fall_when_the_value_rises_and_stay_in_range(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert 0 <= PRESSURE.counts(low) <= PRESSURE.counts(high) <= 1023


@given(st.floats(0, 10 * BAR))
def test_a_reading_is_within_half_a_count(value: float) -> None:
    assert abs(PRESSURE.value(PRESSURE.counts(value)) - value) <= 0.5 * PRESSURE.per_count * (1 + 1e-9)


def test_zero_and_span_error_shift_the_counts() -> None:
    off = Analog((102, 0.0), (922, 10 * BAR), zero_error=0.1 * BAR, span_error=0.02)
    assert off.counts(0.0) == 102 + 8
    assert off.counts(10 * BAR) == 947  # 922 + 0.3 bar of 820 counts per 10 bar, rounded


def test_each_analog_fault_does_what_its_name_says() -> None:
    def faulty(fault: str, **more: float) -> AnalogChannel:
        channel = AnalogChannel(PRESSURE, 1, "p")
        channel.read(5 * BAR, 0.02)
        channel.set_fault(fault, **more)
        return channel

    assert not PRESSURE.is_valid(faulty("open").read(5 * BAR, 0.02))
    assert not PRESSURE.is_valid(faulty("short").read(5 * BAR, 0.02))
    assert faulty("saturated").read(0.0, 0.02) == 1023
    frozen = faulty("frozen")
    assert [frozen.read(x * BAR, 0.02) for x in (0, 9)] == [512, 512]
    assert faulty("offset", offset=0.5 * BAR).read(5 * BAR, 0.02) == PRESSURE.counts(5.5 * BAR)
    slow = faulty("slow")
    assert 512 < slow.read(9 * BAR, 0.02) < 520
    for _ in range(2000):
        slow.read(9 * BAR, 0.02)
    assert slow.read(9 * BAR, 0.02) == PRESSURE.counts(9 * BAR)


def test_a_floating_pin_wanders_at_believable_values() -> None:
    bare = AnalogChannel(Analog((102, 0.0), (922, 10 * BAR), valid=(51, 973), open_reads="floats"), 3, "p")
    bare.set_fault("open")
    seen = [bare.read(0.0, 0.02) for _ in range(300)]
    assert all(PRESSURE.is_valid(c) for c in seen) and len(set(seen)) > 20


def test_lag_is_an_exponential() -> None:
    lagging = AnalogChannel(Analog((0, 0.0), (10_000, 1.0), 16, lag=0.5))
    lagging.read(0.0, 0.02)
    counts = 0
    for _ in range(25):
        counts = lagging.read(1.0, 0.02)
    assert counts == pytest.approx(10_000 * (1 - math.exp(-1)), abs=1)


def test_noise_has_its_spread_and_repeats_with_its_seed() -> None:
    noisy = Analog((102, 0.0), (922, 10 * BAR), 10, noise=3.0)
    one, two, other = (AnalogChannel(noisy, seed, "p") for seed in (7, 7, 8))
    a, b, c = ([ch.read(5 * BAR, 0.02) for _ in range(4000)] for ch in (one, two, other))
    assert a == b != c
    mean = sum(a) / len(a)
    spread = math.sqrt(sum((x - mean) ** 2 for x in a) / len(a))
    assert mean == pytest.approx(512, abs=0.2)
    assert spread == pytest.approx(math.sqrt(9 + 1 / 12), rel=0.05)


def test_equal_calibration_points_are_refused() -> None:
    with pytest.raises(SequencerError):
        Analog((102, 0.0), (102, 10.0))


def test_a_contact_bounces_after_a_change_for_no_longer_than_the_survey_saw() -> None:
    contact = ContactChannel(0.0062, 1, "c")
    assert [contact.read(False, 0.001) for _ in range(20)] == [0] * 20
    after = [contact.read(True, 0.001) for _ in range(20)]
    assert after[7:] == [1] * 13
    assert 0 in after[:7]


@pytest.mark.parametrize(("fault", "raw"), [("stuck on", 1), ("stuck off", 0), ("cut", 0), ("short", 1)])
def test_a_contact_fault_hides_the_truth(fault: str, raw: int) -> None:
    contact = ContactChannel(0.0)
    contact.fault = fault
    assert {contact.read(truth, 0.02) for truth in (True, False, True)} == {raw}


def test_a_bouncing_contact_never_settles() -> None:
    contact = ContactChannel(0.0, 5, "c")
    contact.fault = "bounces"
    seen = [contact.read(True, 0.02) for _ in range(100)]
    assert 20 < sum(seen) < 80


def test_a_heartbeat_comes_once_a_period() -> None:
    radio = HeartbeatChannel(0.1)
    assert sum(radio.read(0.02) for _ in range(500)) == 101
    radio.fault = "lost"
    for _ in range(5):
        radio.read(0.02)
    assert sum(radio.read(0.02) for _ in range(50)) == 0


def test_replayed_messages_fool_only_a_receiver_that_does_not_check() -> None:
    for checks, heard in ((True, False), (False, True)):
        radio = HeartbeatChannel(0.1, checks_freshness=checks)
        radio.fault = "replayed"
        assert any(radio.read(0.02, sending=False) for _ in range(50)) is heard


def test_delay_and_flapping_leave_gaps() -> None:
    late = HeartbeatChannel(0.1, delay=0.3, seed=2, name="r")
    seen = [late.read(0.02) for _ in range(1000)]
    assert 120 < sum(seen) <= 200
    flapping = HeartbeatChannel(0.1)
    flapping.fault = "flapping"
    heard = [flapping.read(0.02) for _ in range(100)]
    assert sum(heard[:50]) >= 9 and sum(heard[52:99]) == 0


def test_false_trips_follow_the_published_arithmetic() -> None:
    # 5 % loss, 100 ms: three in a row about 4.28 an hour, five in a row about 0.0107 an hour
    assert false_trips_per_hour(0.1, 0.05, 3) == pytest.approx(4.28, abs=0.01)
    assert false_trips_per_hour(0.1, 0.05, 5) == pytest.approx(0.0107, abs=1e-4)


def test_simulated_losses_trip_as_often_as_the_arithmetic_says() -> None:
    radio, missed, trips = HeartbeatChannel(0.1, loss=0.3, seed=4, name="r"), 0, 0
    for _ in range(60_000):
        if radio.read(0.1):
            missed = 0
        else:
            missed += 1
            trips += missed == 3
    assert trips == pytest.approx(false_trips_per_hour(0.1, 0.3, 3) / 3600 * 6000, rel=0.1)


def test_the_load_sinks_while_the_rig_settles() -> None:
    rig = RigCreep(0.04, 60.0)
    assert rig.load(1000.0, 0.0) == 1000.0
    assert rig.load(1000.0, 60.0) == pytest.approx(1000 * (1 - 0.04 * (1 - math.exp(-1))))
    assert rig.load(1000.0, 1e6) == pytest.approx(960.0)
