"""From quantities to counts: the calibration line of a reading, and thresholds that never lie.

A threshold rounds so that a true bit is never a lie: 'at least' up, 'below' down, the way of the
comparison in counts when the sensor's slope is negative. The compiler and the reader share this.
"""

from __future__ import annotations

from math import ceil, floor

from sequencer.description.box import AnalogInput
from sequencer.description.pad import Pad
from sequencer.quantities import Quantity, to_gauge

MAX_BITS = 128  # conditions, hidden ones included
MAX_DELAY = 0xFFFE  # scans of a delay, a filter, a heartbeat's age, a memory's expiry
MAX_SCANS = 0xFFFF_FFFE  # scans in a state; the timer saturates one above
SCALED_SPAN = 2**28  # scaled units over the widest reading; gain * counts + offset fits 32 bits


def point(pad: Pad, quantity: Quantity) -> float:
    """A point value in SI, pressures as gauge by the quantity's or the file's reference."""
    return to_gauge(quantity, pad.pressures) if quantity.kind == "pressure" else quantity.si


def calibration(pad: Pad, name: str) -> tuple[float, float]:
    """(slope, zero) of an analog input: reading in SI (gauge pascal for pressures) = slope * counts + zero."""
    part = pad.inputs[name]
    assert isinstance(part, AnalogInput)
    (c1, q1), (c2, q2) = ((int(c), point(pad, q)) for c, q in part.points.items())
    slope = (q2 - q1) / (c2 - c1)
    return slope, q1 - slope * c1


def up(x: float) -> int:
    """The next whole number, forgiving what floating point left over."""
    return ceil(round(x, 6))


def down(x: float) -> int:
    """The whole number below, forgiving what floating point left over."""
    return floor(round(x, 6))


def counts(pad: Pad, reading: str, asked: Quantity, at_least: bool) -> tuple[int, bool]:
    """(counts, rising) for the true side of a comparison: rising is counts >= n, else counts < n.

    Not bounded here: n outside 0 to 2**bits does not fit the converter.
    """
    slope, zero = calibration(pad, reading)
    exact = (point(pad, asked) - zero) / slope
    rising = at_least == (slope > 0)
    # on a falling slope 'at least' includes equality, so the first count that is too low is one above
    if rising:
        number = up(exact) if at_least else down(exact) + 1
    else:
        number = up(exact) if not at_least else down(exact) + 1
    return number, rising


def scaled_unit(pad: Pad) -> float:
    """SI per scaled unit of `differs`, from the widest reading of the file."""
    spans = [1e-9]
    for name, part in pad.inputs.items():
        if isinstance(part, AnalogInput):
            slope, zero = calibration(pad, name)
            spans.append(abs(slope) * 2**part.analog + abs(zero))
    return max(spans) / SCALED_SPAN
