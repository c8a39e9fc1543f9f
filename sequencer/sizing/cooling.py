"""Gas warmed by filling cools and its pressure sinks without any leak; and a leak can hide below a limit.

Closed form for a vessel filled at a constant inflow q (kg/s) from gas at T_s, exchanging G (W/K) with a wall at T_w:
m c_v dT/dt = q c_p T_s - q c_v T - G (T - T_w), so with g = G/(q c_v) and T* = (gamma T_s + g T_w)/(1 + g)
T = T* + (T_0 - T*) (m_0/m)^(1 + g). With G = 0 this is the adiabatic fill; derivation ours, ends checked against it.
"""

from __future__ import annotations

import math

from sequencer.description import terms as t
from sequencer.description.grounds import LinePart
from sequencer.description.pad import Pad
from sequencer.quantities import ATMOSPHERE, show
from sequencer.site import flow, resolve
from sequencer.site.assumed import assumed
from sequencer.sizing.filling import fastest_rate
from sequencer.sizing.levels import (
    Levels,
    Stage,
    Threshold,
    accuracy_of,
    behind,
    is_open,
    names_in,
    settle_before,
    thresholds,
)
from sequencer.sizing.sheet import Line, Section, ratio

COOL = "fill with wall exchange, closed form; then p ~ T to the wall's temperature"
THERMAL = ("volume.cooling_time",)


def warm_fill(
    volume: float, p_from: float, t_from: float, p_to: float, inflow: float, exchange: float, t_supply: float, t_wall: float
) -> float:
    """Gas temperature (K) when a vessel of `volume` (m3) reaches `p_to` from `p_from` (abs Pa) at `t_from` (K), filled
    at a constant `inflow` (kg/s) with `exchange` (W/K) to a wall at `t_wall`. The module's text has the formula."""
    g = exchange / (inflow * flow.CV_AIR)
    star = (flow.GAMMA * t_supply + g * t_wall) / (1.0 + g)
    first = p_from * volume / (flow.R_AIR * t_from)

    def temperature(mass: float) -> float:
        return float(star + (t_from - star) * (first / mass) ** (1.0 + g))

    low, high = first, p_to * volume / (flow.R_AIR * min(t_wall, t_supply, t_from)) * 1.001
    for _ in range(60):
        middle = 0.5 * (low + high)
        if middle * flow.R_AIR * temperature(middle) / volume < p_to:
            low = middle
        else:
            high = middle
    return temperature(0.5 * (low + high))


def cools_to(t_gas: float, t_wall: float, seconds: float, tau: float) -> float:
    """Temperature of shut-in gas after `seconds` beside a wall at `t_wall`, time constant `tau` s."""
    return t_wall + (t_gas - t_wall) * math.exp(-seconds / tau)


def after_fill(pad: Pad, level: Levels, stage: Stage, end: resolve.End) -> tuple[float, float, float]:
    """(gas temperature, wall temperature, time constant) when `stage` reaches its target; "most" is the warmest: the
    quickest fill and the slowest cooling. The stages before it, with their pauses, are followed."""
    wall = resolve.air_temperature(pad).nominal
    gas = wall
    for one in level.stages:
        if one.target > stage.target or (one is not stage and not _leads(one, stage, level)):
            continue
        if one.start > 0.0:
            before = _tau(pad, level, one.start, end)
            gas = cools_to(gas, wall, one.pause, before)
        else:
            gas = wall
        rate = _rate(pad, level, one, end)
        if rate <= 0.0:
            return wall, wall, _tau(pad, level, one.target, end)
        inflow = rate * level.gas(pad) / (flow.R_AIR * wall)
        exchange = resolve.wall_exchange(pad, level.volume, level.working, "least" if end == "most" else "nominal")
        gas = warm_fill(level.gas(pad), one.start + ATMOSPHERE, gas, one.target + ATMOSPHERE, inflow, exchange, wall, wall)
        if one is stage:
            break
    return gas, wall, _tau(pad, level, stage.target, end)


def _leads(one: Stage, stage: Stage, level: Levels) -> bool:
    """Whether `one` fills up to where `stage` (or a stage that leads to it) starts."""
    by_target = {s.target: s for s in level.stages}
    at = stage
    while at.start > 0.0 and at.start in by_target:
        at = by_target[at.start]
        if at is one:
            return True
    return False


def _rate(pad: Pad, level: Levels, stage: Stage, end: resolve.End) -> float:
    """Isothermal pressure rate that stands for the stage, Pa/s (mean of start and target)."""
    if end == "most":
        ends = (fastest_rate(pad, level, stage.start), fastest_rate(pad, level, stage.target))
        return sum(ends) / 2.0 / flow.GAMMA
    total = 0.0
    for gauge in (stage.start, stage.target):
        for fill in level.fills:
            outlet = resolve.supply(pad, fill.source).nominal + ATMOSPHERE
            q = flow.flow_and_slopes(outlet, gauge + ATMOSPHERE, flow.T0, fill.nominal.C, fill.nominal.b)[0] if outlet > gauge + ATMOSPHERE else 0.0
            total += 0.5 * q * flow.R_AIR * flow.T0 / level.gas(pad)
    return total


def _tau(pad: Pad, level: Levels, gauge: float, end: resolve.End) -> float:
    """Cooling time constant of shut-in gas at `gauge`, s: it grows with the mass of gas."""
    span = assumed("volume.cooling_time")
    tau = span.high if end == "most" else span.low if end == "least" else span.nominal
    return tau * (gauge + ATMOSPHERE) / (level.working + ATMOSPHERE)


def sag(pad: Pad, level: Levels, stage: Stage, end: resolve.End) -> float:
    """Fall of pressure from the end of a stage to gas at the wall's temperature, Pa."""
    gas, wall, _ = after_fill(pad, level, stage, end)
    return (stage.target + ATMOSPHERE) * (1.0 - wall / gas)


def cooling_section(pad: Pad, volumes: dict[str, Levels]) -> Section:
    """Sag per fill stage; thresholds that normal cooling crosses; watches it trips, and leaks they let pass."""
    lines: list[Line] = []
    for name, level in volumes.items():
        for stage in level.stages:
            lines.append(_sag_line(pad, name, level, stage))
        if level.stages:
            lines.append(_warmed(pad, name, level))
        lines += _floors(pad, name, level)
        watches = _watches(pad, name, level)
        if level.stages and not watches:
            lines.append(Line(f"{name}: leak watch", None, "bar", "'READING falls … in TIME after STATE starts'", words="none",
                              warning=f"no condition watches for a fall of {name}: any leak passes until a level is missed",
                              place=pad.place("site", name)))  # fmt: skip
        lines += watches
    return Section("Cooling and leaks", "Cooling dies away within minutes; a leak goes on.", tuple(lines))


def _sag_line(pad: Pad, name: str, level: Levels, stage: Stage) -> Line:
    gas, _, tau = after_fill(pad, level, stage, "most")
    return Line(f"{stage.state}: {name} sags by", sag(pad, level, stage, "nominal"), "bar", COOL, sag(pad, level, stage, "most"),
                f"quickest fill, gas {gas - 273.15:.0f} degC, time constant {tau:.0f} s", assumed=THERMAL)  # fmt: skip


def _warmed(pad: Pad, name: str, level: Levels) -> Line:
    """Shut in at working pressure, warmed by sun or air: p ~ T; it must not reach the trip or lift the relief."""
    air, swing = resolve.air_temperature(pad).nominal, assumed("weather.swing")
    rise, worst = ((level.working + ATMOSPHERE) * k / air for k in (swing.nominal, swing.high))
    ceilings = [(r.opens_at.low, r.name) for r in level.reliefs] + [(level.rated, "the rating")]
    if level.trip is not None:
        ceilings.append((level.trip.limit - accuracy_of(pad, level.trip.reading), level.trip.condition))
    limit, what = min(ceilings)
    return Line(f"{name}: sun warms it by", rise, "bar", "shut in at working pressure, p ~ T", worst, f"{swing.high:g} K warmer", ratio(limit - level.working, worst),
                1.5, f"stays below {what}, {show(limit, 'bar')}", ("weather.swing",))  # fmt: skip


def _floors(pad: Pad, name: str, level: Levels) -> list[Line]:
    """'at least' bits that must still hold after the last stage has cooled, and 'below' bits that must not come by it."""
    if not level.stages:
        return []
    last = max(level.stages, key=lambda s: s.target)
    fall = sag(pad, level, last, "most")
    left, usual = last.target - fall, last.target - sag(pad, level, last, "nominal")
    found = []
    for one in _needed(pad, level, last):
        floor = one.until if one.until is not None and one.at_least else one.limit
        room = last.target - floor
        margin = ratio(room, fall)
        warning = (
            "normal cooling takes the pressure below it without any leak" + ("; a top-up must be limited in count" if one.at_least else ": a nuisance abort")
        ) if margin < 1.0 else ""
        found.append(Line(f"{one.condition}: after cooling", usual, "bar", COOL, left - accuracy_of(pad, one.reading), f"{name}, quickest fill, sensor low by its error",
                          ratio(room, fall + accuracy_of(pad, one.reading)), 1.5, f"stays at least {show(floor, 'bar')}", THERMAL, warning=warning,
                          place=pad.place("conditions", one.condition)))  # fmt: skip
    return found


def _needed(pad: Pad, level: Levels, last: Stage) -> list[Threshold]:
    """Conditions that a row or a trip of a state with the volume shut in and not filling leans on: 'at least' up to the
    target, and 'below' as far down as cooling can come at all (the gas of a fill is at most gamma times as warm)."""
    used: set[str] = set()
    lines = [p for p in pad.parts(LinePart).values() if level.volume in (p.line.origin, p.line.end)]
    shut_in = [state for state in pad.states if not any(is_open(pad, state, p) for p in lines)]
    asked = [leave.once for state in shut_in for leave in pad.states[state].leave if leave.once is not None]
    asked += [trip.once for trip in pad.trips.values() if shut_in]
    for once in asked:
        used |= {n for x in names_in(once.expression) for n in behind(pad, x)}
    coldest = (last.target + ATMOSPHERE) / flow.GAMMA - ATMOSPHERE
    return [x for x in thresholds(pad) if x.reading in level.readings and x.condition in used and x.limit <= last.target
            and (x.at_least or x.limit >= coldest)]  # fmt: skip


def _watches(pad: Pad, name: str, level: Levels) -> list[Line]:
    """Watches on a fall: what cooling alone makes of them, and the leak they let pass."""
    found = []
    for condition, spec in pad.conditions.items():
        term = spec.term
        if not isinstance(term, t.Changes) or term.direction != "falls" or term.reading not in level.readings:
            continue
        stage = _stage_before(pad, level, term.since)
        if stage is None:
            continue
        waited, over = settle_before(pad, term.since), term.over.si
        worst = max(_fall(pad, level, stage, waited, over, end) for end in resolve.ENDS)
        found.append(Line(f"{condition}: cooling alone", _fall(pad, level, stage, waited, over, "nominal"), "bar",
                          "fall from t to t + T of the cooling above", worst, f"watched for {over:g} s after {waited:g} s of waiting",
                          ratio(term.limit.si, worst), 2.0, f"limit {term.limit.text}; else a tight vessel fails", THERMAL,
                          place=pad.place("conditions", condition)))  # fmt: skip
        found.append(_hidden(pad, level, condition, term, stage))
    return found


def _fall(pad: Pad, level: Levels, stage: Stage, waited: float, over: float, end: resolve.End) -> float:
    gas, wall, tau = after_fill(pad, level, stage, "most" if end == "most" else "nominal")
    tau = _tau(pad, level, stage.target, end)
    return (stage.target + ATMOSPHERE) / gas * (cools_to(gas, wall, waited, tau) - cools_to(gas, wall, waited + over, tau))


def _hidden(pad: Pad, level: Levels, condition: str, term: t.Changes, stage: Stage) -> Line:
    """The greatest leak that still passes: the limit, plus what warming air makes up for, plus one count each way."""
    air, swing = resolve.air_temperature(pad).nominal, assumed("weather.swing").high
    over = term.over.si
    warms = (stage.target + ATMOSPHERE) * swing / air * over / 3600.0
    passes = (term.limit.si + warms) / over
    hold = max((x.at_latest.si for s in pad.states.values() for x in s.leave if x.at_latest is not None), default=0.0)
    scale = (level.working + ATMOSPHERE) / (stage.target + ATMOSPHERE)
    return Line(f"{condition}: leak that passes", term.limit.si / over, "bar/min", "limit / time, plus warming of air and sun", passes,
                f"air warms {swing:g} K/h; {passes * level.gas(pad) * 10.0:.2g} mbar l/s", assumed=("weather.swing",),
                note=f"at working pressure {show(passes * scale * hold, 'bar')} in {hold:g} s, the longest wait")  # fmt: skip


def _stage_before(pad: Pad, level: Levels, state: str) -> Stage | None:
    """The fill stage that the watch of `state` follows: walk back along the leaves."""
    names = {s.state: s for s in level.stages}
    todo, seen = [state], {state}
    while todo:
        at = todo.pop(0)
        if at in names:
            return names[at]
        for before, spec in pad.states.items():
            if before not in seen and any(leave.go_to == at for leave in spec.leave):
                seen.add(before)
                todo.append(before)
    return None
