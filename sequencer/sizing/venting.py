"""How long gas (and water) takes to leave, what comes back when a chilled vessel is shut, and what stays shut in."""

from __future__ import annotations

from sequencer.description.grounds import HeadPart, LinePart, VolumePart
from sequencer.description.pad import Pad
from sequencer.quantities import ATMOSPHERE, show
from sequencer.site import head, hoses, resolve, vessel
from sequencer.site.assumed import assumed
from sequencer.sizing.levels import Levels, accuracy_of, is_open, people_states
from sequencer.sizing.pockets import pockets
from sequencer.sizing.sheet import FLOW_KEYS, Line, Section, ratio

VENT = "ISO 6358 blow-down, closed form, isothermal"


def vent_times(pad: Pad, level: Levels, line: resolve.ResolvedLine) -> tuple[float, float]:
    """(nominal, longest) time from working / from the highest pressure down to 'vented', s. Water leaves first where
    the line lies below it."""
    air = resolve.air_temperature(pad)
    part = pad.site[line.name]
    assert isinstance(part, LinePart)
    stop = level.vented + ATMOSPHERE
    floor = ATMOSPHERE + max(line.needs.high, line.cracks_at.high)
    answers = []
    for path, start, kelvin, needs in (
        (line.nominal, level.working, air.nominal, ATMOSPHERE + line.needs.nominal), (line.least, level.highest, air.low, floor),
    ):  # fmt: skip
        if needs > stop:
            answers.append(float("inf"))
            continue
        first, pressure, volume, held = 0.0, start + ATMOSPHERE, level.part.volume.si, level.hoses
        if part.above_water:
            if path is line.nominal:
                volume, held = level.gas(pad), ()
        elif level.part.water is not None:
            wet, dry = assumed("water.discharge"), assumed("line.discharge")
            share = wet.nominal / dry.nominal if path is line.nominal else wet.low / dry.high
            area = path.effective_area * share
            first, pressure = vessel.water_out(level.part.volume.si, level.part.water.si, pressure, area)
        answers.append(first + (hoses.vent_time(volume, held, path, pressure, stop, kelvin) if pressure > stop else 0.0))
    return answers[0], answers[1]


def venting_section(pad: Pad, volumes: dict[str, Levels]) -> Section:
    """Vent time per line against the waits that rely on it, repressurising, residual force, trapped volumes."""
    lines: list[Line] = []
    for name, level in volumes.items():
        for vent in level.vents:
            lines.append(_vent_line(pad, name, level, vent))
        if level.vents:
            lines.append(_comes_back(pad, name, level))
        else:
            lines.append(Line(f"{name}: way to air", None, "s", "every vessel needs a way out", words="none", margin=0.0,
                              against="a line to air", place=pad.place("site", name)))  # fmt: skip
        lines += _residual(pad, name, level)
    lines += trapped(pad, volumes)
    return Section("Letting gas out, and what stays shut in", "Worst: from full relief, no water, least C, cold.", tuple(lines))


def _waits(pad: Pad, volume: str, vent: resolve.ResolvedLine) -> tuple[float, str] | None:
    """The least time this driven line is open, by the box's own waits, before any state that allows people.

    Shortest way over leaves and trips from every state in which the line is shut, and from power-up, each state on
    the way counting the least time its leave has to wait. None where no state allows people.
    """
    part = pad.site[vent.name]
    assert isinstance(part, LinePart)
    if part.opened_by not in pad.outputs:
        return None
    opened = {name for name in pad.states if is_open(pad, name, part) and open_ways(pad, name, volume)}
    allowed = set(people_states(pad)) & opened
    ways: dict[str, list[tuple[str, float]]] = {name: [] for name in pad.states}
    for name, state in pad.states.items():
        for trip in pad.trips.values():
            if name not in trip.everywhere_but:
                ways[name].append((trip.go_to, trip.not_before.si if trip.not_before else 0.0))
        for leave in state.leave:
            wait = leave.not_before or (leave.at_latest if leave.once is None else None)
            ways[name].append((leave.go_to, wait.si if wait is not None else 0.0))
    best: dict[str, tuple[float, str]] = {pad.first_state: (0.0, pad.first_state)} if pad.first_state in opened else {}
    for name in pad.states:
        if name not in opened:
            best |= {to: (0.0, to) for to, _ in ways[name] if to in opened}
    todo = list(best)
    while todo:
        at = todo.pop()
        for to, least in ways[at]:
            if at in allowed or to not in opened:
                continue
            time = best[at][0] + least
            via = best[at][1] if least <= 0.0 else f"{at} waits {least:g} s"
            if to not in best or time < best[to][0]:
                best[to] = (time, via)
                todo.append(to)
    return min((best[name] for name in allowed if name in best), default=None)


def _vent_line(pad: Pad, name: str, level: Levels, vent: resolve.ResolvedLine) -> Line:
    nominal, worst = vent_times(pad, level, vent)
    part = pad.site[vent.name]
    assert isinstance(part, LinePart)
    waits = _waits(pad, name, vent)
    margin, against = (None, "") if waits is None else (ratio(waits[0], worst), f"{waits[0]:g} s open before people: {waits[1]}")
    note = f"to {show(level.vented, 'bar')} ({level.vented_from})"
    if not part.above_water:
        note += "; water leaves first"
    warning = ""
    if worst == float("inf"):
        warning = "a valve that needs a difference to stay open never empties the vessel"
    return Line(f"{vent.name}: {name} empty in", nominal, "s", VENT, worst, "least C from the highest pressure, hoses full", margin, 2.0, against,
                tuple(k for k in vent.assumed if k in FLOW_KEYS or (k == "line.needs_difference" and vent.opened_by in pad.outputs)), note, warning=warning,
                place=pad.place("site", vent.name))  # fmt: skip


def _comes_back(pad: Pad, name: str, level: Levels) -> Line:
    air = resolve.air_temperature(pad).nominal
    start, stop = level.working + ATMOSPHERE, level.vented + ATMOSPHERE
    cold = vessel.adiabatic_temperature(start, stop, air)
    back = vessel.settled_pressure(stop, cold, air) - ATMOSPHERE
    return Line(f"{name}: back up if shut too soon", back, "bar", "adiabatic blow-down to 'vented', then p T_air/T: upper bound",
                note="keep the dump open; one look at zero is not empty")  # fmt: skip


def _residual(pad: Pad, name: str, level: Levels) -> list[Line]:
    found = []
    for head_name, part in pad.parts(HeadPart).items():
        if part.release_head == name:
            force = head.separating_force(level.vented, part.seat.nominal)
            worst = head.separating_force(level.vented + _error(pad, level), part.seat.high)
            found.append(Line(f"{head_name}: force at 'vented'", force, "kgf", "p A on the sealing diameter", worst,
                              "sensor low by its error", note="nearly zero is not zero"))  # fmt: skip
    return found


def _error(pad: Pad, level: Levels) -> float:
    return max((accuracy_of(pad, r) for r in level.readings), default=0.0)


def open_ways(pad: Pad, state: str, volume: str) -> list[str]:
    """Lines by which a volume can reach the air in a state: commanded or always open, through other volumes too."""
    lines = pad.parts(LinePart)
    reached, todo, used = {volume}, [volume], []
    while todo:
        at = todo.pop()
        for name, part in lines.items():
            if part.line.origin == at and is_open(pad, state, part):
                if part.line.end == "air":
                    used.append(name)
                elif part.line.end in pad.parts(VolumePart) and part.line.end not in reached:
                    reached.add(part.line.end)
                    todo.append(part.line.end)
            # back through an open line without a check valve
            if part.line.end == at and not part.one_way and is_open(pad, state, part):
                back = part.line.origin
                if back in pad.parts(VolumePart) and back not in reached:
                    reached.add(back)
                    todo.append(back)
    return used


def trapped(pad: Pad, volumes: dict[str, Levels]) -> list[Line]:
    """Volumes without an open way to air, per state; and pockets of hose that no vent reaches."""
    lines: list[Line] = []
    by_set: dict[tuple[str, ...], list[str]] = {}
    for state in pad.states:
        shut = tuple(name for name in volumes if not open_ways(pad, state, name))
        by_set.setdefault(shut, []).append(state)
    allowed = set(people_states(pad))
    for shut, states in by_set.items():
        if not shut:
            continue
        people = sorted(allowed & set(states))
        lines.append(Line(f"shut in: {', '.join(shut)}", float(len(states)), "", "no commanded way to air in these states",
                          words=", ".join(states), margin=0.0 if people else None,
                          against="people are allowed there" if people else "",
                          warning=f"people are allowed in {', '.join(people)}" if people else ""))  # fmt: skip
    lines += pockets(pad, volumes)
    return lines
