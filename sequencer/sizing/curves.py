"""The sheet's curves as plain numbers, for the pictures: release window, forces over load, pressure over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sequencer.description.pad import Pad
from sequencer.quantities import ATMOSPHERE
from sequencer.site import resolve, vessel
from sequencer.site.head import ReleaseWindow
from sequencer.sizing.cooling import after_fill, cools_to
from sequencer.sizing.levels import Levels, levels
from sequencer.sizing.release import Release, releases, tried_at, window_map

Curve = tuple[tuple[float, float], ...]
FAR = 100.0
"""A zone that lies further than this many times the loads it meets is not brought into the picture."""
HOLD = 120.0
"""How long the pictures hold the pressure, s."""


@dataclass(frozen=True)
class HeadCurves:
    """One head: the window over load (N) and friction; marks (label, N); forces over load (N): at the catch with the
    least and the most contact friction given, what the servo must pull at worst, and the least it pulls."""

    name: str
    window: ReleaseWindow
    friction: tuple[float, float, float]
    seizes_at: tuple[float, float]
    marks: tuple[tuple[str, float], ...]
    tried: tuple[float, float] | None
    loads: tuple[float, ...]
    held_most: tuple[float, ...]
    held_least: tuple[float, ...]
    pull_needed: tuple[float, ...]
    pull: float
    decades: bool
    """The window's loads are spaced by ratio, because its next zone lies far beyond the loads it meets."""


@dataclass(frozen=True)
class PressureCurves:
    """One volume over time: nominal and slow curves of (s, gauge Pa), the moment the vent opens, and level lines."""

    volume: str
    nominal: Curve
    slow: Curve
    parts: tuple[tuple[str, float, float], ...]
    marks: tuple[tuple[str, float], ...]


def head_curves(pad: Pad) -> tuple[HeadCurves, ...]:
    """Curves of every release head."""
    volumes = {name: v for name, v in levels(pad).items() if v.fills or v.vents or v.readings}
    return tuple(_head(pad, one) for one in releases(pad, volumes))


def _head(pad: Pad, one: Release) -> HeadCurves:
    from math import tan

    values = one.values
    top = 1.15 * max(one.loads.highest, one.loads.proof or 0.0, 1.0)
    steepest = tan(values.contact_angle.high)
    most_friction = 1.15 * max(values.friction.high, steepest)
    loads = [top * i / 160 for i in range(161)]
    far = one.window_top()
    decades = top < far < FAR * top
    over = [top / 20.0 * (4.0 * far / (top / 20.0)) ** (i / 160) for i in range(161)] if decades else loads
    frictions = [most_friction * i / 120 for i in range(121)]
    marks = [("usual" if one.loads.jack else "working", one.loads.working), ("most" if one.loads.jack else "full relief lift", one.loads.highest)]
    if one.loads.proof is not None:
        marks.append(("proof test", one.loads.proof))
    slip = values.head("most", "least", "least", "most")
    return HeadCurves(
        one.name, window_map(one, over, frictions), (values.friction.low, values.friction.nominal, values.friction.high),
        (tan(values.contact_angle.low), steepest), tuple(marks), tried_at(pad, one.name), tuple(loads),
        tuple(one.hardest.hold_force(x) for x in loads), tuple(slip.hold_force(x) for x in loads),
        tuple(one.hardest.pull_force(x) for x in loads), one.pull, decades,
    )  # fmt: skip


def pressure_curves(pad: Pad) -> tuple[PressureCurves, ...]:
    """Fill, hold and vent of every volume that is filled and vented."""
    return tuple(_pressure(pad, v) for v in levels(pad).values() if v.stages and v.fills and v.vents)


def _pressure(pad: Pad, level: Levels) -> PressureCurves:
    nominal, parts = _story(pad, level, "nominal")
    slow, _ = _story(pad, level, "least")
    marks = [("rated", level.rated), ("working", level.working)]
    if level.trip is not None:
        marks.append((f"trip {level.trip.condition}", level.trip.limit))
    marks += [(r.name, r.opens_at.nominal) for r in level.reliefs]
    return PressureCurves(level.volume, nominal, slow, parts, tuple(marks))


def _story(pad: Pad, level: Levels, end: Literal["nominal", "least"]) -> tuple[Curve, tuple[tuple[str, float, float], ...]]:
    """Fill through the stages that lead to working, hold while it cools, vent."""
    volume = level.gas(pad) if end == "nominal" else level.dry
    kelvin = resolve.air_temperature(pad).nominal
    fill, vent = level.fills[0], next((v for v in level.vents if v.opened_by in pad.outputs), level.vents[0])
    feed = resolve.supply(pad, fill.source)
    outlet = (feed.nominal if end == "nominal" else feed.least) + ATMOSPHERE
    last = max(level.stages, key=lambda s: s.target)
    chain = [last]
    while chain[0].start > 0.0 and (before := next((s for s in level.stages if s.target == chain[0].start), None)):
        chain.insert(0, before)
    points: list[tuple[float, float]] = [(0.0, 0.0)]
    parts: list[tuple[str, float, float]] = []
    now = 0.0
    for stage in chain:
        now += stage.pause
        points.append((now, stage.start))
        begun = now
        for i in range(1, 61):
            gauge = stage.start + (stage.target - stage.start) * i / 60
            path = fill.nominal if end == "nominal" else fill.least
            took = vessel.fill_time(volume, path, outlet, stage.start + ATMOSPHERE, gauge + ATMOSPHERE, kelvin)
            if took == float("inf"):
                break
            points.append((begun + took, gauge))
        now = points[-1][0]
    parts.append(("fill", 0.0, now))
    gas, wall, tau = after_fill(pad, level, last, "nominal" if end == "nominal" else "most")
    top = points[-1][1]
    for i in range(1, 61):
        t = HOLD * i / 60
        points.append((now + t, (top + ATMOSPHERE) * cools_to(gas, wall, t, tau) / gas - ATMOSPHERE))
    parts.append(("hold, cooling", now, now + HOLD))
    now += HOLD
    begun, start = now, points[-1][1]
    path = vent.nominal if end == "nominal" else vent.least
    for i in range(1, 101):
        gauge = start * (1.0 - i / 100) ** 2
        points.append((begun + vessel.vent_time(volume, path, start + ATMOSPHERE, max(gauge, 100.0) + ATMOSPHERE, temperature=kelvin), gauge))
    parts.append(("vent", now, points[-1][0]))
    return tuple(points), tuple(parts)
