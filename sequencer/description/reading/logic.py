"""What a rule's literals say together: their meaning down to contacts and readings, and where it clashes.

Sound for "can never hold": a clash found here is one. Delays, invalid readings and drop-outs are
taken as the scan takes them, so a delayed bit says only what it truly implies in this scan.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.pad import Pad
from sequencer.description.thresholds import point
from sequencer.quantities import Quantity

MOST = 1000  # alternatives looked at; beyond, nothing is claimed


@dataclass
class _Known:
    """What one alternative says of the world in one scan."""

    pad: Pad
    state: str
    levels: dict[str, bool] = field(default_factory=dict)
    edges: dict[str, bool] = field(default_factory=dict)
    steady: dict[str, tuple[bool, str]] = field(default_factory=dict)
    valid: dict[str, bool] = field(default_factory=dict)
    low: dict[str, tuple[float, str]] = field(default_factory=dict)
    high: dict[str, tuple[float, str]] = field(default_factory=dict)
    low_if_valid: list[tuple[str, float, str]] = field(default_factory=list)
    high_if_valid: list[tuple[str, float, str]] = field(default_factory=list)
    heard: dict[str, tuple[float, float]] = field(default_factory=dict)


def meaning(pad: Pad, name: str, value: bool) -> t.Expression:
    """What must be true in a scan in which the bit `name` has this value."""
    here: t.Expression = t.Name(name) if value else t.Not(t.Name(name))
    condition = pad.conditions[name]
    term = condition.term
    if isinstance(term, t.Memory):
        # clearing wins: while a memory is set, what clears it is false
        return t.And((here, _spelt(pad, term.clear, False))) if value and term.clear is not None else here
    delayed = condition.lingers if value else condition.held
    if delayed is not None and pad.scans(delayed.si) > 0:
        return here
    if isinstance(term, t.Combination):
        return t.And((here, _spelt(pad, term.expression, value)))
    leaf: t.Expression = term  # type: ignore[assignment]  # a term is a leaf of its own here
    return t.And((here, leaf if value else t.Not(leaf)))


def _spelt(pad: Pad, expression: t.Expression, wanted: bool) -> t.Expression:
    if isinstance(expression, t.Name):
        return meaning(pad, expression.name, wanted)
    if isinstance(expression, t.Not):
        return _spelt(pad, expression.item, not wanted)
    if isinstance(expression, t.And | t.Or):
        items = tuple(_spelt(pad, item, wanted) for item in expression.items)
        return t.And(items) if isinstance(expression, t.And) == wanted else t.Or(items)
    return expression if wanted else t.Not(expression)


def clash(pad: Pad, state: str, way: Iterable[tuple[str, bool]], never: Iterable[tuple[tuple[str, bool], ...]] = ()) -> str:
    """Why these literals cannot hold together in a state while none of the `never` ways holds; "" if they can."""
    parts = [meaning(pad, name, value) for name, value in way]
    parts += [t.Or(tuple(meaning(pad, name, not value) for name, value in one)) for one in never]
    whole = t.And(tuple(parts))
    if t.ways(whole) > MOST:
        return ""
    reasons = []
    alternatives = t.alternatives(whole)
    for one in alternatives:
        reason = _clash(pad, state, one)
        if not reason:
            return ""
        reasons.append(reason)
    return reasons[0] if reasons else "one is the opposite of the other"


def _clash(pad: Pad, state: str, leaves: dict[t.Expression, bool]) -> str:
    known = _Known(pad, state)
    for leaf, value in leaves.items():
        reason = _learn(known, leaf, value)
        if reason:
            return reason
    for name, high, text in known.high_if_valid:
        if known.valid.get(name):
            known.high[name] = min(known.high.get(name, (inf, "")), (high, text))
    for name, low, text in known.low_if_valid:
        if known.valid.get(name):
            known.low[name] = max(known.low.get(name, (-inf, "")), (low, text))
    for name, (low, text) in known.low.items():
        if name in known.high and low >= known.high[name][0]:
            return f"'{name}' cannot be {text} and {known.high[name][1]} at once"
    for name, level in known.edges.items():
        held, said = known.steady.get(name, (not level, ""))
        if held == level:
            return f"'{name}' cannot change in this scan and have stood there before it ('{said}')"
    for name, (least, most) in known.heard.items():
        if least >= most:
            return f"'{name}' cannot be heard within the shorter time and silent for the longer one"
    return ""


def _learn(known: _Known, leaf: t.Expression, value: bool) -> str:
    """Add one fact; the reason when it contradicts an earlier one."""
    pad = known.pad
    if isinstance(leaf, t.Name):
        return _steady(known, leaf.name, value)
    if isinstance(leaf, t.ContactIs):
        return _level(known, leaf.input, (leaf.word == _own(pad, leaf.input)) == (leaf.wanted == value))
    if isinstance(leaf, t.Becomes):
        if not value:
            return ""
        level = leaf.word == _own(pad, leaf.input)
        if known.edges.setdefault(leaf.input, level) != level:
            return f"'{leaf.input}' cannot change both ways in one scan"
        return _level(known, leaf.input, level)
    if isinstance(leaf, t.AtLeast):
        lowest, highest = _ends(pad, leaf.limit, leaf.until)
        if value:
            known.low[leaf.reading] = max(known.low.get(leaf.reading, (-inf, "")), (lowest, f"at least {_text(pad, lowest, leaf)}"))
            return _valid(known, leaf.reading, True)
        known.high_if_valid.append((leaf.reading, highest, f"below {leaf.limit.text}"))
    elif isinstance(leaf, t.Below):
        lowest, highest = _ends(pad, leaf.limit, leaf.until)
        if value:
            known.high[leaf.reading] = min(known.high.get(leaf.reading, (inf, "")), (highest, f"below {_text(pad, highest, leaf)}"))
            return _valid(known, leaf.reading, True)
        known.low_if_valid.append((leaf.reading, lowest, f"at least {leaf.limit.text}"))
    elif isinstance(leaf, t.ReadingValid):
        return _valid(known, leaf.reading, leaf.wanted == value)
    elif isinstance(leaf, t.HeardWithin):
        least, most = known.heard.get(leaf.link, (0.0, inf))
        known.heard[leaf.link] = (least, min(most, leaf.within.si)) if value else (max(least, leaf.within.si), most)
    elif value and isinstance(leaf, t.Differs):
        return _valid(known, leaf.first, True) or _valid(known, leaf.second, True)
    elif value and isinstance(leaf, t.Changes):
        if leaf.since in pad.states and leaf.since not in pad.conditions and leaf.since != known.state:
            return f"'after {leaf.since} starts' is over in '{known.state}'"
        return _valid(known, leaf.reading, True)
    elif isinstance(leaf, t.ReachesTarget):
        if value and leaf.reading not in pad.states[known.state].targets:
            return f"'{known.state}' gives no target for '{leaf.reading}'"
    elif isinstance(leaf, t.StateIs):
        if (leaf.state == known.state) != (leaf.wanted == value):
            return f"the box stands in '{known.state}' there" if leaf.wanted == value else f"the box stands in '{known.state}'"
    elif isinstance(leaf, t.CommandIs):
        return _command(known, leaf, value)
    return ""


def _own(pad: Pad, name: str) -> str:
    part = pad.inputs[name]
    assert isinstance(part, ContactInput)
    return part.contact.word


def _level(known: _Known, name: str, level: bool) -> str:
    if known.levels.setdefault(name, level) != level:
        own = _own(known.pad, name)
        return f"'{name}' cannot be '{own}' and 'not {own}' at once"
    return ""


def _steady(known: _Known, name: str, value: bool) -> str:
    """A contact with an on-delay that is true has stood there for more than one scan."""
    condition = known.pad.conditions[name]
    term = condition.term
    lingers = condition.lingers is not None and known.pad.scans(condition.lingers.si) > 0
    if value and not lingers and condition.held and known.pad.scans(condition.held.si) > 0 and isinstance(term, t.ContactIs):
        level = (term.word == _own(known.pad, term.input)) == term.wanted
        known.steady[term.input] = (level, condition.text)
    return ""


def _valid(known: _Known, name: str, valid: bool) -> str:
    if known.valid.setdefault(name, valid) != valid:
        return f"'{name}' cannot be valid and not valid at once, and a comparison is true only while it is valid"
    return ""


def _ends(pad: Pad, limit: Quantity, until: Quantity | None) -> tuple[float, float]:
    ends = [point(pad, limit), *([point(pad, until)] if until is not None else [])]
    return min(ends), max(ends)


def _text(pad: Pad, value: float, leaf: t.AtLeast | t.Below) -> str:
    return leaf.limit.text if leaf.until is None or point(pad, leaf.limit) == value else leaf.until.text


def _command(known: _Known, leaf: t.CommandIs, value: bool) -> str:
    """In a state the last command is the state's own, unless an inhibit or the power-up changed it."""
    pad = known.pad
    inhibited = any(name.startswith(f"{leaf.output} stays ") for name in pad.inhibits)
    if inhibited or known.state == pad.first_state:
        return ""
    same = pad.commanded(known.state, leaf.output) == leaf.position
    if same != (leaf.wanted == value):
        return f"'{known.state}' commands '{leaf.output}' to '{pad.commanded(known.state, leaf.output)}'"
    return ""


