"""Closed forms for one vessel: blow-down, fill, water driven out. Absolute pascals, kelvin, m3, seconds.

They serve the sizing sheet and check the network integrator. Isothermal and adiabatic are the two ends; a real
vessel lies between. Derivation: mass balance with the ISO 6358 law (textbook; the adiabatic choked form is also
found in handbooks of pneumatics as the power law with exponents -7 and -2 for air).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

from sequencer.errors import SequencerError
from sequencer.site.flow import (
    GAMMA,
    P_ATM,
    R_AIR,
    RHO0,
    RHO_WATER,
    T0,
    Conductance,
    flow_and_slopes,
)

Process = Literal["isothermal", "adiabatic"]


def time_constant(volume: float, C: float, temperature: float = T0) -> float:
    """Isothermal choked time constant V/(C*rho0*R*sqrt(T0*T)) in s; close to V/(C*1 bar)."""
    return volume / (C * RHO0 * R_AIR * math.sqrt(T0 * temperature))


def _subsonic_f(u: float, k: float) -> float:
    s = math.sqrt(1.0 - k * k)
    return -math.log((1.0 + k * u + s * math.sqrt(max(0.0, 1.0 - u * u))) / (u + k)) / s


def _subsonic_isothermal(r_from: float, r_to: float, b: float) -> float:
    """Time in time constants to go from back-pressure ratio r_from to r_to (both >= b), b < 0.5 or any b < 1."""
    k = b / (1.0 - b)
    u1, u2 = (r_from - b) / (1.0 - b), (min(r_to, 1.0) - b) / (1.0 - b)
    if k < 0.999 and u1 + k > 1e-12:
        return _subsonic_f(u2, k) - _subsonic_f(u1, k)
    # At b >= 0.5 the closed form changes branch; the integral itself is smooth in phi (u = sin phi).
    return _simpson(lambda phi: 1.0 / (k + math.sin(phi)), math.asin(u1), math.asin(u2))


def _simpson(g: Callable[[float], float], a: float, b: float, n: int = 400) -> float:
    h = (b - a) / n
    total = g(a) + g(b)
    for i in range(1, n):
        total += (4.0 if i % 2 else 2.0) * g(a + i * h)
    return total * h / 3.0


def blow_down_number(p_from: float, p_to: float, p_back: float, b: float, process: Process = "isothermal") -> float:
    """Blow-down time in units of the time constant at the starting temperature (no unit).

    Raises SequencerError unless ``p_from >= p_to >= p_back > 0``.
    """
    if not p_from >= p_to >= p_back > 0.0:
        raise SequencerError(f"a blow-down runs from high to low: {p_from} >= {p_to} >= {p_back} > 0 Pa does not hold")
    edge = p_back / b if b > 0.0 else math.inf
    choked_end = min(max(p_to, edge), p_from)
    if process == "isothermal":
        t = math.log(p_from / choked_end)
        if choked_end > p_to:
            t += _subsonic_isothermal(p_back / choked_end, p_back / p_to, b)
        return t
    half = (GAMMA - 1.0) / (2.0 * GAMMA)
    t = 2.0 / (GAMMA - 1.0) * (math.pow(choked_end / p_from, -half) - 1.0)
    if choked_end > p_to:
        # u = sin(phi) removes the root at equalisation; T follows the isentrope from the start.
        def rate(phi: float) -> float:
            r = b + (1.0 - b) * math.sin(phi)
            p = p_back / r
            root_t = math.pow(p / p_from, half)
            return (1.0 - b) / (GAMMA * r * root_t)

        u1, u2 = ((p_back / p - b) / (1.0 - b) for p in (choked_end, p_to))
        t += _simpson(rate, math.asin(max(u1, 0.0)), math.asin(min(u2, 1.0)))
    return t


def vent_time(
    volume: float, path: Conductance, p_from: float, p_to: float, p_back: float = P_ATM,
    temperature: float = T0, process: Process = "isothermal",
) -> float:
    """Seconds to vent ``volume`` from ``p_from`` to ``p_to``. Infinite when the path is shut."""
    if p_to >= p_from:
        return 0.0
    if path.C == 0.0:
        return math.inf
    number = blow_down_number(p_from, p_to, p_back, path.b, process)
    return time_constant(volume, path.C, temperature) * number


def vent_pressure(
    volume: float, path: Conductance, p_from: float, t: float, p_back: float = P_ATM,
    temperature: float = T0, process: Process = "isothermal",
) -> float:
    """Pressure in Pa after venting for ``t`` seconds (bisection on :func:`vent_time`)."""
    if t <= 0.0 or path.C == 0.0 or p_from <= p_back:
        return p_from
    low, high = p_back, p_from
    if vent_time(volume, path, p_from, p_back, p_back, temperature, process) <= t:
        return p_back
    for _ in range(100):
        mid = 0.5 * (low + high)
        if vent_time(volume, path, p_from, mid, p_back, temperature, process) > t:
            low = mid
        else:
            high = mid
    return 0.5 * (low + high)


def adiabatic_temperature(p_from: float, p_to: float, temperature: float = T0) -> float:
    """Temperature of the gas left behind after an adiabatic vent, K."""
    return float(temperature * (p_to / p_from) ** ((GAMMA - 1.0) / GAMMA))


def conductance_from_blow_down(
    volume: float, p_from: float, p_to: float, seconds: float, *, b: float = 0.3,
    p_back: float = P_ATM, temperature: float = T0, process: Process = "isothermal",
) -> Conductance:
    """Conductance from a timed blow-down, e.g. "6 bar to 3 bar in 9 s from 2.0 l" (absolute Pa here).

    The truth lies between the isothermal answer (larger C) and the adiabatic one (smaller C).
    """
    if seconds <= 0.0 or not p_from > p_to:
        raise SequencerError("a measured blow-down needs a falling pressure and a positive time")
    number = blow_down_number(p_from, p_to, p_back, b, process)
    return Conductance(volume * number / (RHO0 * R_AIR * math.sqrt(T0 * temperature) * seconds), b)


def fill_time(
    volume: float, path: Conductance, p_supply: float, p_from: float, p_to: float, temperature: float = T0,
    process: Process = "isothermal",
) -> float:
    """Seconds to fill from a constant supply. Adiabatic: gamma times faster in pressure (supply gas at ``temperature``).

    Infinite when ``p_to`` lies above the supply or the path is shut.
    """
    if p_to <= p_from:
        return 0.0
    if path.C == 0.0 or p_to > p_supply:
        return math.inf
    factor = RHO0 * R_AIR * math.sqrt(T0 * temperature) * path.C / volume
    if process == "adiabatic":
        factor *= GAMMA
    edge = min(max(path.b * p_supply, p_from), p_to)
    t = (edge - p_from) / (factor * p_supply)
    u1, u2 = ((p / p_supply - path.b) / (1.0 - path.b) for p in (edge, p_to))
    if p_to > edge:
        t += (1.0 - path.b) / factor * (math.asin(min(u2, 1.0)) - math.asin(max(u1, 0.0)))
    return t


def fill_rate(volume: float, path: Conductance, p_supply: float, p: float, temperature: float = T0) -> float:
    """Isothermal pressure rise in Pa/s; times gamma for the adiabatic rate."""
    q = flow_and_slopes(p_supply, p, temperature, path.C, path.b)[0] if p < p_supply else 0.0
    return q * R_AIR * temperature / volume


def fill_end_temperature(p_from: float, p_to: float, t_supply: float = T0) -> float:
    """Adiabatic fill end temperature, vessel at supply temperature before: gamma*Ts/(1 + (pa/p)(gamma-1)), K."""
    return GAMMA * t_supply / (1.0 + p_from / p_to * (GAMMA - 1.0))


def settled_pressure(p: float, t_gas: float, t_final: float) -> float:
    """Pressure of a shut vessel when its gas has come to ``t_final``: p*T_final/T_gas."""
    return p * t_final / t_gas


def water_out(
    total: float, water: float, p_from: float, effective_area: float, p_back: float = P_ATM
) -> tuple[float, float]:
    """Water driven out by isothermal gas: (seconds, pressure then). Infinite time if the gas runs out of pressure.

    With gas volume v: p = p_i*v_i/v, Q = CdA*sqrt(2(p - p_back)/rho), dt = dv/Q; Simpson's rule over v.
    """
    v1 = total - water
    p_end = p_from * v1 / total
    if water <= 0.0:
        return 0.0, p_from
    if p_end <= p_back or effective_area <= 0.0:
        return math.inf, p_back
    time = _simpson(
        lambda v: 1.0 / (effective_area * math.sqrt(2.0 * (p_from * v1 / v - p_back) / RHO_WATER)), v1, total
    )
    return time, p_end
