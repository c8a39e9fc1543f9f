"""States, moves, trips and inhibits: where they go, what they ask, what they move."""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput
from sequencer.description.resolve.names import Names
from sequencer.description.spelling import offer
from sequencer.description.tree import Where
from sequencer.quantities import Quantity


def check(names: Names) -> None:
    """Every finding about the sequence."""
    pad = names.pad
    for name, state in pad.states.items():
        path: Where = ("states", name)
        for output, position in state.outputs.items():
            names.need("outputs", output, (*path, "outputs", output), "an output")
            names.position(output, position, (*path, "outputs", output))
        for reading, value in state.targets.items():
            _target(names, (*path, "targets", reading), reading, value)
        for number, leave in enumerate(state.leave):
            here = (*path, "leave", number)
            names.need("states", leave.go_to, (*here, "go_to"), "a state")
            if leave.once is not None:
                once(names, (*here, "once"), leave.once)
            elif leave.not_before is None and leave.at_latest is None:
                names.say("no-reason", here, f"nothing says when '{name}' is left for '{leave.go_to}'", "once, at_latest or not_before", "write 'once: CONDITION' or 'at_latest: TIME'")
            if leave.once is None and leave.not_before is not None and leave.at_latest is not None:
                names.say("no-reason", (*here, "not_before"), "'not_before' without 'once' beside 'at_latest' says nothing", "one of the two", "take out 'not_before'")
            elif leave.not_before and leave.at_latest and leave.at_latest.si < leave.not_before.si:
                names.say("wrong-order", (*here, "at_latest"), f"'at_latest: {leave.at_latest.text}' comes before 'not_before: {leave.not_before.text}'", "the least time first", "swap the two")
    for name, trip in pad.trips.items():
        names.need("states", trip.go_to, ("trips", name, "go_to"), "a state")
        once(names, ("trips", name, "once"), trip.once)
        for number, state_name in enumerate(trip.everywhere_but):
            names.need("states", state_name, ("trips", name, "everywhere_but", number), "a state")
        for state_name in trip.because:
            names.need("states", state_name, ("trips", name, "because", state_name), "a state")
    for name, inhibit in pad.inhibits.items():
        path = ("inhibits", name)
        output, middle, position = name.partition(" stays ")
        if not middle:
            names.say("not-understood", path, f"the name '{name}' does not say what stays where", "'OUTPUT stays POSITION'", "write e.g. 'fill stays shut'")
        else:
            names.need("outputs", output, path, "an output")
            names.position(output, position, path)
        once(names, (*path, "once"), inhibit.once)


def _target(names: Names, path: Where, reading: str, value: Quantity) -> None:
    if names.need("inputs", reading, path, "an analog input", kind=AnalogInput) is not None:
        names.dimension(value, names.reading_kind(reading), path, f"what '{reading}' reads")


def once(names: Names, path: Where, written: t.Written) -> None:
    """Every name in a `once:` is a condition."""
    if "conditions" in names.open:
        return
    known = names.declared["conditions"]
    for leaf in t.leaves(written.expression):
        if not isinstance(leaf, t.Name) or leaf.name in known:
            continue
        mend = offer(leaf.name, known)
        if leaf.name in names.declared["inputs"]:
            mend = f"'{leaf.name}' is an input: give '{leaf.name} is …' a line in conditions, and use that name"
        elif leaf.name in names.declared["states"]:
            mend = f"'{leaf.name}' is a state: give 'state is {leaf.name}' a line in conditions, and use that name"
        names.say(
            "unknown-name", path, f"'{leaf.name}' is not declared in conditions", "a condition", mend,
            text=written.text, at=leaf.offset,
        )  # fmt: skip
