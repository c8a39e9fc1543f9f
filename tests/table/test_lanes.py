"""Many controllers at once are one meaning with the scan."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.table import Inputs, Memory, Table, power_up, scan
from sequencer.table.lanes import Lanes
from tests.strategies import input_runs, tables


def _arrays(table: Table, inputs: list[Inputs]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    n = len(inputs)
    return (
        np.array([x.contacts for x in inputs], dtype=bool).T.reshape(len(table.contacts), n),
        np.array([x.counts for x in inputs], dtype=np.int64).T.reshape(len(table.analogs), n),
        np.array([x.heard for x in inputs], dtype=bool).T.reshape(len(table.heartbeats), n),
    )


def _runs(data: st.DataObject, table: Table, lanes: int) -> list[list[Inputs]]:
    runs = [data.draw(input_runs(table)) for _ in range(lanes)]
    length = min(len(run) for run in runs)
    return [run[:length] for run in runs]


def _hold_equal(table: Table, memories: list[Memory], runs: list[list[Inputs]]) -> list[Memory]:
    lanes = Lanes(table, memories)
    for moment in zip(*runs, strict=True):
        old = [memory.outputs for memory in memories]
        moves, commanded = lanes.scan(*_arrays(table, list(moment)))
        told = {} if moves is None else {int(lane): moves.move(i) for i, lane in enumerate(moves.lanes)}
        for lane, inputs in enumerate(moment):
            memories[lane], outputs, move = scan(table, memories[lane], inputs)
            assert told.get(lane) == move
            assert lanes.memory(lane) == memories[lane]
            assert (lane in commanded) == (outputs != old[lane])
    return memories


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_every_lane_equals_the_scan_memory_included(data: st.DataObject) -> None:
    table = data.draw(tables())
    _hold_equal(table, [power_up(table)] * 3, _runs(data, table, 3))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_lanes_begun_from_different_memories_go_on_as_the_scan_does(data: st.DataObject) -> None:
    table = data.draw(tables())
    runs = _runs(data, table, 3)
    memories = []
    for lane, run in enumerate(runs):
        memory = power_up(table)
        for inputs in run[: len(run) * lane // 3]:
            memory, _, _ = scan(table, memory, inputs)
        memories.append(memory)
    _hold_equal(table, memories, _runs(data, table, 3))
