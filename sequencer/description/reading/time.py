"""Times: whole scans, patience with the link, and limits that mistake cooling for a leak."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput
from sequencer.description.reading.view import Exit, View, Where
from sequencer.description.thresholds import point
from sequencer.quantities import ATMOSPHERE, Quantity, show

PERIODS = 3  # a link that may lose two messages in a row
# A fill leaves the gas warmer than the wall; 10 K over 293 K is what a fill of a minute leaves
# behind (common practice, no published source), and at constant volume p falls as T (Gay-Lussac).
COOLING = 10.0 / 293.15


def look(view: View) -> None:
    """Every finding about times."""
    for path, quantity, text in _times(view):
        scans = quantity.si * 1000 / view.pad.scan_ms
        if abs(scans - round(scans)) > 1e-6:
            done = floor(scans) if "heard within" in text else view.pad.scans(quantity.si)
            view.say(
                "not-whole-scans", path, f"'{quantity.text}' is {scans:.4g} scans of {view.pad.scan.text}; the box makes it {done} ({done * view.pad.scan_ms} ms)",
                f"a multiple of {view.pad.scan.text}", f"write '{done * view.pad.scan_ms} ms'", text=text, word=quantity.text if text else "",
            )  # fmt: skip
    _link(view)
    _cooling(view)


def _times(view: View) -> Iterator[tuple[Where, Quantity, str]]:
    """Every time that the box counts in scans."""
    pad = view.pad
    for name, part in pad.inputs.items():
        if isinstance(part, ContactInput) and part.steady_for.si:
            yield ("inputs", name, "steady_for"), part.steady_for, ""
    for name, condition in pad.conditions.items():
        times = [condition.held, condition.lingers, getattr(condition.term, "at_most", None), getattr(condition.term, "over", None), getattr(condition.term, "within", None)]
        for quantity in times:
            if quantity is not None:
                yield ("conditions", name), quantity, condition.text
    for name, state in pad.states.items():
        for number, leave in enumerate(state.leave):
            for key in ("not_before", "at_latest"):
                if getattr(leave, key) is not None:
                    yield ("states", name, "leave", number, key), getattr(leave, key), ""
    for name, trip in pad.trips.items():
        if trip.not_before is not None:
            yield ("trips", name, "not_before"), trip.not_before, ""


def _link(view: View) -> None:
    for name, condition in view.pad.conditions.items():
        term = condition.term
        if not isinstance(term, t.HeardWithin):
            continue
        part = view.pad.inputs[term.link]
        if isinstance(part, HeartbeatInput) and term.within.si < PERIODS * part.heartbeat.si - 1e-9:
            view.say(
                "impatient-link", ("conditions", name), f"'{term.link}' speaks every {part.heartbeat.text}, and {term.within.text} of silence count as lost",
                f"at least {PERIODS} periods", f"write 'within {show(PERIODS * part.heartbeat.si, term.within.unit or 's')}' or more",
                text=condition.text, word=term.within.text,
            )  # fmt: skip


def _cooling(view: View) -> None:
    """A state that follows a fill at once and gives up when the pressure has sunk a little."""
    for state, exits in view.live.items():
        for one in exits:
            if not view.fills(state) or view.fills(one.to) or not view.holds_gas(one.to):
                continue
            for reading, level in _filled_to(view, state, one):
                for after in view.live[one.to]:
                    _sinks(view, one.to, after, reading, level)


def _filled_to(view: View, state: str, one: Exit) -> Iterator[tuple[str, float]]:
    """The pressures at which a fill ends by this way out."""
    for name, value in view.spread(one.way, every=True):
        term = view.pad.conditions[name].term
        if value and isinstance(term, t.AtLeast) and term.limit.kind == "pressure":
            yield term.reading, point(view.pad, term.limit)
        elif value and isinstance(term, t.ReachesTarget) and term.reading in view.pad.states[state].targets:
            target = view.pad.states[state].targets[term.reading]
            if target.kind == "pressure":
                yield term.reading, point(view.pad, target)


def _sinks(view: View, state: str, after: Exit, reading: str, level: float) -> None:
    if view.holds_gas(after.to) or after.least:
        return
    fall = COOLING * (level + ATMOSPHERE)
    for name, value in after.way:
        condition = view.pad.conditions[name]
        term, limit = condition.term, None
        if isinstance(term, t.Below) and value and term.reading == reading:
            limit = level - point(view.pad, term.limit)
        elif isinstance(term, t.AtLeast) and not value and term.reading == reading:
            limit = level - point(view.pad, term.until or term.limit)
        elif isinstance(term, t.Changes) and value and term.reading == reading and term.direction == "falls" and term.at_least and term.since == state:
            limit = term.limit.si
        if limit is None or not 0 <= limit < fall:
            continue
        unit = term.limit.unit or "bar"  # type: ignore[union-attr]  # only terms with a limit get here
        part = view.pad.inputs[reading]
        assert isinstance(part, AnalogInput)
        once = view.pad.trips[after.trip].once if after.trip else view.pad.states[state].leave[int(after.path[3])].once
        text = once.text if once is not None else ""
        view.say(
            "cooling-looks-like-a-leak", after.path,
            f"'{state}' follows the fill and is given up when '{reading}' has sunk by {show(limit, unit, 2)}; cooling by 10 K alone takes {show(fall, unit, 2)}",
            "a settling time (not_before) or a limit that cooling does not reach", "add 'not_before: 30 s' here, or move the limit", text=text, word=name,
        )  # fmt: skip
