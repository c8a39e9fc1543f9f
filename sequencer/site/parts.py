"""What a gas network is made of: volumes, reservoirs, paths. Frozen, SI units, no behaviour.

Pressures are absolute Pa, temperatures K, volumes m3, conductances m3/(s.Pa), heat exchange W/K.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sequencer.errors import SequencerError
from sequencer.site.flow import P_ATM, T0, Conductance

Thermal = Literal["isothermal", "adiabatic", "wall"]
Wet = Literal["neither", "source", "target"]


@dataclass(frozen=True, slots=True)
class Volume:
    """A space that holds gas, and perhaps water (the gas has ``total - water``).

    ``thermal``: ``isothermal`` keeps the gas at ``temperature``; ``adiabatic`` lets no heat through; ``wall``
    exchanges ``wall_exchange`` W/K with a wall of ``wall_capacity`` J/K, which itself exchanges
    ``ambient_exchange`` W/K with the surroundings. ``stretch`` is the relative growth of the total per Pa (a
    soft hose; 0 = rigid).
    """

    name: str
    total: float
    water: float = 0.0
    pressure: float = P_ATM
    temperature: float = T0
    thermal: Thermal = "wall"
    wall_capacity: float = math.inf
    wall_exchange: float = 0.0
    ambient_exchange: float = 0.0
    stretch: float = 0.0

    def __post_init__(self) -> None:
        if not (self.total > 0.0 and 0.0 <= self.water < self.total):
            raise SequencerError(f"{self.name}: the water ({self.water} m3) must leave room for gas in {self.total} m3")
        if not (self.pressure > 0.0 and self.temperature > 0.0):
            raise SequencerError(f"{self.name}: absolute pressure and temperature must be above zero")
        if self.wall_capacity <= 0.0 or self.wall_exchange < 0.0 or self.ambient_exchange < 0.0 or self.stretch < 0.0:
            raise SequencerError(f"{self.name}: wall figures and stretch must not be negative")


@dataclass(frozen=True, slots=True)
class Reservoir:
    """A place whose pressure does not change: the open air, or a supply taken as endless."""

    name: str
    pressure: float = P_ATM
    temperature: float = T0


@dataclass(frozen=True, slots=True)
class Path:
    """A way for gas (or water) from ``source`` to ``target``: valve, hose, check valve, leak.

    ``cracking``: difference below which nothing passes forwards. ``one_way``: a check valve. ``needs``: least
    difference at which a piloted valve opens or stays open. ``wet``: the end that lies below the water line, where
    water leaves before gas. ``opening`` 0..1 at the start; ``opens_in`` / ``shuts_in``: full stroke in s.
    """

    name: str
    source: str
    target: str
    flow: Conductance
    m: float = 0.5
    cracking: float = 0.0
    one_way: bool = False
    needs: float = 0.0
    wet: Wet = "neither"
    opening: float = 1.0
    opens_in: float = 0.0
    shuts_in: float = 0.0


@dataclass(frozen=True, slots=True)
class Regulator(Path):
    """A pressure regulator: opens as the outlet falls below ``set_to``, fully at ``droop`` below it.

    So the droop under flow comes out of the flow balance. ``creep`` is the conductance of a seat that does not
    close: it passes at any outlet pressure. Never passes backwards.
    """

    set_to: float = 0.0
    droop: float = 20_000.0
    creep: float = 0.0


@dataclass(frozen=True, slots=True)
class Relief(Path):
    """A relief valve: opens at ``opens_at``, fully open ``lift`` above it, shuts again at ``reseats_at``.

    Common default for the lift: 10 % of the gauge set pressure (ASME VIII-1 UG-125 accumulation, from memory).
    """

    opens_at: float = 0.0
    reseats_at: float = 0.0
    lift: float = 0.0


def relief(
    name: str, on: str, to: str, flow: Conductance, opens_at: float, *, reseats_at: float | None = None,
    lift: float | None = None,
) -> Relief:
    """A relief valve with usual defaults: reseat at 90 % and full lift at 110 % of the gauge set pressure."""
    gauge = opens_at - P_ATM
    if gauge <= 0.0:
        raise SequencerError(f"{name}: a relief valve must open above the atmosphere")
    return Relief(
        name, on, to, flow, one_way=True, opens_at=opens_at,
        reseats_at=opens_at - 0.1 * gauge if reseats_at is None else reseats_at,
        lift=0.1 * gauge if lift is None else lift,
    )
