"""What does not fit its field is refused with the number and the width, never cut: the kind of case C14."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sequencer.description.terms import AtLeast, Condition
from sequencer.errors import DoesNotFit, SequencerError
from sequencer.quantities import parse
from sequencer.table import compile_table
from tests.table.small import box, pad


@pytest.mark.parametrize("leave", ["{go_to: b, at_latest: 600 days}", "{go_to: b, once: x, not_before: 500 days}"])
def test_a_time_beyond_the_timer_is_refused_with_the_number_and_the_width(leave: str) -> None:
    with pytest.raises(SequencerError, match="at most 4294967294 scans"):
        pad({"x": "k is pressed"}, leave)


def test_a_delay_beyond_sixteen_bits_of_scans_is_refused_by_the_reader_and_by_the_compiler() -> None:
    """70 s fits at 10 ms a scan (7000 scans; in 16-bit milliseconds it would become 4464 ms); 11 minutes do not."""
    fits = pad({"x": "k is pressed for 70 s"})
    with pytest.raises(SequencerError, match="66000 scans"):
        pad({"x": "k is pressed for 11 min"})
    longer = replace(fits.conditions["x"], held=parse("11 min", "time"))
    with pytest.raises(DoesNotFit, match="66000 scans; the field holds at most 65534"):
        compile_table(fits.model_copy(update={"conditions": {"x": longer}}))


def test_seventy_seconds_are_seventy_seconds() -> None:
    b = box({"x": "k is pressed for 70 s"})
    b.go(1)
    assert b.go(7000, k=1)[-1] is False
    assert b.go(1, k=1) == [True]


def test_a_threshold_beyond_the_converter_is_refused_by_the_reader_and_by_the_compiler() -> None:
    with pytest.raises(SequencerError, match="310 counts"):
        pad({"x": "p at least 3 bar"})
    fits = pad({"x": "p at least 1 bar"})
    beyond = Condition(AtLeast("p", parse("3 bar", "pressure")))
    with pytest.raises(DoesNotFit, match="converts 0 to 255"):
        compile_table(fits.model_copy(update={"conditions": {"x": beyond}}))
