"""How long filling takes against the state's own time-out, and how far it runs over after the last scan."""

from __future__ import annotations

from sequencer.description.box import AnalogInput
from sequencer.description.grounds import SupplyPart
from sequencer.description.pad import Pad
from sequencer.quantities import ATMOSPHERE, show
from sequencer.site import flow, resolve, vessel
from sequencer.site.assumed import given_or_assumed
from sequencer.sizing.levels import Levels, Stage, accuracy_of
from sequencer.sizing.sheet import FLOW_KEYS, Line, Section, ratio

FILL = "ISO 6358 from a constant supply, closed form"


def stage_times(pad: Pad, level: Levels, stage: Stage) -> tuple[float, float, float]:
    """(shortest, nominal, longest) fill time of one stage, s: adiabatic dry through the best line from the highest
    outlet; isothermal nominal; isothermal wet through the worst line from the drooped outlet."""
    air = resolve.air_temperature(pad)
    best = nominal = worst = 0.0
    start, target = stage.start + ATMOSPHERE, stage.target + ATMOSPHERE
    for fill in level.fills:
        feed = resolve.supply(pad, fill.source)
        best += 1.0 / max(1e-9, vessel.fill_time(level.gas(pad), fill.most, feed.most + ATMOSPHERE, start, target, air.high, "adiabatic"))
        nominal += 1.0 / vessel.fill_time(level.gas(pad), fill.nominal, feed.nominal + ATMOSPHERE, start, target, air.nominal)
        worst += 1.0 / vessel.fill_time(level.dry, fill.least, feed.least + ATMOSPHERE, start, target, air.low)
    return _time(best), _time(nominal), _time(worst)


def _time(rate: float) -> float:
    return 1.0 / rate if rate > 0.0 else float("inf")


def fastest_rate(pad: Pad, level: Levels, gauge: float, *, failed: bool = False) -> float:
    """Greatest pressure rise at `gauge` (Pa), Pa/s: adiabatic, best lines, highest outlet (or the bare cylinder)."""
    air = resolve.air_temperature(pad)
    total = 0.0
    for fill in level.fills:
        feed = resolve.supply(pad, fill.source)
        outlet = (feed.cylinder if failed else feed.most) + ATMOSPHERE
        total += vessel.fill_rate(level.gas(pad), fill.most, outlet, gauge + ATMOSPHERE, air.high)
    return flow.GAMMA * total


def overshoot_delay(pad: Pad, level: Levels, reading: str) -> float:
    """From the pressure passing the target to the valve shut, s: sensor lag, one scan to see it, one to act, stroke."""
    part = pad.inputs[reading]
    lag = given_or_assumed(part.lag, "analog.lag").high if isinstance(part, AnalogInput) else 0.0
    stroke = max((fill.stroke.high for fill in level.fills), default=0.0)
    return lag + 2.0 * pad.scan.si + stroke


def filling_section(pad: Pad, volumes: dict[str, Levels]) -> Section:
    """Fill time per fill state and volume; overshoot per volume."""
    lines: list[Line] = []
    for name, level in volumes.items():
        keys = tuple(sorted({k for f in level.fills for k in f.assumed if k in FLOW_KEYS} | _feed_keys(pad, level)))
        for stage in level.stages:
            best, nominal, worst = stage_times(pad, level, stage)
            margin = None if stage.timeout is None else ratio(stage.timeout, worst)
            note = f"{show(stage.start, 'bar')} to {show(stage.target, 'bar')}; shortest {best:.3g} s"
            lines.append(Line(f"{stage.state}: {name}", nominal, "s", FILL, worst, "least C, drooped supply, no water, isothermal",
                              margin, 1.2, "" if stage.timeout is None else f"the state waits {stage.timeout:g} s",
                              keys, note, place=pad.place("states", stage.state, "leave")))  # fmt: skip
        if level.stages and level.readings:
            lines.append(_overshoot(pad, name, level))
        for fill in level.fills:
            lines.append(Line(f"{fill.name}: C of the whole line", fill.nominal.C, "l/s/bar", "ISO 6358 series; bore by ideal nozzle x Cd",
                              fill.least.C, f"b {fill.least.b:.2f} to {fill.most.b:.2f}", assumed=_line_keys(fill)))  # fmt: skip
    lines += [line for name, part in pad.parts(SupplyPart).items() for line in _left(pad, name, part, volumes)]
    return Section("Filling", "Worst: the slowest fill. The state's own time-out must outlast it.", tuple(lines))


def _left(pad: Pad, name: str, part: SupplyPart, volumes: dict[str, Levels]) -> list[Line]:
    """What a cylinder of known volume has left after one fill (isothermal, no water)."""
    fed = [level for level in volumes.values() if any(f.source == name for f in level.fills)]
    if part.volume is None or not fed:
        return []
    used = sum(level.part.volume.si * level.working for level in fed) / part.volume.si
    need = max([part.regulated.nominal] if part.regulated else [level.working for level in fed])
    left = part.pressure.low - used
    return [Line(f"{name}: left after one fill", part.pressure.nominal - used, "bar", "p - sum(V p_working)/V_cylinder, isothermal", left,
                 "cylinder at its low end, vessels dry", ratio(left, need), 1.05, f"still feeds {show(need, 'bar')}",
                 place=pad.place("site", name, "pressure"))]  # fmt: skip


def _line_keys(fill: resolve.ResolvedLine) -> tuple[str, ...]:
    return tuple(k for k in fill.assumed if k in FLOW_KEYS)


def _feed_keys(pad: Pad, level: Levels) -> set[str]:
    return {k for f in level.fills for k in resolve.supply(pad, f.source).assumed} - {"supply.regulator_conductance"}


def _overshoot(pad: Pad, name: str, level: Levels) -> Line:
    reading = level.readings[0]
    delay = overshoot_delay(pad, level, reading)
    over = fastest_rate(pad, level, level.working) * delay
    accuracy = accuracy_of(pad, reading)
    reaches = level.working + over + accuracy
    limit = level.trip.limit - accuracy if level.trip is not None else min([r.opens_at.low for r in level.reliefs] + [level.rated])
    what = f"{level.trip.condition} less its error" if level.trip is not None else "the relief"
    keys = ["line.stroke", "analog.lag"] + [k for f in level.fills for k in _line_keys(f)]
    return Line(f"{name}: overshoot", over, "bar", "fastest adiabatic rate x (lag + 2 scans + stroke)", reaches,
                f"reached, with the sensor low by its error; {delay * 1000:.0f} ms", ratio(limit - level.working, over + accuracy), 1.5,
                f"{what} at {show(limit, 'bar')}", tuple(sorted(set(keys))))  # fmt: skip
