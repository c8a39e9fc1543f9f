"""Worst reaction of every trip and every cause-effect rule, by its parts, against the time there is."""

from __future__ import annotations

from dataclasses import dataclass

from sequencer.description import terms as t
from sequencer.description.box import ContactInput, LampOutput, ServoOutput
from sequencer.description.grounds import PadPart
from sequencer.description.pad import Pad
from sequencer.description.sequence import Reaction as ReactionRule
from sequencer.site.reaction import actuator, link_latency, message_period, sensor_lag
from sequencer.sizing.filling import fastest_rate
from sequencer.sizing.levels import Levels, accuracy_of, behind, names_in, thresholds
from sequencer.sizing.sheet import Line, Section, ratio, shown

PARTS = "sensor + filter + delay + 2 scans + actuator [common practice]"
HALF = "response <= half the process safety time [common practice, after IEC 61511 terms]"


@dataclass(frozen=True)
class Delay:
    """What a condition's truth waits for, s: the sensor or link, the filter, the condition's own delays."""

    sensor: float
    filter: float
    delay: float
    assumed: tuple[str, ...] = ()

    @property
    def total(self) -> float:
        return self.sensor + self.filter + self.delay


def delay_of(pad: Pad, name: str, becomes: bool = True) -> Delay:
    """Longest wait from the world to the bit of a condition that becomes true (or false): what it must have stood for
    delays the one, what it lingers for the other."""
    condition = pad.conditions[name]
    term, scan = condition.term, pad.scan.si
    waits = condition.held if becomes else condition.lingers
    held = waits.si if waits is not None else 0.0
    if isinstance(term, t.ContactIs | t.Becomes):
        part = pad.inputs[term.input]
        assert isinstance(part, ContactInput)
        link, keys = _link(pad, term.input)
        return Delay(link, pad.scans(part.steady_for.si) * scan, held, keys)
    if isinstance(term, t.HeardWithin):
        return Delay(0.0, 0.0, term.within.si + held)
    if isinstance(term, t.Changes):
        return _plus(_analog(pad, term.reading), term.over.si + held)
    if isinstance(term, t.AtLeast | t.Below | t.ReadingValid | t.ReachesTarget):
        return _plus(_analog(pad, term.reading), held)
    if isinstance(term, t.Differs):
        return _plus(max((_analog(pad, r) for r in (term.first, term.second)), key=lambda d: d.total), held)
    if isinstance(term, t.Combination | t.Memory):
        inner = term.expression if isinstance(term, t.Combination) else term.set if becomes else term.clear
        flips = becomes or isinstance(term, t.Memory)  # a combination becomes false by one of its own
        below = [delay_of(pad, n, wanted == flips) for n, wanted in sorted(literals(inner)) if n in pad.conditions] if inner is not None else []
        return _plus(max(below, key=lambda d: d.total, default=Delay(0.0, 0.0, 0.0)), held)
    return Delay(0.0, 0.0, held)


def literals(expression: t.Expression) -> set[tuple[str, bool]]:
    """The conditions of an expression, each with the value at which it counts."""
    return {(leaf.name, wanted) for way in t.alternatives(expression) for leaf, wanted in way.items() if isinstance(leaf, t.Name)}


def _plus(delay: Delay, more: float) -> Delay:
    return Delay(delay.sensor, delay.filter, delay.delay + more, delay.assumed)


def _analog(pad: Pad, reading: str) -> Delay:
    lag, keys = sensor_lag(pad, reading)
    return Delay(lag.high, 0.0, 0.0, keys)


def _link(pad: Pad, name: str) -> tuple[float, tuple[str, ...]]:
    """What an input waits for on the link that carries it (0 when wired): one message period and the latency."""
    latency, keys = link_latency(pad, name)
    return 0.0 if latency is None else message_period(pad, name) + latency.high, keys


def reaction_section(pad: Pad, volumes: dict[str, Levels]) -> Section:
    """One line per trip, one per cause-effect rule."""
    lines = [line for name in pad.trips for line in _trip(pad, name, volumes)]
    lines += [_rule(pad, name, rule) for name, rule in pad.interlocks.items() if isinstance(rule, ReactionRule)]
    return Section("Reaction of trips", "Event to actuator's end: sensor or link + filter + delay + 2 scans + actuator.", tuple(lines))


def _moved(pad: Pad, go_to: str) -> list[str]:
    """Outputs other than lamps that the trip's state may have to move."""
    return [o for o, part in pad.outputs.items() if not isinstance(part, LampOutput | ServoOutput)
            and any(pad.commanded(s, o) != pad.commanded(go_to, o) for s in pad.states)]  # fmt: skip


def _trip(pad: Pad, name: str, volumes: dict[str, Levels]) -> list[Line]:
    trip = pad.trips[name]
    outputs = [actuator(pad, o) for o in _moved(pad, trip.go_to)] or [(0.0, ())]
    move, keys = max(outputs)
    found = []
    signs = literals(trip.once.expression)
    for cause in sorted(names_in(trip.once.expression), key=list(pad.conditions).index):
        delay = max((delay_of(pad, name, wanted) for name, wanted in signs if name == cause), key=lambda d: d.total)
        total = delay.total + 2.0 * pad.scan.si + move
        time, against = _time_there_is(pad, cause, volumes)
        parts = f"{delay.sensor * 1000:.0f} + {delay.filter * 1000:.0f} + {delay.delay * 1000:.0f} + {2 * pad.scan_ms} + {move * 1000:.0f} ms"
        margin = None if time is None else ratio(time, 2.0 * total)
        found.append(Line(f"trip {name}: {cause}", total, "s" if total >= 1.0 else "ms", PARTS + "; " + HALF if time is not None else PARTS, margin=margin, limit=1.5,
                          against=f"{against}, halved" if time is not None else "", assumed=tuple(sorted({*delay.assumed, *keys})),
                          note=parts,
                          place=pad.place("trips", name, "once")))  # fmt: skip
    return found


def _time_there_is(pad: Pad, cause: str, volumes: dict[str, Levels]) -> tuple[float | None, str]:
    """Process safety time of one cause: pressure from its trip to the rating, or a walk from the gate."""
    below = behind(pad, cause)
    for limit in thresholds(pad):
        if limit.condition in below and limit.at_least:
            for level in volumes.values():
                if limit.reading in level.readings and limit.limit > level.working:
                    room = level.rated - limit.limit - accuracy_of(pad, limit.reading)
                    times = []
                    for failed in (False, True):
                        rate = fastest_rate(pad, level, limit.limit, failed=failed)
                        times.append(float("inf") if rate <= 0.0 else max(0.0, room) / rate)
                    bare = f" ({shown(times[1], 's')} with the regulator failed open)" if times[1] < times[0] else ""
                    return times[0], f"{shown(times[0], 's')} to the rating{bare}"
    gates = {part.gate: part.walk.si for part in pad.parts(PadPart).values() if part.gate}
    for one in below:
        term = pad.conditions[one].term if one in pad.conditions else None
        if isinstance(term, t.ContactIs) and term.input in gates:
            return gates[term.input], f"{gates[term.input]:g} s walk from gate to vehicle"
    return None, ""


def _rule(pad: Pad, name: str, rule: ReactionRule) -> Line:
    """Quickest way from the cause's switch to each effect's output, the slowest effect of all."""
    causes = [leaf.input for leaf in t.leaves(rule.cause.expression) if isinstance(leaf, t.SwitchIs)]
    worst, command, keys, parts = 0.0, 0.0, set[str](), ""
    for leaf in t.leaves(rule.effect.expression):
        if not isinstance(leaf, t.CommandedTo) or leaf.output not in pad.outputs:
            continue
        ways = [delay_of(pad, c, wanted) for c, wanted in _acting(pad, causes, leaf.output)]
        if not ways:
            return Line(f"{name}", None, "ms", PARTS, words="not worked out", place=pad.place("interlocks", name),
                        note="no trip or inhibit looks at this cause directly; the proof judges it")  # fmt: skip
        best = min(ways, key=lambda d: d.total)
        move, used = actuator(pad, leaf.output)
        total = best.total + 2.0 * pad.scan.si + move
        command = max(command, best.total + 2.0 * pad.scan.si)
        if total > worst:
            worst, parts = total, f"{best.sensor * 1000:.0f} + {best.filter * 1000:.0f} + {best.delay * 1000:.0f} + {2 * pad.scan_ms} + {move * 1000:.0f} ms"
        keys |= {*used, *best.assumed}
    if not parts:
        return Line(f"{name}", None, "ms", PARTS, words="not worked out", note="its effect is no output of the box; the proof judges it",
                    place=pad.place("interlocks", name))  # fmt: skip
    late = "" if worst <= rule.within.si else f"the part itself may arrive after {rule.within.text}; only the command is in time"
    return Line(f"{name}", command, "ms", PARTS, worst, "actuator at its end", ratio(rule.within.si, command), 1.2,
                f"commanded within {rule.within.text}", note=parts, warning=late if command <= rule.within.si else "", assumed=tuple(sorted(keys)), place=pad.place("interlocks", name, "within"))  # fmt: skip


def _acting(pad: Pad, inputs: list[str], output: str) -> list[tuple[str, bool]]:
    """Conditions of trips, and of this output's inhibits, that look at one of these inputs without a partner; each with
    the value at which it acts."""
    looks = [n for n, c in pad.conditions.items() if isinstance(c.term, t.ContactIs) and c.term.input in inputs]
    used = {n for trip in pad.trips.values() for way in t.alternatives(trip.once.expression) if len(way) == 1 for n in _literal(way)}
    for key, inhibit in pad.inhibits.items():
        if key.startswith(f"{output} stays "):
            used |= {n for way in t.alternatives(inhibit.once.expression) if len(way) == 1 for n in _literal(way)}
    return [one for one in sorted(used) if one[0] in looks]


def _literal(way: dict[t.Expression, bool]) -> list[tuple[str, bool]]:
    return [(leaf.name, wanted) for leaf, wanted in way.items() if isinstance(leaf, t.Name)]
