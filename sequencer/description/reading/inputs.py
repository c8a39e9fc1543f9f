"""Inputs and conditions: unread, unused, commands on level, stops on edge, checks that are one check."""

from __future__ import annotations

from itertools import combinations

from sequencer.description import terms as t
from sequencer.description.grounds import PowerPart
from sequencer.description.reading.view import Exit, View
from sequencer.description.sequence import Rule

_BUTTONS = ("pressed", "pushed", "held", "held down", "down")


def look(view: View) -> None:
    """Every finding about inputs and conditions."""
    _unread(view)
    _unused(view)
    _levels(view)
    _edges(view)
    _twice(view)
    for name, condition in view.pad.conditions.items():
        term = condition.term
        if isinstance(term, t.Memory) and term.clear is None and term.at_most is None:
            view.say(
                "memory-never-cleared", ("conditions", name), f"'{name}' is remembered until the next power-up", "something that clears it, or a time",
                "add 'until CONDITION' or 'for at most TIME'",
            )  # fmt: skip


def _reads(term: t.Term) -> list[str]:
    keys = ("input", "reading", "link", "first", "second")
    return [getattr(term, key) for key in keys if isinstance(getattr(term, key, None), str)]


def _unread(view: View) -> None:
    read = {one for condition in view.pad.conditions.values() for one in _reads(condition.term)}
    cuts = {part.cut_by for part in view.pad.parts(PowerPart).values()}
    for name in view.pad.inputs:
        if name not in read | cuts:
            view.say("input-unread", ("inputs", name), f"no condition reads '{name}'", "every input read somewhere", "add a condition that reads it, or take it out")


def _used(view: View) -> set[str]:
    pad, found = view.pad, set()
    written = [trip.once for trip in pad.trips.values()] + [one.once for one in pad.inhibits.values()]
    written += [leave.once for state in pad.states.values() for leave in state.leave if leave.once]
    expressions = [one.expression for one in written]
    for condition in pad.conditions.values():
        term = condition.term
        if isinstance(term, t.Combination):
            expressions.append(term.expression)
        elif isinstance(term, t.Memory):
            expressions += [term.set, *([term.clear] if term.clear is not None else [])]
        elif isinstance(term, t.Changes):
            found.add(term.since)
    for rule in pad.interlocks.values():
        expressions += [value.expression for value in _statements(rule)]
    for drill in pad.drills.values():
        expressions += [drill.expect.expression] if drill.expect else []
    for expression in expressions:
        for leaf in t.leaves(expression):
            if isinstance(leaf, t.Name):
                found.add(leaf.name)
            elif isinstance(leaf, t.BoxSays):
                found.add(leaf.condition)
    return found


def _statements(rule: Rule) -> list[t.Written]:
    return [value for _, value in rule if isinstance(value, t.Written)]


def _unused(view: View) -> None:
    used = _used(view)
    for name in view.pad.conditions:
        if name not in used:
            view.say("condition-unused", ("conditions", name), f"nothing uses '{name}'", "every condition used somewhere", "use it where it was meant to count, or take it out")


def _text(view: View, one: Exit) -> str:
    if one.trip:
        return view.pad.trips[one.trip].once.text
    once = view.pad.states[one.state].leave[int(one.path[3])].once
    return once.text if once else ""


def _button(view: View, name: str) -> str:
    """The contact whose closed level a condition reads, when that contact is a button."""
    term = view.pad.conditions[name].term
    pressed = {step.press for step in view.pad.crew.steps if step.press}
    if not isinstance(term, t.ContactIs) or not term.wanted:
        return ""
    part = view.pad.inputs[term.input]
    own = getattr(part, "contact", None)
    if own is None or term.word != own.word:
        return ""
    return term.input if term.input in pressed or own.word in _BUTTONS else ""


def _levels(view: View) -> None:
    told = set()
    for state, exits in view.live.items():
        for one in exits:
            what = view.starts_hazard(state, one.to)
            if one.trip or not what or one.path in told:
                continue
            edges = [name for name, value in view.spread(one.way) if value and isinstance(view.pad.conditions[name].term, t.Becomes)]
            levels = [name for name, value in view.spread(one.way, every=True) if value and _button(view, name)]
            if levels and not edges:
                told.add(one.path)
                view.say(
                    "command-on-level", one.path, f"{one.label} {what} on the level of '{_button(view, levels[0])}': held or stuck since before, it does so at once",
                    "the moment it is pressed, seen let go before", f"say '{_button(view, levels[0])} becomes …' in '{levels[0]}'", text=_text(view, one), word=levels[0],
                )  # fmt: skip


def _edges(view: View) -> None:
    for name, trip in view.pad.trips.items():
        for leaf in t.leaves(trip.once.expression):
            if isinstance(leaf, t.Name) and isinstance(term := view.pad.conditions[leaf.name].term, t.Becomes):
                view.say(
                    "stop-on-edge", ("trips", name, "once"), f"trip '{name}' waits for the moment '{term.input}' changes: already {term.word} at power-up or on entry, it does nothing",
                    "the level: it counts as long as it is there", f"say '{term.input} is {term.word}' in '{leaf.name}'", text=trip.once.text, word=leaf.name,
                )  # fmt: skip


def _twice(view: View) -> None:
    told = set()
    for exits in view.exits.values():
        for one in exits:
            pairs = combinations([name for name, value in view.spread(one.way) if value], 2)
            for first, second in pairs:
                a, b = view.pad.conditions[first].term, view.pad.conditions[second].term
                if isinstance(a, t.ContactIs) and isinstance(b, t.ContactIs) and a.input == b.input and (a.word, a.wanted) == (b.word, b.wanted) and (one.path, second) not in told:
                    told.add((one.path, second))
                    view.say(
                        "same-input-twice", one.path, f"'{first}' and '{second}' both read '{a.input}': one stuck switch passes both", "two inputs for two checks",
                        "wire the second check to its own switch, or drop it", text=_text(view, one), word=second,
                    )  # fmt: skip
