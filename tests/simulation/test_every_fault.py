"""Every fault that the Curlew pad can have, at three moments of one launch day, alone and in pairs: no crash, and each
names itself in the story.

The day is run once; at each moment the process is forked, so that every fault strikes the very same day.
"""

from __future__ import annotations

import os
import random
import traceback
from collections.abc import Iterator
from pathlib import Path

import pytest

from sequencer.description import Pad, load
from sequencer.description.faults import Fault, faults
from sequencer.report.story import story
from sequencer.simulation.events import Strike
from sequencer.simulation.run import _result
from sequencer.simulation.session import Session

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
MOMENTS = ("armed", "full_filling", "counting")
GOES_ON_S = 3.0
"""How long the day goes on after the fault; the whole days were run once by hand."""


def until(session: Session, state: str) -> None:
    """On to 200 ms after the box has entered a state."""
    while session.state_name != state:
        session.tick()
        assert session.ms < 3_600_000, f"the day never comes to {state}"
    for _ in range(200 // session.table.scan_ms):
        session.tick()


def told(session: Session, struck: tuple[Fault, ...], seconds: float) -> str:
    """The faults strike now and the day goes on: what is wrong with its story, '' when nothing is."""
    before = len(session.lines)
    for fault in struck:
        session.act("", Strike(fault.part, fault.mode))
    for _ in range(round(seconds * 1000) // session.table.scan_ms):
        session.tick()
    run = _result(session, "fault", None)
    text = story(run)
    day = " ".join(text.partition("Interlocks in this run")[0].split())
    wrong = [f"the story does not name {fault.name}" for fault in struck if f"{fault.part} FAULT {fault.mode}: " not in day]
    if run.faults != tuple(fault.name for fault in struck):
        wrong.append(f"the run lists {run.faults}")
    if any(line.ms < session.ms - seconds * 1000 - 1 for line in session.lines[before:]):
        wrong.append("a line is told out of its time")
    return "; ".join(wrong)


def in_a_fork(session: Session, struck: tuple[Fault, ...], seconds: float) -> str:
    """As `told`, in a child, so that the day itself stays as it was; a crash comes back as its last line."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            answer = told(session, struck, seconds)
        except BaseException:
            answer = "crash: " + traceback.format_exc()[-2000:]
        os.write(writing, (answer or "fine").encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        answer = pipe.read().decode()
    os.waitpid(child, 0)
    return "" if answer == "fine" else answer or "it died without a word"


def strikes(pad: Pad, moment: str) -> Iterator[tuple[Fault, ...]]:
    """Every fault alone, and forty pairs of different parts drawn for this moment."""
    every, draw = faults(pad), random.Random(moment)
    yield from ((fault,) for fault in every)
    for _ in range(40):
        one = draw.choice(every)
        yield one, draw.choice([fault for fault in every if fault.part != one.part])


@pytest.fixture(scope="module")
def day() -> Session:
    pad = load(CONFIGS / "curlew.yaml")
    return Session(pad, steps=pad.crew.steps, record=False)


@pytest.mark.parametrize("moment", MOMENTS)
def test_every_fault_and_a_draw_of_pairs_run_on_and_name_themselves_in_the_story(day: Session, moment: str) -> None:
    until(day, moment)
    wrong = {str([f.name for f in struck]): answer for struck in strikes(day.pad, moment) if (answer := in_a_fork(day, struck, GOES_ON_S))}
    assert not wrong, wrong
