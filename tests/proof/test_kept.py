"""Delays that are over for as long as a state lasts: entered only when over, left in the scan that loses their source."""

import random

import pytest

from sequencer.description import load, loads
from sequencer.proof.kept import at_row, masks
from sequencer.proof.prove import Options, Work
from sequencer.table import Inputs, compile_table, power_up, scan

RESTING = """
title: Resting
revision: 1
scan: 20 ms
pressures: gauge
inputs:
  button: {contact: closes when pressed, steady_for: 40 ms}
  sensor: {analog: 10 bit, reads: bottle, points: {102: 0 bar, 922: 10 bar}, accuracy: 0.1 bar, valid: 51 to 973}
outputs:
  dump: {valve: [open, shut], rest: open}
conditions:
  pressed: button becomes pressed
  low: sensor below 0.5 bar
  empty: low for 5 s
states:
  dumping: {says: Dumping., leave: [{go_to: rest, once: empty}], stays: it waits}
  rest: {says: Resting., leave: [{go_to: dumping, once: not low}, {go_to: armed, once: pressed}], stays: it waits}
  armed: {says: Armed., outputs: {dump: shut}, leave: [{go_to: rest, once: pressed and empty}, {go_to: dumping, at_latest: 20 s}]}
interlocks:
  armed_when_empty: {start: state to armed, needs: box says empty, why: Nothing is armed with gas in.}
site:
  bottle: {volume: 2 l, rated: 8 bar}
  dump_line: {line: bottle to air, opened_by: dump, bore: 3 mm}
"""
LOST = {
    "entered without": ("{go_to: rest, once: empty}", "{go_to: rest, once: low}"),
    "entered from elsewhere without": ("{go_to: rest, once: pressed and empty}", "{go_to: rest, once: pressed}"),
    "left only after a time": ("{go_to: dumping, once: not low}", "{go_to: dumping, once: not low, not_before: 1 s}"),
    "left only when more is so": ("{go_to: dumping, once: not low}", "{go_to: dumping, once: not low and pressed}"),
    "not left": ("{go_to: dumping, once: not low}, ", ""),
    "entered anew ahead of it": ("{go_to: dumping, once: not low}", "{go_to: rest, once: pressed and not low}, {go_to: dumping, once: not low}"),
}


def kept(text):
    table = compile_table(loads(text, "resting.yaml"))
    return {(table.states[s].name, b.name) for s, mask in enumerate(masks(table)) for i, b in enumerate(table.bits) if mask >> i & 1}


def broken(text):
    work = Work(loads(text, "resting.yaml"), Options(), lambda says: None)
    work.explore()
    return bool(work.explored.breaches)


def test_a_state_entered_only_when_empty_and_left_at_the_first_gas_is_empty():
    assert kept(RESTING) == {("rest", "empty")} and not broken(RESTING)


@pytest.mark.parametrize("how", LOST)
def test_it_is_not_when_a_way_in_or_the_way_out_is_weaker(how):
    old, new = LOST[how]
    assert RESTING.count(old) == 1
    assert not kept(RESTING.replace(old, new)) and broken(RESTING.replace(old, new))


def test_a_row_ahead_of_the_way_out_may_not_count_on_it():
    table = compile_table(loads(RESTING.replace("[{go_to: dumping, once: not low}, {go_to: armed, once: pressed}]", "[{go_to: armed, once: pressed}, {go_to: dumping, once: not low}]"), "resting.yaml"))
    told = {(table.states[r.state].name, table.states[r.to].name): at_row(table, r) for r in table.rows}
    assert not told["rest", "armed"] and kept(RESTING) == {("rest", "empty")}
    table = compile_table(loads(RESTING, "resting.yaml"))
    assert [at_row(table, r) >> 2 for r in table.rows if table.states[r.to].name == "armed"] == [1]


@pytest.mark.parametrize("name", ["resting", "curlew"])
@pytest.mark.parametrize("seed", range(3))
def test_in_the_true_scan_a_kept_delay_is_over_whenever_its_source_holds(name, seed):
    pad = loads(RESTING, "resting.yaml") if name == "resting" else load("configs/curlew.yaml")
    table, draw = compile_table(pad), random.Random(seed)
    memory, seen = power_up(table), 0
    inside = masks(table)
    low = tuple(410 if name == "curlew" else 102 for _ in table.analogs)
    contacts, counts = [0] * len(table.contacts), low
    first = 0 if name == "resting" else 1  # the key stays out, or the box never rests
    for _ in range(6_000 if name == "resting" else 15_000):
        if draw.random() < (0.03 if name == "resting" else 0.001):
            contacts[draw.randrange(first, len(contacts))] ^= 1
        if draw.random() < (0.2 if counts != low else 0.0003):
            counts = low if counts != low or draw.random() < 0.5 else tuple(draw.randrange(300, 900) for _ in table.analogs)
        state = memory.state
        memory, _, _ = scan(table, memory, Inputs(tuple(contacts), counts, tuple(1 for _ in table.heartbeats)))
        for i, bit in enumerate(table.bits):
            if inside[state] >> i & 1 and bit.set.hold(memory.bits):
                seen += 1
                assert memory.bits >> i & 1, (table.states[state].name, bit.name)
    assert seen > 50
