"""Readings and pressures: resolution, accuracy, bands, spans, references, magnitudes, relief."""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput
from sequencer.description.grounds import ReliefPart, SupplyPart, VolumePart
from sequencer.description.reading.people_and_gas import APPROACH
from sequencer.description.reading.view import View, Where
from sequencer.description.thresholds import calibration, counts, point
from sequencer.quantities import Quantity, show

ACCUMULATION = 1.1  # a full-bore relief holds a tenth above its set pressure (ASME VIII-1 UG-125, from memory)
MARGIN = 1.1
PLASTIC = (0.005, 2.0e6)  # m3 and Pa: a vessel this small for more than this is no rocket bottle


def look(view: View) -> None:
    """Every finding about readings and pressures."""
    for name, condition in view.pad.conditions.items():
        if isinstance(condition.term, t.AtLeast | t.Below):
            _compare(view, name, condition.text, condition.term)
        elif isinstance(condition.term, t.Changes | t.Differs):
            _fine(view, name, condition.text, condition.term)
    _close(view)
    _twins(view)
    _approach(view)
    _spans(view)
    _relief(view)
    _magnitude(view)


def _part(view: View, name: str) -> AnalogInput:
    part = view.pad.inputs[name]
    assert isinstance(part, AnalogInput)
    return part


def _compare(view: View, name: str, text: str, term: t.AtLeast | t.Below) -> None:
    pad, part, path = view.pad, _part(view, term.reading), ("conditions", name)
    at_least = isinstance(term, t.AtLeast)
    number, rising = counts(pad, term.reading, term.limit, at_least)
    slope, _ = calibration(pad, term.reading)
    step = show(abs(slope), term.limit.unit or "bar", 2)
    limit = point(pad, term.limit)
    if not at_least and term.limit.kind == "pressure" and limit <= 0:
        view.say(
            "never-below-air", path, f"'{term.limit.text}' is {show(limit, term.limit.unit or 'bar')} against the air outside; an open vessel never gets there",
            "a value a little above the air outside", "write it as gauge, e.g. '0.2 bar gauge'", text=text, word=term.limit.text,
        )  # fmt: skip
    elif not at_least and 0 < limit <= part.accuracy.si + abs(slope):
        view.say(
            "below-what-it-reads", path, f"'{term.limit.text}' is not more than the accuracy of '{term.reading}' ({part.accuracy.text}) and one count ({step}): at zero it may still read more",
            f"more than {show(part.accuracy.si + abs(slope), term.limit.unit or 'bar', 2)}", "raise the threshold, or use a finer sensor", text=text, word=term.limit.text,
        )  # fmt: skip
    elif (number > part.valid.high) if rising else (number <= part.valid.low):
        view.say(
            "outside-valid-band", path, f"'{term.limit.text}' is {number} counts; '{term.reading}' is valid from {part.valid.low} to {part.valid.high}: this is never true",
            "a threshold inside the valid band", "look at the threshold and at 'valid'", text=text, word=term.limit.text,
        )  # fmt: skip
    if term.until is not None:
        other, _ = counts(pad, term.reading, term.until, at_least)
        apart = abs(point(pad, term.until) - limit)
        if other == number and apart > 0:
            view.say("finer-than-counts", path, f"'{term.limit.text}' and '{term.until.text}' are the same {number} counts of '{term.reading}'", f"at least {step} apart", "move them apart", text=text, word=term.until.text)
        elif apart < part.accuracy.si:
            view.say("closer-than-accuracy", path, f"'{term.limit.text}' and '{term.until.text}' are closer than the accuracy of '{term.reading}' ({part.accuracy.text})", f"at least {part.accuracy.text} apart", "move them apart", text=text, word=term.until.text)
    done = calibration(pad, term.reading)[1] + slope * number
    if abs(done - limit) > part.accuracy.si:
        view.say("finer-than-counts", path, f"'{term.limit.text}' becomes {show(done, term.limit.unit or 'bar')}: one count of '{term.reading}' is {step}", "a converter finer than the accuracy", "use more bits or a narrower range", text=text, word=term.limit.text)


def _fine(view: View, name: str, text: str, term: t.Changes | t.Differs) -> None:
    reading = term.reading if isinstance(term, t.Changes) else term.first
    part = _part(view, reading)
    slope, _ = calibration(view.pad, reading)
    path = ("conditions", name)
    if term.limit.si < 2 * abs(slope):
        view.say("finer-than-counts", path, f"'{term.limit.text}' is {term.limit.si / abs(slope):.2g} counts of '{reading}'", "two counts at least", f"one count is {show(abs(slope), term.limit.unit or 'bar', 2)}: use a larger limit", text=text, word=term.limit.text)
    elif isinstance(term, t.Changes) and term.limit.si < 2 * part.accuracy.si - 1e-9:
        most = show(2 * part.accuracy.si, part.accuracy.unit or "bar", 2)
        view.say("change-within-accuracy", path, f"'{term.limit.text}' is less than two readings of '{reading}' may differ by while nothing happens ({most}: each within {part.accuracy.text})", f"at least {most}", "use a larger limit, or a finer sensor", text=text, word=term.limit.text)
    elif isinstance(term, t.Differs) and term.limit.si < part.accuracy.si + _part(view, term.second).accuracy.si:
        view.say("closer-than-accuracy", path, f"two sensors that are both right may differ by {show(part.accuracy.si + _part(view, term.second).accuracy.si, term.limit.unit or 'bar')}", "more than the two accuracies together", "use a larger limit", text=text, word=term.limit.text)


def _close(view: View) -> None:
    """Thresholds of the same kind on one reading that differ, but by less than its accuracy."""
    seen: dict[tuple[str, bool], list[tuple[str, Quantity]]] = {}
    for name, condition in view.pad.conditions.items():
        term = condition.term
        if not isinstance(term, t.AtLeast | t.Below):
            continue
        others = seen.setdefault((term.reading, isinstance(term, t.AtLeast)), [])
        for other, limit in others:
            apart = abs(point(view.pad, term.limit) - point(view.pad, limit))
            if 0 < apart < _part(view, term.reading).accuracy.si:
                view.say(
                    "closer-than-accuracy", ("conditions", name), f"'{term.limit.text}' here and '{limit.text}' in '{other}' are closer than the accuracy of '{term.reading}' ({_part(view, term.reading).accuracy.text})",
                    "thresholds that the sensor can tell apart", "make them equal, or move them apart", text=condition.text, word=term.limit.text,
                )  # fmt: skip
        others.append((name, term.limit))


def _twins(view: View) -> None:
    """Two sensors of one thing asked together, and each for another limit: what one of them guards the other does not."""
    told: set[tuple[str, str]] = set()
    for name, condition in view.pad.conditions.items():
        together: dict[tuple[str, type], tuple[str, t.AtLeast | t.Below]] = {}
        for leaf in t.leaves(condition.term.expression) if isinstance(condition.term, t.Combination) else ():
            one = view.pad.conditions[leaf.name].term if isinstance(leaf, t.Name) else None
            if not isinstance(leaf, t.Name) or not isinstance(one, t.AtLeast | t.Below):
                continue
            first, other = together.setdefault((_part(view, one.reading).reads, type(one)), (leaf.name, one))
            if other.reading != one.reading and other.limit.si != one.limit.si and (first, leaf.name) not in told:
                told.add((first, leaf.name))
                view.say(
                    "twins-differ", ("conditions", leaf.name), f"'{name}' asks two sensors of '{_part(view, one.reading).reads}' for different limits: '{one.limit.text}' here, '{other.limit.text}' in '{first}'",
                    "the same limit of both", "make them equal, or do not ask them together", text=view.pad.conditions[leaf.name].text, word=one.limit.text,
                )  # fmt: skip


def _approach(view: View) -> None:
    told = set()
    for state, exits in view.live.items():
        if view.pad.states[state].people == "allowed":
            continue
        for one in exits:
            if view.pad.states[one.to].people != "allowed":
                continue
            for name, value in view.spread(one.way, every=True):
                condition = view.pad.conditions[name]
                term = condition.term
                if value and isinstance(term, t.Below) and term.limit.kind == "pressure" and point(view.pad, term.limit) > APPROACH and name not in told:
                    told.add(name)
                    view.say(
                        "approach-under-pressure", ("conditions", name), f"'{one.to}' lets people onto the pad at anything below {show(point(view.pad, term.limit), term.limit.unit or 'bar')} over the air outside",
                        f"at most {show(APPROACH, term.limit.unit or 'bar', 2)}", "lower it; if it was meant absolute, write 'abs' after it", text=condition.text, word=term.limit.text,
                    )  # fmt: skip


def ceiling(view: View, volume: str) -> float | None:
    """The highest gauge pressure a volume can reach: its strongest supply, or the relief that holds it."""
    supplies = view.pad.parts(SupplyPart)
    fed = [supplies[one] for one in view.reach(volume, lambda line: True, backward=True) if one in supplies]
    if not fed:
        return None
    highest = max((one.regulated or one.pressure).high for one in fed)
    reliefs = [one.opens_at.high * ACCUMULATION for one in view.pad.parts(ReliefPart).values() if one.relief == volume]
    return min([highest, *reliefs])


def _spans(view: View) -> None:
    for name, part in view.pad.inputs.items():
        if not isinstance(part, AnalogInput) or part.reads not in view.pad.parts(VolumePart):
            continue
        most = ceiling(view, part.reads)
        slope, zero = calibration(view.pad, name)
        span = max(slope * part.valid.high, slope * part.valid.low) + zero
        if most is not None and span < most * MARGIN:
            unit = next(iter(part.points.values())).unit or "bar"
            view.say(
                "sensor-span", ("inputs", name), f"'{name}' reads up to {show(span, unit)}, but '{part.reads}' can reach {show(most, unit)}",
                f"{show(most * MARGIN, unit)} or more", "use a sensor with a wider range, or a lower supply or relief",
            )  # fmt: skip


def _relief(view: View) -> None:
    volumes = view.pad.parts(VolumePart)
    for name, part in view.pad.parts(ReliefPart).items():
        path: Where = ("site", name, "opens_at")
        rated = volumes[part.relief].rated
        if part.opens_at.high > rated.si + 1:
            view.say("relief-order", path, f"the relief opens at {part.opens_at.text}, but '{part.relief}' is rated for {rated.text}", "at most the rated pressure", "set the relief lower, or use a stronger vessel")
        for limit, said in _working(view, part.relief):
            if point(view.pad, limit) >= part.opens_at.low - 1:
                view.say("relief-order", path, f"{said} fills '{part.relief}' to {limit.text}, where the relief opens ({part.opens_at.text})", "a working pressure below the relief", "fill to less, or set the relief higher, never above the rating")
                break


def _working(view: View, volume: str) -> Iterator[tuple[Quantity, str]]:
    """The pressures at which fills of a volume end."""
    sensors = [name for name, part in view.pad.inputs.items() if isinstance(part, AnalogInput) and part.reads == volume]
    for state, exits in view.exits.items():
        if not view.fills(state):
            continue
        for reading, target in view.pad.states[state].targets.items():
            if reading in sensors:
                yield target, f"'{state}'"
        for one in exits:
            for name, value in view.spread(one.way, every=True):
                term = view.pad.conditions[name].term
                if value and not one.trip and isinstance(term, t.AtLeast) and term.reading in sensors:
                    yield term.limit, f"'{state}'"


def _magnitude(view: View) -> None:
    """Pressures that do not fit the parts they stand beside."""
    volumes = view.pad.parts(VolumePart)
    for name, part in volumes.items():
        if part.volume.si < PLASTIC[0] and part.rated.si > PLASTIC[1]:
            view.say("implausible-pressure", ("site", name, "rated"), f"a vessel of {part.volume.text} rated for {part.rated.text}: is that so?", f"for so small a vessel at most {show(PLASTIC[1], part.rated.unit or 'bar', 2)}", "look at the unit: bar or psi?")
    for name, supply in view.pad.parts(SupplyPart).items():
        if supply.regulated is not None and supply.regulated.low > supply.pressure.high:
            view.say("implausible-pressure", ("site", name, "regulated"), f"the regulator is set to {supply.regulated.text}, but '{name}' holds {supply.pressure.text}", "more in the cylinder than the regulator lets out", "look at the unit: bar or psi?")
    for name, condition in view.pad.conditions.items():
        term = condition.term
        if isinstance(term, t.AtLeast) and term.limit.kind == "pressure":
            volume = _part(view, term.reading).reads
            if volume in volumes and point(view.pad, term.limit) > volumes[volume].rated.si:
                view.say(
                    "implausible-pressure", ("conditions", name), f"'{term.limit.text}' is more than '{volume}' is rated for ({volumes[volume].rated.text})", "at most the rated pressure",
                    "look at the unit: bar or psi?", text=condition.text, word=term.limit.text,
                )  # fmt: skip
