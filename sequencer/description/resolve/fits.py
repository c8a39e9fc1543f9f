"""Numbers and lists that must fit their fields in the controller; nothing is truncated anywhere.

The limits are those of the table and of its byte image; a number too large is refused here, with
its place, so that compiling a `Pad` cannot fail.
"""

from __future__ import annotations

from math import ceil, floor

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput
from sequencer.description.resolve.names import Names
from sequencer.description.thresholds import (
    MAX_BITS,
    MAX_DELAY,
    MAX_SCANS,
    calibration,
    counts,
    down,
    scaled_unit,
    up,
)
from sequencer.description.tree import Where
from sequencer.quantities import Quantity

LIMITS = {"contacts": 64, "analog inputs": 32, "heartbeats": 16, "outputs": 64, "states": 127}
MOST_LITERALS = 63
MOST_ROWS, MOST_ROWS_IN_STATE, MOST_INHIBITS = 0xFFFF, 255, 255
LONGEST_SCAN_MS = 1000


def check(names: Names) -> None:
    """Every finding about fields; only for a file whose names are all known."""
    pad = names.pad
    scan = pad.scan.si * 1000
    if abs(scan - round(scan)) > 1e-9 or not 1 <= round(scan) <= LONGEST_SCAN_MS:
        names.say("scan", ("scan",), f"a scan of '{pad.scan.text}'", f"a whole number of milliseconds from 1 to {LONGEST_SCAN_MS}", "write e.g. '20 ms'")
        return
    kinds = {"contacts": ContactInput, "analog inputs": AnalogInput, "heartbeats": HeartbeatInput}
    for what, most in LIMITS.items():
        some = [n for n, part in pad.inputs.items() if isinstance(part, kinds[what])] if what in kinds else list(getattr(pad, what))
        if len(some) > most:
            section = "inputs" if what in kinds else what
            names.say("too-many", (section, some[most]), f"{len(some)} {what}", f"at most {most}", "take some out")
    for name, part in pad.inputs.items():
        if isinstance(part, ContactInput):
            _delay(names, ("inputs", name, "steady_for"), part.steady_for)
        elif isinstance(part, AnalogInput):
            slope, zero = calibration(pad, name)
            if abs(zero / slope) > 2**24:
                names.say("calibration", ("inputs", name, "points"), "the line through the two points leaves the converter's range by far", "two points far apart", "take points near both ends of the range")
                return
    hidden: set[str] = set()
    for name, condition in pad.conditions.items():
        _condition(names, name, condition, hidden)
    if len(pad.conditions) + len(hidden) > MAX_BITS:
        names.say("too-many", ("conditions",), f"{len(pad.conditions) + len(hidden)} conditions, {len(hidden)} of them hidden", f"at most {MAX_BITS}", "take out those nobody uses")
    _rows(names)


def _delay(names: Names, path: Where, quantity: Quantity | None, *, most: int = MAX_DELAY, text: str = "") -> None:
    if quantity is None:
        return
    scans = names.pad.scans(quantity.si)
    if scans > most:
        names.say(
            "beyond-field", path, f"'{quantity.text}' is {scans} scans of {names.pad.scan.text}",
            f"at most {most} scans ({_spoken(most * names.pad.scan_ms / 1000)}): the field is {most.bit_length()} bits wide",
            "a shorter time, or a longer scan", text=text, word=quantity.text,
        )  # fmt: skip


def _spoken(seconds: float) -> str:
    for unit, size in (("days", 86400), ("h", 3600), ("min", 60)):
        if seconds >= 2 * size:
            return f"{floor(seconds / size)} {unit}"
    return f"{floor(seconds)} s"


def _condition(names: Names, name: str, condition: t.Condition, hidden: set[str]) -> None:
    path: Where = ("conditions", name)
    term, text = condition.term, condition.text
    _delay(names, path, condition.held, text=text)
    _delay(names, path, condition.lingers, text=text)
    if isinstance(term, t.AtLeast | t.Below):
        at_least = isinstance(term, t.AtLeast)
        _threshold(names, path, term.reading, term.limit, at_least, text)
        if term.until is not None:
            _threshold(names, path, term.reading, term.until, at_least, text)
    elif isinstance(term, t.HeardWithin):
        _heard(names, path, term, text)
    elif isinstance(term, t.Differs):
        _differs(names, path, term, text)
    elif isinstance(term, t.Changes):
        _changes(names, path, term, text)
        if term.since not in names.pad.conditions:
            hidden.add(term.since)
    elif isinstance(term, t.ReachesTarget):
        slope, _ = calibration(names.pad, term.reading)
        if slope < 0:
            names.say("beyond-field", path, f"'{term.reading}' counts down as its reading rises", "for 'reaches target' a reading that counts up", "use 'at least' in each state instead", text=text, word="reaches")
        elif term.drop is not None and down(term.drop.si / slope) > 0xFFFF:
            names.say("beyond-field", path, f"'{term.drop.text}' is more than the converter's range", "a drop-out inside its range", "a smaller one", text=text, word=term.drop.text)
    elif isinstance(term, t.Combination):
        _single(names, path, term.expression, text)
    elif isinstance(term, t.Memory):
        _single(names, path, term.set, text)
        if term.clear is not None:
            _single(names, path, term.clear, text)
        _delay(names, path, term.at_most, text=text)


def _heard(names: Names, path: Where, term: t.HeardWithin, text: str) -> None:
    scans = down(term.within.si * 1000 / names.pad.scan_ms)
    if scans < 1 or scans > MAX_DELAY:
        names.say("beyond-field", path, f"'{term.within.text}' is {scans} scans of {names.pad.scan.text}", f"from 1 to {MAX_DELAY} scans", "another time", text=text, word=term.within.text)


def _threshold(names: Names, path: Where, reading: str, asked: Quantity, at_least: bool, text: str) -> None:
    part = names.pad.inputs[reading]
    assert isinstance(part, AnalogInput)
    number, _ = counts(names.pad, reading, asked, at_least)
    if not 0 <= number <= 2**part.analog:
        slope, zero = calibration(names.pad, reading)
        names.say(
            "beyond-field", path, f"'{asked.text}' is {number} counts of '{reading}'",
            f"a value it can read: its {part.analog} bit give 0 to {2**part.analog - 1} counts", "another value, or look at the calibration points",
            text=text, word=asked.text,
        )  # fmt: skip


def _differs(names: Names, path: Where, term: t.Differs, text: str) -> None:
    bits = [part.analog for one in (term.first, term.second) if isinstance(part := names.pad.inputs[one], AnalogInput)]
    slack = sum(2**one for one in bits) / 2 + 1
    limit = term.limit.si / scaled_unit(names.pad)
    if (ceil(limit + slack) if term.at_least else floor(limit - slack)) < 0:
        names.say("beyond-field", path, f"'{term.limit.text}' is finer than the two readings resolve", "a limit of several counts", "a larger limit", text=text, word=term.limit.text)
    elif limit + slack > 2**30:
        names.say("beyond-field", path, f"'{term.limit.text}' is more than both readings span", "a limit inside their range", "a smaller limit", text=text, word=term.limit.text)


def _changes(names: Names, path: Where, term: t.Changes, text: str) -> None:
    part = names.pad.inputs[term.reading]
    assert isinstance(part, AnalogInput)
    slope, _ = calibration(names.pad, term.reading)
    exact = term.limit.si / abs(slope)
    number = up(exact) if term.at_least else down(exact)
    if not 1 <= number < 2**part.analog:
        names.say("beyond-field", path, f"'{term.limit.text}' is {number} counts of '{term.reading}'", f"from 1 to {2**part.analog - 1} counts", "another limit", text=text, word=term.limit.text)
    _delay(names, path, term.over, text=text)


def _single(names: Names, path: Where, expression: t.Expression, text: str) -> None:
    """A bit takes one list of literals: all of them, or any of them."""
    mixed = "'and' and 'or' are mixed"
    if t.ways(expression) > MOST_LITERALS and t.ways(expression, False) > MOST_LITERALS:
        names.say("mixed", path, mixed, "in one condition either 'and' or 'or'", "give the bracketed part its own condition above", text=text, word="or")
        return
    ways, opposite = t.alternatives(expression), t.alternatives(expression, False)
    if not ways or not opposite:
        never = "never" if not ways else "always"
        names.say("never-or-always", path, f"this is {never} true, whatever happens", "a condition that can be both", "look at the 'not's")
    elif len(ways) != 1 and len(opposite) != 1:
        names.say("mixed", path, mixed, "in one condition either 'and' or 'or'", "give the bracketed part its own condition above", text=text, word="or")
    elif max(map(len, ways)) > MOST_LITERALS or max(map(len, opposite)) > MOST_LITERALS:
        names.say("too-many", path, f"more than {MOST_LITERALS} names", f"at most {MOST_LITERALS}", "split the condition")


def _rows(names: Names) -> None:
    pad = names.pad
    trips = {name: t.ways(trip.once.expression) for name, trip in pad.trips.items()}
    total = 0
    for name, state in pad.states.items():
        for reading, value in state.targets.items():
            _threshold(names, ("states", name, "targets", reading), reading, value, True, "")
        here = sum(ways for trip, ways in trips.items() if name not in pad.trips[trip].everywhere_but)
        for number, leave in enumerate(state.leave):
            path: Where = ("states", name, "leave", number)
            for key in ("not_before", "at_latest"):
                quantity = getattr(leave, key)
                _delay(names, (*path, key), quantity, most=MAX_SCANS)
                if quantity is not None and quantity.si == 0 and leave.once is None:
                    names.say("not-above-zero", (*path, key), f"'{key}: {quantity.text}' leaves at once", "more than zero", "give a time, or a 'once:'")
            here += (t.ways(leave.once.expression) if leave.once else 0) + (leave.at_latest is not None or leave.once is None)
        total += here
        if here > MOST_ROWS_IN_STATE:
            names.say("too-many", ("states", name), f"the ways out of '{name}', trips included, make {here} rows", f"at most {MOST_ROWS_IN_STATE}", "give an 'or' its own condition")
    for name, trip in pad.trips.items():
        _delay(names, ("trips", name, "not_before"), trip.not_before, most=MAX_SCANS)
    if total > MOST_ROWS:
        names.say("too-many", ("states",), f"{total} rows", f"at most {MOST_ROWS}", "give an 'or' its own condition")
    if sum(t.ways(inhibit.once.expression) for inhibit in pad.inhibits.values()) > MOST_INHIBITS:
        names.say("too-many", ("inhibits",), "too many inhibits", f"at most {MOST_INHIBITS} rows", "give an 'or' its own condition")
