"""From the file to a gas network: volumes, supplies and lines as places and paths, with every left-out value assumed.

A supply is a reservoir at its regulator's outlet (pipework.py moves that pressure: set, droop, creep, running down),
so the unknowns of the network are the file's volumes alone. A hose's room is counted to the volume it leads to. Spare
paths, shut at first, stand for what opens when something breaks or parts: the two ends of a hose, the seat of a head.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sequencer.description.grounds import HeadPart, LinePart, ReliefPart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.site import resolve
from sequencer.site.assumed import assumed
from sequencer.site.flow import CV_AIR, P_ATM, R_AIR, Conductance, orifice
from sequencer.site.network import Network
from sequencer.site.parts import Path, Relief, Reservoir, Thermal, Volume, Wet

if TYPE_CHECKING:
    from sequencer.site.pipework import Line

AIR = "air"


class PadNetwork(Network):
    """The network with the one thing hands do to it from outside: charging or opening a volume."""

    def put(self, i: int, pressure: float, temperature: float, water: float | None = None) -> None:
        """Set the gas (absolute Pa, K) and perhaps the water (m3) of volume ``i``. What comes or goes is booked to
        the first reservoir, the air, so the balance of mass still closes."""
        self._wake()
        if water is not None:
            self.water_taken[0] += self.water[i] - water
            self.water[i] = water
        room = self._gas_volume(i, pressure)
        mass = pressure * room / (R_AIR * temperature)
        self.taken[0] += self.mass[i] - mass
        self.p[i], self.T[i], self.wall_T[i] = pressure, temperature, temperature
        self.gas_volume[i], self.mass[i] = room, mass
        self.energy[i] = mass * CV_AIR * temperature


class Ground:
    """What the running parts share: the gas, the clock, the news, and what must be looked at in this step."""

    def __init__(self, net: PadNetwork, dt: float, temperature: float) -> None:
        self.net, self.dt, self.temperature = net, dt, temperature
        self.ticks = 0
        self.news: list[tuple[str, str]] = []
        self.moving: list[Line] = []
        """Lines whose valve is on its way."""
        self.stirred = True
        """Something was touched: look at heads, reliefs and supplies in this step even if the gas stands still."""

    @property
    def now(self) -> float:
        """Seconds since the world began."""
        return self.ticks * self.dt

    def tell(self, part: str, what: str) -> None:
        """Report a beginning or an end, once."""
        self.news.append((part, what))


@dataclass(frozen=True, slots=True)
class LinePlan:
    """Where a line lies in the network. ``open_source``: what comes out of its near part when it is broken or parted
    (None: nothing can). ``open_target``: what the far volume loses through the fitting."""

    name: str
    part: LinePart
    resolved: resolve.ResolvedLine
    path: int
    open_source: int | None
    open_target: int | None
    unpiped: float
    """Conductance without the hose over conductance with it (1 where there is none)."""


@dataclass(frozen=True, slots=True)
class GasPlan:
    """The network, and where the file's parts lie in it."""

    net: PadNetwork
    lines: dict[str, LinePlan]
    reliefs: dict[str, int]
    seats: dict[str, int]
    """Held volume -> path through its seat, shut while a head holds."""
    temperature: float
    wetted: dict[str, float] = field(default_factory=dict)
    """Water at the start of each volume, m3."""


def gas(pad: Pad, thermal: Thermal = "wall") -> GasPlan:
    """Build the network of a pad at rest: everything at the atmosphere and the temperature of the air.

    Raises SequencerError when a line leads to a place that the file does not have.
    """
    air = resolve.air_temperature(pad).nominal
    volumes = [_volume(pad, name, part, thermal, air) for name, part in pad.parts(VolumePart).items()]
    reservoirs = [Reservoir(AIR, P_ATM, air)]
    for name in pad.parts(SupplyPart):
        reservoirs.append(Reservoir(name, resolve.supply(pad, name).nominal + P_ATM, air))
    paths: list[Path] = []
    plans: dict[str, LinePlan] = {}
    for name in pad.parts(LinePart):
        plans[name] = _line(pad, name, paths)
    reliefs: dict[str, int] = {}
    for name, relief in pad.parts(ReliefPart).items():
        reliefs[name] = len(paths)
        paths.append(_relief(pad, name, relief))
    seats: dict[str, int] = {}
    for head in pad.parts(HeadPart).values():
        held = head.release_head
        if held in seats or held not in pad.site:
            continue
        seats[held] = len(paths)
        paths.append(Path(f"{held}/seat", held, AIR, orifice(head.seat.nominal), wet="source", opening=0.0))
    net = PadNetwork(volumes, reservoirs, paths, ambient=air)
    return GasPlan(net, plans, reliefs, seats, air, {v.name: v.water for v in volumes})


def _volume(pad: Pad, name: str, part: VolumePart, thermal: Thermal, air: float) -> Volume:
    hoses = sum(
        line.hose_volume
        for line in (resolve.line(pad, n) for n, p in pad.parts(LinePart).items() if p.line.end == name)
    )
    water = part.water.si if part.water is not None else 0.0
    exchange = resolve.wall_exchange(pad, name, part.rated.si, "nominal")
    capacity = exchange * assumed("volume.cooling_time").nominal * assumed("volume.wall_capacity_ratio").nominal
    return Volume(
        name, part.volume.si + hoses, water, P_ATM, air, thermal, wall_capacity=capacity, wall_exchange=exchange,
        ambient_exchange=capacity / assumed("volume.outside_time").nominal,
    )  # fmt: skip


def _line(pad: Pad, name: str, paths: list[Path]) -> LinePlan:
    line = resolve.line(pad, name)
    part = pad.site[name]
    assert isinstance(part, LinePart)
    for place in (line.source, line.target):
        if place != AIR and not isinstance(pad.site.get(place), VolumePart | SupplyPart):
            raise SequencerError(f"{name}: '{place}' is neither a volume nor a supply of the site, nor air")
    wet: Wet = "neither"
    if not part.above_water:
        wet = "source" if isinstance(pad.site.get(line.source), VolumePart) else "target"
    flow = line.nominal
    cracks, needs = line.cracks_at.nominal, line.needs.nominal
    index = len(paths)
    paths.append(
        Path(name, line.source, line.target, flow, cracking=cracks, one_way=part.one_way, needs=needs, wet=wet, opening=0.0)
    )
    open_source = open_target = None
    if line.source != AIR and line.target != AIR:
        open_source = len(paths)
        paths.append(Path(f"{name}/near end", line.source, AIR, flow, one_way=True, opening=0.0))
        if part.hose is not None:
            open_target = len(paths)
            fitting = orifice(line.hose_bore)
            wet_end: Wet = "neither" if part.above_water else "source"
            paths.append(Path(f"{name}/far end", line.target, AIR, fitting, one_way=True, wet=wet_end, opening=0.0))
    return LinePlan(name, part, line, index, open_source, open_target, _unpiped(pad, name, part, flow))


def _unpiped(pad: Pad, name: str, part: LinePart, flow: Conductance) -> float:
    if part.hose is None or part.measured is not None or flow.C <= 0.0:
        return 1.0
    bare = part.model_copy(update={"hose": None})
    alone = resolve.line(pad.model_copy(update={"site": {**pad.site, name: bare}}), name)
    return max(1.0, alone.nominal.C / flow.C)


def _relief(pad: Pad, name: str, part: ReliefPart) -> Relief:
    found = resolve.relief(pad, name)
    opens = found.opens_at.nominal
    flow = Conductance(found.conductance.nominal, assumed("line.critical_ratio").nominal)
    return Relief(
        name, part.relief, AIR, flow, one_way=True, opens_at=opens + P_ATM,
        reseats_at=found.shuts_at.nominal + P_ATM, lift=assumed("relief.lift_ratio").nominal * opens,
    )  # fmt: skip
