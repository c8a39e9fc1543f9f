"""What the box can sense and move: inputs and outputs, as the file says them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from sequencer.description.values import (
    AnyQuantity,
    BandText,
    Bits,
    Every,
    Phrase,
    PositionText,
    SenseText,
    Time,
    Word,
)
from sequencer.quantities import Quantity


class Part(BaseModel):
    """Base of every mapping in the file: no unknown key, nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def by_key(*keys: str) -> Discriminator:
    """Choose a union's member by which of these keys a mapping carries."""

    def which(value: Any) -> str | None:
        if isinstance(value, dict):
            return next((key for key in keys if key in value), None)
        return next((key for key in keys if getattr(value, key, None) is not None), None)

    return Discriminator(
        which,
        custom_error_type="no_kind",
        custom_error_message="it is not said what this is; required: one of the keys " + ", ".join(keys),
    )


class ContactInput(Part):
    """A switch: raw 1 is a closed circuit. A cut wire reads open, a short reads closed."""

    contact: SenseText = Field(description="'closes when WORD' or 'opens when WORD'")
    steady_for: Time = Field(Quantity(0.0, "time", "0 ms"), description="both edges count after this long without change")
    terminal: Phrase | None = Field(None, description="where its wire ends, for the wiring table")
    wire: Word | None = Field(None, description="parts that share this name share a wire, connector or supply (common cause)")


class AnalogInput(Part):
    """A converter channel: counts, linear between two calibration points."""

    analog: Bits = Field(description="'N bit'")
    reads: Phrase = Field(description="what it senses: a volume (its pressure), 'load on HEAD', 'supply voltage', 'wind'")
    points: dict[str, AnyQuantity] = Field(description="two calibration points {counts: quantity}")
    accuracy: AnyQuantity = Field(description="largest error of the reading, either way")
    valid: BandText = Field(description="'LOW to HIGH' counts; outside, the reading is invalid and every comparison on it false")
    noise: AnyQuantity | None = Field(None, description="standard deviation of the noise (assumed: a quarter of the accuracy)")
    lag: Time | None = Field(None, description="time constant of the sensor (assumed: 5 ms)")
    terminal: Phrase | None = Field(None, description="where its wire ends")
    wire: Word | None = Field(None, description="parts that share this name share a wire, connector or supply (common cause)")


class HeartbeatInput(Part):
    """A link that tells each scan whether a fresh valid message came."""

    heartbeat: Every = Field(description="'every TIME', the period of the messages")
    loss: AnyQuantity | None = Field(None, description="share of messages lost at random, e.g. 2 %")
    terminal: Phrase | None = Field(None, description="where it is wired")


Input = Annotated[
    Annotated[ContactInput, Tag("contact")] | Annotated[AnalogInput, Tag("analog")] | Annotated[HeartbeatInput, Tag("heartbeat")],
    by_key("contact", "analog", "heartbeat"),
]

Drive = Literal["high", "low"]


class Output(Part):
    """What every output has. Rest = with no power, and during reset."""

    rest: PositionText = Field(description="the position with no power and during reset; 'stays' for a servo")
    drive: Drive = Field("high", description="pin level when not at rest")
    while_booting: PositionText | None = Field(None, description="position it may take while the board boots and the pin is undriven")
    terminal: Phrase | None = Field(None, description="where its wire starts")
    hazardous: Literal["yes", "no"] | None = Field(None, description="can hurt someone when it moves (assumed from the site)")
    wire: Word | None = Field(None, description="parts that share this name share a wire, connector or supply (common cause)")


class ValveOutput(Output):
    """A driven valve with two positions, the first without power."""

    valve: list[PositionText] = Field(min_length=2, max_length=2, description="[position without power, position with power]")
    stroke: Time | None = Field(None, description="time to move (assumed: 20 ms to 100 ms)")


class RelayOutput(Output):
    """A relay or transistor switch: [off, on]."""

    relay: list[PositionText] = Field(min_length=2, max_length=2, description="[position without power, position with power]")


class LampOutput(Output):
    """A lamp or horn that people see or hear: [dark, lit]."""

    lamp: list[PositionText] = Field(min_length=2, max_length=2, description="[position without power, position with power]")


class ServoOutput(Output):
    """A servo: position -> pulse width; the first position is where it idles."""

    servo: dict[Word, Time] = Field(min_length=2, max_length=4, description="{position: pulse width}")
    powered_by: Word | None = Field(None, description="the relay output that feeds it")


AnyOutput = Annotated[
    Annotated[ValveOutput, Tag("valve")]
    | Annotated[RelayOutput, Tag("relay")]
    | Annotated[LampOutput, Tag("lamp")]
    | Annotated[ServoOutput, Tag("servo")],
    by_key("valve", "relay", "lamp", "servo"),
]


def positions(output: ValveOutput | RelayOutput | LampOutput | ServoOutput) -> list[str]:
    """The position names of an output in code order; code 0 is the unpowered or idle one."""
    if isinstance(output, ValveOutput):
        return output.valve
    if isinstance(output, RelayOutput):
        return output.relay
    if isinstance(output, LampOutput):
        return output.lamp
    return list(output.servo)
