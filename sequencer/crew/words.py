"""How the file's names and numbers are said to people: on paper, on the screen, in a debrief."""

from __future__ import annotations

import re

from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput, LampOutput
from sequencer.description.pad import Pad
from sequencer.quantities import UNITS, factor, show

CAUTIONS = (
    "Printed from a model of the pad. It checks no hardware and certifies nothing.",
    "Stored gas can kill: keep people away whatever the box says.",
    "Hardware relief, a mechanical locking pin and dumps that open on power loss are not optional.",
    "The local code, the site's rules and the range safety officer come first; get qualified advice on pressure equipment.",
)


def spoken(name: str) -> str:
    """'range_officer' as it is said: 'range officer'."""
    return name.replace("_", " ")


_TIE = re.compile(rf"(?<=\d) (?=({'|'.join(sorted(map(re.escape, UNITS), key=len, reverse=True))})(?![A-Za-z]))")


def tied(text: str) -> str:
    """The text with its numbers tied to their units, so that '60 s' is never broken over a line end."""
    return _TIE.sub("\u00a0", text)


def clock(seconds: float) -> str:
    """A duration as people say it: '45 s', '2 min', '1 min 30 s'."""
    whole = round(seconds)
    if seconds < 10 and abs(seconds - whole) > 0.05:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(whole, 60)
    if not minutes:
        return f"{rest} s"
    return f"{minutes} min" if not rest else f"{minutes} min {rest} s"


def bar(pascal: float) -> str:
    """A gauge pressure in bar, two decimals: people compare it with a dial."""
    return f"{pascal / 1e5:z.2f} bar"


def kgf(newton: float) -> str:
    """A force in kilograms-force, to a tenth below a hundred of them."""
    force = newton / factor("kgf")[0]
    return "0 kgf" if abs(force) < 0.05 else f"{force:.1f} kgf" if abs(force) < 100.0 else show(newton, "kgf")


def lit(pad: Pad, state: str) -> str:
    """What lamps and horns show in a state: 'beacon lit, horn sounding', or 'all dark'."""
    shown = []
    for name, output in pad.outputs.items():
        if isinstance(output, LampOutput):
            position = pad.commanded(state, name)
            if position == output.lamp[1]:
                shown.append(f"{spoken(name)} {position}")
    return ", ".join(shown) or "all dark"


def moved(pad: Pad, state: str) -> str:
    """What valves, relays and servos are commanded to in a state, those away from their first position."""
    away = [
        f"{spoken(name)} {pad.commanded(state, name)}"
        for name, output in pad.outputs.items()
        if not isinstance(output, LampOutput) and pad.commanded(state, name) != pad.output_positions[name][0]
    ]
    return ", ".join(away) or "all at rest"


def sensed(pad: Pad, name: str) -> str:
    """What an input is, for the wiring table."""
    part = pad.inputs[name]
    if isinstance(part, ContactInput):
        return str(part.contact)
    if isinstance(part, AnalogInput):
        return f"reads {part.reads}"
    assert isinstance(part, HeartbeatInput)
    return f"heard {part.heartbeat.text}" if part.heartbeat.text.startswith("every") else f"heard every {part.heartbeat.text}"


def if_cut(pad: Pad, name: str) -> str:
    """What the box reads when this input's wire is cut, or what its output does without its wire."""
    if name in pad.inputs:
        part = pad.inputs[name]
        if isinstance(part, ContactInput):
            word = part.contact.word
            return f"reads not {word}" if part.contact.closed_means_word else f"reads {word}"
        return "reading invalid" if isinstance(part, AnalogInput) else "not heard"
    rest = pad.outputs[name].rest
    return "stays where it is" if rest == "stays" else f"goes {rest}"
