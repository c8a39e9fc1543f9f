"""Thresholds in counts: a true bit is never a lie, and never more than one count from the truth."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.description import loads
from sequencer.table import Inputs, compile_table, power_up, scan

TEXT = """title: Small
revision: 1
scan: 10 ms
pressures: gauge
inputs:
  p: {{analog: 12 bit, reads: tank, points: {{{c1}: {q1} bar, {c2}: {q2} bar}}, accuracy: 0.01 bar, valid: 0 to 4095}}
outputs:
  o: {{relay: [off, on], rest: off}}
site:
  tank: {{volume: 1 l, rated: 40 bar}}
conditions:
  up: p at least {limit} bar
  down: p below {limit} bar
states:
  a: {{says: A., stays: it does}}
"""
hundredths = st.integers(0, 2000)


@settings(max_examples=80)
@given(st.integers(0, 1500), st.integers(1600, 4095), hundredths, hundredths, st.integers(0, 100), st.booleans(), st.data())
def test_a_true_bit_is_never_a_lie_and_never_a_count_late(
    c1: int, c2: int, q1: int, q2: int, share: int, falling: bool, data: st.DataObject
) -> None:
    low, high = min(q1, q2), max(q1, q2) + 100
    first, last = (high, low) if falling else (low, high)
    limit = Fraction(low + (high - low) * share // 100, 100)
    slope = Fraction(last - first, 100 * (c2 - c1))
    text = TEXT.format(c1=c1, q1=first / 100, c2=c2, q2=last / 100, limit=float(limit))
    table = compile_table(loads(text))

    def exact(counts: int) -> Fraction:
        return Fraction(first, 100) + slope * (counts - c1)

    turn = c1 + (limit - Fraction(first, 100)) / slope  # the exact turning point in counts
    near = int(turn)
    for counts in {*range(max(0, near - 2), min(4095, near + 3) + 1), data.draw(st.integers(0, 4095))}:
        memory, _, _ = scan(table, power_up(table), Inputs((), (counts,), ()))
        up, down = memory.bits & 1, memory.bits >> 1 & 1
        assert bool(up) == (exact(counts) >= limit), (counts, exact(counts), limit)
        assert bool(down) == (exact(counts) < limit)
    for rounding in table.roundings:
        if rounding.bit in ("up", "down"):
            assert abs(rounding.counts - turn) <= 1
