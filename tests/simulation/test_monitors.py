"""Each kind of interlock, judged tick by tick on a toy world."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sequencer.description import loads
from sequencer.simulation.facts import Facts
from sequencer.simulation.monitors import ReactionWatch, Watch, watches
from sequencer.simulation.reaction import allowance_ms
from sequencer.table import compile_table

TEXT = """title: Small
revision: 1
scan: 10 ms
pressures: gauge
inputs:
  stop: {contact: opens when pressed, steady_for: 20 ms}
  gate: {contact: closes when shut, steady_for: 40 ms}
outputs:
  fill: {valve: [shut, open], rest: shut}
  dump: {valve: [open, shut], rest: open}
conditions:
  stop_down: stop is pressed
  gate_shut: gate is shut for 1 s
states:
  a: {says: A., leave: [{go_to: b, once: stop_down}], stays: waits}
  b: {says: B., leave: [{go_to: a, once: gate_shut}], stays: waits}
interlocks:
  i:
RULE
    why: because
site:
  tank: {volume: 1 l, rated: 8 bar}
  pad: {people: up to 2, walk: at least 20 s}
"""
SHUT, OPEN = (0, 0), (1, 0)


class Told:
    """A world that is told what is true."""

    def __init__(self) -> None:
        self.true: dict[str, bool] = {}

    def judge(self, fact: Any) -> Callable[[], bool]:
        name = type(fact).__name__
        wanted = getattr(fact, "wanted", True)
        if name == "SwitchIs":
            return lambda: self.true.get(name, False)
        return lambda: self.true.get(name, False) == wanted


def watch(*rule: str) -> tuple[Watch, Told]:
    pad = loads(TEXT.replace("RULE", "\n".join(f"    {line}" for line in rule)))
    told = Told()
    return watches(pad, Facts(pad, compile_table(pad), told))[0], told


def feed(w: Watch, *moments: tuple[int, tuple[int, int], int]) -> None:
    for ms, codes, state in moments:
        w.step(ms, codes, state, 0)
        w.look(codes, state, 0)


def test_a_never_about_the_world_alone_is_broken_at_once() -> None:
    w, told = watch("never: someone on the pad and tank at least 0.3 bar")
    told.true = {"Someone": True}
    feed(w, (10, SHUT, 0))
    assert w.result(True).outcome == "not exercised"
    told.true["PressureIs"] = True
    feed(w, (20, SHUT, 0))
    assert (w.result(True).outcome, w.broken_ms) == ("broken", 20)


def test_a_never_whose_parts_were_true_but_not_together_has_held() -> None:
    w, told = watch("never: someone on the pad and tank at least 0.3 bar")
    told.true = {"Someone": True}
    feed(w, (10, SHUT, 0))
    told.true = {"PressureIs": True}
    feed(w, (20, SHUT, 0))
    assert w.result(True).outcome == "held"


def test_a_never_with_a_command_is_allowed_the_reaction_time_and_no_more() -> None:
    """20 ms filter + two scans of 10 ms; the gate's on-delay does not slow its loss."""
    w, told = watch("never: stop is pressed and fill open")
    told.true = {"SwitchIs": True}
    for ms in (10, 20, 30, 40):
        feed(w, (ms, OPEN, 0))
    assert w.broken_ms is None
    feed(w, (50, OPEN, 0))
    assert w.broken_ms == 50
    pad = loads(TEXT.replace("RULE", "    never: gate is not shut and fill open"))
    assert allowance_ms(pad, pad.interlocks["i"]) == 60


def test_longer_than_sets_the_allowance() -> None:
    w, told = watch("never: stop is pressed and fill open", "longer_than: 100 ms")
    told.true = {"SwitchIs": True}
    for ms in range(10, 110, 10):
        feed(w, (ms, OPEN, 0))
    assert w.broken_ms is None
    feed(w, (110, OPEN, 0))
    assert w.broken_ms == 110


def test_a_start_is_judged_at_the_moment_of_starting_only() -> None:
    w, told = watch("start: fill to open", "needs: nobody on the pad")
    told.true = {"Someone": True}
    feed(w, (10, SHUT, 0))
    told.true = {}
    feed(w, (20, OPEN, 0))
    told.true = {"Someone": True}
    feed(w, (30, OPEN, 0))
    assert w.result(True).outcome == "held"
    feed(w, (40, SHUT, 0), (50, OPEN, 0))
    assert w.broken_ms == 50


def test_a_start_is_allowed_the_reaction_time_of_what_a_contact_senses() -> None:
    """20 ms filter + two scans: a stop that was last seen up 40 ms before the start could not be known, 50 ms before it could."""
    for since, outcome in ((80, "held"), (70, "held"), (60, "broken"), (50, "broken")):
        w, told = watch("start: fill to open", "needs: stop is not pressed and nobody on the pad")
        for ms in range(10, 100, 10):
            told.true = {"SwitchIs": ms < since}  # the toy's SwitchIs is 'is not pressed' as it stands in the rule
            feed(w, (ms, SHUT, 0))
        told.true = {"SwitchIs": False}
        feed(w, (100, OPEN, 0))
        assert w.result(True).outcome == outcome, since


def test_a_reaction_in_time_is_measured_and_a_late_one_is_broken() -> None:
    w, told = watch("cause: stop is pressed", "effect: fill shut", "within: 50 ms")
    feed(w, (10, OPEN, 0))
    told.true = {"SwitchIs": True}
    feed(w, (20, OPEN, 0), (30, OPEN, 0), (40, SHUT, 0))
    assert w.result(True).outcome == "held"
    assert w.result(True).measured_ms == 30  # from the look before: the cause may have come right after it
    w, told = watch("cause: stop is pressed", "effect: fill shut", "within: 50 ms")
    feed(w, (10, OPEN, 0))
    told.true = {"SwitchIs": True}
    for ms in range(20, 70, 10):
        feed(w, (ms, OPEN, 0))
    assert w.broken_ms is None
    feed(w, (70, OPEN, 0))
    assert w.broken_ms == 70


def test_an_effect_that_does_not_stay_while_the_cause_lasts_is_broken() -> None:
    w, told = watch("cause: stop is pressed", "effect: fill shut", "within: 50 ms")
    told.true = {"SwitchIs": True}
    feed(w, (10, SHUT, 0), (100, SHUT, 0), (110, OPEN, 0))
    assert w.broken_ms == 110


def test_a_cause_that_ends_before_the_effect_is_due_is_not_judged() -> None:
    w, told = watch("cause: stop is pressed", "effect: fill shut", "within: 50 ms")
    told.true = {"SwitchIs": True}
    feed(w, (10, OPEN, 0), (20, OPEN, 0))
    told.true = {}
    feed(w, (30, OPEN, 0), (200, OPEN, 0))
    assert w.broken_ms is None


def test_a_must_counts_on_when_a_fault_may_have_taken_the_command_back_and_ends_when_none_did() -> None:
    w, _ = watch("cause: fill open", "must: tank at least 0.3 bar", "within: 50 ms")
    assert isinstance(w, ReactionWatch)
    w.by_fault = lambda: False
    feed(w, (10, SHUT, 0), (20, OPEN, 0), (30, SHUT, 0), (200, SHUT, 0))
    assert w.broken_ms is None
    w, _ = watch("cause: fill open", "must: tank at least 0.3 bar", "within: 50 ms")
    feed(w, (10, SHUT, 0), (20, OPEN, 0), (30, SHUT, 0), (70, SHUT, 0))
    assert w.broken_ms is None
    feed(w, (80, SHUT, 0))
    assert w.broken_ms == 80


def test_a_must_that_has_happened_once_may_end() -> None:
    w, told = watch("cause: fill open", "must: tank at least 0.3 bar", "within: 50 ms")
    feed(w, (10, SHUT, 0), (20, OPEN, 0))
    told.true = {"PressureIs": True}
    feed(w, (30, OPEN, 0))
    told.true = {}
    feed(w, (200, OPEN, 0))
    assert (w.result(True).outcome, w.result(True).measured_ms) == ("held", 10)


def test_lasting_too_long_and_too_short_are_both_broken() -> None:
    w, _ = watch("lasts: fill open", "at_most: 50 ms")
    feed(w, (10, OPEN, 0), (60, OPEN, 0))
    assert w.broken_ms is None
    feed(w, (70, OPEN, 0))
    assert w.broken_ms == 70
    w, _ = watch("lasts: fill open", "at_least: 50 ms")
    feed(w, (10, OPEN, 0), (40, SHUT, 0))
    assert w.broken_ms == 40


def test_the_off_box_stands_in_no_state() -> None:
    w, _ = watch("never: state is a and fill open", "longer_than: 0 ms")
    feed(w, (10, OPEN, -1), (20, OPEN, 1))
    assert w.broken_ms is None
    feed(w, (30, OPEN, 0))
    assert w.broken_ms == 30


def test_what_is_always_possible_is_not_claimed_from_one_run() -> None:
    w, _ = watch("always_possible: a")
    feed(w, (10, SHUT, 0))
    assert w.result(True).outcome == "not exercised"
