"""Rows that can fire at all, by the proof's search, beside rows that fire on the simulator."""

from __future__ import annotations

import random
from functools import cache

import pytest

from sequencer.description import load
from sequencer.trials.blind import blind
from sequencer.trials.campaign import Bench, Budget, Campaign, shake
from sequencer.trials.fireable import fireable
from sequencer.trials.nominal import recorded
from sequencer.trials.plan import Plan
from sequencer.trials.shares import NOTHING_WRONG, row_names
from sequencer.trials.story import tell
from tests.trials.agreement import fires_unknown
from tests.trials.the_club import bench, club


@cache
def small() -> Campaign:
    return shake(club(), Budget(12), seed=2, jobs=1, beside_proof=True)


def test_one_row_of_the_club_cannot_fire_without_a_fault_and_can_with_one() -> None:
    plain, single = fireable(club(), single_faults=True)
    names = row_names(bench().table)
    assert {names[i] for i in names if i not in plain} == {"armed: trip sensor -> dumping"}
    assert single == frozenset(names)


@pytest.mark.parametrize("file", ["club", "bench"])
def test_what_fires_on_blind_days_can_fire_in_the_proof(file: str) -> None:
    """Nothing wrong, or one fault: no row fires that no behaviour of the proof's model makes fire."""
    some = Bench(load(f"configs/{file}.yaml"))
    rng, day = random.Random(file), recorded(some.pad)
    trials = [some.try_(blind(rng, some.menu, day, number % 2), enough=lambda b: False) for number in range(8)]
    assert sum(trial.wrong == 0 for trial in trials) >= 1 and any(len(trial.moves) > 4 for trial in trials)
    assert fires_unknown(some.pad, trials) == []


def test_the_comparison_can_fail() -> None:
    trial = bench().try_(Plan(steps=True), enough=lambda b: False)
    assert fires_unknown(club(), [trial]) == []
    other = next(i for i in range(len(bench().table.rows)) if i not in fireable(club())[0])
    told = fires_unknown(club(), [type(trial)(trial.plan, (), frozenset({(other, "row", "")}), trial.moves, trial.ended_ms)])
    assert len(told) == 1 and f"row {other} fires" in told[0]


def test_a_campaign_counts_the_rows_that_can_fire_by_themselves() -> None:
    share = small().shares[NOTHING_WRONG]
    assert share.of == len(bench().table.rows) - 1 and 0 < share.visited <= small().shares["rows"].visited
    assert share.visited + len(share.missing) == share.of
    assert small().denied == ()
    told = tell(club(), small(), ())
    assert "of those that can, by the proof" in told and max(map(len, told.splitlines())) <= 80
