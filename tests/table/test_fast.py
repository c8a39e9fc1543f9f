"""The specialised scan and `scan` are one meaning."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.table import power_up, scan
from sequencer.table.fast import Controller
from tests.strategies import input_runs, tables


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_the_specialised_scan_equals_the_scan_memory_included(data: st.DataObject) -> None:
    table = data.draw(tables())
    memory, quick = power_up(table), Controller(table)
    for inputs in data.draw(input_runs(table)):
        memory, outputs, move = scan(table, memory, inputs)
        assert quick.step(inputs) == move
        assert (quick.outputs, quick.state, quick.bits) == (outputs, memory.state, memory.bits)
        assert quick.memory == memory


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_controller_begun_from_any_memory_goes_on_as_the_scan_does(data: st.DataObject) -> None:
    table = data.draw(tables())
    run = data.draw(input_runs(table))
    memory = power_up(table)
    for inputs in run[: len(run) // 2]:
        memory, _, _ = scan(table, memory, inputs)
    quick = Controller(table, memory)
    assert quick.memory == memory
    for inputs in run[len(run) // 2 :]:
        memory, _, move = scan(table, memory, inputs)
        assert quick.step(inputs) == move
        assert quick.memory == memory
