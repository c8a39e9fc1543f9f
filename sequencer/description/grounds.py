"""What is really there around the box: gas, lines, release head, people, link, power.

Simulation and proof are both built from these parts. A value nobody measured may be left out;
the tool assumes a range (defaults below), says so, and lists it.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Tag

from sequencer.description.box import Part, by_key
from sequencer.description.values import (
    AngleSpan,
    AnyQuantity,
    AtLeastTime,
    ComplianceSpan,
    ConductanceSpan,
    CurrentSpan,
    ForceSpan,
    HoseText,
    Length,
    LengthSpan,
    LeverText,
    MeasuredText,
    PeopleCount,
    Phrase,
    Pressure,
    PressureSpan,
    RatioSpan,
    ResistanceSpan,
    RiseSpan,
    RouteText,
    Temperature,
    Time,
    TimeSpan,
    TorqueSpan,
    TurningSpan,
    Voltage,
    VoltageSpan,
    Volume,
    Word,
    YesNo,
)


class SupplyPart(Part):
    """A gas supply: cylinder, regulator, hand valve."""

    supply: Literal["air", "nitrogen"] = Field(description="the gas")
    pressure: PressureSpan = Field(description="in the cylinder")
    volume: Volume | None = Field(None, description="of the cylinder; without it the supply never runs down")
    regulated: PressureSpan | None = Field(None, description="set pressure of the regulator; without it, cylinder pressure")
    droop: RiseSpan | None = Field(None, description="fall of the outlet under flow")
    creep: RiseSpan | None = Field(None, description="rise of the outlet above set at no flow")
    hand_valve: Phrase | None = Field(None, description="who can shut it by hand and from where: 'at PLACE'")


class VolumePart(Part):
    """A vessel or anything else that can hold gas."""

    volume: Volume = Field(description="inside volume")
    water: Volume | None = Field(None, description="water in it at the start")
    rated: Pressure = Field(description="highest pressure it is made for")
    tested_to: Pressure | None = Field(None, description="proof-test pressure")
    flies: YesNo = Field(False, description="yes: it leaves with the vehicle")


class LinePart(Part):
    """A way for gas from one volume, supply or 'air' to another."""

    line: RouteText = Field(description="'A to B'; A or B a volume, a supply, or air")
    opened_by: Phrase = Field("nothing, always open", description="an output (open at its position 'open'), 'hand', or 'nothing, always open'")
    from_place: Word | None = Field(None, description="hand valves: where one must stand")
    measured: MeasuredText | None = Field(None, description="'6 bar to 3 bar in 9 s' (from the volume it empties)")
    conductance: ConductanceSpan | None = Field(None, description="C of ISO 6358")
    critical_ratio: RatioSpan | None = Field(None, description="b of ISO 6358 (assumed 0.2 to 0.5)")
    bore: LengthSpan | None = Field(None, description="narrowest bore; gives C and b where they are not given")
    hose: HoseText | None = Field(None, description="'LENGTH of BORE', e.g. '10 m of 4 mm'; adds its conductance and volume")
    above_water: YesNo = Field(True, description="no: water leaves first")
    one_way: YesNo = Field(False, description="yes: a check valve lets gas pass from A to B only")
    cracks_at: RiseSpan | None = Field(None, description="difference needed to open the check valve")
    needs_difference: RiseSpan | None = Field(None, description="least difference a piloted valve needs to stay open")
    stroke: TimeSpan | None = Field(None, description="time the valve takes (assumed 20 ms to 100 ms)")
    parts_with: Word | None = Field(None, description="the release head through which the hose runs and parts")


class ReliefPart(Part):
    """A relief valve on a volume."""

    relief: Word = Field(description="the volume it protects")
    opens_at: PressureSpan = Field(description="set pressure")
    shuts_at: Pressure | None = Field(None, description="reseat pressure (assumed 0.9 of set)")
    conductance: ConductanceSpan | None = Field(None, description="C of ISO 6358 when open")
    bore: LengthSpan | None = Field(None, description="seat bore, where C is not given")


class DialPart(Part):
    """A gauge that only people see."""

    dial: Word = Field(description="the volume it shows")
    read_by: Word = Field(description="the role that reads it")
    accuracy: RiseSpan | None = Field(None, description="largest error")


class HeadPart(Part):
    """The release head that holds the vehicle down by its nozzle, and lets it go."""

    release_head: Word = Field(description="the volume it holds down")
    seat: LengthSpan = Field(description="sealing diameter that gas pushes on")
    weight: ForceSpan | None = Field(None, description="weight of what it holds")
    contact_angle: AngleSpan = Field(description="angle of the load-bearing contact")
    friction: RatioSpan | None = Field(None, description="coefficient at contact (assumed 0.16 (0.11 to 0.25))")
    levers: list[LeverText] = Field(default_factory=list, description="'SHORT to LONG' arm lengths from the contact outward")
    pin_friction: RatioSpan | None = Field(None, description="friction in the lever pins (assumed 0.15 (0.1 to 0.25))")
    pin_diameter: Length | None = Field(None, description="of the lever pins (assumed 6 mm)")
    catch: dict[str, AnyQuantity] = Field(default_factory=dict, description="{engages: LENGTH, spring: FORCE, friction: RATIO}")
    load_range: ForceSpan | None = Field(None, description="load it was tried at")
    lets_go_in: TimeSpan | None = Field(None, description="time from catch free to vehicle free (assumed 10 ms to 60 ms)")
    seen_by: Word | None = Field(None, description="the contact input that senses it latched")
    backup_for: Word | None = Field(None, description="another head that this one backs up")


class PinPart(Part):
    """A locking pin through the lever train."""

    pin: Word = Field(description="the release head it locks")
    pulled: Phrase = Field(description="'by lanyard from PLACE' or 'by hand'")
    seen_by: Word | None = Field(None, description="the contact input that senses it")


class WirePart(Part):
    """The wire from a servo's horn to the catch."""

    wire: RouteText = Field(description="'SERVO to HEAD'")
    slack: LengthSpan | None = Field(None, description="lost travel (assumed 0.5 mm (0 to 1.5))")
    stretch: ComplianceSpan | None = Field(None, description="stretch under pull (assumed 0.15 mm per kgf)")
    length: Length | None = Field(None, description="length")


class ServoPart(Part):
    """What the servo is: datasheet values at its nominal voltage."""

    servo_data: Word = Field(description="the servo output described")
    torque: TorqueSpan = Field(description="stall torque at `at_voltage`")
    at_voltage: Voltage | None = Field(None, description="voltage of the datasheet values (assumed 6 V)")
    horn: Length = Field(description="arm length")
    travel: AngleSpan | None = Field(None, description="angle between its two positions (from the pulses, 90 deg per 1000 us)")
    speed: TurningSpan | None = Field(None, description="no-load speed (assumed 375 deg/s)")
    stall_current: CurrentSpan | None = Field(None, description="at stall (assumed 2.5 A)")
    without_pulses: Literal["limp", "holds"] = Field("limp", description="what it does without a pulse train")
    twitch: AngleSpan | None = Field(None, description="jump at power-up (assumed 0 to 10 deg)")


class PowerPart(Part):
    """What feeds the box and the servo."""

    power: Literal["battery", "mains"] = Field(description="kind of source")
    voltage: VoltageSpan = Field(description="no-load voltage")
    resistance: ResistanceSpan | None = Field(None, description="source resistance (assumed 0.1 ohm to 0.4 ohm)")
    feeds: list[Word] = Field(default_factory=list, description="outputs fed besides the box ('box' itself is always fed)")
    brown_out: Voltage | None = Field(None, description="the box resets below this (assumed 4.3 V)")
    cut_by: Word | None = Field(None, description="a contact input whose switch also cuts this supply in hardware (the key)")
    boot: TimeSpan | None = Field(None, description="from power to first scan (assumed 0.3 s to 2 s)")


class PadPart(Part):
    """The ground near the vehicle, and the people who may be on it."""

    people: PeopleCount = Field(description="'up to N' counted people")
    walk: AtLeastTime = Field(description="'at least TIME' to walk to or from the firing line")
    gate: Word | None = Field(None, description="the contact input that senses the gate")
    counted_by: Word | None = Field(None, description="the role that keeps the head-count")
    local_distance: Length | None = Field(None, description="the site's own stand-off; may only enlarge what the rules give")


class SwitchPlace(Part):
    """Says what moves a contact that neither a hand nor another part moves: e.g. relay feedback."""

    follows: Phrase = Field(description="'OUTPUT at POSITION': a second pole that closes with a relay or valve")
    seen_by: Word = Field(description="the contact input")


class LinkPart(Part):
    """The radio link between console and pad."""

    link: Word = Field(description="the heartbeat input")
    carries: list[Word] = Field(default_factory=list, description="inputs whose change comes over this link")
    latency: TimeSpan | None = Field(None, description="message latency (assumed 5 ms to 40 ms)")


class WeatherPart(Part):
    """The air around."""

    weather: Temperature = Field(description="air temperature")
    wind: AnyQuantity | None = Field(None, description="mean wind")


class TestLoadPart(Part):
    """A jack that loads the head on a bench rig, without gas."""

    jack: Word = Field(description="the release head it loads")
    load: ForceSpan = Field(description="range of load")
    settles: RatioSpan | None = Field(None, description="share of the load lost while the rig settles")
    settling_time: Time | None = Field(None, description="time constant of settling")


_KINDS = (
    "supply", "line", "volume", "relief", "dial", "release_head", "pin", "wire", "servo_data", "power", "follows", "link",
    "weather", "jack", "people",
)  # fmt: skip

SitePart = Annotated[
    Annotated[SupplyPart, Tag("supply")]
    | Annotated[LinePart, Tag("line")]
    | Annotated[VolumePart, Tag("volume")]
    | Annotated[ReliefPart, Tag("relief")]
    | Annotated[DialPart, Tag("dial")]
    | Annotated[HeadPart, Tag("release_head")]
    | Annotated[PinPart, Tag("pin")]
    | Annotated[WirePart, Tag("wire")]
    | Annotated[ServoPart, Tag("servo_data")]
    | Annotated[PowerPart, Tag("power")]
    | Annotated[SwitchPlace, Tag("follows")]
    | Annotated[LinkPart, Tag("link")]
    | Annotated[WeatherPart, Tag("weather")]
    | Annotated[TestLoadPart, Tag("jack")]
    | Annotated[PadPart, Tag("people")],
    by_key(*_KINDS),
]
