"""Stored energy and how far away to stand. Pressures absolute Pa unless named gauge, energies J, distances m.

Main rule: ASME PCC-2 Article 501, mandatory appendices II and III. The tool shows every rule that applies and takes
the greatest distance; it defers to local codes and licensed practice and certifies nothing. Distances of PCC-2 are
about blast, not about thrown parts or a flying vehicle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sequencer.errors import SequencerError
from sequencer.site.flow import GAMMA, P_ATM

P_ATM_PCC2 = 101_000.0
"""Atmosphere fixed by ASME PCC-2 Article 501, Pa."""
PCC2_EXPONENT = 0.286
"""Rounded exponent of ASME PCC-2 equation (II-2), not 2/7."""
TNT_J_PER_KG_PCC2 = 4_266_920.0
"""J per kg of TNT in ASME PCC-2 (II-3)."""
SCALED_DISTANCE = 20.0
"""Least scaled distance of ASME PCC-2 for people, m/kg^(1/3)."""
WATER_BULK_MODULUS = 2.2e9
"""Bulk modulus of water, Pa."""
FOOT = 0.3048
PSI = 6_894.757293168

Edition = Literal["2008", "current"]
Tag = Literal["seen", "from memory", "common practice, no published source", "given by the user"]


def pcc2_energy(pressure: float, volume: float) -> float:
    """E = 2.5*p*V*[1 - (101000/p)^0.286], J, for air or nitrogen (ASME PCC-2 eq. II-2); ``pressure`` absolute."""
    return max(0.0, 2.5 * pressure * volume * (1.0 - math.pow(P_ATM_PCC2 / pressure, PCC2_EXPONENT)))


def isentropic_energy(pressure: float, volume: float, p_back: float = P_ATM) -> float:
    """Work of a reversible adiabatic expansion to ``p_back``, J (Baker handbook basis, exact exponent)."""
    k = (GAMMA - 1.0) / GAMMA
    return pressure * volume / (GAMMA - 1.0) * (1.0 - math.pow(p_back / pressure, k))


def brode_energy(pressure: float, volume: float, p_back: float = P_ATM) -> float:
    """(p - p_back)*V/(gamma - 1), J (Brode): heat that would bring the contents to pressure at constant volume."""
    return (pressure - p_back) * volume / (GAMMA - 1.0)


def isothermal_energy(pressure: float, volume: float, p_back: float = P_ATM) -> float:
    """p*V*ln(p/p_back), J."""
    return pressure * volume * math.log(pressure / p_back)


def availability_energy(pressure: float, volume: float, p_back: float = P_ATM) -> float:
    """Isothermal exergy p*V*[ln(p/p_back) - (1 - p_back/p)], J."""
    return pressure * volume * (math.log(pressure / p_back) - (1.0 - p_back / pressure))


def hydrostatic_energy(gauge: float, volume: float) -> float:
    """Energy in water under ``gauge`` Pa, p^2*V/(2K), J: why proof tests use water."""
    return gauge * gauge * volume / (2.0 * WATER_BULK_MODULUS)


def tnt_mass(energy: float, j_per_kg: float = TNT_J_PER_KG_PCC2) -> float:
    """TNT equivalent in kg."""
    return energy / j_per_kg


def pcc2_scaled_radius(energy: float, edition: Edition = "current") -> float:
    """R = 20*(2*TNT)^(1/3), m; the 2008 edition lacks the factor 2 (ground reflection)."""
    factor = 2.0 if edition == "current" else 1.0
    return SCALED_DISTANCE * math.cbrt(factor * tnt_mass(energy))


def pcc2_floor(energy: float) -> float:
    """30 m up to 135.5 MJ, 60 m up to 271 MJ, no floor above (formula with extra consideration). ASME PCC-2 501."""
    if energy <= 135_500_000.0:
        return 30.0
    return 60.0 if energy <= 271_000_000.0 else 0.0


def pcc2_distance(energy: float, edition: Edition = "current") -> float:
    """Least distance of all people by ASME PCC-2 Article 501, m: the greater of floor and scaled radius."""
    return max(pcc2_floor(energy), pcc2_scaled_radius(energy, edition))


def water_rocket_distance(gauge: float, *, eye_protection: bool) -> float:
    """Widely republished water-rocket code: 10/20 ft up to 60 psi, 20/40 ft above (with/without eye protection), m."""
    feet = 10.0 if gauge <= 60.0 * PSI * (1.0 + 1e-9) else 20.0
    return (feet if eye_protection else 2.0 * feet) * FOOT


HIGH_POWER_TABLE = (
    (1_280.0, 100.0, 200.0), (2_560.0, 200.0, 300.0), (5_120.0, 300.0, 500.0),
    (10_240.0, 500.0, 1_000.0), (20_480.0, 1_000.0, 1_500.0), (40_960.0, 1_500.0, 2_000.0),
)
"""Up to this impulse (N.s): personnel distance, complex-rocket distance (ft). NFPA 1127 table 4.16.3, from memory."""


def high_power_distance(impulse: float, *, complex_vehicle: bool = False) -> float:
    """Personnel distance of the high-power code by total impulse (N.s), m. An analogue: that code is for motors.

    Raises SequencerError above 40 960 N.s, where the table ends.
    """
    for limit, single, several in HIGH_POWER_TABLE:
        if impulse <= limit:
            return (several if complex_vehicle else single) * FOOT
    raise SequencerError(f"the high-power distance table ends at 40 960 N.s; got {impulse:.0f} N.s")


@dataclass(frozen=True, slots=True)
class StandOffRule:
    """One rule of the stand-off: its distance in m, where it comes from, and how sure the source is."""

    name: str
    distance: float
    source: str
    tag: Tag


@dataclass(frozen=True, slots=True)
class StandOff:
    """The rules that apply, greatest first; :attr:`distance` (m) is the greatest."""

    rules: tuple[StandOffRule, ...]

    @property
    def governing(self) -> StandOffRule:
        return self.rules[0]

    @property
    def distance(self) -> float:
        return self.rules[0].distance


def stand_off(
    energy: float, gauge: float, *, impulse: float | None = None, eye_protection: bool = True, local: float = 0.0
) -> StandOff:
    """Every rule that applies, greatest first. ``local`` (m) is the user's own distance: it can only enlarge."""
    rules = [
        StandOffRule("energy floor", pcc2_floor(energy), "ASME PCC-2 Article 501", "seen"),
        StandOffRule("scaled distance, current edition", pcc2_scaled_radius(energy),
                     "ASME PCC-2 501-III, 20 m/kg^(1/3) on twice the TNT mass", "seen"),
        StandOffRule("scaled distance, 2008 edition", pcc2_scaled_radius(energy, "2008"),
                     "ASME PCC-2 (2008), 20 m/kg^(1/3) on the TNT mass", "seen"),
        StandOffRule("water-rocket code", water_rocket_distance(gauge, eye_protection=eye_protection),
                     "widely republished volunteer water-rocket safety code", "seen"),
    ]
    if impulse is not None:
        rules.append(StandOffRule("high-power table by impulse (analogue)", high_power_distance(impulse),
                                  "NFPA 1127 table 4.16.3", "from memory"))
    if local > 0.0:
        rules.append(StandOffRule("local distance", local, "the file", "given by the user"))
    return StandOff(tuple(sorted(rules, key=lambda rule: -rule.distance)))


def impulse_estimate(water_mass: float, gauge: float, density: float = 998.2) -> float:
    """Rough impulse m_water*sqrt(2p/rho) in N.s (ideal liquid jet at starting pressure: an upper estimate)."""
    return water_mass * jet_speed(gauge, density)


def jet_speed(gauge: float, density: float = 998.2) -> float:
    """Ideal water jet speed sqrt(2p/rho), m/s."""
    return math.sqrt(2.0 * max(0.0, gauge) / density)


def proof_steps(test_gauge: float) -> tuple[float, ...]:
    """Holds of a pneumatic proof test, gauge Pa: first look, then half, then tenths.

    First look at the lesser of half the test pressure and 170 kPa (ASME B31.3 345.5, seen); then half and
    steps of a tenth (ASME VIII-1 UG-100, from memory).
    """
    first = min(0.5 * test_gauge, 170_000.0)
    holds = [first] + [test_gauge * k / 10.0 for k in range(5, 11)]
    return tuple(h for i, h in enumerate(holds) if i == 0 or h > first * (1.0 + 1e-9))


def highest_relief_setting(test_gauge: float) -> float:
    """Relief in a pneumatic test: at most test + min(345 kPa, 10 % of it) (ASME B31.3 345.5.2), gauge Pa."""
    return test_gauge + min(345_000.0, 0.1 * test_gauge)
