"""Quantities as people write them ("6.0 bar", "20 deg (19 to 21)") and as physics needs them (SI).

Every quantity has a unit; which units are known is stated in `UNITS`, their factors come from
the pint library. Point pressures are kept as *gauge* pascal; `to_gauge` is the one place where
the file's reference enters. Atmosphere is 101 325 Pa everywhere but in the stored-energy rule.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
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

_NUMBER = r"[+-]?(?:\d+(?:\.\d+)?|\.\d+)"
_TEXT = re.compile(
    rf"(?P<number>{_NUMBER})\s*(?P<unit>[A-Za-z%][A-Za-z%/ ]*?)?(?:\s+(?P<reference>abs|gauge))?\s*"
)
_SPAN = re.compile(r"(?P<nominal>[^()]+?)\s*\(\s*(?P<low>[^()]+?)\s+to\s+(?P<high>[^()]+?)\s*\)\s*")


class QuantityError(SequencerError):
    """A text is no quantity of the kind wanted; `required` and `mend` say what would be."""

    def __init__(self, message: str, required: str = "", mend: str = "") -> None:
        super().__init__(message)
        self.required = required
        self.mend = mend


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@cache
def factor(unit: str) -> tuple[float, float]:
    """(scale, offset) that turn a number in `unit` into SI: si = number * scale + offset."""
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


def parse(text: str, kind: str) -> Quantity:
    """Read "6.0 bar" as a quantity of `kind`; raises QuantityError with advice."""
    sample = f"a {kind} such as '2 {(spellings(kind) or ['…'])[0]}'"
    found = _TEXT.fullmatch(text.strip())
    if not found:
        mend = "write the decimal point as a full stop" if re.search(r"\d,\d", text) else f"write {sample}"
        raise QuantityError(f"'{text}' is no quantity", f"{sample}", mend)
    unit = (found["unit"] or "").strip()
    if not unit and kind == "ratio":
        return Quantity(float(found["number"]), kind, text.strip())
    if not unit:
        raise QuantityError(
            f"'{text}' is a bare number", f"{sample}", f"add the unit: {', '.join(spellings(kind))}"
        )
    if unit not in UNITS:
        raise QuantityError(f"'{unit}' is no unit known here", sample, f"use one of: {', '.join(spellings(kind))}")
    if UNITS[unit][0] != kind:
        raise QuantityError(
            f"'{text}' is a {UNITS[unit][0]}", f"{sample}", f"use one of: {', '.join(spellings(kind))}"
        )
    if found["reference"] and kind != "pressure":
        raise QuantityError(f"'{text}': only a pressure is absolute or gauge", sample, f"drop '{found['reference']}'")
    scale, offset = factor(unit)
    return Quantity(float(found["number"]) * scale + offset, kind, text.strip(), unit, found["reference"] or "")


def parse_any(text: str) -> Quantity:
    """Read a quantity of whatever kind its unit says; raises QuantityError."""
    found = _TEXT.fullmatch(text.strip())
    unit = (found["unit"] or "").strip() if found else ""
    if unit in UNITS:
        return parse(text, UNITS[unit][0])
    return parse(text, "pressure")


def parse_span(text: str, kind: str) -> Span:
    """Read "20 deg (19 to 21)" or "20 deg"; the ends may leave the unit out."""
    found = _SPAN.fullmatch(text.strip())
    if not found:
        one = parse(text, kind)
        return Span(one.si, one.si, one.si, kind, one.text)
    nominal = parse(found["nominal"], kind)

    def end(part: str) -> float:
        bare = re.fullmatch(_NUMBER, part)
        return parse(f"{part} {nominal.unit}" if bare and nominal.unit else part, kind).si

    low, high = end(found["low"]), end(found["high"])
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
