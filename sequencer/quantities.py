"""Quantities as people write them ("6.0 bar", "20 deg (19 to 21)") and as physics needs them (SI).

Every quantity has a unit; which units are known is stated in `UNITS`. Their factors come from the
pint library and are kept in units.json, because pint takes longer to start than a file to read. Point pressures are kept as *gauge* pascal; `to_gauge` is the one place where
the file's reference enters. Atmosphere is 101 325 Pa everywhere but in the stored-energy rule.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from sequencer.errors import SequencerError

ATMOSPHERE = 101_325.0  # Pa, standard atmosphere (ISO 2533)

# spelling -> (kind, pint expression)
UNITS: dict[str, tuple[str, str]] = {
    "us": ("time", "microsecond"),
    "ms": ("time", "millisecond"),
    "s": ("time", "second"),
    "min": ("time", "minute"),
    "h": ("time", "hour"),
    "days": ("time", "day"),
    "Pa": ("pressure", "pascal"),
    "kPa": ("pressure", "kilopascal"),
    "MPa": ("pressure", "megapascal"),
    "mbar": ("pressure", "millibar"),
    "bar": ("pressure", "bar"),
    "psi": ("pressure", "psi"),
    "bar/s": ("pressure rate", "bar/second"),
    "bar/min": ("pressure rate", "bar/minute"),
    "psi/s": ("pressure rate", "psi/second"),
    "ml": ("volume", "milliliter"),
    "l": ("volume", "liter"),
    "mm": ("length", "millimeter"),
    "cm": ("length", "centimeter"),
    "m": ("length", "meter"),
    "in": ("length", "inch"),
    "ft": ("length", "foot"),
    "deg": ("angle", "degree"),
    "N": ("force", "newton"),
    "kN": ("force", "kilonewton"),
    "kgf": ("force", "kilogram_force"),
    "lbf": ("force", "pound_force"),
    "g": ("mass", "gram"),
    "kg": ("mass", "kilogram"),
    "degC": ("temperature", "degree_Celsius"),
    "K": ("temperature", "kelvin"),
    "mV": ("voltage", "millivolt"),
    "V": ("voltage", "volt"),
    "mA": ("current", "milliampere"),
    "A": ("current", "ampere"),
    "ohm": ("resistance", "ohm"),
    "N m": ("torque", "newton*meter"),
    "kgf cm": ("torque", "kilogram_force*centimeter"),
    "m/s": ("speed", "meter/second"),
    "km/h": ("speed", "kilometer/hour"),
    "mph": ("speed", "mile/hour"),
    "deg/s": ("turning speed", "degree/second"),
    "l/s/bar": ("conductance", "liter/second/bar"),
    "mm per kgf": ("compliance", "millimeter/kilogram_force"),
    "N/mm": ("stiffness", "newton/millimeter"),
    "kgf/mm": ("stiffness", "kilogram_force/millimeter"),
    "Hz": ("frequency", "hertz"),
    "J": ("energy", "joule"),
    "%": ("ratio", "percent"),
    "per h": ("rate", "1/hour"),
}
# what the number is in, once inside
SI: dict[str, str] = {
    "time": "second", "pressure": "pascal", "pressure rate": "pascal/second", "volume": "meter**3",
    "length": "meter", "angle": "radian", "force": "newton", "mass": "kilogram",
    "temperature": "kelvin", "voltage": "volt", "current": "ampere", "resistance": "ohm",
    "torque": "newton*meter", "speed": "meter/second", "turning speed": "radian/second",
    "conductance": "meter**3/second/pascal", "compliance": "meter/newton",
    "stiffness": "newton/meter", "frequency": "hertz", "energy": "joule",
    "ratio": "dimensionless", "rate": "1/second",
}  # fmt: skip

_NUMBER = r"[+-]?(?:(?:0|[1-9][0-9]{0,11})(?:\.[0-9]{1,12})?|\.[0-9]{1,12})"
_TEXT = re.compile(
    rf"(?P<number>{_NUMBER})[ ]*(?P<unit>[A-Za-z%][A-Za-z%/ ]*?)?(?:[ ]+(?P<reference>abs|gauge))?[ ]*"
)
_SPAN = re.compile(r"(?P<nominal>[^()]+?)[ ]*\([ ]*(?P<low>[^()]+?)[ ]+to[ ]+(?P<high>[^()]+?)[ ]*\)[ ]*")

# ways of writing that look like a quantity to someone; each with its advice
_TRAPS: tuple[tuple[re.Pattern[str], str, str], ...] = (
    (re.compile(r"[0-9],[0-9]"), "a comma stands in the number", "write the decimal point as a full stop"),
    (re.compile(r"^[+-]?[0-9]+:[0-9]"), "a colon stands in the number", "write a time as seconds, minutes or hours, e.g. '750 s'"),
    (re.compile(r"^[+-]?0[xXoObB]"), "the number is not decimal", "write it as a plain decimal number"),
    (re.compile(r"^[+-]?[0-9]+_"), "an underscore stands in the number", "write the digits without it"),
    (re.compile(r"^[+-]?[0-9.]+[eE][+-]?[0-9]"), "the number has an exponent", "write it out, or use a larger or smaller unit"),
    (re.compile(r"^[+-]?0[0-9]"), "the number starts with a zero", "write it without leading zeros"),
    (re.compile(r"[0-9]\.(?![0-9])"), "no digit follows the point", "write a digit after the point, or no point"),
    (re.compile(r"[0-9]{13}"), "the number has more digits than any quantity here", "use a larger or smaller unit"),
    (re.compile(r"% of "), "a share is not a pressure or a length", "write the quantity itself, with its unit"),
    (re.compile(r"\( ?(abs|gauge|a|g)\b|\b(bara|barg|psia|psig)\b"), "the reference is not written so", "write 'abs' or 'gauge' after the unit, e.g. '1.2 bar abs'"),
    (re.compile(r"[0-9]\s*(to|\.\.|-)\s*[0-9]"), "a range stands alone", "write the nominal value first: N (least to most)"),
)
_OTHER_SPELLINGS = {
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "S": "s", "minute": "min", "minutes": "min", "mins": "min",
    "msec": "ms", "hour": "h", "hours": "h", "hr": "h", "d": "days", "day": "days", "litre": "l", "litres": "l", "L": "l",
    "liter": "l", "ML": "ml", "degrees": "deg", "degree": "deg", "kg f": "kgf", "kp": "kgf", "C": "degC", "celsius": "degC",
    "percent": "%", "inch": "in", "inches": "in", "feet": "ft", "Nm": "N m", "kgcm": "kgf cm", "kg cm": "kgf cm",
    "volt": "V", "volts": "V", "v": "V", "amp": "A", "Bar": "bar", "BAR": "bar", "PSI": "psi", "Psi": "psi", "hz": "Hz",
    "mpa": "MPa", "kpa": "kPa", "pa": "Pa", "Ohm": "ohm", "us ": "us",
}  # fmt: skip


class QuantityError(SequencerError):
    """A text is no quantity of the kind wanted; `required` and `mend` say what would be."""

    def __init__(self, message: str, required: str = "", mend: str = "") -> None:
        super().__init__(message)
        self.required = required
        self.mend = mend


KEPT = Path(__file__).with_name("units.json")
"""{unit: [kind, pint expression, scale, offset]}; `tools/units` writes it."""


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@cache
def _kept() -> dict[str, tuple[str, str, float, float]]:
    import json

    return {unit: tuple(of) for unit, of in json.loads(KEPT.read_text(encoding="utf-8")).items()}


@cache
def factor(unit: str) -> tuple[float, float]:
    """(scale, offset) that turn a number in `unit` into SI: si = number * scale + offset."""
    kind, expression, scale, offset = _kept().get(unit, ("", "", 0.0, 0.0))
    return (scale, offset) if (kind, expression) == UNITS[unit] else from_pint(unit)


def from_pint(unit: str) -> tuple[float, float]:
    """The same, worked out by the library."""
    kind, expression = UNITS[unit]
    registry = _registry()
    zero = registry.Quantity(0.0, expression).to(SI[kind]).magnitude
    one = registry.Quantity(1.0, expression).to(SI[kind]).magnitude
    return (one - zero, zero)


@dataclass(frozen=True)
class Quantity:
    """A number in SI with its kind, as written, and its written reference ("abs", "gauge" or "")."""

    si: float
    kind: str
    text: str
    unit: str = ""
    reference: str = ""

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Span:
    """A value with its least and most, all SI; `given` is False where the tool assumed it."""

    low: float
    nominal: float
    high: float
    kind: str
    text: str = ""
    given: bool = True

    def __str__(self) -> str:
        return self.text


def spellings(kind: str) -> list[str]:
    """The unit spellings known for a kind of quantity."""
    return [name for name, (k, _) in UNITS.items() if k == kind]


def odd_character(text: str) -> str:
    """Name of the first character that is no plain ASCII, as "'х' (U+0445 CYRILLIC SMALL LETTER HA)", or ""."""
    import unicodedata

    for one in text:
        if not 0x20 <= ord(one) < 0x7F:
            shown = one if one.isprintable() and not one.isspace() else "?"
            return f"'{shown}' (U+{ord(one):04X} {unicodedata.name(one, 'unnamed')})"
    return ""


def _sample(kind: str) -> str:
    usual = {"time": "20 ms", "pressure": "6.0 bar", "pressure rate": "0.1 bar/s", "volume": "2.0 l", "length": "10 mm"}
    sample = usual.get(kind, f"2 {(spellings(kind) or ['…'])[0]}")
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind} such as '{sample}'"


def _trap(text: str, kind: str) -> QuantityError:
    """Why a text is no quantity, as exactly as can be said."""
    odd = odd_character(text)
    if odd:
        return QuantityError(f"'{text}' holds {odd}", f"{_sample(kind)} in plain characters", "type it again on the keyboard")
    for pattern, what, mend in _TRAPS:
        if pattern.search(text):
            return QuantityError(f"'{text}': {what}", _sample(kind), mend)
    units = ", ".join(spellings(kind))
    return QuantityError(f"'{text}' is no quantity", _sample(kind), f"write a number and a unit: {units}")


def _nearest_unit(unit: str, kind: str) -> str:
    known = spellings(kind)
    meant = _OTHER_SPELLINGS.get(unit, "")
    if meant in known:
        return f"write '{meant}'; known: {', '.join(known)}"
    same = [one for one in known if one.lower() == unit.lower()]
    return f"write '{same[0]}'; known: {', '.join(known)}" if same else f"use one of: {', '.join(known)}"


def parse(text: str, kind: str) -> Quantity:
    """Read "6.0 bar" as a quantity of `kind`; raises QuantityError with advice."""
    found = _TEXT.fullmatch(text.strip(" "))
    if not found:
        raise _trap(text, kind)
    unit = (found["unit"] or "").strip()
    if not unit and kind == "ratio":
        return Quantity(float(found["number"]), kind, text.strip())
    if not unit:
        raise QuantityError(f"'{text}' is a bare number", _sample(kind), f"add the unit: {', '.join(spellings(kind))}")
    if unit not in UNITS:
        trap = _trap(text, kind)
        if "is no quantity" in trap.message:
            raise QuantityError(f"'{unit}' in '{text}' is no unit known here", _sample(kind), _nearest_unit(unit, kind))
        raise trap
    if UNITS[unit][0] != kind:
        units = ", ".join(spellings(kind))
        raise QuantityError(f"'{text}' is a {UNITS[unit][0]}, not a {kind}", _sample(kind), f"use one of: {units}")
    if found["reference"] and kind != "pressure":
        raise QuantityError(f"'{text}': only a pressure is absolute or gauge", _sample(kind), f"drop '{found['reference']}'")
    scale, offset = factor(unit)
    return Quantity(float(found["number"]) * scale + offset, kind, text.strip(), unit, found["reference"] or "")


def parse_any(text: str) -> Quantity:
    """Read a quantity of whatever kind its unit says; raises QuantityError."""
    found = _TEXT.fullmatch(text.strip(" "))
    unit = (found["unit"] or "").strip() if found else ""
    if unit in UNITS:
        return parse(text, UNITS[unit][0])
    if found and not unit:
        raise QuantityError(f"'{text}' is a bare number", "a number with its unit", "add the unit, e.g. 'bar' or 'kgf'")
    return parse(text, "pressure")


def parse_span(text: str, kind: str) -> Span:
    """Read "20 deg (19 to 21)" or "20 deg"; the ends may leave the unit out."""
    found = _SPAN.fullmatch(text.strip(" "))
    if not found:
        one = parse(text, kind)
        return Span(one.si, one.si, one.si, kind, one.text)
    nominal = parse(found["nominal"], kind)

    def end(part: str) -> float:
        bare = re.fullmatch(_NUMBER, part)
        return parse(f"{part} {nominal.unit}" if bare and nominal.unit else part, kind).si

    low, high = end(found["low"]), end(found["high"])
    references = {part.rpartition(" ")[2] for part in (found["low"], found["high"])} & {"abs", "gauge"}
    if references - {nominal.reference}:
        raise QuantityError(
            f"'{text}' mixes absolute and gauge", "one reference in one range", "write the reference once, after the nominal value"
        )
    if not low <= nominal.si <= high:
        raise QuantityError(f"'{text}' is out of order", "least, nominal and most in rising order", "write N (least to most)")
    return Span(low, nominal.si, high, kind, text.strip())


def to_gauge(quantity: Quantity, file_reference: str) -> float:
    """Gauge pascal of a point pressure, by its own reference or else the file's."""
    reference = quantity.reference or file_reference
    return quantity.si - ATMOSPHERE if reference in ("abs", "absolute") else quantity.si


def show(si: float, unit: str, digits: int = 3) -> str:
    """A number in SI shown in `unit` with `digits` significant digits, without an exponent."""
    scale, offset = factor(unit)
    value = (si - offset) / scale
    if value == 0:
        return f"0 {unit}"
    from math import floor, log10

    decimals = max(0, digits - 1 - floor(log10(abs(value))))
    return f"{value:.{decimals}f} {unit}"
