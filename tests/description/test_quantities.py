"""Quantities against pint and against handbook factors."""

from __future__ import annotations

import json
import subprocess
import sys
from math import isclose, pi
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.quantities import (
    ATMOSPHERE,
    KEPT,
    SI,
    UNITS,
    QuantityError,
    factor,
    from_pint,
    parse,
    parse_any,
    parse_span,
    show,
    to_gauge,
)

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("1 bar", "pressure", 1e5),  # SI brochure, 9th ed., table 8 note: 1 bar = 100 kPa exactly
        ("1 psi", "pressure", 6894.757293168),  # NIST SP 811 (2008) app. B.8: 6.894 757 E+03 Pa; digits from 1 lbf/in2
        ("1 mbar", "pressure", 100.0),  # NIST SP 811 app. B.8
        ("1 kgf", "force", 9.80665),  # NIST SP 811 app. B.8, exact
        ("1 lbf", "force", 4.4482216152605),  # NIST SP 811 app. B.8, exact
        ("1 in", "length", 0.0254),  # NIST SP 811 app. B.8, exact
        ("1 ft", "length", 0.3048),  # NIST SP 811 app. B.8, exact
        ("1 mph", "speed", 0.44704),  # NIST SP 811 app. B.8, exact
        ("1 km/h", "speed", 1 / 3.6),  # NIST SP 811 app. B.8: 2.777 778 E-01
        ("180 deg", "angle", pi),
        ("0 degC", "temperature", 273.15),  # SI brochure, 9th ed., 2.3.1
        ("20 degC", "temperature", 293.15),
        ("1 l", "volume", 1e-3),  # SI brochure, 9th ed., table 8
        ("20 kgf cm", "torque", 1.96133),  # 20 x 9.80665 x 0.01
        ("1 days", "time", 86400.0),
        ("1 l/s/bar", "conductance", 1e-8),  # 1 dm3/(s bar) = 1e-8 m3/(s Pa), ISO 6358-1
        ("0.15 mm per kgf", "compliance", 0.15e-3 / 9.80665),
        ("1 N/mm", "stiffness", 1000.0),
        ("5 %", "ratio", 0.05),
        ("3.6 per h", "rate", 0.001),
    ],
)
def test_a_quantity_has_its_handbook_value(text: str, kind: str, si: float) -> None:
    assert isclose(parse(text, kind).si, si, rel_tol=1e-12)


@pytest.mark.parametrize("unit", UNITS)
@given(number=st.decimals(min_value=0, max_value=100000, places=3))
def test_every_unit_agrees_with_pint(unit: str, number: object) -> None:
    kind, expression = UNITS[unit]
    registry = REGISTRY
    expected = registry.Quantity(float(str(number)), expression).to(SI[kind]).magnitude
    assert isclose(parse(f"{number:f} {unit}", kind).si, expected, rel_tol=1e-9, abs_tol=1e-12)
    assert parse_any(f"{number:f} {unit}").kind == kind


@pytest.mark.parametrize("unit", UNITS)
def test_the_kept_factor_is_the_librarys(unit: str) -> None:
    kept = json.loads(KEPT.read_text(encoding="utf-8"))
    assert tuple(kept.get(unit, ())[:2]) == UNITS[unit], "run tools/units"
    assert factor(unit) == pytest.approx(from_pint(unit), rel=1e-12, abs=1e-12)


def test_reading_a_file_starts_neither_pint_nor_numpy() -> None:
    club = ROOT / "configs/club.yaml"
    look = f"import sys; from sequencer.description import load; load({str(club)!r}); print({{'pint', 'numpy'}} & set(sys.modules))"
    assert subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True, cwd=ROOT).stdout == "set()\n"


REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def test_an_absolute_pressure_becomes_gauge_in_one_place() -> None:
    assert isclose(to_gauge(parse("1.01325 bar abs", "pressure"), "gauge"), 0.0, abs_tol=1e-6)
    assert isclose(to_gauge(parse("1.01325 bar", "pressure"), "absolute"), 0.0, abs_tol=1e-6)
    assert to_gauge(parse("1 bar", "pressure"), "gauge") == 1e5
    assert to_gauge(parse("1 bar gauge", "pressure"), "absolute") == 1e5
    assert ATMOSPHERE == 101_325.0  # ISO 2533


def test_a_difference_of_two_gauge_values_needs_no_reference() -> None:
    one, two = (to_gauge(parse(text, "pressure"), "gauge") for text in ("6 bar", "5 bar"))
    assert isclose(one - two, parse("1 bar", "pressure").si)


def test_a_span_keeps_its_order_and_its_unit() -> None:
    span = parse_span("20 deg (19 to 21)", "angle")
    assert [round(x / pi * 180, 9) for x in (span.low, span.nominal, span.high)] == [19, 20, 21]
    for text in ("20 deg (21 to 19)", "20 deg (21 to 22)", "20 deg (19 bar to 21)", "6 bar (5 bar abs to 7 bar)"):
        with pytest.raises(QuantityError):
            parse_span(text, "angle" if "deg" in text else "pressure")


@given(st.text(max_size=30))
def test_any_text_is_a_quantity_or_refused_with_advice(text: str) -> None:
    for kind in ("time", "pressure", "ratio"):
        try:
            quantity = parse(text, kind)
        except QuantityError as error:
            assert error.message and error.required
        else:
            assert text.isascii() and abs(quantity.si) < 1e30


@given(st.floats(min_value=1e-3, max_value=1e6), st.sampled_from(["bar", "ms", "mm", "degC", "kgf"]))
def test_what_is_shown_is_near_and_has_no_exponent(value: float, unit: str) -> None:
    text = show(value, unit, 6)
    assert "e" not in text.split(" ")[0]
    kind = UNITS[unit][0]
    number = text.split(" ")[0]
    back = float(number)
    scale = REGISTRY.Quantity(value, SI[kind]).to(UNITS[unit][1]).magnitude
    assert isclose(back, scale, rel_tol=1e-5, abs_tol=1e-9)


@pytest.mark.parametrize("text", ["0.2 bar(abs)", "5 psig", "1.2 bara", "60 % of span", "60 %"])
def test_pressures_written_in_ways_that_mislead_are_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        parse(text, "pressure")
