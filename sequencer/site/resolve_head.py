"""What the file says about head, wire and servo, completed from `assumed.py`: spans in SI, and the keys nobody gave."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sequencer.description.box import ServoOutput
from sequencer.description.grounds import HeadPart, PowerPart, ServoPart, WirePart
from sequencer.description.pad import Pad
from sequencer.quantities import Span, parse
from sequencer.site.assumed import assumed, given_or_assumed
from sequencer.site.head import Head, Lever
from sequencer.site.resolve import End, Used, at
from sequencer.site.servo import Servo, Supply, Wire

OPPOSITE: dict[End, End] = {"least": "most", "nominal": "nominal", "most": "least"}


def lever_arms(text: str) -> tuple[float, float]:
    """(short, long) in m of 'SHORT to LONG'."""
    short, _, long = text.partition(" to ")
    return parse(short, "length").si, parse(long, "length").si


@dataclass(frozen=True, slots=True)
class HeadValues:
    """The spans a release head is made of (SI)."""

    seat: Span
    weight: Span
    contact_angle: Span
    friction: Span
    pin_friction: Span
    pin_diameter: float
    levers: tuple[tuple[float, float], ...]
    engages: Span
    spring: Span
    catch_friction: Span
    strength: Span
    lets_go_in: Span
    assumed: tuple[str, ...]

    def head(self, friction: End, angle: End = "nominal", rest: End | None = None, pins: End | None = None) -> Head:
        """The head with contact friction, contact angle, catch (`rest`) and pins at the ends asked for."""
        other = friction if rest is None else rest
        radius = self.pin_diameter / 2.0
        return Head(
            at(self.contact_angle, angle), at(self.friction, friction),
            tuple(Lever(a, b, radius if radius < min(a, b) else 0.0) for a, b in self.levers),
            pin_mu=at(self.pin_friction, other if pins is None else pins), catch_mu=at(self.catch_friction, other),
            catch_engages=at(self.engages, other), catch_spring=at(self.spring, other),
            catch_strength=at(self.strength, OPPOSITE[other]),
        )  # fmt: skip


def head(pad: Pad, name: str) -> HeadValues:
    """A release head's values, completed."""
    part = pad.site[name]
    assert isinstance(part, HeadPart)
    used = Used()
    catch = {key: given_or_assumed(value, "") for key, value in part.catch.items()}
    has_levers = bool(part.levers)
    return HeadValues(
        seat=part.seat, weight=used.of(part.weight, "release_head.weight"), contact_angle=part.contact_angle,
        friction=used.of(part.friction, "release_head.friction"),
        pin_friction=used.of(part.pin_friction, "release_head.pin_friction") if has_levers else assumed("release_head.pin_friction"),
        pin_diameter=(used.of(part.pin_diameter, "release_head.pin_diameter") if has_levers else assumed("release_head.pin_diameter")).nominal,
        levers=tuple(lever_arms(text) for text in part.levers),
        engages=used.of(catch.get("engages"), "catch.engages"), spring=used.of(catch.get("spring"), "catch.spring"),
        catch_friction=used.of(catch.get("friction"), "catch.friction"),
        strength=used.of(catch.get("strength"), "catch.strength"),
        lets_go_in=used.of(part.lets_go_in, "release_head.lets_go_in"), assumed=tuple(used.keys),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class ServoValues:
    """A servo with its wire and supply, as spans (SI)."""

    output: str
    torque: Span
    at_voltage: float
    horn: float
    turn: Span
    speed: Span
    stall_current: Span
    twitch: Span
    voltage: Span
    resistance: Span
    slack: Span
    stretch: Span
    wire: str
    without_pulses: Literal["limp", "holds"]
    assumed: tuple[str, ...]

    def servo(self, end: End) -> Servo:
        """The servo at its weak ("least") or strong ("most") end."""
        return Servo(
            stall_torque=at(self.torque, end), rated_voltage=self.at_voltage, speed=at(self.speed, end), horn=self.horn,
            stall_current=at(self.stall_current, OPPOSITE[end]),
            without_pulses=self.without_pulses, twitch=self.twitch.nominal,
        )  # fmt: skip

    def supply(self, end: End) -> Supply:
        """Its source at the weak ("least" voltage, most resistance) or strong end."""
        return Supply(at(self.voltage, end), at(self.resistance, OPPOSITE[end]))

    def wire_at(self, end: End) -> Wire:
        """The wire; "most" is the slackest and softest."""
        return Wire(at(self.slack, end), at(self.stretch, end))


def servo(pad: Pad, name: str) -> ServoValues:
    """A servo (by the name of its `servo_data` part), the wire to its head, and the source that feeds it."""
    part = pad.site[name]
    assert isinstance(part, ServoPart)
    used = Used()
    output = pad.outputs.get(part.servo_data)
    turn = part.travel
    if turn is None:
        pulses = [p.si for p in output.servo.values()] if isinstance(output, ServoOutput) else [0.0, 0.0]
        ratio, full = used.of(None, "servo_data.travel_ratio"), (max(pulses) - min(pulses)) * 1000.0 * math.pi / 2.0
        turn = Span(ratio.low * full, ratio.nominal * full, ratio.high * full, "angle", given=False)
    wires = {n: w for n, w in pad.parts(WirePart).items() if w.wire.origin == part.servo_data}
    wire_name, wire = next(iter(wires.items()), ("", None))
    feed = output.powered_by if isinstance(output, ServoOutput) and output.powered_by else part.servo_data
    powers = [p for p in pad.parts(PowerPart).values() if feed in p.feeds or part.servo_data in p.feeds]
    rated = used.of(part.at_voltage, "servo_data.at_voltage").nominal
    voltage = powers[0].voltage if powers else Span(rated, rated, rated, "voltage", given=False)
    return ServoValues(
        output=part.servo_data, torque=part.torque, at_voltage=rated, horn=part.horn.si, turn=turn,
        speed=used.of(part.speed, "servo_data.speed"),
        stall_current=used.of(part.stall_current, "servo_data.stall_current"),
        twitch=used.of(part.twitch, "servo_data.twitch"), voltage=voltage,
        resistance=used.of(powers[0].resistance if powers else None, "power.resistance"),
        slack=used.of(wire.slack if wire else None, "wire.slack"),
        stretch=used.of(wire.stretch if wire else None, "wire.stretch"),
        wire=wire_name, without_pulses=part.without_pulses, assumed=tuple(used.keys),
    )  # fmt: skip
