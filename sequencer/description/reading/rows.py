"""Rules that never fire: contradictions, rules covered by earlier ones, timed ways out overtaken."""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.description.reading.logic import clash
from sequencer.description.reading.view import Exit, View

_COVER = 6  # at most so many earlier rules together are tried as a cover


def look(view: View) -> None:
    """Every finding about single rules; exits that never fire are put into `view.dead`."""
    verdicts: dict[Exit, tuple[str, str]] = {}
    for state, exits in view.exits.items():
        for number, one in enumerate(exits):
            verdict = _verdict(view, state, exits, number)
            if verdict:
                verdicts[one] = verdict
                view.dead.add(one)
    _tell(view, verdicts)
    _empty(view)
    _presses(view)
    _same_scan(view)
    _one_scan(view)


def _verdict(view: View, state: str, exits: list[Exit], number: int) -> tuple[str, str] | None:
    """(finding, why) when an exit can never fire; None when it may."""
    pad, one = view.pad, exits[number]
    reason = clash(pad, state, one.way) if one.way else ""
    if reason:
        return "guards-cannot-hold-together", reason
    for other in exits:
        if not other.way and (other.least < one.least or other.least == one.least and exits.index(other) < number):
            name = "overtaken-exit" if not one.way else "rule-never-fires"
            return name, f"{other.label} takes place after {_time(view, other.least)} at the latest, this one not before {_time(view, one.least)}"
    late = _too_late(view, state, exits, one)
    if late:
        return "rule-never-fires", late
    if not one.way:
        return ("overtaken-exit", "the rules above it leave no case over") if _all_covered(view, state, exits, number) else None
    return _covered(view, state, exits, number)


def _time(view: View, scans: int) -> str:
    return f"{view.time(scans)} ({scans} scans)"


def _too_late(view: View, state: str, exits: list[Exit], one: Exit) -> str:
    """A change judged so long after the state began that the state is left before."""
    if any(other.to == state for other in exits):
        return ""  # a move to itself starts the state's time again, but not the judging
    for name, value in one.way:
        term = view.pad.conditions[name].term
        if not value or not isinstance(term, t.Changes) or term.since != state or term.since in view.pad.conditions:
            continue
        over = view.pad.scans(term.over.si)
        for other in exits:
            earlier = exits.index(other) < exits.index(one)
            if not other.way and (other.least < over or other.least == over and earlier):
                return f"'{name}' is judged after {term.over.text}, but '{state}' is left after {_time(view, other.least)}"
    return ""


def _covered(view: View, state: str, exits: list[Exit], number: int) -> tuple[str, str] | None:
    pad, one = view.pad, exits[number]
    earlier = [other for other in exits[:number] if other.least <= one.least and other.way and not clash(pad, state, other.way)]
    for other in earlier:
        if clash(pad, state, one.way, (other.way,)):
            return "rule-never-fires", f"whenever it holds, {other.label} ({other.says}) holds too and is looked at first"
    near = [other for other in earlier if not clash(pad, state, (*one.way, *other.way))][-_COVER:]
    if len(near) > 1 and clash(pad, state, one.way, tuple(other.way for other in near)):
        names = "; ".join(dict.fromkeys(f"{other.label} ({other.says})" for other in near))
        return "rule-never-fires", f"whenever it holds, one of these holds too and is looked at first: {names}"
    return None


def _all_covered(view: View, state: str, exits: list[Exit], number: int) -> bool:
    """Whether the conditional rules above a timed exit always hold between them."""
    one = exits[number]
    earlier = [other for other in exits[:number] if other.way and other.least <= one.least][-_COVER:]
    return bool(earlier) and bool(clash(view.pad, state, (), tuple(other.way for other in earlier)))


def _tell(view: View, verdicts: dict[Exit, tuple[str, str]]) -> None:
    """One finding for a rule; a trip only when it is dead in every state where it is looked at."""
    every: dict[tuple[str, tuple[tuple[str, bool], ...]], list[Exit]] = {}
    for exits in view.exits.values():
        for one in exits:
            if one.trip:
                every.setdefault((one.trip, one.way), []).append(one)
    for trip_exits in every.values():
        if trip_exits and all(one in verdicts for one in trip_exits):
            _say(view, trip_exits[0], *verdicts[trip_exits[0]])
    for one, verdict in verdicts.items():
        if not one.trip:
            _say(view, one, *verdict)


def _say(view: View, one: Exit, name: str, why: str) -> None:
    part = view.pad.states[one.state].leave[int(one.path[3])] if not one.trip else None
    text = view.pad.trips[one.trip].once.text if one.trip else part.once.text if part and part.once and one.way else ""
    word = one.way[0][0] if one.way else ""
    what = f"{one.label}: '{one.says}' can never fire: {why}"
    mend = {
        "guards-cannot-hold-together": "look at each condition and take out, or change, the one that was not meant",
        "rule-never-fires": "write the special rule above the broad one, narrow the broad one, or take this one out",
        "overtaken-exit": "take out one of the two, or give this one a shorter time",
    }[name]
    required = "a rule that can fire" if name != "overtaken-exit" else "timed ways out of which each can be the first"
    view.say(name, one.path, what, required, mend, text=text, word=word)


def _empty(view: View) -> None:
    """A `once:` of which no alternative is left: 'a and not a'."""
    sites: list[tuple[tuple[str | int, ...], t.Written]] = [(("trips", name, "once"), trip.once) for name, trip in view.pad.trips.items()]
    sites += [(("states", name, "leave", i, "once"), leave.once) for name, state in view.pad.states.items() for i, leave in enumerate(state.leave) if leave.once]
    sites += [(("inhibits", name, "once"), inhibit.once) for name, inhibit in view.pad.inhibits.items()]
    for path, once in sites:
        if not t.alternatives(once.expression):
            view.say(
                "guards-cannot-hold-together", path, f"'{once.text}' can never hold: one is the opposite of the other", "a rule that can fire",
                "look at each condition and take out the one that was not meant",
            )  # fmt: skip


def _presses(view: View) -> None:
    told = set()
    for exits in view.exits.values():
        for one in exits:
            terms = {view.pad.conditions[name].term: name for name, value in view.spread(one.way) if value}
            pressed = [name for term, name in terms.items() if isinstance(term, t.Becomes)]
            if len(pressed) > 1 and one.path not in told and one not in view.dead:
                told.add(one.path)
                view.say(
                    "two-presses-at-once", one.path, f"{one.label} asks for {' and '.join(pressed)} in the same scan of {view.pad.scan.text}",
                    "one press in one rule", "let one press lead to a state in which the other is awaited, or use a memory",
                )  # fmt: skip


def _one_scan(view: View) -> None:
    """A way out with a condition that may fire only in the scan in which time ends the state."""
    for exits in view.live.values():
        ends = [one for one in exits if not one.way]
        for one in exits:
            late = min(ends, key=lambda end: end.least, default=None)
            if late is not None and one.way and not one.trip and one.least == late.least:
                view.say(
                    "one-scan-window", one.path, f"{one.label} is looked at from {_time(view, one.least)} on, and just then {late.label} ends the state by time",
                    "a window of more than one scan", "give it an earlier not_before, or the state a later at_latest",
                )  # fmt: skip


def _same_scan(view: View) -> None:
    for state in view.pad.states:
        seen: dict[int, tuple[float, str]] = {}
        for number, leave in enumerate(view.pad.states[state].leave):
            for key in ("at_latest", "not_before"):
                quantity = getattr(leave, key)
                if quantity is None:
                    continue
                scans = view.pad.scans(quantity.si)
                other = seen.setdefault(scans, (quantity.si, quantity.text))
                if abs(other[0] - quantity.si) > 1e-9:
                    view.say(
                        "same-scan", ("states", state, "leave", number, key),
                        f"'{quantity.text}' and '{other[1]}' are both {scans} scans of {view.pad.scan.text}", "times that differ by a scan or more",
                        "use a shorter scan, or times further apart",
                    )  # fmt: skip
