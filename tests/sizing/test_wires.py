"""'If this wire is cut' against the one scan itself: what is said must be what the table then does."""

from __future__ import annotations

import random
from itertools import islice
from pathlib import Path

import pytest

from sequencer.description import Pad, load
from sequencer.sizing.wires import changed_bits, cut_outcomes, output_outcomes
from sequencer.table import Inputs, Kind, Table, compile_table, power_up, scan
from sequencer.table.scan import Memory

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


def untripped(table: Table) -> list[int]:
    """A level for every contact at which no trip that looks at it alone fires."""
    levels = [0] * len(table.contacts)
    for row in table.rows:
        for i, bit in enumerate(table.bits):
            if row.origin.startswith("trip ") and row.care == 1 << i and bit.kind == Kind.CONTACT:
                fires = bit.wanted if row.want else not bit.wanted
                levels[bit.source] = 0 if fires else 1
    return levels


def still_in(table: Table, state: int, rng: random.Random) -> tuple[Memory, Inputs] | None:
    """The box standing still in `state` under steady inputs, before any time-out; None if it leaves."""
    share = rng.choice((0.12, 0.3, 0.5))
    counts = tuple(int(a.low + share * (a.high - a.low)) for a in table.analogs)
    contacts = tuple(level ^ (rng.random() < 0.15) for level in untripped(table))
    inputs = Inputs(contacts, counts, tuple(1 for _ in table.heartbeats))
    memory = power_up(table)._replace(state=state)
    for _ in range(100):  # filters and delays come to rest in the state
        memory, _, _ = scan(table, memory, inputs)
        memory = memory._replace(state=state, timer=0)
    for _ in range(100):
        memory, _, move = scan(table, memory, inputs)
        if move is not None:
            return None
        memory = memory._replace(timer=0)  # only rows without a least time are asked about
    # a control without the cut: a timer of a condition may still have been running
    return None if first_move(table, memory, inputs) else (memory, inputs)


def cut(table: Table, inputs: Inputs, name: str, level: int = 0) -> Inputs:
    """The same inputs with one wire cut: contact open (`level` 1: shorted, closed), reading out of its band, heartbeat
    silent."""
    for i, contact in enumerate(table.contacts):
        if contact.name == name:
            return inputs._replace(contacts=tuple(level if j == i else x for j, x in enumerate(inputs.contacts)))
    for i, analog in enumerate(table.analogs):
        if analog.name == name:
            return inputs._replace(counts=tuple(0 if j == i else x for j, x in enumerate(inputs.counts)))
    return inputs._replace(heard=(0,) * len(table.heartbeats))


def first_move(table: Table, memory: Memory, inputs: Inputs) -> str:
    """The state of the first move within 100 scans with the state timer held at 0; '' when there is none."""
    for _ in range(100):
        memory, _, move = scan(table, memory, inputs)
        if move is not None:
            return table.states[move.to].name
        memory = memory._replace(timer=0)
    return ""


@pytest.mark.parametrize("name", ["club", "curlew", "bench"])
def test_what_is_said_of_a_cut_or_shorted_wire_is_what_the_scan_does(name: str) -> None:
    pad = load(CONFIGS / f"{name}.yaml")
    table = compile_table(pad)
    rng, tried, moved = random.Random(f"{name} wires"), 0, 0
    still: dict[str, list[tuple[Memory, Inputs]]] = {}
    for state in pad.states:
        found = (still_in(table, table.state_index(state), rng) for _ in range(12))
        still[state] = list(islice((one for one in found if one is not None), 2))
    wires = [(wire, 0) for wire in pad.inputs] + [(contact.name, 1) for contact in table.contacts]
    for wire, level in wires:
        for said, (memory, inputs) in ((one, start) for one in cut_outcomes(pad, table, wire, level) for start in still[one.state]):
            does = first_move(table, memory, cut(table, inputs, wire, level))
            tried += 1
            moved += bool(does)
            if said.goes_to:
                assert does == said.goes_to, f"{wire} in {said.state}"
            else:
                assert does == "" or does in said.may_go_to, f"{wire} in {said.state} goes to {does}"
            assert does not in said.blocked or does == "", f"{wire} in {said.state}"
    assert tried > 15 and moved > 4  # the comparison has really been made


def test_a_cut_stop_wire_stops_every_state_that_looks_at_it() -> None:
    pad = load(CONFIGS / "club.yaml")
    said = {one.state: one for one in cut_outcomes(pad, compile_table(pad), "stop")}
    assert {s for s, one in said.items() if one.goes_to == "dumping"} == {"armed", "filling", "holding", "counting", "releasing"}


def test_a_cut_reading_makes_no_comparison_true() -> None:
    pad: Pad = load(CONFIGS / "curlew.yaml")
    table = compile_table(pad)
    bits = changed_bits(table, "lower_a")
    named = {table.bits[i].name: value for i, value in bits.items()}
    assert named["lower_a_ok"] is False and named["lower_a_low"] is False
    assert named["all_low"] is False


def test_a_cut_output_wire_falls_to_the_position_without_power() -> None:
    pad = load(CONFIGS / "club.yaml")
    said = {one.state: one.words for one in output_outcomes(pad, "dump")}
    assert "dump falls to open" in said["holding"] and said["dumping"] == "stays"
