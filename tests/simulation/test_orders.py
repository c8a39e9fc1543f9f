"""Faults, acts and slips as people write them."""

from __future__ import annotations

import pytest

from sequencer.description import load
from sequencer.description.faults import faults
from sequencer.errors import SequencerError
from sequencer.simulation.events import (
    At,
    Blink,
    Event,
    HandValve,
    Hold,
    InState,
    PowerOff,
    Press,
    Strike,
    Switch,
    Walk,
)
from sequencer.simulation.orders import act, fault, fault_on_line
from sequencer.simulation.steps import slipped

CLUB = load("configs/club.yaml")
CURLEW = load("configs/curlew.yaml")


@pytest.mark.parametrize("name", [f.name for f in (*faults(CLUB), *faults(CURLEW))])
def test_every_fault_name_is_read_with_a_time_and_with_a_state(name: str) -> None:
    part, mode = name.split(": ")
    pad = CLUB if name in [f.name for f in faults(CLUB)] else CURLEW
    state = pad.first_state
    assert fault(pad, f"{name} at 90 s") == Event(At(90_000), Strike(part, mode))
    assert fault(pad, f"{name} in {state} after 2 s") == Event(InState(state, 2000), Strike(part, mode))
    assert fault_on_line(pad, f"{part}:{mode}@1.5s") == Event(At(1500), Strike(part, mode))
    assert fault_on_line(pad, f"{part}:{mode}@{state}") == Event(InState(state), Strike(part, mode))


@pytest.mark.parametrize(
    ("text", "moment", "action"),
    [
        ("press stop in filling", InState("filling"), Press("stop")),
        ("press button for 2 s at 90 s", At(90_000), Press("button", 2000)),
        ("hold button at 0 s", At(0), Hold("button")),
        ("set key: not turned at 90 s", At(90_000), Switch("key", "not turned")),
        ("set hand_dump: open in holding after 5 s", InState("holding", 5000), HandValve("hand_dump", True)),
        ("walk pad_hand in at 5 s", At(5000), Walk("pad_hand", "in")),
        ("blink power in filling", InState("filling"), Blink()),
        ("cut power at 3 s", At(3000), PowerOff()),
    ],
)
def test_acts_are_read(text: str, moment: object, action: object) -> None:
    event = act(CLUB, text)
    assert (event.moment, event.action) == (moment, action)


@pytest.mark.parametrize(
    ("text", "hint"),
    [("press stop", "when is not said"), ("press stopp in filling", "did you mean 'stop'"), ("dance in filling", "is not understood"),
     ("set bottle: full at 3 s", "nothing that a hand can set"), ("press stop in fillin", "when is not said")],
)  # fmt: skip
def test_what_nobody_can_do_is_refused_with_advice(text: str, hint: str) -> None:
    with pytest.raises(SequencerError, match=hint):
        act(CLUB, text)


def test_a_skipped_step_is_gone_and_a_doubled_one_is_there_twice() -> None:
    steps = list(CLUB.crew.steps)
    assert [s.do for s in slipped(steps, "skip 2")] == [s.do for i, s in enumerate(steps) if i != 1]
    assert [s.do for s in slipped(steps, "double 5")].count(steps[4].do) == 2


def test_swapped_steps_change_places_and_a_late_one_waits() -> None:
    steps = list(CLUB.crew.steps)
    swapped = slipped(steps, "swap 5")
    assert (swapped[4].do, swapped[5].do) == (steps[5].do, steps[4].do)
    late = slipped(steps, "late 5")[4].wait
    assert late is not None and late.si >= 30


def test_an_early_step_waits_for_nothing() -> None:
    early = slipped(list(CLUB.crew.steps), "early 8")
    assert (early[7].wait, early[7].during, early[6].wait_for) == (None, None, None)


@pytest.mark.parametrize("slip", ["skip", "skip 0", "skip 99", "forget 3", "late x"])
def test_a_slip_that_is_none_is_refused(slip: str) -> None:
    with pytest.raises(SequencerError, match="is no slip"):
        slipped(list(CLUB.crew.steps), slip)
