"""Every kind of fault that a described part can have, derived from the parts; nothing listed by hand.

One vocabulary for `run --fault PART:MODE@TIME`, drills, the proof and the report. Equipment faults
belong to parts; slips belong to people. Two modes of one part are never paired.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from sequencer.description.box import (
    AnalogInput,
    ContactInput,
    HeartbeatInput,
    LampOutput,
    RelayOutput,
    ServoOutput,
)
from sequencer.description.grounds import (
    HeadPart,
    LinePart,
    PadPart,
    PinPart,
    PowerPart,
    ReliefPart,
    SupplyPart,
    WirePart,
)
from sequencer.description.pad import Pad


@dataclass(frozen=True)
class Fault:
    """One way one part fails. `name` is what the user writes; `kind` counts against `withstand`."""

    part: str
    mode: str
    kind: Literal["equipment", "slip"]
    says: str

    @property
    def name(self) -> str:
        return f"{self.part}: {self.mode}"

    def __str__(self) -> str:
        return self.name


_CONTACT = {
    "wire cut": "its wire is cut, it reads open",
    "shorted": "its wire is shorted, it reads closed",
    "stuck open": "the switch is stuck open",
    "stuck closed": "the switch is stuck closed",
    "bounces": "the switch bounces for a long time",
}
_ANALOG = {
    "open": "its wire is broken, the input drifts out of its band",
    "floating": "its wire is broken, the input wanders at mid-scale",
    "shorted": "its wire is shorted, it reads 0 counts",
    "frozen": "it goes on showing the value of this moment",
    "offset": "it reads beside the truth by three times its accuracy",
    "slow": "its snubber is blocked, it follows slowly",
    "saturated": "it reads full scale",
}
_HEART = {
    "lost": "the link is lost",
    "flapping": "the link comes and goes",
    "replayed": "another transmitter's messages pass for ours",
}
_VALVE = {
    "stuck open": "the valve is stuck open",
    "stuck shut": "the valve is stuck shut",
    "leaks": "the valve leaks when shut",
    "slow": "the valve moves slowly",
}
_HAND = {"stuck open": "the hand valve is stuck open", "stuck shut": "the hand valve is stuck shut"}
_CHECK = {"traps": "the check valve sticks shut and traps gas", "leaks back": "the check valve lets gas back"}
_HOSE = {"hose off": "the hose comes off", "kinked": "the hose is kinked"}
_PARTING = {"snags": "the hose snags and does not part", "stays charged": "the hose stays charged after parting"}
_SERVO = {
    "jammed": "the servo jams where it is",
    "slow": "the servo moves slowly",
    "limp": "the servo goes limp",
    "twitches": "the servo jumps when it gets power",
}
_RELAY = {"welded": "the relay is welded on", "stuck off": "the relay does not switch on"}
_WIRE = {"stretched": "the pull wire is stretched", "off": "the pull wire is off"}
_HEAD = {
    "seized": "the head seizes",
    "lets go early": "the head lets go by itself",
    "lets go late": "the head lets go late",
    "half latched": "the head is only half latched",
    "latched on dirt": "the head is latched on dirt",
}
_PIN = {"stays in": "the pin does not come out", "falls out": "the pin falls out"}
_SUPPLY = {"runs down": "the supply runs down"}
_REGULATOR = {"creeps": "the regulator creeps", "fails open": "the regulator fails wide open"}
_RELIEF = {"stuck": "the relief valve is stuck shut", "set low": "the relief valve opens early"}
_POWER = {"sags": "the supply sags when the servo stalls", "fails": "the supply fails and stays away"}
_LAMP = {"dead": "it stays dark or silent"}
_BOX = {"hangs": "the program hangs until the watchdog resets it"}
_HELD = {"held": "someone holds it at '{word}'"}
_SLIPS = {
    "walks in": "someone who is not counted walks onto the pad",
    "miscounts": "the head-count is wrong: someone is still on the pad",
    "misreads": "a dial is misread",
}


def faults(pad: Pad) -> tuple[Fault, ...]:
    """Every fault of every part, in file order; those in `left_out` are still in this list."""
    return tuple(_all(pad))


def _all(pad: Pad) -> Iterator[Fault]:
    for name, part in pad.inputs.items():
        table = {ContactInput: _CONTACT, AnalogInput: _ANALOG, HeartbeatInput: _HEART}[type(part)]
        yield from (Fault(name, mode, "equipment", f"{name}: {says}") for mode, says in table.items())
    for name, output in pad.outputs.items():
        if isinstance(output, ServoOutput):
            yield from _these(name, _SERVO)
        elif isinstance(output, RelayOutput):
            yield from _these(name, _RELAY)
        elif isinstance(output, LampOutput):
            yield from _these(name, _LAMP)
    for name, site in pad.site.items():
        if isinstance(site, LinePart):
            if site.opened_by in pad.outputs:
                yield from _these(name, _VALVE)
            elif site.opened_by == "hand":
                yield from _these(name, _HAND)
            if site.one_way:
                yield from _these(name, _CHECK)
            if site.hose:
                yield from _these(name, _HOSE)
            if site.parts_with:
                yield from _these(name, _PARTING)
        elif isinstance(site, SupplyPart):
            yield from _these(name, _SUPPLY)
            if site.regulated:
                yield from _these(name, _REGULATOR)
        else:
            kinds = {ReliefPart: _RELIEF, HeadPart: _HEAD, WirePart: _WIRE, PinPart: _PIN, PowerPart: _POWER}
            yield from _these(name, kinds.get(type(site), {}))
    yield from _these("box", _BOX)
    for name in pad.parts(PadPart):
        yield from (Fault(name, mode, "slip", f"{name}: {says}") for mode, says in _SLIPS.items())
    for name, part in pad.inputs.items():
        if isinstance(part, ContactInput):
            yield from (Fault(name, mode, "slip", f"{name}: {says.format(word=part.contact.word)}") for mode, says in _HELD.items())


def _these(name: str, table: dict[str, str]) -> Iterator[Fault]:
    return (Fault(name, mode, "equipment", f"{name}: {says}") for mode, says in table.items())


def modes() -> dict[str, str]:
    """{mode: what it is} over all kinds of parts, for explaining the word."""
    tables = (
        _CONTACT, _ANALOG, _HEART, _VALVE, _HAND, _CHECK, _HOSE, _PARTING, _SERVO, _RELAY, _WIRE, _HEAD, _PIN, _SUPPLY, _REGULATOR,
        _RELIEF, _POWER, _LAMP, _BOX, _SLIPS, _HELD,
    )  # fmt: skip
    found: dict[str, list[str]] = {}
    for table in tables:
        for mode, says in table.items():
            found.setdefault(mode, []).append(says.format(word="a word"))
    return {mode: "; ".join(dict.fromkeys(says)) for mode, says in found.items()}
