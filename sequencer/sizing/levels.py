"""What a volume is filled to, from where, by which states, and what senses and limits it: read off the file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput
from sequencer.description.grounds import LinePart, ReliefPart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.quantities import Quantity, to_gauge
from sequencer.site import flow, hoses, resolve


def point(pad: Pad, quantity: Quantity) -> float:
    """A point quantity in SI, pressures gauge."""
    return to_gauge(quantity, pad.pressures) if quantity.kind == "pressure" else quantity.si


@dataclass(frozen=True)
class Threshold:
    """One comparison of a condition: reading against a limit in SI (point pressures gauge)."""

    condition: str
    reading: str
    at_least: bool
    limit: float
    until: float | None


@dataclass(frozen=True)
class Stage:
    """One state that fills a volume: from what, to what (gauge Pa), after how long a pause, within what time."""

    state: str
    start: float
    target: float
    pause: float
    timeout: float | None


@dataclass(frozen=True)
class Levels:
    """One volume: its fill and vent lines, sensors, working pressure, and the limits above it (gauge Pa)."""

    volume: str
    part: VolumePart
    hoses: tuple[hoses.Hose, ...]
    fills: tuple[resolve.ResolvedLine, ...]
    vents: tuple[resolve.ResolvedLine, ...]
    readings: tuple[str, ...]
    working: float
    working_from: str
    stages: tuple[Stage, ...]
    trip: Threshold | None
    vented: float
    vented_from: str
    reliefs: tuple[resolve.ResolvedRelief, ...]

    def gas(self, pad: Pad) -> float:
        """Room for gas with the water in, m3."""
        return resolve.gas_volume(pad, self.volume)

    @property
    def dry(self) -> float:
        """The whole volume without water, with the hoses that begin or end at it, m3."""
        return self.part.volume.si + sum(hose.room for hose in self.hoses)

    @property
    def rated(self) -> float:
        return self.part.rated.si

    @property
    def highest(self) -> float:
        """The highest pressure to reckon with, gauge Pa: full lift of the relief (its high end + 10 %), else the rating."""
        if self.reliefs:
            return max(1.1 * r.opens_at.high for r in self.reliefs)
        return max(self.rated, self.working)


def accuracy_of(pad: Pad, reading: str) -> float:
    """Largest error of a reading, SI; 0 for an input that is no reading."""
    part = pad.inputs[reading]
    return part.accuracy.si if isinstance(part, AnalogInput) else 0.0


def is_open(pad: Pad, state: str, line: LinePart) -> bool:
    """Whether a driven or always-open line is open by the state's command (hand valves: no)."""
    if line.opened_by in pad.outputs:
        return pad.commanded(state, line.opened_by) == "open"
    return line.opened_by != "hand"


def thresholds(pad: Pad) -> list[Threshold]:
    """Every 'at least' and 'below' of the conditions, in file order."""
    found = []
    for name, condition in pad.conditions.items():
        term = condition.term
        if isinstance(term, t.AtLeast | t.Below):
            until = None if term.until is None else point(pad, term.until)
            found.append(Threshold(name, term.reading, isinstance(term, t.AtLeast), point(pad, term.limit), until))
    return found


def names_in(expression: t.Expression) -> set[str]:
    """Condition names an expression uses."""
    return {leaf.name for leaf in t.leaves(expression) if isinstance(leaf, t.Name)}


def behind(pad: Pad, name: str) -> set[str]:
    """A condition and all conditions it is made from."""
    seen: set[str] = set()
    todo = [name]
    while todo:
        one = todo.pop()
        if one in seen or one not in pad.conditions:
            continue
        seen.add(one)
        term = pad.conditions[one].term
        if isinstance(term, t.Combination):
            todo.extend(names_in(term.expression))
        elif isinstance(term, t.Memory):
            todo.extend(names_in(term.set) | (names_in(term.clear) if term.clear else set()))
        elif isinstance(term, t.Changes):
            todo.append(term.since)
    return seen


def trip_conditions(pad: Pad) -> set[str]:
    """Every condition that some trip leans on."""
    return {n for trip in pad.trips.values() for name in names_in(trip.once.expression) for n in behind(pad, name)}


def levels(pad: Pad) -> dict[str, Levels]:
    """Every volume of the site, in file order."""
    return {name: _levels(pad, name, part) for name, part in pad.parts(VolumePart).items()}


def ways(pad: Pad, volume: str, towards: Literal["in", "out"]) -> list[tuple[str, ...]]:
    """Lines by which a volume is fed from a supply ("in") or reaches the air ("out"), upstream first.

    Where no line does so alone, the shortest ways through other volumes; gas goes back through a line without a check
    valve.
    """
    lines, supplies = pad.parts(LinePart), pad.parts(SupplyPart)

    def steps(at: str) -> Iterator[tuple[str, str]]:
        for name, part in lines.items():
            here, far = (part.line.end, part.line.origin) if towards == "in" else (part.line.origin, part.line.end)
            if here == at:
                yield name, far
            elif far == at and not part.one_way and here in pad.parts(VolumePart):
                yield name, here

    todo: list[tuple[str, tuple[str, ...]]] = [(volume, ())]
    seen = {volume}
    while todo:
        reached = [(far, (*chain, name)) for at, chain in todo for name, far in steps(at)]
        found = [chain for far, chain in reached if (far in supplies if towards == "in" else far == "air")]
        if found:
            return [chain[::-1] if towards == "in" else chain for chain in found]
        todo = [(far, chain) for far, chain in reached if far in pad.parts(VolumePart) and far not in seen]
        seen |= {far for far, _ in todo}
    return []


def joined(pad: Pad, chain: tuple[str, ...]) -> resolve.ResolvedLine:
    """Lines one behind the other as one (ISO 6358 series, volumes between them not counted); named after the last
    valve that the box drives, or the first line."""
    parts = [resolve.line(pad, name) for name in chain]
    if len(parts) == 1:
        return parts[0]
    lead = next((p for p in reversed(parts) if p.opened_by in pad.outputs), parts[0])
    slowest = max(parts, key=lambda p: p.stroke.high)
    return replace(
        lead, source=parts[0].source, target=parts[-1].target,
        least=flow.series([p.least for p in parts]), nominal=flow.series([p.nominal for p in parts]),
        most=flow.series([p.most for p in parts]), hose_volume=sum(p.hose_volume for p in parts), stroke=slowest.stroke,
        cracks_at=max((p.cracks_at for p in parts), key=lambda s: s.high), needs=max((p.needs for p in parts), key=lambda s: s.high),
        assumed=tuple(dict.fromkeys(k for p in parts for k in p.assumed)),
    )  # fmt: skip


def _levels(pad: Pad, name: str, part: VolumePart) -> Levels:
    readings = tuple(n for n, i in pad.inputs.items() if isinstance(i, AnalogInput) and i.reads == name)
    fills = tuple(joined(pad, chain) for chain in ways(pad, name, "in"))
    vents = tuple(joined(pad, chain) for chain in ways(pad, name, "out"))
    limits = [one for one in thresholds(pad) if one.reading in readings]
    stages = _stages(pad, name, readings, limits)
    working, origin = max(((s.target, f"target in {s.state}") for s in stages), default=(0.0, ""))
    if not stages:
        outlets = [(resolve.supply(pad, f.source).nominal, f"outlet of {f.source}") for f in fills]
        working, origin = max(outlets, default=(part.rated.si, "its rating"))
    in_trips = trip_conditions(pad)
    above = [
        x for x in limits if x.at_least and x.condition in in_trips and x.limit > 0.7 * working
        and (x.limit > working or pad.conditions[x.condition].held is None)
    ]  # fmt: skip
    below = [x for x in limits if not x.at_least and x.limit > 0.0]
    low = min(below, key=lambda x: x.limit, default=None)
    return Levels(
        name, part, hoses.around(pad, name), fills, vents, readings, working, origin, tuple(stages), min(above, key=lambda x: x.limit, default=None),
        low.limit if low else 10_000.0, low.condition if low else "0.1 bar, no condition says empty",
        tuple(resolve.relief(pad, n) for n, p in pad.parts(ReliefPart).items() if p.relief == name),
    )  # fmt: skip


def _stages(pad: Pad, volume: str, readings: tuple[str, ...], limits: list[Threshold]) -> list[Stage]:
    fills = [[pad.site[n] for n in chain] for chain in ways(pad, volume, "in")]
    found: list[Stage] = []
    for state, spec in pad.states.items():
        if not any(all(isinstance(p, LinePart) and is_open(pad, state, p) for p in chain) for chain in fills):
            continue
        targets = [point(pad, q) for r, q in spec.targets.items() if r in readings]
        if not targets:
            used = {n for leave in spec.leave if leave.once for n in names_in(leave.once.expression)}
            reached = {n for name in used for n in behind(pad, name)}
            targets = [x.limit for x in limits if x.at_least and x.condition in reached]
        if not targets:
            continue
        target = max(targets)
        start, pause = 0.0, 0.0
        for before in found:
            waited = _shut_in_wait(pad, volume, before.state, state)
            if waited is not None and before.target < target:
                start, pause = before.target, waited
        late = [leave.at_latest.si for leave in spec.leave if leave.at_latest is not None]
        found.append(Stage(state, start, target, pause, min(late, default=None)))
    return found


def _shut_in_wait(pad: Pad, volume: str, origin: str, end: str) -> float | None:
    """Least time in the states between two fill states when the volume stays shut in; None: no such way."""
    lines = [p for p in pad.parts(LinePart).values() if p.line.origin == volume]
    best: dict[str, float] = {origin: 0.0}
    todo = [origin]
    while todo:
        state = todo.pop()
        for leave in pad.states[state].leave:
            least = leave.not_before or (leave.at_latest if leave.once is None else None)
            time = best[state] + (least.si if least is not None and state != origin else 0.0)
            to = leave.go_to
            shut_in = to == end or not any(is_open(pad, to, p) for p in lines)
            if shut_in and time < best.get(to, float("inf")):
                best[to] = time
                if to != end:
                    todo.append(to)
    return best.get(end)


def settle_before(pad: Pad, state: str) -> float:
    """Time for which the states just before `state` have certainly lasted without filling, s (leak watch)."""
    total, at, seen = 0.0, state, {state}
    while True:
        ways = [(n, leave) for n, s in pad.states.items() for leave in s.leave if leave.go_to == at and n not in seen]
        if len(ways) != 1:
            return total
        name, leave = ways[0]
        if any(is_open(pad, name, p) for p in pad.parts(LinePart).values() if p.line.origin in pad.parts(SupplyPart)):
            return total
        least = leave.not_before or (leave.at_latest if leave.once is None else None)
        total += least.si if least is not None else 0.0
        at = name
        seen.add(name)


def people_states(pad: Pad) -> Iterator[str]:
    """States that allow people on the pad."""
    return (name for name, state in pad.states.items() if state.people == "allowed")
