"""Inputs and outputs: calibration points, valid bands, rest positions, and names that must differ."""

from __future__ import annotations

import re

from sequencer.description.box import AnalogInput, ContactInput, RelayOutput, ServoOutput, positions
from sequencer.description.grounds import HeadPart, VolumePart
from sequencer.description.resolve.names import Names
from sequencer.description.thresholds import point
from sequencer.description.tree import TRUTHS
from sequencer.errors import Place


def check(names: Names) -> None:
    """Every finding about inputs and outputs."""
    _distinct(names)
    for name, part in names.pad.inputs.items():
        if isinstance(part, AnalogInput):
            _analog(names, name, part)
        elif not isinstance(part, ContactInput) and part.heartbeat.si <= 0:
            names.say("not-above-zero", ("inputs", name, "heartbeat"), f"'every {part.heartbeat.text}' is no period", "more than zero")
    for name in names.pad.outputs:
        _output(names, name)
    used: dict[str, Place] = {}
    for section in ("inputs", "outputs"):
        for name in getattr(names.pad, section):
            _terminal(names, section, name, used)


def _distinct(names: Names) -> None:
    seen: dict[str, str] = {}
    for section in ("inputs", "outputs", "site"):
        for name in names.declared[section]:
            if name in seen:
                names.say(
                    "same-name", (section, name), f"'{name}' stands in {seen[name]} and in {section}",
                    "one name for one thing: faults and steps call parts by name", "give one of them another name",
                )  # fmt: skip
            seen.setdefault(name, section)
            if name in ("air", "hand", "line", "box") or name == "pad" and section != "site":
                names.say("same-name", (section, name), f"'{name}' already means something", "a name of its own", "give it another name")
    for name in names.declared["conditions"]:
        if name in names.declared["states"]:
            names.say(
                "same-name", ("conditions", name), f"'{name}' is a condition and a state", "one name for one thing",
                "give one of them another name",
            )  # fmt: skip


def _analog(names: Names, name: str, part: AnalogInput) -> None:
    path, most = ("inputs", name), 2**part.analog - 1
    kinds = {quantity.kind for quantity in part.points.values()}
    if len(part.points) != 2:
        names.say("calibration", (*path, "points"), f"{len(part.points)} calibration points", "two: {counts: quantity, counts: quantity}", "give two points")
        return
    for text in part.points:
        if not re.fullmatch(r"0|[1-9][0-9]{0,5}", text) or int(text) > most:
            names.say("calibration", (*path, "points", text), f"'{text}' is no count of this converter", f"a whole number from 0 to {most}", "write the raw counts before the colon", word=text)
            return
    if len(kinds) != 1:
        names.say("wrong-dimension", (*path, "points"), "the two calibration points are of different kinds", "two quantities of one kind", "use the same kind of unit in both")
        return
    (one, first), (two, second) = part.points.items()
    if int(one) == int(two) or point(names.pad, first) == point(names.pad, second):
        names.say("calibration", (*path, "points"), "the two calibration points are the same", "two different counts and values", "take points far apart")
    if first.kind == "pressure" and first.reference != second.reference:
        names.say(
            "mixed-reference", (*path, "points"), "one calibration point says its reference, the other does not, or another",
            "the same reference in both", "write 'abs' or 'gauge' after both, or after neither",
        )  # fmt: skip
    kind = first.kind
    names.dimension(part.accuracy, kind, (*path, "accuracy"), f"what '{name}' reads", difference=True)
    if part.noise is not None and part.noise.si > 0:
        names.dimension(part.noise, kind, (*path, "noise"), f"what '{name}' reads", difference=True)
    if part.valid.high > most:
        names.say("calibration", (*path, "valid"), f"the valid band ends at {part.valid.high}", f"at most {most} counts", f"a {part.analog} bit converter gives 0 to {most}")
    _reads(names, name, part, kind)


def _reads(names: Names, name: str, part: AnalogInput, kind: str) -> None:
    path, text = ("inputs", name, "reads"), part.reads
    if text in ("supply voltage", "wind"):
        wanted = "voltage" if text == "supply voltage" else "speed"
    elif text.startswith("load on "):
        names.need("site", text.removeprefix("load on "), path, "a release head of the site", kind=HeadPart, text=text)
        wanted = "force"
    else:
        names.need("site", text, path, "a volume of the site, 'load on HEAD', 'supply voltage' or 'wind'", kind=VolumePart, text=text)
        wanted = "pressure"
    if kind != wanted:
        names.say("wrong-dimension", ("inputs", name, "points"), f"'{name}' reads {text}, but its points are a {kind}", f"a {wanted}", "use the right unit in the points")


def _output(names: Names, name: str) -> None:
    output, path = names.pad.outputs[name], ("outputs", name)
    known = positions(output)
    servo = isinstance(output, ServoOutput)
    if len(set(known)) != len(known):
        names.say("same-name", path, f"two positions of '{name}' have one name", "positions that differ", "rename one")
    if not servo and len(set(known)) == len(known) and any(len(group & {word.lower() for word in known}) > 1 for group in TRUTHS):
        names.say("same-truth", path, f"two positions of '{name}' are one and the same word to many YAML readers", "positions that every reader keeps apart", "use other words")
    if "stays" in known:
        names.say("same-name", path, "'stays' is no position but a way to rest", "another word for the position", "rename it")
    if servo and output.rest != "stays":
        names.say("unknown-position", (*path, "rest"), f"'{output.rest}': without power a servo stays where it is", "rest: stays", "write 'rest: stays'")
    elif not servo and output.rest == "stays":
        names.say("unknown-position", (*path, "rest"), "only a servo stays where it is without power", f"one of: {', '.join(known)}", "name the position without power")
    elif not servo:
        names.position(name, output.rest, (*path, "rest"))
        if output.rest in known and output.rest != known[0]:
            names.say("unknown-position", (*path, "rest"), f"'{output.rest}' stands second in the list of '{name}'", "first the position without power", f"write [{output.rest}, {known[0]}]")
    if output.while_booting is not None:
        names.position(name, output.while_booting, (*path, "while_booting"))
    if isinstance(output, ServoOutput):
        if output.powered_by is not None:
            names.need("outputs", output.powered_by, (*path, "powered_by"), "a relay output", kind=RelayOutput)
        for word, pulse in output.servo.items():
            if not 0.0005 <= pulse.si <= 0.0025:
                names.say("pulse", (*path, "servo", word), f"'{pulse.text}' is no servo pulse", "500 us to 2500 us", "look at the unit: us, not ms")


def _terminal(names: Names, section: str, name: str, used: dict[str, Place]) -> None:
    text = getattr(names.pad, section)[name].terminal
    end = text.split(" ")[0] if text else ""
    if not re.fullmatch(r"[A-Z]{1,4}[0-9]{1,3}", end):  # a pin of the board; other words may be shared
        return
    place = names.tree.place((section, name, "terminal"))
    if end in used:
        names.say("same-terminal", (section, name, "terminal"), f"terminal '{end}' is already taken in line {used[end].line}", "one wire on one terminal", "look at the wiring")
    used.setdefault(end, place)
