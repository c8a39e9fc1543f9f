"""Small gas networks: a path in few words, and how long a pressure takes."""

from __future__ import annotations

from typing import Any

from sequencer.site.flow import DM3_S_BAR, Conductance
from sequencer.site.network import Network
from sequencer.site.parts import Path, Reservoir

BAR = 1e5
AIR = Reservoir("air", BAR)


def path(name: str, source: str, target: str, C: float = 1.0, b: float = 0.3, **more: Any) -> Path:
    """A path of C in dm3/(s.bar)."""
    return Path(name, source, target, Conductance(C * DM3_S_BAR, b), **more)


def run_to(net: Network, place: int, pressure: float, h: float = 0.02, limit: float = 400.0) -> float:
    """Time at which a falling or rising pressure passes a value, interpolated within the step."""
    t, falling = 0.0, net.p[place] > pressure
    while t < limit:
        before = net.p[place]
        net.step(h)
        t += h
        if (net.p[place] <= pressure) == falling:
            return t - h + h * (pressure - before) / (net.p[place] - before)
    raise AssertionError(f"never reached {pressure} Pa, at {net.p[place]} Pa")
