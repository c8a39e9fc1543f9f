"""Every default for a value that the file may leave out, in one place: key, span, reason, where it comes from.

Simulation, proof and sizing take what nobody gave from here and nowhere else, so that they mean the same pad.
A key reads 'kind.value'; for values that stand in the file it is the name of the part and the key as the file has them
(`line.critical_ratio`), for those that the file has no word for, what they are (`volume.cooling_time`).
All spans are SI (pressures: differences), marked `given=False`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Literal

from sequencer.quantities import Quantity, Span, parse_span

Tag = Literal["seen", "from memory", "common practice, no published source", "our choice"]
_PRACTICE: Tag = "common practice, no published source"


@dataclass(frozen=True, slots=True)
class Assumed:
    """One default. `text` reads as in the file; `reason` says in a clause why this range."""

    key: str
    kind: str
    text: str
    reason: str
    tag: Tag

    @property
    def span(self) -> Span:
        """Least, nominal and most in SI, marked as assumed."""
        return _span(self.key)


def _entries() -> tuple[Assumed, ...]:
    return (
        # gas
        Assumed("supply.droop", "pressure", "0.2 bar (0 to 0.5)", "small piston regulators sink this much under flow", _PRACTICE),
        Assumed("supply.creep", "pressure", "0.1 bar (0 to 0.5)", "a worn seat lets the outlet rise at no flow", _PRACTICE),
        Assumed("supply.regulator_conductance", "conductance", "2 l/s/bar (1 to 5)", "small regulator, seat wide open", _PRACTICE),
        Assumed("line.conductance", "conductance", "0.7 l/s/bar (0.4 to 1.1)", "direct-acting valve with a 2 to 3 mm seat", "from memory"),
        Assumed("line.critical_ratio", "ratio", "0.3 (0.2 to 0.5)", "real valves lie between 0.2 and 0.5; unknown short tubes near 0.5", "seen"),
        Assumed("line.discharge", "ratio", "0.8 (0.6 to 0.95)", "discharge coefficient of a bore with an unknown edge", "from memory"),
        Assumed("line.cracks_at", "pressure", "0.2 bar (0.05 to 1)", "spring check valves crack at 0.2 to 1 bar", "from memory"),
        Assumed("line.needs_difference", "pressure", "0 bar", "taken as direct-acting; a piloted valve needs 0.3 to 0.5 bar and does not empty the vessel", _PRACTICE),
        Assumed("line.stroke", "time", "50 ms (20 to 100)", "small solenoid valves with their driver", _PRACTICE),
        Assumed("line.leak", "conductance", "0 l/s/bar (0 to 0.0005)", "a shut valve that passes its leak test", "our choice"),
        Assumed("line.hand_time", "time", "2 s (1 to 5)", "a quarter-turn hand valve, found and turned", "our choice"),
        Assumed("relief.reseat_ratio", "ratio", "0.9 (0.8 to 0.95)", "a spring relief shuts at about 0.9 of its set pressure", _PRACTICE),
        Assumed("relief.lift_ratio", "ratio", "0.1 (0.05 to 0.1)", "full lift within 10 % over set (accumulation of ASME VIII-1 UG-125)", "from memory"),
        Assumed("relief.bore", "length", "4 mm (3 to 6)", "small safety valves", _PRACTICE),
        Assumed("volume.cooling_time", "time", "15 s (5 to 60)", "gas in a bottle of some litres comes to its wall in seconds to a minute", _PRACTICE),
        Assumed("volume.wall_capacity_ratio", "ratio", "20 (10 to 100)", "heat capacity of wall and water over that of the gas", _PRACTICE),
        Assumed("volume.outside_time", "time", "600 s (300 to 1800)", "the wall comes to the air around it in ten minutes or so", _PRACTICE),
        Assumed("volume.filling_warms", "ratio", "0.5 (0 to 1)", "between a slow fill (0, isothermal) and a fast one (1, adiabatic)", "our choice"),
        Assumed("dial.accuracy", "pressure", "0.2 bar (0.1 to 0.4)", "class 1.6 to 2.5 dials of small range, read from where one stands", _PRACTICE),
        # release head
        Assumed("release_head.weight", "force", "0 N", "weight only helps to hold; leaving it out is the unfavourable end", "our choice"),
        Assumed("release_head.friction", "ratio", "0.16 (0.11 to 0.25)", "greased steel on steel, clean to gritty; tables differ by 5 to 1", "seen"),
        Assumed("release_head.pin_friction", "ratio", "0.15 (0.1 to 0.25)", "greased lever pins", "from memory"),
        Assumed("release_head.pin_diameter", "length", "6 mm", "lever pins of small heads", _PRACTICE),
        Assumed("release_head.lets_go_in", "time", "30 ms (10 to 60)", "from catch free to vehicle free", _PRACTICE),
        Assumed("catch.engages", "length", "3 mm (2 to 4)", "overlap of the catch that the wire has to draw", _PRACTICE),
        Assumed("catch.spring", "force", "3 N (1 to 6)", "spring that keeps the catch engaged", _PRACTICE),
        Assumed("catch.friction", "ratio", "0.16 (0.11 to 0.25)", "greased steel; the same catch dry reaches 0.74", "seen"),
        Assumed("catch.strength", "force", "200 N (100 to 400)", "small steel catch before it yields or creeps off", _PRACTICE),
        Assumed("wire.slack", "length", "0.5 mm (0 to 1.5)", "lost travel of a hand-made wire", _PRACTICE),
        Assumed("wire.stretch", "compliance", "0.15 mm per kgf (0.1 to 0.25)", "thin steel wire and its two ends", _PRACTICE),
        # servo, power, link, sensors
        Assumed("servo_data.at_voltage", "voltage", "6 V", "datasheets of hobby servos", "from memory"),
        Assumed("servo_data.speed", "turning speed", "375 deg/s (187.5 to 375)", "0.16 s per 60 deg without load; half of it under load", "from memory"),
        Assumed("servo_data.travel_ratio", "ratio", "1 (0.9 to 1.1)", "of 90 deg per 1000 us", "from memory"),
        Assumed("servo_data.stall_current", "current", "2.5 A (1.5 to 6)", "high-torque hobby servos", "from memory"),
        Assumed("servo_data.twitch", "angle", "5 deg (0 to 10)", "jump at power-up before the first pulse", "seen"),
        Assumed("servo_data.frame", "time", "20 ms", "pulses come at 50 Hz", "from memory"),
        Assumed("power.resistance", "resistance", "0.2 ohm (0.1 to 0.4)", "small battery with leads and plugs", _PRACTICE),
        Assumed("power.brown_out", "voltage", "4.3 V (2.7 to 4.3)", "brown-out detectors of 5 V and 3.3 V boards", "from memory"),
        Assumed("power.boot", "time", "1 s (0.3 to 2)", "start-up code of small boards", "from memory"),
        Assumed("link.latency", "time", "20 ms (5 to 40)", "small data radios", _PRACTICE),
        Assumed("heartbeat.loss", "ratio", "5 % (1 to 10)", "messages lost at random on a field with other radios", _PRACTICE),
        Assumed("analog.noise_ratio", "ratio", "0.25", "standard deviation as a share of the accuracy", "our choice"),
        Assumed("analog.lag", "time", "5 ms (1 to 20)", "small transducers without a snubber", _PRACTICE),
        Assumed("contact.bounce", "time", "1.6 ms (0 to 6.2)", "survey of 18 switch types: mean and most", "seen"),
        Assumed("relay.operate", "time", "10 ms (5 to 15)", "small relays", "from memory"),
        Assumed("lamp.operate", "time", "20 ms (0 to 100)", "lamps and horns", _PRACTICE),
        # around
        Assumed("weather.weather", "temperature", "288.15 K (268.15 to 308.15)", "-5 to 35 degC, 15 degC in between", "our choice"),
        Assumed("weather.swing", "temperature", "5 K (0 to 10)", "change of the air or of sun on the vessel within an hour", "our choice"),
        Assumed("water.discharge", "ratio", "0.7 (0.6 to 0.9)", "discharge coefficient of a nozzle or valve for water", "from memory"),
    )  # fmt: skip


@cache
def assumptions() -> dict[str, Assumed]:
    """{key: default}, in the order above."""
    return {entry.key: entry for entry in _entries()}


@cache
def _span(key: str) -> Span:
    entry = assumptions()[key]
    span = parse_span(entry.text, entry.kind)
    return Span(span.low, span.nominal, span.high, span.kind, span.text, given=False)


def assumed(key: str) -> Span:
    """The default of a key as a span marked `given=False`; raises KeyError for a key that has none."""
    value = _drawn.get(key)
    if value is None:
        return _span(key)
    span = _span(key)
    return Span(value, value, value, span.kind, span.text, given=False)


_drawn: Mapping[str, float] = {}


@contextmanager
def drawn(values: Mapping[str, float]) -> Iterator[None]:
    """Within it these keys have these values (SI) and no range: one world out of many, for tolerance trials."""
    global _drawn
    before, _drawn = _drawn, values
    try:
        yield
    finally:
        _drawn = before


def given_or_assumed(value: Span | Quantity | None, key: str) -> Span:
    """The file's own value as a span, or the default of `key` where the file leaves it out."""
    if value is None:
        return assumed(key)
    if isinstance(value, Quantity):
        return Span(value.si, value.si, value.si, value.kind, value.text)
    return value
