"""Gas flow through valves, orifices and hoses: the ISO 6358 law and its conversions.

All pressures are absolute pascals, temperatures kelvin, mass flows kg/s. The sonic conductance ``C`` is in
m3/(s.Pa) at the reference atmosphere (1 dm3/(s.bar) = 1e-8 m3/(s.Pa)); ``b`` is the critical pressure ratio.

Sources: ISO 6358:1989 and ISO 6358-1:2013 (flow law, series rule), ISO 8778 (reference atmosphere), textbook
nozzle theory. The hose correlation is quoted from memory of pneumatic-drives textbooks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sequencer.errors import SequencerError

RHO0 = 1.185
"""Density of the reference atmosphere of ISO 6358 (20 degC, 100 kPa, 65 % RH), kg/m3."""
T0 = 293.15
"""Reference temperature of ISO 6358, K."""
R_AIR = 287.05
"""Specific gas constant of dry air, J/(kg.K)."""
GAMMA = 1.4
"""Ratio of specific heats of air."""
CV_AIR = R_AIR / (GAMMA - 1.0)
CP_AIR = GAMMA * CV_AIR
P_ATM = 101_325.0
"""Standard atmosphere, Pa (for flow; ASME PCC-2 fixes its own 101 000 Pa, see energy.py)."""
RHO_WATER = 998.2
"""Density of water at 20 degC, kg/m3."""
DM3_S_BAR = 1e-8
"""One dm3/(s.bar) in m3/(s.Pa)."""
LINEAR_FROM = 0.999
"""Pressure ratio above which the law is replaced by a straight line through zero (common numerical practice)."""
NOZZLE_PSI: float = math.sqrt(GAMMA) * (2.0 / (GAMMA + 1.0)) ** ((GAMMA + 1.0) / (2.0 * (GAMMA - 1.0)))
"""Choked-flow function of an ideal nozzle, 0.684731 for air."""


@dataclass(frozen=True, slots=True)
class Conductance:
    """A flow path by ISO 6358: ``C`` in m3/(s.Pa), ``b`` without unit (0 <= b < 1)."""

    C: float
    b: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.C) and self.C >= 0.0):
            raise SequencerError(f"sonic conductance C must be a finite number >= 0, got {self.C!r}")
        if not 0.0 <= self.b < 1.0:
            raise SequencerError(f"critical ratio b must lie in [0, 1), got {self.b!r}")

    @property
    def effective_area(self) -> float:
        """Cd*A in m2 of the ideal nozzle that chokes at the same mass flow."""
        return self.C * RHO0 * math.sqrt(R_AIR * T0) / float(NOZZLE_PSI)


def mass_flow(
    p1: float, p2: float, t1: float, C: float, b: float, *, t2: float | None = None, m: float = 0.5, cracking: float = 0.0
) -> float:
    """Mass flow from side 1 to side 2 in kg/s (negative when side 2 is higher).

    Choked below ``p2/p1 = b``; above, ``[1 - ((p2/p1 - b)/(1 - cracking/p1 - b))**2]**m``; within 0.1 % of the
    zero a straight line. ``t1`` is the temperature on side 1, ``t2`` on side 2 (the same if not given).
    ``cracking`` is the pressure difference in Pa below which nothing flows. Source: ISO 6358-1:2013.
    """
    if p2 > p1:
        return -mass_flow(p2, p1, t1 if t2 is None else t2, C, b, m=m, cracking=cracking)
    return flow_and_slopes(p1, p2, t1, C, b, m, cracking)[0]


def flow_and_slopes(
    p1: float, p2: float, t1: float, C: float, b: float, m: float = 0.5, cracking: float = 0.0
) -> tuple[float, float, float]:
    """Flow for ``p1 >= p2`` with its slopes: ``(q, dq/dp1, -dq/dp2)`` in kg/s and kg/(s.Pa), all three >= 0.

    The network's semi-implicit step needs the slopes; see :func:`mass_flow` for the law.
    """
    if p1 <= 0.0 or p1 - p2 < cracking:
        return 0.0, 0.0, 0.0
    k = C * RHO0 * math.sqrt(T0 / t1)
    r = p2 / p1
    if r <= b:
        return k * p1, k, 0.0
    width = 1.0 - cracking / p1 - b
    if width <= 0.0:
        return k * p1, k, 0.0
    u = (r - b) / width
    u_lin = 1.0 - (1.0 - LINEAR_FROM) / (1.0 - b)
    if u > u_lin:
        # q = k*p1*s*(1-u): with (1-u)*width*p1 = p1 - p2 - cracking this is a plain conductance.
        s = (1.0 - u_lin * u_lin) ** m / (1.0 - u_lin)
        slope = k * s / width
        return slope * (p1 - p2 - cracking), slope, slope
    core = 1.0 - u * u
    f = core**m
    df_du = -2.0 * m * u * f / core
    # du/dp1 = (-p2/p1**2 - u*cracking/p1**2)/width ; du/dp2 = 1/(p1*width)
    return k * p1 * f, k * (f - df_du * (r + u * cracking / p1) / width), -k * df_du / width


def orifice(diameter: float, discharge: float = 0.8, b: float = 0.5) -> Conductance:
    """Conductance of a round hole of ``diameter`` (m). ``b`` = 0.5 serves when unknown (published short-tube work)."""
    return area_conductance(discharge * math.pi * diameter * diameter / 4.0, b)


def area_conductance(effective_area: float, b: float = 0.5) -> Conductance:
    """Conductance of an effective area Cd*A in m2 by ideal-nozzle theory: C[dm3/(s.bar)] = 0.199195 * mm2."""
    return Conductance(effective_area * NOZZLE_PSI / (RHO0 * math.sqrt(R_AIR * T0)), b)


def hose(length: float, diameter: float) -> Conductance:
    """Conductance of a plain hose, ``length`` and inner ``diameter`` in m.

    C = 0.029 D^2 / sqrt(L/D^1.25 + 510), b = 474 C / D^2. From memory of pneumatic-drives textbooks.
    """
    c = 0.029 * diameter**2 / math.sqrt(length / diameter**1.25 + 510.0)
    return Conductance(c, min(474.0 * c / diameter**2, 0.95))


def hose_volume(length: float, diameter: float) -> float:
    """Volume inside a hose, m3."""
    return math.pi * diameter * diameter / 4.0 * length


def series_pair(first: Conductance, second: Conductance) -> Conductance:
    """Two elements one behind the other, order kept (ISO 6358:1989, annex; C exact, b a curve fit)."""
    if first.C == 0.0 or second.C == 0.0:
        return Conductance(0.0, 0.0)
    b1 = max(first.b, 1e-9)
    alpha = first.C / (b1 * second.C)
    if alpha <= 1.0:
        c = first.C
    else:
        k = (1.0 - b1) / b1
        root = math.sqrt(alpha * alpha + k * k - 1.0)
        c = second.C * alpha * (alpha * b1 + (1.0 - b1) * root) / (alpha * alpha + k * k)
    b = 1.0 - c * c * ((1.0 - first.b) / first.C**2 + (1.0 - second.b) / second.C**2)
    return Conductance(c, min(max(b, 0.0), 0.95))


def series(elements: Sequence[Conductance]) -> Conductance:
    """Fold of :func:`series_pair` from upstream to downstream. Raises SequencerError when empty."""
    if not elements:
        raise SequencerError("a series needs at least one element")
    total = elements[0]
    for element in elements[1:]:
        total = series_pair(total, element)
    return total
