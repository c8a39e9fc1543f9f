"""What critical reading calls dead never fires: held against the scan itself on random files and inputs."""

from __future__ import annotations

import random

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sequencer.description import Pad, load, loads
from sequencer.description.reading.graph import look as look_at_graph
from sequencer.description.reading.rows import look as look_at_rows
from sequencer.description.reading.view import View
from sequencer.errors import UnusableFile
from sequencer.table import Inputs, Table, compile_table, power_up, scan
from tests.description.small_files import CONFIGS
from tests.table import random_pads


def counts_near(table: Table, index: int, rng: random.Random) -> int:
    """A count at or beside a threshold, or anywhere."""
    near = [value for bit in table.bits if bit.source == index for value in (bit.on, bit.off)]
    top = 2 ** table.analogs[index].bits - 1
    return min(top, max(0, rng.choice([*near, rng.randint(0, top)]) + rng.choice((-1, 0, 1))))


def held_against(pad: Pad, seed: int, scans: int) -> tuple[int, int]:
    """(dead exits, moves seen); asserts that no dead exit fires and no unreachable state is entered."""
    view = View(pad)
    look_at_rows(view)
    look_at_graph(view)
    unreachable = {one.place.line for one in view.findings if one.name == "unreachable-state"}
    table = compile_table(pad)
    exits = [one for state in pad.states for one in view.exits[state]]
    assert len(exits) == len(table.rows)
    rng, memory, moves = random.Random(seed), power_up(table), 0
    contacts = [rng.randint(0, 1) for _ in table.contacts]
    counts = [counts_near(table, i, rng) for i in range(len(table.analogs))]
    for _ in range(scans):
        contacts = [1 - level if rng.random() < 0.2 else level for level in contacts]
        counts = [counts_near(table, i, rng) if rng.random() < 0.25 else value for i, value in enumerate(counts)]
        heard = tuple(int(rng.random() < 0.4) for _ in table.heartbeats)
        memory, _, move = scan(table, memory, Inputs(tuple(contacts), tuple(counts), heard))
        if move is not None:
            moves += 1
            assert exits[move.row] not in view.dead, [str(one) for one in view.findings]
            assert pad.place("states", table.states[move.to].name).line not in unreachable
        if rng.random() < 0.005:
            memory = power_up(table)
    return len(view.dead), moves


@settings(max_examples=100, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(random_pads.pad_texts(), st.integers(0, 2**32))
def test_no_rule_called_dead_ever_fires_in_random_files(text: str, seed: int) -> None:
    try:
        pad = loads(text)
    except UnusableFile:
        return
    held_against(pad, seed, 250)


def test_no_rule_called_dead_ever_fires_in_the_planted_file() -> None:
    dead, moves = zip(*(held_against(load(CONFIGS / "planted.yaml"), seed, 600) for seed in range(8)), strict=True)
    assert min(dead) > 5 and sum(moves) > 50


def test_the_random_files_do_have_dead_rules() -> None:
    """The property above would say nothing if none of its files had a rule to judge."""
    found, read = 0, 0

    @settings(max_examples=80, database=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
    @given(random_pads.pad_texts())
    def count(one: str) -> None:
        nonlocal found, read
        try:
            pad = loads(one)
        except UnusableFile:
            return
        read += 1
        view = View(pad)
        look_at_rows(view)
        found += bool(view.dead)

    count()
    assert read > 20 and found > 5
