"""Faults and acts as people write them, made into events.

'PART: MODE at TIME', 'PART: MODE in STATE', 'PART: MODE in STATE after TIME' (drills), 'PART:MODE@TIME'
(command line); acts 'press stop in holding', 'set key: not turned at 90 s', 'walk pad_hand in at 5 s',
'blink power in filling', 'hold button at 3 s', 'mend radio in holding', 'burst bottle in filling'.
"""

from __future__ import annotations

import difflib
import re

from sequencer.description.box import ContactInput
from sequencer.description.crew import Drill
from sequencer.description.faults import Fault, faults
from sequencer.description.grounds import VolumePart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.quantities import QuantityError, parse, to_gauge
from sequencer.simulation.events import (
    Action,
    At,
    Blink,
    Event,
    Hold,
    InState,
    Mend,
    Moment,
    PowerOff,
    Press,
    SetPressure,
    Strike,
    Switch,
    Walk,
)
from sequencer.simulation.steps import setting


def fault(pad: Pad, text: str, default: str = "0 s") -> Event:
    """'PART: MODE at TIME' or '… in STATE' as an event; raises SequencerError naming the nearest spelling."""
    known = faults(pad)
    wanted = " ".join(text.split())
    fits = [f for f in known if wanted == f.name or wanted.startswith(f.name + " ")]
    if not fits:
        raise SequencerError(_unknown(known, re.split(r" (?:at|in) ", wanted)[0]))
    found = max(fits, key=lambda f: len(f.name))
    moment = _moment(pad, wanted[len(found.name) :].strip() or f"at {default}", text)
    return Event(moment, Strike(found.part, found.mode))


def fault_on_line(pad: Pad, text: str) -> Event:
    """'PART:MODE@TIME' or 'PART:MODE@STATE'; without '@' at 0 s."""
    name, at, when = text.partition("@")
    part, colon, mode = name.partition(":")
    if not colon:
        raise SequencerError(f"'{text}' is no fault; required: PART:MODE@TIME, e.g. {faults(pad)[0].name.replace(': ', ':')}@30s")
    spaced = re.sub(r"(?<=\d)(?=[a-z])", " ", when.strip()) if re.match(r"\d", when.strip()) else when.strip()
    order = "" if not at else f" at {spaced}" if re.match(r"\d", spaced) else f" in {spaced}"
    if at and re.match(r"-\s*\d", spaced):
        raise SequencerError(f"'{text}': a fault strikes at 0 s or later; required: PART:MODE@TIME or PART:MODE@STATE")
    return fault(pad, f"{part.strip()}: {mode.strip()}{order}")


def _unknown(known: tuple[Fault, ...], asked: str) -> str:
    part, _, mode = asked.partition(":")
    parts = list(dict.fromkeys(f.part for f in known))
    if part in parts:
        modes = [f.mode for f in known if f.part == part]
        near = difflib.get_close_matches(mode.strip(), modes, n=1, cutoff=0.5)
        hint = f"; did you mean '{part}: {near[0]}'?" if near else "."
        return f"'{asked}' is no fault of {part}{hint} It can have: {', '.join(modes)}"
    likely = difflib.get_close_matches(part, parts, n=1)
    near = difflib.get_close_matches(asked, [f.name for f in known if f.part in likely or not likely], n=1) or likely
    hint = f"; did you mean '{near[0]}'?" if near else "."
    return f"'{asked}': there is no part '{part}' that can fail{hint} Parts: {', '.join(parts)}"


def _moment(pad: Pad, text: str, whole: str) -> Moment:
    """'at TIME', 'in STATE' or 'in STATE after TIME'."""
    word, _, rest = text.partition(" ")
    if word == "at":
        return At(_ms(rest, whole))
    state, _, after = rest.partition(" after ")
    if word != "in" or state not in pad.states:
        near = difflib.get_close_matches(state, list(pad.states), n=1)
        hint = f"; did you mean '{near[0]}'?" if near else f"; states are {', '.join(pad.states)}"
        raise SequencerError(f"'{whole}': no moment in '{text}'; required: 'at TIME' or 'in STATE'{hint}")
    return InState(state, _ms(after, whole) if after else 0)


def _ms(text: str, whole: str) -> int:
    try:
        return round(parse(text, "time").si * 1000)
    except QuantityError as error:
        raise SequencerError(f"'{whole}': {error.message}; required: {error.required}. {error.mend}") from error



def act(pad: Pad, text: str) -> Event:
    """One act of a drill; raises SequencerError for what nobody can do here."""
    words = " ".join(text.split())
    for cut in [m.start() for m in re.finditer(r" (?:at|in)(?= )", words)][::-1]:
        try:
            moment = _moment(pad, words[cut + 1 :], text)
        except SequencerError:
            continue
        return Event(moment, _action(pad, words[:cut], text), "someone")
    raise SequencerError(f"'{text}': when is not said; required: 'at TIME', 'in STATE' or 'in STATE after TIME' at its end")


def _action(pad: Pad, words: str, whole: str) -> Action:
    verb, _, what = words.partition(" ")
    if verb in ("press", "hold"):
        name, _, held = what.partition(" for ")
        if not isinstance(pad.inputs.get(name), ContactInput):
            near = difflib.get_close_matches(name, list(pad.inputs), n=1)
            raise SequencerError(f"'{whole}': there is no switch '{name}'" + (f"; did you mean '{near[0]}'?" if near else ""))
        if verb == "hold" and not held:
            return Hold(name)
        return Press(name, _ms(held, whole) if held else 300)
    if verb == "set":
        name, colon, word = what.partition(":")
        if colon:
            return setting(pad, name.strip(), word.strip())
    if verb == "walk":
        role, _, direction = what.partition(" ")
        if role in pad.crew.roles and direction in ("in", "out"):
            return Walk(role, direction)
    if verb == "mend":
        if what not in {known.part for known in faults(pad)}:
            raise SequencerError(f"'{whole}': there is no part '{what}' that can fail")
        return Mend(what)
    if verb == "burst" and isinstance(pad.site.get(what), VolumePart):
        return SetPressure(what, 0.0)
    if (verb, what) == ("blink", "power"):
        return Blink()
    if (verb, what) == ("cut", "power"):
        return PowerOff()
    raise SequencerError(
        f"'{whole}' is not understood; required: press INPUT, hold INPUT, set NAME: WORD, walk ROLE in, "
        "mend PART, burst VOLUME, blink power or cut power"
    )


def drill_events(pad: Pad, drill: Drill) -> list[Event]:
    """A drill's starts, faults and acts as events; raises SequencerError."""
    events = []
    for name, text in drill.starts.items():
        if name in pad.inputs:
            events.append(Event(At(0), Switch(name, text)))
            continue
        try:
            events.append(Event(At(0), SetPressure(name, to_gauge(parse(text, "pressure"), pad.pressures))))
        except QuantityError:
            events.append(Event(At(0), setting(pad, name, text)))
    events += [fault(pad, text) for text in drill.faults]
    return events + [act(pad, text) for text in drill.acts]
