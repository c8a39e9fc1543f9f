"""Numbers as people read them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.crew.words import bar, clock, kgf
from sequencer.quantities import show
from sequencer.sizing.sheet import shown

NEGATIVE_ZERO = re.compile(r"-0(\.0*)?(?![\d.])")
AROUND_ZERO = st.floats(-1e4, 1e4) | st.floats(-1.0, 1.0) | st.floats(-1e-6, 1e-6) | st.just(-0.0)


@given(AROUND_ZERO)
def test_no_reading_is_shown_as_a_negative_zero(value: float) -> None:
    for text in (bar(value), kgf(value), show(value, "bar"), shown(value, "bar"), shown(value, "kgf"), shown(value, "")):
        assert not NEGATIVE_ZERO.match(text), text


@pytest.mark.parametrize(("pascal", "text"), [(-400.0, "0.00 bar"), (-600.0, "-0.01 bar"), (-0.0, "0.00 bar"), (123_400.0, "1.23 bar")])
def test_a_reading_a_little_below_zero_is_zero_and_one_further_below_says_so(pascal: float, text: str) -> None:
    assert bar(pascal) == text


@pytest.mark.parametrize(("force", "text"), [(310.4, "310 kgf"), (39.71, "39.7 kgf"), (-0.183, "-0.2 kgf"), (0.04, "0 kgf"), (-0.0, "0 kgf")])
def test_a_force_has_no_more_digits_than_a_load_cell_shows(force: float, text: str) -> None:
    assert kgf(force * 9.80665) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.4, "0.4 s"), (9.96, "10 s"), (45.2, "45 s"), (59.7, "1 min"), (120.0, "2 min"), (90.4, "1 min 30 s"), (3600.0, "60 min")],
)
def test_a_duration_is_said_as_people_say_it(seconds: float, text: str) -> None:
    assert clock(seconds) == text
