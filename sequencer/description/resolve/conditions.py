"""Conditions: what each one reads exists, has that word, that dimension, and stands above it."""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput
from sequencer.description.resolve.names import Names
from sequencer.description.spelling import offer
from sequencer.description.tree import Where


def check(names: Names) -> None:
    """Every finding about conditions."""
    above: list[str] = []
    order = names.declared["conditions"]
    for name, condition in names.pad.conditions.items():
        path, text, term = ("conditions", name), condition.text, condition.term
        above = order[: order.index(name)] if name in order else above
        if isinstance(term, t.ContactIs | t.Becomes):
            _contact(names, path, text, term)
        elif isinstance(term, t.AtLeast | t.Below):
            _compares(names, path, text, term)
        elif isinstance(term, t.ReadingValid):
            names.need("inputs", term.reading, path, "an analog input", kind=AnalogInput, text=text)
        elif isinstance(term, t.HeardWithin):
            names.need("inputs", term.link, path, "a heartbeat input", kind=HeartbeatInput, text=text)
        elif isinstance(term, t.Differs):
            _differs(names, path, text, term)
        elif isinstance(term, t.Changes):
            _changes(names, path, text, term, above)
        elif isinstance(term, t.ReachesTarget):
            names.need("inputs", term.reading, path, "an analog input", kind=AnalogInput, text=text)
            if term.drop is not None:
                names.dimension(term.drop, names.reading_kind(term.reading), path, f"what '{term.reading}' reads", text=text, difference=True)
        elif isinstance(term, t.StateIs):
            names.need("states", term.state, path, "a state", text=text)
        elif isinstance(term, t.CommandIs):
            names.need("outputs", term.output, path, "an output", text=text)
            names.position(term.output, term.position, path, text=text)
        elif isinstance(term, t.Combination):
            _expression(names, path, text, term.expression, above)
        else:
            _expression(names, path, text, term.set, above)
            if term.clear is not None:
                _expression(names, path, text, term.clear, above)
            if term.at_most is not None and term.at_most.si <= 0:
                names.say("not-above-zero", path, f"'{term.at_most.text}' is no time", "more than zero", text=text, word=term.at_most.text)


def _contact(names: Names, path: Where, text: str, term: t.ContactIs | t.Becomes) -> None:
    part = names.whole("inputs", term.input)
    if isinstance(part, AnalogInput | HeartbeatInput):
        way = "'is valid', 'at least …' or 'below …'" if isinstance(part, AnalogInput) else "'heard within TIME'"
        names.say("wrong-kind", path, f"'{term.input}' is no contact", f"of it one says {way}", f"write {way}", text=text, word=term.input)
    elif part is None and term.input in names.declared["conditions"]:
        names.say(
            "wrong-kind", path, f"'{term.input}' is a condition, not an input", "a contact input before 'is' and 'becomes'",
            f"write '{term.input}' alone, or 'not {term.input}'", text=text, word=term.input,
        )  # fmt: skip
    elif names.need("inputs", term.input, path, "a contact input", kind=ContactInput, text=text) is not None:
        names.contact_word(term.input, term.word, path, text)


def _compares(names: Names, path: Where, text: str, term: t.AtLeast | t.Below) -> None:
    if names.need("inputs", term.reading, path, "an analog input", kind=AnalogInput, text=text) is None:
        return
    what, kind = f"what '{term.reading}' reads", names.reading_kind(term.reading)
    fine = names.dimension(term.limit, kind, path, what, text=text)
    if term.until is None or not fine or not names.dimension(term.until, kind, path, what, text=text):
        return
    if term.limit.reference != term.until.reference:
        names.say(
            "mixed-reference", path, f"'{term.limit.text}' and '{term.until.text}' do not have the same reference",
            "the same reference in one sentence", "write 'abs' or 'gauge' after both, or after neither", text=text, word=term.until.text,
        )  # fmt: skip
    elif (term.limit.si < term.until.si) == isinstance(term, t.AtLeast):
        side = "lower" if isinstance(term, t.AtLeast) else "higher"
        names.say("wrong-drop-out", path, f"'{term.until.text}' lies on the wrong side of '{term.limit.text}'", f"a {side} value after 'until'", "swap the two", text=text, word=term.until.text)


def _differs(names: Names, path: Where, text: str, term: t.Differs) -> None:
    for reading in (term.first, term.second):
        names.need("inputs", reading, path, "an analog input", kind=AnalogInput, text=text)
    one, two = names.reading_kind(term.first), names.reading_kind(term.second)
    if one and two and one != two:
        names.say("wrong-dimension", path, f"'{term.first}' reads a {one}, '{term.second}' a {two}", "two readings of one kind", "compare like with like", text=text, word=term.second)
    elif term.first == term.second:
        names.say("wrong-kind", path, f"'{term.first}' is compared with itself", "two different readings", "name the other sensor", text=text, word=term.second)
    else:
        names.dimension(term.limit, one, path, f"what '{term.first}' reads", text=text, difference=True)


def _changes(names: Names, path: Where, text: str, term: t.Changes, above: list[str]) -> None:
    names.need("inputs", term.reading, path, "an analog input", kind=AnalogInput, text=text)
    names.dimension(term.limit, names.reading_kind(term.reading), path, f"what '{term.reading}' reads", text=text, difference=True)
    if term.over.si <= 0:
        names.say("not-above-zero", path, f"'{term.over.text}' is no time", "more than zero", text=text, word=term.over.text)
    if term.since in above or names.has("states", term.since):
        return
    _not_above(names, path, text, term.since, above, text.rfind(term.since), "a state, or a condition written above this one")


def _expression(names: Names, path: Where, text: str, expression: t.Expression, above: list[str]) -> None:
    for leaf in t.leaves(expression):
        if isinstance(leaf, t.Name) and leaf.name not in above and "conditions" not in names.open:
            _not_above(names, path, text, leaf.name, above, leaf.offset, "a condition written above this one")


def _not_above(names: Names, path: Where, text: str, word: str, above: list[str], at: int, required: str) -> None:
    if word == path[-1]:
        names.say("names-itself", path, f"'{word}' is said by itself", required, "say it by what it reads", text=text, at=at)
    elif word in names.declared["conditions"]:
        names.say(
            "written-below", path, f"'{word}' is written below '{path[-1]}'", required,
            f"move the line of '{word}' above this one: conditions are worked out in written order", text=text, at=at,
        )  # fmt: skip
    elif word in names.declared["inputs"]:
        names.say(
            "wrong-kind", path, f"'{word}' is an input, not a condition", required,
            f"give '{word} is …' its own line above, and use that name", text=text, at=at,
        )  # fmt: skip
    else:
        names.say("unknown-name", path, f"'{word}' is not declared in conditions", required, offer(word, above), text=text, at=at)
