"""What the file says about a part, completed from `assumed.py`, as physics: lines, supplies, reliefs, room for gas.

Each resolved part carries its two unfavourable ends beside the nominal one, and the keys that nobody gave. Pressures
are gauge pascal here, because the file is; everything else SI. Simulation, proof and sizing read the same answers.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from sequencer.description.box import ValveOutput
from sequencer.description.grounds import (
    LinePart,
    ReliefPart,
    SupplyPart,
    VolumePart,
    WeatherPart,
)
from sequencer.description.pad import Pad
from sequencer.quantities import ATMOSPHERE, Quantity, QuantityError, Span, parse
from sequencer.site import flow, vessel
from sequencer.site.assumed import assumed, given_or_assumed

End = Literal["least", "nominal", "most"]
ENDS: tuple[End, End, End] = ("least", "nominal", "most")


def at(span: Span, end: End) -> float:
    """One end of a span."""
    return {"least": span.low, "nominal": span.nominal, "most": span.high}[end]


class Used:
    """Takes values from the file or the defaults, and remembers which defaults were needed."""

    def __init__(self) -> None:
        self.keys: list[str] = []

    def of(self, value: Span | Quantity | None, key: str) -> Span:
        if value is None and key not in self.keys:
            self.keys.append(key)
        return given_or_assumed(value, key)


@dataclass(frozen=True, slots=True)
class ResolvedLine:
    """A line as a flow path. `least` flows slowest (low C, low b), `most` fastest (high C, high b)."""

    name: str
    source: str
    target: str
    opened_by: str
    least: flow.Conductance
    nominal: flow.Conductance
    most: flow.Conductance
    hose_length: float
    hose_bore: float
    hose_volume: float
    stroke: Span
    cracks_at: Span
    needs: Span
    assumed: tuple[str, ...]

    def at(self, end: End) -> flow.Conductance:
        return {"least": self.least, "nominal": self.nominal, "most": self.most}[end]


def hose_of(part: LinePart) -> tuple[float, float] | None:
    """(length, bore) in m of 'LENGTH of BORE'; None without a hose. Raises QuantityError on another text."""
    if part.hose is None:
        return None
    length, _, bore = part.hose.partition(" of ")
    return parse(length, "length").si, parse(bore, "length").si


def measured_of(part: LinePart) -> tuple[float, float, float, float | None] | None:
    """(from gauge Pa, to gauge Pa, seconds, own volume m3 or None) of 'P to P in TIME [from VOLUME]'."""
    if part.measured is None:
        return None
    found = re.fullmatch(r"(.+?) to (.+?) in (.+?)(?: from (.+))?", part.measured.strip())
    if found is None:
        raise QuantityError(f"'{part.measured}' is not understood", "'6 bar to 3 bar in 9 s'")
    volume = parse(found[4], "volume").si if found[4] else None
    return parse(found[1], "pressure").si, parse(found[2], "pressure").si, parse(found[3], "time").si, volume


def gas_volume(pad: Pad, name: str, *, water: bool = True) -> float:
    """Room for gas in a volume, m3, with its water still in (or out), without hoses."""
    part = pad.site[name]
    assert isinstance(part, VolumePart)
    return part.volume.si - (part.water.si if part.water is not None and water else 0.0)


def air_temperature(pad: Pad) -> Span:
    """Temperature around, K."""
    for part in pad.parts(WeatherPart).values():
        return given_or_assumed(part.weather, "weather.weather")
    return assumed("weather.weather")


def line(pad: Pad, name: str) -> ResolvedLine:
    """A line's conductance at its ends, from C, a timed blow-down, a bore, or else the default valve; hose in series."""
    part = pad.site[name]
    assert isinstance(part, LinePart)
    used = Used()
    ratio = used.of(part.critical_ratio, "line.critical_ratio")
    hose = hose_of(part)
    paths: list[flow.Conductance] = []
    for end in ENDS:
        own = _own(pad, part, used, end, at(ratio, end), hose is not None)
        if hose is not None and part.measured is None:
            pipe = flow.hose(*hose)
            own = pipe if own is None else flow.series_pair(own, pipe)
        assert own is not None
        paths.append(own)
    output = pad.outputs.get(part.opened_by)
    stroke = part.stroke or (output.stroke if isinstance(output, ValveOutput) else None)
    driven = isinstance(output, ValveOutput)
    none = Span(0.0, 0.0, 0.0, "time")
    return ResolvedLine(
        name, part.line.origin, part.line.end, part.opened_by, least=paths[0], nominal=paths[1], most=paths[2],
        hose_length=hose[0] if hose else 0.0, hose_bore=hose[1] if hose else 0.0,
        hose_volume=flow.hose_volume(*hose) if hose else 0.0,
        stroke=used.of(stroke, "line.stroke") if driven else none,
        cracks_at=used.of(part.cracks_at, "line.cracks_at") if part.one_way else Span(0.0, 0.0, 0.0, "pressure"),
        needs=used.of(part.needs_difference, "line.needs_difference") if driven else Span(0.0, 0.0, 0.0, "pressure"),
        assumed=tuple(used.keys),
    )  # fmt: skip


def _own(pad: Pad, part: LinePart, used: Used, end: End, b: float, piped: bool) -> flow.Conductance | None:
    """The line without its hose; None where only the hose is there."""
    if part.conductance is not None:
        return flow.Conductance(at(part.conductance, end), b)
    timed = measured_of(part)
    if timed is not None:
        start, stop, seconds, volume = timed
        if volume is None:
            volume = gas_volume(pad, part.line.origin)
        ways: list[vessel.Process] = ["adiabatic", "isothermal"]
        least, most = sorted(
            vessel.conductance_from_blow_down(volume, start + ATMOSPHERE, stop + ATMOSPHERE, seconds, b=b, process=way).C
            for way in ways
        )
        return flow.Conductance({"least": least, "nominal": 0.5 * (least + most), "most": most}[end], b)
    if part.bore is not None:
        area = at(used.of(None, "line.discharge"), end) * math.pi / 4.0 * at(part.bore, end) ** 2
        return flow.area_conductance(area, b)
    if piped and part.opened_by not in pad.outputs and part.opened_by != "hand":
        return None
    return flow.Conductance(at(used.of(None, "line.conductance"), end), b)


@dataclass(frozen=True, slots=True)
class ResolvedSupply:
    """Outlet of a supply, gauge Pa: `least` while it flows and droops, `nominal`, `most` crept up at no flow.
    `cylinder` is what comes through when the regulator fails open, through `conductance`."""

    name: str
    least: float
    nominal: float
    most: float
    cylinder: float
    regulated: bool
    conductance: Span
    assumed: tuple[str, ...]


def supply(pad: Pad, name: str) -> ResolvedSupply:
    """A supply with droop, creep and its failed regulator."""
    part = pad.site[name]
    assert isinstance(part, SupplyPart)
    used = Used()
    seat = assumed("supply.regulator_conductance")
    if part.regulated is None:
        p = part.pressure
        return ResolvedSupply(name, p.low, p.nominal, p.high, p.high, False, seat, ())
    droop, creep = used.of(part.droop, "supply.droop"), used.of(part.creep, "supply.creep")
    used.of(None, "supply.regulator_conductance")
    cap = part.pressure
    return ResolvedSupply(
        name, min(part.regulated.low - droop.high, cap.low), min(part.regulated.nominal, cap.nominal),
        min(part.regulated.high + creep.high, cap.high), cap.high, True, seat, tuple(used.keys),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class ResolvedRelief:
    """A relief valve: set pressure ends and reseat, gauge Pa; conductance ends, m3/(s.Pa)."""

    name: str
    on: str
    opens_at: Span
    shuts_at: Span
    conductance: Span
    assumed: tuple[str, ...]


def relief(pad: Pad, name: str) -> ResolvedRelief:
    """A relief valve's set, reseat and conductance."""
    part = pad.site[name]
    assert isinstance(part, ReliefPart)
    used = Used()
    opens = part.opens_at
    if part.shuts_at is not None:
        shuts = Span(part.shuts_at.si, part.shuts_at.si, part.shuts_at.si, "pressure")
    else:
        ratio = used.of(None, "relief.reseat_ratio")
        shuts = Span(ratio.low * opens.low, ratio.nominal * opens.nominal, ratio.high * opens.high, "pressure", given=False)
    if part.conductance is not None:
        c = part.conductance
    else:
        bore, discharge = used.of(part.bore, "relief.bore"), used.of(None, "line.discharge")
        ends = [flow.area_conductance(at(discharge, e) * math.pi / 4.0 * at(bore, e) ** 2).C for e in ENDS]
        c = Span(ends[0], ends[1], ends[2], "conductance", given=False)
    return ResolvedRelief(name, part.relief, opens, shuts, c, tuple(used.keys))


def wall_exchange(pad: Pad, name: str, pressure: float, end: End) -> float:
    """Heat exchange of a volume's gas with its wall, W/K, from the cooling time at `pressure` (gauge Pa); "least" slow."""
    opposite: dict[End, End] = {"least": "most", "nominal": "nominal", "most": "least"}
    mass = (pressure + ATMOSPHERE) * gas_volume(pad, name) / (flow.R_AIR * air_temperature(pad).nominal)
    return mass * flow.CV_AIR / at(assumed("volume.cooling_time"), opposite[end])
