"""A vessel with hoses that end at a shut valve: how much longer it takes to empty than one room of the same size.

A hose behind its own resistance feeds the vessel late. Where it is short and wide that is lost in a thousandth; a hose
that holds as much as the vessel keeps it above its threshold for several times as long.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from sequencer.description.grounds import LinePart
from sequencer.description.pad import Pad
from sequencer.site import flow, resolve, vessel
from sequencer.site.flow import P_ATM, T0, Conductance
from sequencer.site.network import Network
from sequencer.site.parts import Path, Reservoir, Volume

STEPS = 300
"""Steps within the time that one room takes; the network divides them further where it must."""


@dataclass(frozen=True, slots=True)
class Hose:
    """Room in m3 and the hose's own conductance."""

    room: float
    path: Conductance


def around(pad: Pad, volume: str) -> tuple[Hose, ...]:
    """The hoses of every line that begins or ends at a volume: whichever end their valves sit at, they may hang on it."""
    found = []
    for name, part in pad.parts(LinePart).items():
        line = resolve.line(pad, name)
        if line.hose_volume > 0.0 and volume in (part.line.origin, part.line.end):
            found.append(Hose(line.hose_volume, flow.hose(line.hose_length, line.hose_bore)))
    return tuple(found)


def vent_time(
    volume: float, hoses: Sequence[Hose], path: Conductance, p_from: float, p_to: float,
    temperature: float = T0, process: vessel.Process = "isothermal",
) -> float:  # fmt: skip
    """Seconds to vent a vessel with hoses that end at shut valves; `vessel.vent_time` of one room, times the lag."""
    whole = volume + sum(hose.room for hose in hoses)
    time = vessel.vent_time(whole, path, p_from, p_to, temperature=temperature, process=process)
    return time * lag(volume, hoses, path, p_from, p_to)


def lag(volume: float, hoses: Sequence[Hose], path: Conductance, p_from: float, p_to: float) -> float:
    """Times (1 or more, no unit) that the vessel takes longer from `p_from` to `p_to` (absolute Pa) through `path` with its
    hoses behind their own resistance than with their room added to its own; isothermal, at 20 degC. m3."""
    return _lag(volume, tuple(hoses), path, p_from, p_to) if hoses else 1.0


@lru_cache(maxsize=4096)
def _lag(volume: float, hoses: tuple[Hose, ...], path: Conductance, p_from: float, p_to: float) -> float:
    lumped = vessel.vent_time(volume + sum(hose.room for hose in hoses), path, p_from, p_to)
    if not 0.0 < lumped < float("inf"):
        return 1.0
    names = [f"hose {number}" for number in range(len(hoses))]
    rooms = [Volume(name, hose.room, pressure=p_from, thermal="isothermal") for name, hose in zip(names, hoses, strict=True)]
    net = Network(
        [Volume("vessel", volume, pressure=p_from, thermal="isothermal"), *rooms], [Reservoir("air", P_ATM)],
        [Path("vent", "vessel", "air", path), *(Path(name, name, "vessel", hose.path) for name, hose in zip(names, hoses, strict=True))],
    )  # fmt: skip
    step, taken = lumped / STEPS, 0.0
    while True:
        before = net.p[0]
        net.step(step)
        if net.p[0] <= p_to:
            return max(1.0, (taken + step * (before - p_to) / (before - net.p[0])) / lumped)
        taken += step
