"""Interlocks and other statements about the pad: every word in them means something of this file."""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.grounds import HeadPart, PinPart, SupplyPart, VolumePart
from sequencer.description.resolve.names import Names
from sequencer.description.sequence import Always, Lasts, Must, Never, Reaction, Start
from sequencer.description.spelling import offer
from sequencer.description.tree import Where


def check(names: Names) -> None:
    """Every finding about interlocks."""
    for name, rule in names.pad.interlocks.items():
        path: Where = ("interlocks", name)
        if isinstance(rule, Never):
            fact(names, (*path, "never"), rule.never)
        elif isinstance(rule, Start):
            _start(names, (*path, "start"), rule.start)
            fact(names, (*path, "needs"), rule.needs)
        elif isinstance(rule, Reaction):
            fact(names, (*path, "cause"), rule.cause)
            fact(names, (*path, "effect"), rule.effect)
        elif isinstance(rule, Must):
            fact(names, (*path, "cause"), rule.cause)
            fact(names, (*path, "must"), rule.must)
        elif isinstance(rule, Lasts):
            fact(names, (*path, "lasts"), rule.lasts)
            if rule.at_least is None and rule.at_most is None:
                names.say("no-reason", path, "it is not said how long it lasts", "at_least, at_most or both", "write 'at_most: TIME'")
        elif isinstance(rule, Always) and rule.always_possible != "gas can leave":
            names.need("states", rule.always_possible, (*path, "always_possible"), "a state, or 'gas can leave'")


def _start(names: Names, path: Where, text: str) -> None:
    output, middle, position = text.partition(" to ")
    if not middle:
        names.say("not-understood", path, f"'{text}' does not say what starts", "'OUTPUT to POSITION', 'state to NAME' or 'STATE to NAME'", "write e.g. 'release to pulled'")
        return
    if not names.has("outputs", output) and (output == "state" or output in names.declared["states"]):
        if output == "state" and position == next(iter(names.declared["states"]), None):
            names.say(
                "not-understood", path, f"'{position}' is where power-up lands, whatever is true then", "a state that a row leads to",
                "ask it of the rows that lead on from there", text=text, word=position,
            )  # fmt: skip
        names.need("states", position, path, "a state", text=text)
        return
    names.need("outputs", output, path, "an output", text=text)
    names.position(output, position, path, text=text)


def fact(names: Names, path: Where, written: t.Written) -> None:
    """Every leaf of a statement about the pad."""
    for leaf in t.leaves(written.expression):
        _leaf(names, path, written.text, leaf)


def _leaf(names: Names, path: Where, text: str, leaf: t.Expression) -> None:
    if isinstance(leaf, t.PressureIs):
        names.need("site", leaf.volume, path, "a volume or a supply of the site", kind=(VolumePart, SupplyPart), text=text)
        names.dimension(leaf.limit, "pressure", path, f"the pressure of '{leaf.volume}'", text=text)
    elif isinstance(leaf, t.CommandedTo):
        _commanded(names, path, text, leaf)
    elif isinstance(leaf, t.HeadIs):
        names.need("site", leaf.head, path, "a release head of the site", kind=HeadPart, text=text)
    elif isinstance(leaf, t.SwitchIs):
        if names.whole("outputs", leaf.input) is not None:
            names.say(
                "wrong-kind", path, f"'{leaf.input}' is an output", "'OUTPUT POSITION' without 'is'", f"write '{leaf.input} {leaf.word}'",
                text=text, word=leaf.input,
            )  # fmt: skip
        elif names.need("inputs", leaf.input, path, "a contact input", kind=ContactInput, text=text) is not None:
            names.contact_word(leaf.input, leaf.word, path, text)
    elif isinstance(leaf, t.PinIs):
        names.need("site", leaf.pin, path, "a locking pin of the site", kind=PinPart, text=text)
    elif isinstance(leaf, t.StateIs):
        names.need("states", leaf.state, path, "a state", text=text)
    elif isinstance(leaf, t.BoxSays) and "conditions" not in names.open:
        names.need("conditions", leaf.condition, path, "a condition", text=text)


def _commanded(names: Names, path: Where, text: str, leaf: t.CommandedTo) -> None:
    if names.has("outputs", leaf.output):
        names.position(leaf.output, leaf.position, path, text=text)
        return
    known = names.declared["outputs"] + names.declared["site"]
    if leaf.output in names.declared["inputs"]:
        mend = f"of an input one says '{leaf.output} is …'"
    elif leaf.output in names.declared["conditions"]:
        mend = f"of a condition one says 'box says {leaf.output}'"
    elif leaf.output in names.declared["states"]:
        mend = f"of a state one says 'state is {leaf.output}'"
    elif leaf.output in names.declared["site"]:
        mend = "of a volume: 'at least …', 'below …'; of a head: 'latched', 'let go'; of a pin: 'in', 'out'; of a line: 'open', 'shut'"
    else:
        mend = offer(leaf.output, known)
    names.say(
        "unknown-name", path, f"'{leaf.output} {leaf.position}' means nothing here",
        "'OUTPUT POSITION', 'INPUT is WORD', 'VOLUME at least PRESSURE', 'someone on the pad', …", mend, text=text, word=leaf.output,
    )  # fmt: skip
