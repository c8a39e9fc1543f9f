"""What one count is worth at each threshold, false trips of the link, spans, and the waits of the cards."""

from __future__ import annotations

import math

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, HeartbeatInput, ServoOutput
from sequencer.description.pad import Pad
from sequencer.quantities import show
from sequencer.site.assumed import given_or_assumed
from sequencer.sizing.levels import Levels, point, thresholds
from sequencer.sizing.sheet import Line, Section, ratio


def false_trips_per_hour(loss: float, in_a_row: int, period: float) -> float:
    """Rate, per hour, of runs of `in_a_row` lost messages: (1 - p) p^n messages open such a run.

    `loss` is the share lost at random and independently, `period` in s. 5 %, 100 ms: 3 in a row 4.28/h, 5 0.0107/h.
    """
    return 3600.0 / period * (1.0 - loss) * loss**in_a_row


def missed_before_lost(pad: Pad, within: float, period: float) -> int:
    """How many messages in a row must be missed before 'heard within' fails: those due by then, one scan of grace lost."""
    return max(1, math.ceil(round((within - 0.5 * pad.scan.si) / period, 9)))


def sensing_section(pad: Pad, volumes: dict[str, Levels]) -> Section:
    """Resolution per threshold, span per sensor, heartbeat, waits."""
    lines = [*_resolution(pad), *_spans(pad, volumes), *_hearts(pad), *_waits(pad, volumes)]
    return Section("Sensors, link, waiting", "A threshold finer than the sensor's error says nothing.", tuple(lines))


def _unit(part: AnalogInput) -> str:
    return next(iter(part.points.values())).unit


def per_count(pad: Pad, part: AnalogInput) -> float:
    """Size of one count, SI."""
    (c1, q1), (c2, q2) = part.points.items()
    return abs((point(pad, q2) - point(pad, q1)) / (int(c2) - int(c1)))


def _resolution(pad: Pad) -> list[Line]:
    found = []
    for one in thresholds(pad):
        part = pad.inputs[one.reading]
        assert isinstance(part, AnalogInput)
        count, error = per_count(pad, part), part.accuracy.si
        unit = _unit(part)
        margin = ratio(abs(one.limit), error)
        found.append(Line(one.condition, count, unit, "slope of the two calibration points; error = its accuracy", error,
                          f"error at {show(one.limit, unit)}", margin, 2.0, "the limit is at least twice the sensor's error from zero",
                          brief=margin >= 2.0, place=pad.place("conditions", one.condition)))  # fmt: skip
    for name, condition in pad.conditions.items():
        term = condition.term
        if isinstance(term, t.Changes | t.Differs):
            reading = term.reading if isinstance(term, t.Changes) else term.first
            part = pad.inputs[reading]
            assert isinstance(part, AnalogInput)
            noise = 0.25 * part.accuracy.si if part.noise is None else part.noise.si
            need = 2.0 * part.accuracy.si if isinstance(term, t.Differs) else 2.0 * per_count(pad, part) + 3.0 * math.sqrt(2.0) * noise
            what = "two errors" if isinstance(term, t.Differs) else "two counts and three sigma of noise"
            found.append(Line(name, term.limit.si, _unit(part), "two sensors may differ by both errors" if isinstance(term, t.Differs)
                              else "a change of one sensor: its offset cancels", need, what, ratio(term.limit.si, need), 1.5, f"beyond {what}",
                              () if part.noise else ("analog.noise_ratio",), place=pad.place("conditions", name)))  # fmt: skip
    return found


def _spans(pad: Pad, volumes: dict[str, Levels]) -> list[Line]:
    found = []
    for level in volumes.values():
        for reading in level.readings:
            part = pad.inputs[reading]
            assert isinstance(part, AnalogInput)
            (c1, q1), (c2, q2) = part.points.items()
            slope = (point(pad, q2) - point(pad, q1)) / (int(c2) - int(c1))
            ends = [point(pad, q1) + slope * (c - int(c1)) for c in (part.valid.low, part.valid.high)]
            found.append(Line(f"{reading}: reads up to", max(ends), _unit(part), "top of the valid band", level.highest, "highest pressure of the volume",
                              ratio(max(ends), level.highest), 1.05, "the band covers full relief lift", brief=True, place=pad.place("inputs", reading, "valid")))  # fmt: skip
    return found


def _hearts(pad: Pad) -> list[Line]:
    found = []
    for name, condition in pad.conditions.items():
        term = condition.term
        if not isinstance(term, t.HeardWithin):
            continue
        part = pad.inputs[term.link]
        assert isinstance(part, HeartbeatInput)
        loss = given_or_assumed(part.loss, "heartbeat.loss")
        runs = missed_before_lost(pad, term.within.si, part.heartbeat.si)
        rate, worst = (false_trips_per_hour(x, runs, part.heartbeat.si) for x in (loss.nominal, loss.high))
        found.append(Line(f"{name}: false trips", rate / 3600.0, "per h", "n in a row lost at random: (1 - p) p^n per message", worst / 3600.0,
                          f"{loss.high:.0%} lost, {runs} in a row", ratio(1.0, worst), 1.5, "less than one false trip an hour",
                          () if part.loss else ("heartbeat.loss",), place=pad.place("conditions", name)))  # fmt: skip
    return found


MISFIRE = "60 s after the last try [model-rocket code, seen]; vent + 60 s [common practice]"


def _after_a_try(pad: Pad) -> set[str]:
    """States in which a release has certainly been tried: those that move a servo, and those entered from such alone."""
    servos = {n: o for n, o in pad.outputs.items() if isinstance(o, ServoOutput)}
    tried = {s for s in pad.states if any(pad.commanded(s, n) != next(iter(o.servo)) for n, o in servos.items())}
    entered: dict[str, set[str]] = {name: set() for name in pad.states}
    for name, state in pad.states.items():
        for leave in state.leave:
            entered[leave.go_to].add(name)
        for trip in pad.trips.values():
            if name not in trip.everywhere_but:
                entered[trip.go_to].add(name)
    while more := {s for s, origins in entered.items() if s not in tried and origins and origins <= tried | {s}}:
        tried |= more
    return tried - {pad.first_state}


def _waits(pad: Pad, volumes: dict[str, Levels]) -> list[Line]:
    from sequencer.sizing.venting import vent_times

    longest = max((vent_times(pad, level, vent)[1] for level in volumes.values() for vent in level.vents
                   if vent.opened_by in pad.outputs), default=0.0)  # fmt: skip
    if not volumes:
        return []  # the waits are about gas
    tried = _after_a_try(pad)
    found = []
    for name, card in pad.cards.items():
        if card.wait is not None:
            misfire = bool(tried & set(card.states))
            least = max(60.0, longest + 60.0) if misfire else longest
            found.append(Line(f"card {name}: wait", card.wait.si, "s", MISFIRE if misfire else "longer than the slowest vent [common practice]",
                              least, "60 s beyond the slowest vent" if misfire else "the slowest vent", ratio(card.wait.si, least), 1.0, "the wait outlasts it",
                              place=pad.place("cards", name, "wait")))  # fmt: skip
    return found
