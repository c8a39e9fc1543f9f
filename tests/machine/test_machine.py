"""The named machine and the table are one machine."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.description import load
from sequencer.errors import SequencerError
from sequencer.machine import Machine
from sequencer.table import compile_table, power_up, scan
from tests.strategies import input_runs, tables


@settings(max_examples=150)
@given(st.data())
def test_machine_and_table_go_in_lockstep_states_outputs_and_logs(data: st.DataObject) -> None:
    table = data.draw(tables())
    told: list[tuple[str, str, int]] = []
    machine = Machine(table, on_move=lambda origin, to, row: told.append((origin, to, table.rows.index(row))))
    memory, log = power_up(table), []
    for inputs in data.draw(input_runs(table)):
        memory, outputs, move = scan(table, memory, inputs)
        step = machine.step(memory.bits, memory.settled)
        assert step.state == table.states[memory.state].name
        assert step.outputs == outputs
        assert step.row == (None if move is None else move.row)
        assert machine.timer == memory.timer
        if move is not None:
            row = table.rows[move.row]
            log.append((table.states[move.origin].name, table.states[move.to].name, table.rows.index(row)))
    assert told == log


def club():
    return compile_table(load("configs/club.yaml"))


def test_a_row_to_a_state_that_is_not_there_is_refused_before_the_machine_is_built() -> None:
    table = club()
    rows = (replace(table.rows[0], to=99), *table.rows[1:])
    with pytest.raises(SequencerError, match="99"):
        Machine(replace(table, rows=rows))


def test_two_states_of_one_name_are_refused() -> None:
    table = club()
    with pytest.raises(SequencerError, match="twice"):
        Machine(replace(table, states=(table.states[0], *table.states)))


def test_no_transition_exists_that_no_row_asked_for() -> None:
    table = club()
    machine = Machine(table)
    built = [(t.source, t.dest) for event in machine._machine.events.values() for ts in event.transitions.values() for t in ts]
    assert sorted(built) == sorted((table.states[r.state].name, table.states[r.to].name) for r in table.rows)


def test_a_restart_lands_in_the_first_state() -> None:
    table = club()
    machine = Machine(table)
    start = table.states[0].name
    bits = (1 << table.bit_index("empty")) | (1 << table.bit_index("sensor_ok"))
    machine.follow(bits, 60 * 1000 // table.scan_ms)
    assert machine.state == "rest"
    machine.restart()
    assert (machine.state, machine.timer) == (start, 0)


def test_the_drawing_names_every_state_and_every_arrow() -> None:
    table = club()
    machine = Machine(table)
    for text in (machine.mermaid(), machine.dot()):
        for state in table.states:
            assert state.name in text
    arrows = {(table.states[r.state].name, table.states[r.to].name) for r in table.rows}
    assert all(f"{a} --> {b} :" in machine.mermaid() for a, b in arrows)
    assert all(f'"{a}" -> "{b}"' in machine.dot() for a, b in arrows)
