"""The day: crew, steps, cards, drills, and the lists of faults left out, shared and rated."""

from __future__ import annotations

import re

from sequencer.description.box import ContactInput
from sequencer.description.crew import Drill, Step
from sequencer.description.faults import faults
from sequencer.description.grounds import (
    DialPart,
    HeadPart,
    LinePart,
    PinPart,
    SupplyPart,
    TestLoadPart,
    VolumePart,
)
from sequencer.description.resolve.names import Names
from sequencer.description.resolve.rules import fact
from sequencer.description.spelling import nearest, offer
from sequencer.description.tree import Where
from sequencer.quantities import QuantityError, parse

SLIPS = ("skip", "double", "early", "late", "swap")
_WORDS: dict[type, tuple[str, ...]] = {LinePart: ("open", "shut"), SupplyPart: ("open", "shut"), PinPart: ("in", "out"), HeadPart: ("latched",)}


def check(names: Names) -> None:
    """Every finding about the day."""
    pad = names.pad
    for number, step in enumerate(pad.crew.steps):
        _step(names, ("crew", "steps", number), step)
    for name, card in pad.cards.items():
        for number, state in enumerate(card.states):
            names.need("states", state, ("cards", name, "states", number), "a state")
    known = [one.name for one in faults(pad)]
    for name, drill in pad.drills.items():
        _drill(names, ("drills", name), drill, known)
    for number, left in enumerate(pad.left_out):
        fault(names, ("left_out", number, "fault"), left.fault, known)
    for name, shared in pad.shared.items():
        for number, text in enumerate(shared):
            fault(names, ("shared", name, number), text, known)
    for text in pad.rates:
        fault(names, ("rates", text), text, known)


def fault(names: Names, path: Where, text: str, known: list[str]) -> None:
    """Say so when 'PART: MODE' is no fault of this pad."""
    if text in known:
        return
    part, colon, mode = text.partition(":")
    if any((section, part) in names.aside or section in names.open for section in ("inputs", "outputs", "site")):
        return
    own = [one for one in known if one.startswith(f"{part}: ")]
    parts = list(dict.fromkeys(one.split(":")[0] for one in known))
    if not colon:
        names.say("unknown-fault", path, f"'{text}' is no fault", "'PART: MODE'", f"write e.g. '{nearest(text, known) or (known or ['…'])[0]}'")
    elif own:
        modes = [one.split(": ", 1)[1] for one in own]
        names.say("unknown-fault", path, f"'{part}' has no fault '{mode.strip()}'", f"one of: {', '.join(modes)}", offer(mode.strip(), modes), text=text, word=mode.strip())
    else:
        names.say("unknown-fault", path, f"no part '{part}' here can fail", f"one of: {', '.join(parts)}", offer(part, parts), text=text, word=part)


def _step(names: Names, path: Where, step: Step) -> None:
    names.need("roles", step.who, (*path, "who"), "a role of the crew")
    for key in ("during", "wait_for"):
        state = getattr(step, key)
        if state is not None:
            names.need("states", state, (*path, key), "a state")
    for name, word in step.set.items():
        _setting(names, (*path, "set", name), name, word)
    if step.press is not None:
        names.need("inputs", step.press, (*path, "press"), "a contact input", kind=ContactInput)
    elif step.held is not None:
        names.say("no-reason", (*path, "held"), "'held' without 'press' says nothing", "press: INPUT", "write what is pressed, or take it out")
    if step.read is not None:
        names.need("site", step.read, (*path, "read"), "a dial of the site", kind=DialPart)
    if step.shows is not None:
        fact(names, (*path, "shows"), step.shows)
    if step.at_most is not None and step.wait_for is None and step.during is None:
        names.say("no-reason", (*path, "at_most"), "'at_most' without 'wait_for' says nothing", "wait_for: STATE", "write what is waited for, or take it out")
    for number, role in enumerate(step.poll):
        names.need("roles", role, (*path, "poll", number), "a role of the crew")


def _setting(names: Names, path: Where, name: str, word: str) -> None:
    """'NAME: WORD' that a hand can set: a contact, a hand valve, a pin, a head, a jack."""
    if isinstance(names.whole("inputs", name), ContactInput):
        names.contact_word(name, word, path, word)
        return
    part = names.whole("site", name)
    if part is None:
        if not names.has("inputs", name) and not names.has("site", name):
            contacts = [one for one, part in names.pad.inputs.items() if isinstance(part, ContactInput)]
            parts = [one for one, part in names.pad.site.items() if type(part) in _WORDS]
            names.say("unknown-name", path, f"'{name}' is nothing that a hand can set", "a contact input, a hand valve, a pin or a head", offer(name, contacts + parts), word=name)
        elif names.whole("inputs", name) is not None:
            names.say("wrong-kind", path, f"'{name}' is no contact", "a contact input, a hand valve, a pin or a head", "name the switch")
        return
    if isinstance(part, TestLoadPart):
        try:
            parse(word, "force")
        except QuantityError as error:
            names.say("not-understood", path, error.message, error.required, error.mend)
        return
    known = _WORDS.get(type(part))
    driven = isinstance(part, LinePart) and part.opened_by != "hand"
    if known is None or driven:
        names.say("wrong-kind", path, f"'{name}' is nothing that a hand can set", "a contact input, a hand valve, a pin or a head", "name the switch or the hand valve")
    elif word not in known:
        names.say("unknown-word", path, f"'{word}' is no word of '{name}'", f"one of: {', '.join(known)}", offer(word, known))


def _drill(names: Names, path: Where, drill: Drill, known: list[str]) -> None:
    for number, text in enumerate(drill.faults):
        here = (*path, "faults", number)
        found = re.fullmatch(r"(.+?: .+?) ((?:at|in) .+)", text)
        name = next((one for one in sorted(known, key=len, reverse=True) if text == one or text.startswith(one + " ")), None)
        if name is None:
            fault(names, here, found[1] if found else text, known)
            continue
        if text != name:
            _moment(names, here, text, text[len(name) + 1 :])
    lines = len(names.pad.crew.steps)
    if drill.up_to is not None and not 1 <= drill.up_to <= lines and "crew" not in names.open:
        names.say("not-understood", (*path, "up_to"), f"there is no line {drill.up_to}", f"a line from 1 to {lines}", "number the lines as the checklist does, from 1")
    for number, text in enumerate(drill.slips):
        found = re.fullmatch(rf"({'|'.join(SLIPS)}) ([1-9][0-9]?[0-9]?)", text)
        if not found or int(found[2]) > len(names.pad.crew.steps) and "crew" not in names.open:
            names.say(
                "not-understood", (*path, "slips", number), f"'{text}' is no slip",
                f"one of {', '.join(SLIPS)}, and a step from 1 to {len(names.pad.crew.steps)}", "write e.g. 'skip 3'",
            )  # fmt: skip
    for number, text in enumerate(drill.acts):
        _act(names, (*path, "acts", number), text)
    for name, word in drill.starts.items():
        if isinstance(names.whole("site", name), VolumePart | SupplyPart):
            try:
                parse(word, "pressure")
            except QuantityError as error:
                names.say("not-understood", (*path, "starts", name), error.message, error.required, error.mend)
        else:
            _setting(names, (*path, "starts", name), name, word)
    for number, state in enumerate(drill.ends):
        names.need("states", state, (*path, "ends", number), "a state")
    if drill.expect is not None:
        fact(names, (*path, "expect"), drill.expect)


def _moment(names: Names, path: Where, text: str, moment: str) -> bool:
    word, _, rest = moment.partition(" ")
    state, _, after = rest.partition(" after ")
    time = rest if word == "at" else after
    if word not in ("at", "in") or not rest:
        names.say("not-understood", path, f"'{moment}' in '{text}' is no moment", "'at TIME', 'in STATE' or 'in STATE after TIME'", "write e.g. 'at 30 s'", text=text, word=moment)
        return False
    if word == "in":
        names.need("states", state, path, "a state", text=text)
    if time:
        try:
            parse(time, "time")
        except QuantityError as error:
            names.say("not-understood", path, error.message, error.required, error.mend, text=text, word=time)
            return False
    return True


def _act(names: Names, path: Where, text: str) -> None:
    cuts = [match.start() for match in re.finditer(r" (?:at|in)(?= )", text)]
    required = "press INPUT, hold INPUT, set NAME: WORD, walk ROLE in, mend PART, burst VOLUME, blink power or cut power; then 'at TIME' or 'in STATE'"
    cut = cuts[-1] if cuts else 0
    if not cuts or not _moment(names, path, text, text[cut + 1 :]):
        if not cuts:
            names.say("not-understood", path, f"'{text}' does not say when", required, "write e.g. 'press stop in filling'")
        return
    verb, _, what = text[:cut].partition(" ")
    if verb in ("press", "hold"):
        names.need("inputs", what.partition(" for ")[0], path, "a contact input", kind=ContactInput, text=text)
    elif verb == "set" and ":" in what:
        name, _, word = what.partition(":")
        _setting(names, path, name.strip(), word.strip())
    elif verb == "walk" and what.partition(" ")[2] in ("in", "out"):
        names.need("roles", what.partition(" ")[0], path, "a role of the crew", text=text)
    elif verb == "burst":
        names.need("site", what, path, "a volume", kind=VolumePart, text=text)
    elif verb == "mend":
        if not any(names.has(section, what) for section in ("inputs", "outputs", "site")):
            names.need("site", what, path, "a part that can fail", text=text)
    elif (verb, what) not in (("blink", "power"), ("cut", "power")):
        names.say("not-understood", path, f"'{text[:cut]}' is not understood", required, offer(verb, ("press", "hold", "set", "walk", "mend", "burst", "blink", "cut")))
