"""Stored energy and stand-off against ASME PCC-2 Article 501 worked values, Brode, Baker and the hobby codes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import SequencerError
from sequencer.site import energy

# gauge bar, litres, E, TNT g, R(TNT), R(2 TNT), isentropic, Brode, isothermal, availability; worked by formula
TABLE = [
    (5, 2.0, 1_200.6, 0.281, 1.311, 1.651, 1_199.0, 2_500, 2_141.7, 1_141.7),
    (8, 2.2, 2_305.3, 0.540, 1.629, 2.052, 2_302.4, 4_400, 4_333.7, 2_573.7),
    (10, 10, 13_625.1, 3.193, 2.945, 3.711, 13_608.0, 25_000, 26_276.9, 16_276.9),
    (10, 50, 68_125.4, 15.966, 5.036, 6.345, 68_040.1, 125_000, 131_384.6, 81_384.6),
    (12, 50, 84_328.9, 19.763, 5.407, 6.813, 84_226.4, 150_000, 166_101.5, 106_101.5),
    (15, 20, 43_730.4, 10.249, 4.344, 5.473, 43_679.3, 75_000, 88_401.3, 58_401.3),
]


@pytest.mark.parametrize("row", TABLE)
def test_the_energy_table_holds(row: tuple[float, ...]) -> None:
    bar, litres, e, tnt, older, newer, isentropic, brode, isothermal, available = row
    volume, gauge = litres / 1000, bar * 1e5
    mine = energy.pcc2_energy(gauge + energy.P_ATM_PCC2, volume)
    assert mine == pytest.approx(e, abs=0.06)
    assert energy.tnt_mass(mine) * 1000 == pytest.approx(tnt, abs=6e-4)
    assert energy.pcc2_scaled_radius(mine, "2008") == pytest.approx(older, abs=6e-4)
    assert energy.pcc2_scaled_radius(mine) == pytest.approx(newer, abs=6e-4)
    p = gauge + energy.P_ATM
    assert energy.isentropic_energy(p, volume) == pytest.approx(isentropic, abs=0.06)
    assert energy.brode_energy(p, volume) == pytest.approx(brode, abs=0.06)
    assert energy.isothermal_energy(p, volume) == pytest.approx(isothermal, abs=0.06)
    assert energy.availability_energy(p, volume) == pytest.approx(available, abs=0.06)
    assert energy.pcc2_distance(mine) == 30.0


def test_water_takes_room_from_the_gas() -> None:
    assert energy.pcc2_energy(1e6 + 101_000, 0.050 * 2 / 3) == pytest.approx(45_416.96, abs=0.01)


def test_the_scaled_distance_passes_thirty_metres_where_the_formula_says() -> None:
    assert energy.pcc2_distance(7_200_427.0) == pytest.approx(30.0, abs=1e-6)
    assert energy.pcc2_distance(7_200_500.0) > 30.0
    assert energy.pcc2_scaled_radius(14_400_855.0, "2008") == pytest.approx(30.0, abs=1e-6)


def test_the_floor_steps_at_the_energies_of_pcc_2() -> None:
    assert [energy.pcc2_floor(e) for e in (135.5e6, 135.6e6, 271e6, 272e6)] == [30.0, 60.0, 60.0, 0.0]


def test_the_order_of_the_energy_models_changes_with_pressure() -> None:
    def ordered(gauge: float) -> list[str]:
        p = gauge + energy.P_ATM
        models = {
            "availability": energy.availability_energy, "isentropic": energy.isentropic_energy,
            "isothermal": energy.isothermal_energy, "brode": energy.brode_energy,
        }
        return sorted(models, key=lambda name: models[name](p, 1.0))

    assert ordered(1e6) == ["isentropic", "availability", "brode", "isothermal"]
    assert ordered(5e5) == ["availability", "isentropic", "isothermal", "brode"]


def test_water_stores_thousands_of_times_less_than_air() -> None:
    assert energy.hydrostatic_energy(15e5, 0.010) == pytest.approx(5.11, abs=0.01)
    # the air at the same pressure: half of the 20 l row's order; isentropic basis, from the same table of formulas
    assert energy.isentropic_energy(15e5 + energy.P_ATM, 0.010) == pytest.approx(21_840, abs=1)


@pytest.mark.parametrize(("psi", "eyes", "feet"), [(60, True, 10), (60, False, 20), (61, True, 20), (61, False, 40)])
def test_the_water_rocket_code_doubles_without_eye_protection(psi: float, eyes: bool, feet: float) -> None:
    assert energy.water_rocket_distance(psi * energy.PSI, eye_protection=eyes) == pytest.approx(feet * 0.3048)


def test_the_stand_off_is_the_greatest_rule_and_shows_each() -> None:
    e = energy.pcc2_energy(1e6 + 101_000, 0.050)
    shown = energy.stand_off(e, 1e6, impulse=800.0)
    assert shown.distance == pytest.approx(30.48)
    assert shown.governing.tag == "from memory"
    assert len(shown.rules) == 5


@given(st.floats(0, 500), st.floats(1e2, 1e9), st.floats(1e4, 5e6))
def test_a_local_distance_can_only_enlarge(local: float, e: float, gauge: float) -> None:
    without = energy.stand_off(e, gauge).distance
    assert energy.stand_off(e, gauge, local=local).distance == max(without, local)


@given(st.floats(1.1e5, 3e7), st.floats(1.1e5, 3e7), st.floats(1e-4, 1))
def test_energy_grows_with_pressure(one: float, other: float, volume: float) -> None:
    low, high = sorted((one, other))
    for model in (energy.pcc2_energy, energy.isentropic_energy, energy.brode_energy, energy.isothermal_energy,
                  energy.availability_energy):
        assert model(low, volume) <= model(high, volume) * (1 + 1e-12)


def test_beyond_the_high_power_table_the_tool_says_so() -> None:
    assert energy.high_power_distance(2_000) == pytest.approx(200 * 0.3048)
    with pytest.raises(SequencerError):
        energy.high_power_distance(50_000)


def test_proof_steps_begin_at_the_first_look_of_b31_3() -> None:
    assert [round(p / 1e5, 6) for p in energy.proof_steps(10e5)] == [1.7, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0]
    assert energy.proof_steps(3e5)[0] == pytest.approx(1.5e5)
    assert energy.highest_relief_setting(10e5) == pytest.approx(11e5)
    assert energy.highest_relief_setting(60e5) == pytest.approx(63.45e5)


def test_jet_speed_and_impulse_follow_bernoulli() -> None:
    assert energy.jet_speed(1e6, 998.0) == pytest.approx(44.77, abs=0.01)
    assert energy.impulse_estimate(0.7, 1e6, 998.0) == pytest.approx(0.7 * 44.766, rel=1e-4)
