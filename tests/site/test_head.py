"""Release head statics against handbook formulas worked by hand, and the bench facts with one friction and one ratio."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import SequencerError
from sequencer.site import head
from sequencer.site.head import KGF, Head, Lever

RAD = math.radians


@pytest.mark.parametrize(("mm", "bar", "newton"), [(50, 20, 3926.99), (63, 10, 3117.25), (80, 8, 4021.24), (22, 10, 380.13)])
def test_separating_force_is_pressure_on_the_seal(mm: float, bar: float, newton: float) -> None:
    assert head.separating_force(bar * 1e5, mm / 1000) == pytest.approx(newton, abs=0.005)


@pytest.mark.parametrize(("bar", "newton"), [(0.07, 13.74), (0.1, 19.63), (0.2, 39.27), (0.5, 98.17), (1.0, 196.35)])
def test_almost_vented_still_pulls(bar: float, newton: float) -> None:
    assert head.separating_force(bar * 1e5, 0.050) == pytest.approx(newton, abs=0.005)


@pytest.mark.parametrize(
    ("deg", "mu", "hold", "locks"),
    [(5, 0.15, -185.10, True), (8, 0.15, -27.79, True), (10, 0.15, 76.95, False), (10, 0.10, 225.01, False),
     (15, 0.15, 340.18, False), (20, 0.16, 578.24, False), (5, 0.08, 22.31, False), (12, 0.30, -246.61, True)],
)
def test_a_wedge_holds_by_the_statics_text(deg: float, mu: float, hold: float, locks: bool) -> None:
    assert head.wedge_hold(3000, RAD(deg), mu) == pytest.approx(hold, abs=0.006)
    assert head.self_locks(RAD(deg), mu) is locks


@pytest.mark.parametrize(
    ("deg", "mu", "drive"), [(5, 0.15, 721.94), (8.530766, 0.15, 920.72), (10, 0.15, 1005.58), (10, 0.10, 843.86),
                             (15, 0.15, 1306.35), (20, 0.16, 1669.11)]
)
def test_a_wedge_is_driven_by_the_statics_text(deg: float, mu: float, drive: float) -> None:
    assert head.wedge_drive(3000, RAD(deg), mu) == pytest.approx(drive, abs=0.006)


def test_a_wedge_with_two_rubbing_faces_follows_the_handbook() -> None:
    assert head.wedge_drive(3000, RAD(5), 0.15, 0.15) == pytest.approx(1171.94, abs=0.006)
    assert head.wedge_withdraw(3000, RAD(5), 0.15, 0.15) == pytest.approx(635.10, abs=0.006)
    assert head.self_locks(RAD(17.06), 0.15, 0.15) and not head.self_locks(RAD(17.07), 0.15, 0.15)


def test_a_lever_train_without_friction_is_the_product_of_its_arms() -> None:
    force = 300 * KGF
    for a, b in ((10, 80), (8, 60), (6, 48)):
        force = Lever(a / 1000, b / 1000).ideal(force)
    assert force == pytest.approx(6.12916, abs=1e-5)


def test_pin_friction_helps_to_hold_and_hurts_to_raise() -> None:
    lever, load = Lever(0.010, 0.080, 0.003), 2941.995
    assert lever.ideal(load) == pytest.approx(367.749, abs=1e-3)
    assert lever.hold(load, 0.15) == pytest.approx(349.440, abs=2e-3)
    assert lever.raise_(load, 0.15) == pytest.approx(386.264, abs=2e-3)
    assert 3000 * head.friction_circle(0.005, 0.15) == pytest.approx(2.2251, abs=1e-4)


def test_grease_changes_a_sear_more_than_four_times() -> None:
    assert head.sear_force(100, 0.74) / head.sear_force(100, 0.16) == pytest.approx(4.625)


def test_one_friction_and_one_ratio_explain_all_three_bench_facts() -> None:
    # bench facts, common practice, no published source: at 500 kgf about 10 kgf holds at 30 degrees and about 5 kgf at
    # 20 degrees; about 5 degrees seizes under 750 kgf
    mu, ratio = head.fit_bench(500 * KGF, (RAD(30), 10 * KGF), (RAD(20), 5 * KGF))
    assert mu == pytest.approx(0.16, abs=0.01)
    at_30 = Head(RAD(30), mu, (Lever(ratio, 1.0),))
    at_20 = Head(RAD(20), mu, (Lever(ratio, 1.0),))
    at_5 = Head(RAD(5), mu, (Lever(ratio, 1.0),))
    assert at_30.hold_force(500 * KGF) / KGF == pytest.approx(10, rel=1e-6)
    assert at_20.hold_force(500 * KGF) / KGF == pytest.approx(5, rel=1e-6)
    assert at_5.verdict(750 * KGF, 50.0) == "seized"
    # and the rounded friction of 0.16 still gives "about" those readings
    rounded = Head(RAD(30), 0.16, (Lever(ratio, 1.0),)), Head(RAD(20), 0.16, (Lever(ratio, 1.0),))
    assert [h.hold_force(500 * KGF) / KGF for h in rounded] == pytest.approx([10, 5], rel=0.03)


def test_readings_no_friction_can_explain_are_refused() -> None:
    with pytest.raises(SequencerError):
        head.fit_bench(4900, (RAD(30), 10), (RAD(20), 9))
    with pytest.raises(SequencerError):
        head.fit_bench(4900, (RAD(30), 5), (RAD(20), 10))


CLUB = Head(RAD(20), 0.16, (Lever(0.008, 0.070, 0.0015), Lever(0.010, 0.060, 0.0015)), pin_mu=0.16, catch_mu=0.3,
            catch_spring=3.0, catch_strength=150.0)


def test_the_four_verdicts_all_occur_where_they_should() -> None:
    assert CLUB.verdict(2000, 20) == "lets go"
    assert CLUB.verdict(2000, CLUB.pull_force(2000) * 0.99) == "servo too weak"
    assert Head(RAD(5), 0.16).verdict(2000, 1e9) == "seized"
    assert CLUB.verdict(100_000, 1e9) == "lets go by itself"


def test_a_hooked_sear_can_throw_itself_out() -> None:
    assert Head(RAD(20), 0.1, catch_mu=0.1, catch_hook=RAD(-10)).verdict(2000, 20) == "lets go by itself"


def test_the_window_names_the_loads_at_which_every_friction_lets_go() -> None:
    loads = [100.0 * k for k in range(1, 60)]
    window = head.release_window(CLUB, loads, [0.11, 0.16, 0.25], 8.0)
    span = window.always()
    assert span is not None and span[0] == 100.0
    worst = max(replace(CLUB, contact_mu=mu).pull_force(span[1]) for mu in (0.11, 0.16, 0.25))
    assert worst <= 8.0
    beyond = replace(CLUB, contact_mu=0.11).pull_force(span[1] + 100.0)
    assert beyond > 8.0
    assert head.release_window(CLUB, loads, [0.11, 0.5], 8.0).always() is None


@given(st.floats(0.05, 1.3), st.floats(0.01, 0.9), st.floats(10, 1e4))
def test_whatever_holds_itself_does_not_push_and_needs_pulling(angle: float, mu: float, load: float) -> None:
    pushes = head.wedge_hold(load, angle, mu)
    if head.self_locks(angle, mu):
        assert pushes <= 1e-6 * load and head.wedge_withdraw(load, angle, mu) >= -1e-6 * load
    else:
        assert pushes > -1e-6 * load
    assert head.wedge_drive(load, angle, mu) > pushes


@given(st.floats(0.2, 0.6), st.floats(0.01, 0.3), st.floats(0.0, 0.3), st.floats(100, 1e4))
def test_friction_only_lowers_the_hold_force(angle: float, mu: float, pin: float, load: float) -> None:
    def held(contact: float, pins: float) -> float:
        return Head(angle, contact, CLUB.levers, pin_mu=pins).hold_force(load)

    assert held(mu, pin) <= held(mu, 0.0) <= held(0.0, 0.0)


def test_relatching_under_residual_pressure_takes_more_than_holding() -> None:
    load = head.separating_force(0.5e5, 0.05)
    assert CLUB.relatch_force(load) > CLUB.hold_force(load) > 0.0
