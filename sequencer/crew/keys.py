"""One key for each thing a crew member can do on this pad, with the words it stands for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.crew.words import spoken
from sequencer.description.box import ContactInput
from sequencer.description.grounds import DialPart, HeadPart, LinePart, PinPart, SupplyPart, SwitchPlace
from sequencer.description.pad import Pad

LETTERS = "1234567890abcdefghijklmnortuvwxyzABCDEFGHIJKLMNORTUVWXYZ"  # p, q and s have a meaning of their own
LONG_S = 2.0


@dataclass(frozen=True)
class Key:
    """A key with its label and its two orders: `off` is given when `on` was given last ('' for a plain press)."""

    key: str
    label: str
    on: str
    off: str = ""


def keys(pad: Pad) -> tuple[Key, ...]:
    """The keys of a pad, calls first, then switches, hands, walks and dials, in file order."""
    made = list(_all(pad))
    return tuple(Key(letter, label, on, off) for letter, (label, on, off) in zip(LETTERS, made, strict=False))


def _all(pad: Pad) -> Iterator[tuple[str, str, str]]:
    yield "call stop", "say stop", ""
    moved = {part.seen_by for part in pad.site.values() if isinstance(part, HeadPart | PinPart | SwitchPlace)}
    for name, part in pad.inputs.items():
        if isinstance(part, ContactInput) and name not in moved:
            yield _switch(pad, name, part)
    for name, site in pad.site.items():
        if isinstance(site, HeadPart):
            yield f"close {spoken(name)}", f"{_who(pad, name)}set {name}: latched", ""
        elif isinstance(site, PinPart):
            yield f"{spoken(name)} in/out", f"{_who(pad, name)}set {name}: in", f"{_who(pad, name)}set {name}: out"
        elif isinstance(site, SupplyPart) and site.hand_valve or isinstance(site, LinePart) and site.opened_by == "hand":
            yield f"{spoken(name)} open/shut", f"{_who(pad, name)}set {name}: open", f"{_who(pad, name)}set {name}: shut"
    for role in dict.fromkeys(step.who for step in pad.crew.steps if step.walk):
        yield f"{spoken(role)} in/out", f"{role}: walk in", f"{role}: walk out"
    for name in pad.parts(DialPart):
        yield f"read {spoken(name)}", f"{_who(pad, name)}read {name}", ""


def _switch(pad: Pad, name: str, part: ContactInput) -> tuple[str, str, str]:
    who, word = _who(pad, name), part.contact.word
    if any(name in step.set for step in pad.crew.steps):
        return f"{spoken(name)} {word}/not", f"{who}set {name}: {word}", f"{who}set {name}: not {word}"
    long = any(step.press == name and step.held is not None and step.held.si >= LONG_S for step in pad.crew.steps)
    if long or "stop" in name:
        return f"hold {spoken(name)}", f"{who}hold {name}", f"{who}let go {name}"
    return f"press {spoken(name)}", f"{who}press {name}", ""


def _who(pad: Pad, name: str) -> str:
    """The role that a step gives this to, as the beginning of an order; '' where no step does."""
    for step in pad.crew.steps:
        if name == step.press or name == step.read or name in step.set:
            return f"{step.who}: "
    return ""
