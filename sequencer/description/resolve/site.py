"""The site's parts: what they join, hold, show, feed and carry is declared, in the right dimension."""

from __future__ import annotations

from sequencer.description.box import ContactInput, HeartbeatInput, RelayOutput, ServoOutput, ValveOutput
from sequencer.description.grounds import (
    DialPart,
    HeadPart,
    LinePart,
    LinkPart,
    PadPart,
    PinPart,
    PowerPart,
    ReliefPart,
    ServoPart,
    SupplyPart,
    SwitchPlace,
    TestLoadPart,
    VolumePart,
    WeatherPart,
    WirePart,
)
from sequencer.description.resolve.names import Names
from sequencer.description.spelling import offer
from sequencer.description.tree import Where

PLACES = ("line", "pad")
_CATCH = {"engages": "length", "spring": "force", "friction": "ratio", "hook": "angle", "strength": "force"}


def check(names: Names) -> None:
    """Every finding about the site."""
    for name, part in names.pad.site.items():
        path: Where = ("site", name)
        if isinstance(part, LinePart):
            _line(names, path, part)
        elif isinstance(part, SupplyPart):
            if part.hand_valve is not None and part.hand_valve.removeprefix("at ") not in PLACES:
                names.say("not-understood", (*path, "hand_valve"), f"'{part.hand_valve}' names no place", "'at line' or 'at pad'", "write 'at line'")
        elif isinstance(part, VolumePart):
            _volume(names, path, part)
        elif isinstance(part, ReliefPart):
            names.need("site", part.relief, (*path, "relief"), "a volume of the site", kind=VolumePart)
        elif isinstance(part, DialPart):
            names.need("site", part.dial, (*path, "dial"), "a volume of the site", kind=(VolumePart, SupplyPart))
            names.need("roles", part.read_by, (*path, "read_by"), "a role of the crew")
        elif isinstance(part, HeadPart):
            _head(names, path, part)
        elif isinstance(part, PinPart):
            names.need("site", part.pin, (*path, "pin"), "a release head of the site", kind=HeadPart)
            _seen(names, path, part.seen_by)
            place = part.pulled.removeprefix("by lanyard from ")
            if part.pulled != "by hand" and (place == part.pulled or place not in PLACES):
                names.say("not-understood", (*path, "pulled"), f"'{part.pulled}' is not understood", "'by hand' or 'by lanyard from line'", "write one of them")
        elif isinstance(part, WirePart):
            text = f"{part.wire.origin} to {part.wire.end}"
            names.need("outputs", part.wire.origin, (*path, "wire"), "a servo output", kind=(ServoOutput, ValveOutput, RelayOutput), text=text)
            names.need("site", part.wire.end, (*path, "wire"), "a release head of the site", kind=HeadPart, text=text, at=len(part.wire.origin) + 4)
        elif isinstance(part, ServoPart):
            names.need("outputs", part.servo_data, (*path, "servo_data"), "a servo output", kind=ServoOutput)
        elif isinstance(part, PowerPart):
            for number, fed in enumerate(part.feeds):
                names.need("outputs", fed, (*path, "feeds", number), "an output", also=("box",))
            if part.cut_by is not None:
                names.need("inputs", part.cut_by, (*path, "cut_by"), "a contact input", kind=ContactInput)
        elif isinstance(part, SwitchPlace):
            _follows(names, path, part)
        elif isinstance(part, LinkPart):
            names.need("inputs", part.link, (*path, "link"), "a heartbeat input", kind=HeartbeatInput)
            for number, carried in enumerate(part.carries):
                names.need("inputs", carried, (*path, "carries", number), "an input")
        elif isinstance(part, TestLoadPart):
            names.need("site", part.jack, (*path, "jack"), "a release head of the site", kind=HeadPart)
        elif isinstance(part, PadPart):
            _pad(names, path, part)
        elif isinstance(part, WeatherPart) and part.wind is not None:
            names.dimension(part.wind, "speed", (*path, "wind"), "wind")
    _once_only(names)


def _line(names: Names, path: Where, part: LinePart) -> None:
    text = f"{part.line.origin} to {part.line.end}"
    for end, at in ((part.line.origin, 0), (part.line.end, len(part.line.origin) + 4)):
        names.need("site", end, (*path, "line"), "a volume, a supply, or air", kind=(VolumePart, SupplyPart), text=text, at=at, also=("air",))
    if part.line.origin == part.line.end:
        names.say("not-understood", (*path, "line"), f"'{text}' leads nowhere", "two different ends", "name the other end")
    if part.line.origin == "air":
        names.say("not-understood", (*path, "line"), f"'{text}' starts in the open air", "'VOLUME to air'", f"write '{part.line.end} to air'")
    if part.opened_by not in ("hand", "nothing, always open"):
        valve = names.need("outputs", part.opened_by, (*path, "opened_by"), "an output, 'hand', or 'nothing, always open'", kind=(ValveOutput, RelayOutput))
        if valve is not None and "open" not in names.pad.output_positions[part.opened_by]:
            names.say("unknown-position", (*path, "opened_by"), f"'{part.opened_by}' has no position 'open'", "a valve with a position called 'open'", "rename its position")
    if part.from_place is not None and part.from_place not in PLACES:
        names.say("unknown-name", (*path, "from_place"), f"'{part.from_place}' is no place", "line or pad", offer(part.from_place, PLACES))
    if part.parts_with is not None:
        names.need("site", part.parts_with, (*path, "parts_with"), "a release head of the site", kind=HeadPart)


def _volume(names: Names, path: Where, part: VolumePart) -> None:
    if part.volume.si <= 0:
        names.say("not-above-zero", (*path, "volume"), f"'{part.volume.text}' is no volume", "more than zero")
    elif part.water is not None and part.water.si >= part.volume.si:
        names.say("wrong-order", (*path, "water"), f"'{part.water.text}' of water leave no room for gas in '{part.volume.text}'", "less water than volume", "look at the unit")
    if part.rated.si <= 0:
        names.say("not-above-zero", (*path, "rated"), f"'{part.rated.text}' is not above the air outside", "more than zero, gauge", "look at abs and gauge")


def _head(names: Names, path: Where, part: HeadPart) -> None:
    names.need("site", part.release_head, (*path, "release_head"), "a volume of the site", kind=VolumePart)
    _seen(names, path, part.seen_by)
    if part.backup_for is not None:
        names.need("site", part.backup_for, (*path, "backup_for"), "a release head of the site", kind=HeadPart)
    if part.seat.low <= 0:
        names.say("not-above-zero", (*path, "seat"), f"'{part.seat.text}' is no diameter", "more than zero")
    for key, value in part.catch.items():
        if key not in _CATCH:
            names.say("unknown-key", (*path, "catch", key), f"'{key}' is not known of a catch", f"one of: {', '.join(_CATCH)}", offer(key, _CATCH))
        else:
            names.dimension(value, _CATCH[key], (*path, "catch", key), f"'{key}' of a catch")


def _seen(names: Names, path: Where, seen_by: str | None) -> None:
    if seen_by is not None:
        names.need("inputs", seen_by, (*path, "seen_by"), "a contact input", kind=ContactInput)


def _follows(names: Names, path: Where, part: SwitchPlace) -> None:
    _seen(names, path, part.seen_by)
    output, middle, position = part.follows.partition(" at ")
    if not middle:
        names.say("not-understood", (*path, "follows"), f"'{part.follows}' is not understood", "'OUTPUT at POSITION'", "write e.g. 'servo_power at on'")
        return
    names.need("outputs", output, (*path, "follows"), "an output", text=part.follows)
    names.position(output, position, (*path, "follows"), text=part.follows)


def _pad(names: Names, path: Where, part: PadPart) -> None:
    if part.gate is not None:
        names.need("inputs", part.gate, (*path, "gate"), "a contact input", kind=ContactInput)
    if part.counted_by is not None:
        names.need("roles", part.counted_by, (*path, "counted_by"), "a role of the crew")


def _once_only(names: Names) -> None:
    """Parts of which a site has one."""
    for kind, what in ((PadPart, "pad with people"), (WeatherPart, "weather")):
        found = [name for name, part in names.pad.site.items() if isinstance(part, kind)]
        for name in found[1:]:
            names.say("said-twice", ("site", name), f"'{name}' is a second {what}", "one of this kind", f"keep '{found[0]}' or this one")
