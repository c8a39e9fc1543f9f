"""Compiler and scan are held to the text of the contract: a second reading of the same file, from the words alone."""

from __future__ import annotations

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from sequencer.description import loads
from sequencer.errors import SequencerError
from sequencer.table import Inputs, compile_table, power_up, scan
from tests.table.naive import Naive
from tests.table.random_pads import pad_texts

EDGES = [5, 6, 10, 17, 43, 44, 45, 59, 60, 61, 70, 71, 72, 80, 110, 130, 131]


@st.composite
def runs(draw: st.DrawFn) -> list[Inputs]:
    """Samples that stand for a while, bounce, drift and fall out of the valid band."""
    counts = st.one_of(st.sampled_from(EDGES), st.integers(0, 140))
    one = st.tuples(
        st.tuples(st.integers(0, 1), st.integers(0, 1)), st.tuples(counts, counts, counts), st.tuples(st.integers(0, 1)), st.integers(1, 7)
    )
    run: list[Inputs] = []
    for levels, readings, heard, times in draw(st.lists(one, min_size=2, max_size=12)):
        run += [Inputs(levels, readings, heard)] * times
    return run


@settings(max_examples=250, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(pad_texts(), runs())
def test_table_and_scan_do_what_the_words_of_the_file_say(text: str, run: list[Inputs]) -> None:
    try:
        pad = loads(text)
        table = compile_table(pad)
    except SequencerError as error:
        event("refused: " + str(error).split("[")[-1][:30])
        return
    naive, memory = Naive(pad), power_up(table)
    for inputs in run:
        naive.step(inputs)
        memory, outputs, move = scan(table, memory, inputs)
        bits = {bit.name: bool(memory.bits >> i & 1) for i, bit in enumerate(table.bits) if not bit.hidden}
        assert bits == naive.bits
        assert table.states[memory.state].name == naive.state
        assert (None if move is None else (table.rows[move.row].origin, table.states[move.to].name)) == naive.moved
        named = {spec.name: spec.positions[code] for spec, code in zip(table.outputs, outputs, strict=True)}
        assert named == naive.outputs
