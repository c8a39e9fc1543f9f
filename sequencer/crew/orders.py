"""The words of a rehearsal: what a crew member, the script or the director of the evening may order.

`WHO: VERB WHAT`, e.g. 'director: press arm', 'pad_lead: walk in', 'filler: read dial_lower', 'director: say go'.
Without WHO: next, skip, fault PART: MODE, and everything that needs no name.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from sequencer.description.box import ContactInput
from sequencer.description.grounds import DialPart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.simulation.orders import act, fault

VERBS = ("press", "hold", "let go", "set", "walk", "read", "say", "next", "skip", "fault", "mend", "blink", "cut", "burst")
ALONE = ("next", "skip")


@dataclass(frozen=True)
class Order:
    """One order, understood. `who` is a role or ''."""

    who: str
    verb: str
    what: str


def read_order(pad: Pad, text: str) -> Order:
    """Understand one order; raises SequencerError saying what was wanted, with the nearest spelling."""
    words = " ".join(text.split())
    head, colon, rest = words.partition(":")
    who = ""
    name = head.strip().replace(" ", "_")
    if colon and name in pad.crew.roles:
        who, words = name, rest.strip()
    verb = next((v for v in sorted(VERBS, key=len, reverse=True) if words == v or words.startswith(v + " ")), None)
    if verb is None:
        near = difflib.get_close_matches(words.split(" ")[0] if words else "", VERBS, n=1)
        hint = f"; did you mean '{near[0]}'?" if near else f"; required: WHO: and one of {', '.join(VERBS)}"
        raise SequencerError(f"'{text}' is not understood{hint}")
    what = words[len(verb) :].strip()
    if (verb in ALONE) == bool(what):
        raise SequencerError(f"'{text}': '{verb}' {'stands alone' if what else 'of what?'}")
    return Order(who, verb, _checked(pad, who, verb, what, text))


def _checked(pad: Pad, who: str, verb: str, what: str, text: str) -> str:
    """`what` completed and known to mean something on this pad."""
    if verb == "walk":
        if what in ("in", "out"):
            if not who:
                raise SequencerError(f"'{text}': who walks? required: ROLE: walk in")
            what = f"{who} {what}"
    elif verb == "read":
        if what not in pad.parts(DialPart):
            raise SequencerError(f"'{text}': there is no dial '{what}'; it has {', '.join(pad.parts(DialPart)) or 'none'}")
        return what
    elif verb == "let go":
        if not isinstance(pad.inputs.get(what), ContactInput):
            raise SequencerError(f"'{text}': there is no switch '{what}'")
        return what
    elif verb == "fault":
        fault(pad, what)
        return what
    elif verb in ("say", *ALONE):
        return what
    act(pad, f"{verb} {what} at 0 s")
    return what
