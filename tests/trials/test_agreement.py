"""Everything a campaign finds has its counterpart in the proof, with the same faults or fewer; else the abstraction is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sequencer.description import loads
from sequencer.errors import UnusableFile
from sequencer.proof.prove import Options, prove
from sequencer.proof.result import CutSet, InterlockResult
from sequencer.simulation.events import At, Latch, Strike
from sequencer.trials.campaign import Bench
from sequencer.trials.nominal import recorded
from sequencer.trials.plan import Plan, event
from tests.trials.agreement import known, small_text, swept, tried, unknown

CLUB = Path("configs/club.yaml").read_text(encoding="utf-8")
WEAKER = {
    "as it is": ("revision: 1\n", "revision: 1\n"),
    "armed with stop held": (" and radio_ok and not stop_down}", " and radio_ok}"),
    "stop does nothing while counting": ("  stop:     {everywhere_but: [", "  stop:     {everywhere_but: [counting, "),
    "released below pressure": ("once: at_pressure and radio_ok, not_before: 5 s", "once: radio_ok, not_before: 5 s"),
}


HELD: dict[int, int] = {}


@pytest.mark.parametrize("weaker", WEAKER)
def test_every_fault_that_breaks_a_rule_on_the_crews_day_is_known_to_the_proof(weaker: str) -> None:
    old, new = WEAKER[weaker]
    assert CLUB.count(old) == 1
    against, found = swept(loads(CLUB.replace(old, new), "club.yaml"), "armed", every=2 if weaker == "as it is" else 5)
    assert against == []
    assert found > 0


@settings(max_examples=12)
@given(seed=st.integers(0, 1 << 32))
@example(seed=1)
@example(seed=4)
@example(seed=7)
@example(seed=9)
def test_what_random_days_break_on_random_small_pads_the_proof_knows(seed: int) -> None:
    try:
        pad = loads(small_text(seed), f"small{seed}.yaml")
    except UnusableFile:
        return
    against, found = tried(pad, 24, seed, faults=seed % 2)
    assert against == [], small_text(seed)
    HELD[seed] = found


def test_the_random_pads_broke_something_to_compare() -> None:
    if not HELD:  # the test above was not chosen
        test_what_random_days_break_on_random_small_pads_the_proof_knows()
    assert sum(HELD.values()) >= 8


@pytest.mark.parametrize("mode", ["stuck closed", "shorted"])
def test_a_contact_that_shows_a_head_latched_which_nobody_latched_is_known_to_the_proof(mode: str) -> None:
    """A rule that waits until the box has seen a change must not wait for ever on a contact that lies."""
    pad = loads(CLUB, "club.yaml")
    day = recorded(pad)
    assert day is not None
    plan = Plan((event(At(1_000), Strike("head", mode)), *(e for e in day.events if not isinstance(e.action, Latch))))
    trial = Bench(pad).try_(plan, enough=lambda b: False)
    assert ("arming_is_meant", (f"head: {mode}",)) in {(b.rule, b.faults) for b in trial.breaches}
    assert unknown(prove(pad, Options(faults=1, replays=False, stories=0)), trial.breaches) == []


def test_the_comparison_can_fail() -> None:
    holds = InterlockResult("a", "never", "x", "critical", "holds", "", cuts=(CutSet(("b: jams",), 1, 0),))
    assert known(holds, ("b: jams", "c: leaks")) and not known(holds, ("c: leaks",)) and not known(holds, ())
    assert known(InterlockResult("a", "must", "x", "critical", "not examined", ""), ("c: leaks",))
    assert unknown.__doc__ and not known(InterlockResult("a", "start", "x", "critical", "holds", ""), ("c: leaks",))
