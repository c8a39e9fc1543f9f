"""The course of one run, and one run by itself: the whole day, or the launch leg of it.

A leg begins where the file's own nominal day stands when its crew comes to a phase: the box's memory, switches, hand
valves, pins, heads and people are taken from there; the gas begins at the air's pressure and temperature.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from sequencer.description.box import ServoOutput
from sequencer.description.crew import Step
from sequencer.description.grounds import VolumePart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.simulation.session import Session
from sequencer.table import Memory, Table
from sequencer.table.fast import Controller
from sequencer.trials.draw import Draw

SETTLE_MS = 2_000
LONGEST_MS = 90 * 60_000
EMPTY = 20_000.0
"""A leg begins only where every volume stands below this, gauge Pa, and every jack is let down."""


@dataclass(frozen=True)
class Passed:
    """One move of the box: time, row, state entered."""

    ms: int
    row: int
    to: int


@dataclass
class Course:
    """What became of one run. Pressures gauge Pa, in order of the file's volumes.

    asked_ms: when each servo was first commanded away from where it idles; freed_ms: when a head first let go (end of
    that scan); at_asked, loads: pressures, and loads on the heads in N, when the first servo was asked; stopped: why the
    crew did not go on.
    """

    passed: list[Passed] = field(default_factory=list)
    asked_ms: dict[str, int] = field(default_factory=dict)
    freed_ms: int | None = None
    peaks: tuple[float, ...] = ()
    at_asked: tuple[float, ...] = ()
    loads: tuple[float, ...] = ()
    state: int = -1
    ended_ms: int = 0
    stopped: str = ""


@dataclass(frozen=True)
class Begin:
    """Where runs begin: at power-on (memory None), or with the box's memory and the pad as it stood, at a step."""

    step: int = 0
    memory: Memory | None = None
    switches: tuple[tuple[str, str], ...] = ()
    valves: tuple[tuple[str, bool], ...] = ()
    latched: tuple[str, ...] = ()
    pins: tuple[tuple[str, bool], ...] = ()
    places: tuple[tuple[str, Any], ...] = ()

    def steps(self, pad: Pad) -> list[Step]:
        """The crew's steps from there."""
        return list(pad.crew.steps)[self.step :]

    def arrange(self, world: Any) -> None:
        """Bring a new World to where the pad stands then, its contacts quiet."""
        if self.memory is None:
            return
        for head in self.latched:
            world.latch(head)
        for name, inside in self.pins:
            world.pin(name, inside)
        for name, opened in self.valves:
            world.set_hand_valve(name, opened)
        for name, word in self.switches:
            world.set_switch(name, word)
        world.people.places.update(self.places)
        wiring = world.wiring
        while wiring.restless:
            wiring.look(1.0)


POWER_ON = Begin()


def phase_steps(pad: Pad) -> dict[str, int]:
    """Phase -> number of its first step, from 0."""
    return {step.phase: number for number, step in reversed(list(enumerate(pad.crew.steps))) if step.phase}


def at_phase(pad: Pad, table: Table, phase: str) -> Begin:
    """Where the nominal day stands when the crew comes to a phase. Raises SequencerError where a leg cannot begin."""
    known = phase_steps(pad)
    if phase not in known:
        raise SequencerError(f"{pad.file}: the crew has no phase '{phase}'; it has {', '.join(known) or 'none'}")
    step = known[phase]
    if not step:
        return POWER_ON
    session = Session(pad, seed=0, steps=list(pad.crew.steps)[:step], table=table, record=False)
    while not session.driver.idle and session.ms < LONGEST_MS:
        session.tick()
    world: Any = session.world
    if not session.driver.finished or session.box.phase != "running":
        raise SequencerError(f"{pad.file}: the nominal day does not come to phase '{phase}': {session.driver.stopped or 'the box is off'}")
    loaded = _loaded(pad, world)
    if loaded or world._flown or any(head.freed for head in world.heads.values()):
        what = loaded or "the vehicle has flown"
        raise SequencerError(f"{pad.file}: a leg cannot begin at phase '{phase}': {what} by then")
    contacts = {n: c for n, c in world.wiring.contacts.items() if c.moved_by is None}
    return Begin(
        step, session.box.controller.memory,
        switches=tuple((n, c.word if c.let_be else f"not {c.word}") for n, c in contacts.items()),
        valves=(
            *((n, line.asked) for n, line in world.lines.items() if line.by_hand),
            *((n, supply.hand_open) for n, supply in world.supplies.items()),
        ),
        latched=tuple(n for n, head in world.heads.items() if head.word == "latched"),
        pins=tuple((n, pin.inside) for n, pin in world.pins.items()), places=tuple(world.people.places.items()),
    )  # fmt: skip


def _loaded(pad: Pad, world: Any) -> str:
    """What holds energy: gas in volumes, a pumped jack; '' for nothing."""
    full = [name for name in pad.parts(VolumePart) if world.pressure(name) > EMPTY]
    pumped = [name for name, jack in world.jacks.items() if jack.load > 0.0]
    return f"there is gas in {', '.join(full)}" if full else f"{', '.join(pumped)} is pumped up" if pumped else ""


def launch_phase(pad: Pad, table: Table) -> str:
    """The last phase at which a launch leg can begin: of those before the head is first let go, the one in which the box
    last leaves its state without gas, jacks let down. '' when there is none (then the whole day is run)."""
    session = Session(pad, seed=0, steps=list(pad.crew.steps), table=table, record=False)
    empty_until = -1
    world: Any = session.world
    every = pad.scan_ms if world.jacks else 500  # a jack is pumped in one act, gas comes slowly
    while not session.driver.idle and session.ms < LONGEST_MS:
        session.tick()
        if session.released:
            break
        if session.ms % every < pad.scan_ms and not _loaded(pad, world):
            empty_until = session.ms
    if not session.released:
        return ""
    told = [(line.ms, line.why[0].removeprefix("phase ")) for line in session.lines if line.kind == "crew" and line.why]
    fitting = [phase for ms, phase in told if ms <= empty_until and phase in phase_steps(pad)]
    return fitting[-1] if fitting else ""


class Eye:
    """Notes the course of one run from outside: what was commanded, what the pressures reach."""

    def __init__(self, pad: Pad, table: Table) -> None:
        self.servos = [(name, table.output_index(name)) for name, part in pad.outputs.items() if isinstance(part, ServoOutput)]
        self.volumes = list(pad.parts(VolumePart))

    def asked(self, course: Course, ms: int, codes: Any, pressures: Any, loads: Any) -> None:
        """New commands were written at `ms`."""
        for name, index in self.servos:
            if codes[index] != 0 and name not in course.asked_ms:
                course.asked_ms[name] = ms
                if not course.at_asked:
                    course.at_asked = tuple(float(p) for p in pressures())
                    course.loads = tuple(float(n) for n in loads())


def session_from(one: Draw, begin: Begin, table: Table, *, record: bool = False) -> Session:
    """A session of a drawn pad that begins there; to be ticked like any other."""
    pad = one.pad
    session = Session(pad, seed=one.seed, steps=begin.steps(pad), table=table, record=record, make_world=lambda _, seed: one.world())
    begin.arrange(session.world)
    if begin.memory is not None:
        box, memory = session.box, begin.memory
        box.phase, box.controller = "running", Controller(table, memory)
        box.commands, box.state, box.bits = memory.outputs, memory.state, memory.bits
        box.machine.restart(memory.state)
    return session


def alone(one: Draw, begin: Begin, table: Table, longest_ms: int = LONGEST_MS) -> Course:
    """One run by itself: until the crew is done and SETTLE_MS have passed."""
    session = session_from(one, begin, table)
    eye, course = Eye(one.pad, table), Course()
    world: Any = session.world
    peaks = [0.0] * len(eye.volumes)
    log, seen = session.box.log, len(session.box.log)
    while session.ms < longest_ms:
        session.tick()
        pressures = [world.pressure(name) for name in eye.volumes]
        peaks = [max(a, b) for a, b in zip(peaks, pressures, strict=True)]
        while seen < len(log):
            entry = log[seen]
            if entry.kind == "move":
                course.passed.append(Passed(session.box.log_ms[seen], entry.row, table.state_index(entry.to)))
            seen += 1
        if session.box.commands is not None:
            eye.asked(course, session.ms, session.box.commands, lambda now=pressures: now, lambda: [head.load for head in world.heads.values()])
        if course.freed_ms is None and any(head.freed for head in world.heads.values()):
            course.freed_ms = session.ms
        if session.driver.idle and session.ms >= session.last_act_ms + SETTLE_MS:
            break
    course.peaks, course.state = tuple(peaks), session.box.state
    course.ended_ms, course.stopped = session.ms, session.driver.stopped
    return course
