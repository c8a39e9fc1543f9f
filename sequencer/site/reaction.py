"""What a signal waits for on its way in, and a command on its way out: one place for the sheet and for the monitors of a run.

What the file gives counts, else the default of `assumed`. All times s; keys name the defaults that were used.
"""

from __future__ import annotations

from sequencer.description.box import (
    AnalogInput,
    HeartbeatInput,
    LampOutput,
    RelayOutput,
    ServoOutput,
    ValveOutput,
)
from sequencer.description.grounds import LinePart, LinkPart
from sequencer.description.pad import Pad
from sequencer.quantities import Span
from sequencer.site import resolve
from sequencer.site.assumed import assumed, given_or_assumed

Keys = tuple[str, ...]


def sensor_lag(pad: Pad, reading: str) -> tuple[Span, Keys]:
    """Time constant of a sensor. A ramp is read late by one of them, a step to 95 % by three."""
    part = pad.inputs[reading]
    assert isinstance(part, AnalogInput)
    return given_or_assumed(part.lag, "analog.lag"), () if part.lag else ("analog.lag",)


def link_latency(pad: Pad, name: str) -> tuple[Span | None, Keys]:
    """Latency of the link that carries an input; None when it is wired."""
    for part in pad.parts(LinkPart).values():
        if name in part.carries:
            return given_or_assumed(part.latency, "link.latency"), () if part.latency else ("link.latency",)
    return None, ()


def message_period(pad: Pad, name: str) -> float:
    """How long an input may wait for the next message of the link that carries it; 0 when it is wired."""
    for part in pad.parts(LinkPart).values():
        heart = pad.inputs.get(part.link)
        if name in part.carries and isinstance(heart, HeartbeatInput):
            return heart.heartbeat.si
    return 0.0


def actuator(pad: Pad, output: str) -> tuple[float, Keys]:
    """Longest time from a command to the thing itself: stroke of the slowest line it opens, relay, lamp, servo frame."""
    part = pad.outputs[output]
    if isinstance(part, ValveOutput):
        lines = [resolve.line(pad, n) for n, p in pad.parts(LinePart).items() if p.opened_by == output]
        longest = max((x.stroke.high for x in lines), default=given_or_assumed(part.stroke, "line.stroke").high)
        return longest, ("line.stroke",) if any("line.stroke" in x.assumed for x in lines) or not lines else ()
    if isinstance(part, RelayOutput):
        return assumed("relay.operate").high, ("relay.operate",)
    if isinstance(part, LampOutput):
        return assumed("lamp.operate").high, ("lamp.operate",)
    assert isinstance(part, ServoOutput)
    return assumed("servo_data.frame").high, ("servo_data.frame",)
