"""The checklist as a plain frozen object, from the file alone; Markdown, HTML and PDF are three views of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sequencer.crew.figures import (
    PressureStep,
    Sized,
    StandOff,
    Terminal,
    Timing,
    failing,
    pressure_steps,
    stand_off,
    terminals,
    timings,
)
from sequencer.crew.proposals import Proposal, proposals
from sequencer.crew.words import CAUTIONS, bar, lit, moved, spoken
from sequencer.description.box import AnalogInput
from sequencer.description.crew import Step
from sequencer.description.pad import Pad
from sequencer.quantities import to_gauge
from sequencer.table.compile import compile_table
from sequencer.table.image import checksum


@dataclass(frozen=True)
class Line:
    """One action. `number` is the one that drills, `steps` and the debrief use; `poll` are the roles asked."""

    number: int
    who: str
    do: str
    see: str
    limit: str
    during: str
    poll: tuple[str, ...] = ()
    hold: str = ""
    because: str = ""


@dataclass(frozen=True)
class Phase:
    """A heading and its lines."""

    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Lamp:
    """What lamps show and what the box moves in one state."""

    state: str
    says: str
    lamps: str
    moved: str
    people: str


@dataclass(frozen=True)
class Sheet:
    """An emergency card."""

    name: str
    when: str
    states: tuple[str, ...]
    steps: tuple[str, ...]
    wait: str


@dataclass(frozen=True)
class RoleLine:
    """A role of the crew."""

    name: str
    does: str
    holds: str
    never: str


@dataclass(frozen=True)
class Checklist:
    """Everything that is printed for the day. `checksum` is that of the compiled table, eight hex digits; `zero` says what
    zero means in its pressures, `waivers` are (rule, reason) of what the file accepts to be broken."""

    title: str
    revision: int
    checksum: str
    zero: str
    waivers: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    roles: tuple[RoleLine, ...]
    phases: tuple[Phase, ...]
    lamps: tuple[Lamp, ...]
    pressures: tuple[PressureStep, ...]
    stand_off: StandOff | None
    timings: tuple[Timing, ...]
    sizing_fails: tuple[str, ...]
    wiring: tuple[Terminal, ...]
    cards: tuple[Sheet, ...]
    proposed: tuple[Proposal, ...]
    readings: tuple[str, ...]

    @property
    def mark(self) -> str:
        """What stands on every page."""
        return f"{self.title} · revision {self.revision} · table {self.checksum}"


def checklist(pad: Pad, sized: Sequence[Sized] = ()) -> Checklist:
    """Build the checklist of a file; `sized` are the lines of its sizing sheet, for stand-off and times.

    Raises DoesNotFit where its table cannot be compiled.
    """
    return Checklist(
        title=pad.title,
        revision=pad.revision,
        checksum=f"{checksum(compile_table(pad)):08X}",
        zero=pad.pressures_said,
        waivers=tuple((spoken(name), why) for name, why in pad.waivers),
        cautions=CAUTIONS,
        roles=tuple(
            RoleLine(spoken(name), role.does, role.holds or "", role.never or "") for name, role in pad.crew.roles.items()
        ),
        phases=_phases(pad),
        lamps=tuple(_lamp(pad, name) for name in pad.states),
        pressures=pressure_steps(pad),
        stand_off=stand_off(sized),
        timings=timings(sized),
        sizing_fails=failing(sized),
        wiring=terminals(pad),
        cards=tuple(
            Sheet(
                spoken(name), card.when, tuple(spoken(s) for s in card.states), tuple(card.steps), card.wait.text if card.wait else ""
            )
            for name, card in pad.cards.items()
        ),
        proposed=proposals(pad),
        readings=tuple(
            f"{spoken(name)} ({_unit(part)})" for name, part in pad.inputs.items() if isinstance(part, AnalogInput)
        ),
    )


def _unit(part: AnalogInput) -> str:
    return next(iter(part.points.values())).unit or "-"


def _lamp(pad: Pad, name: str) -> Lamp:
    state = pad.states[name]
    return Lamp(spoken(name), state.says, lit(pad, name), moved(pad, name), state.people)


def _phases(pad: Pad) -> tuple[Phase, ...]:
    phases: list[tuple[str, list[Line]]] = []
    for number, step in enumerate(pad.crew.steps, 1):
        if step.phase or not phases:
            phases.append((step.phase or "Steps", []))
        phases[-1][1].append(_line(pad, number, step))
    return tuple(Phase(title, tuple(lines)) for title, lines in phases)


def _line(pad: Pad, number: int, step: Step) -> Line:
    see = step.see or (f"{spoken(step.wait_for)} shown" if step.wait_for else "")
    hold = ""
    if step.wait_for:
        hold = f"go on only in {spoken(step.wait_for)}"
        if step.at_most:
            hold += f", within {step.at_most.text}"
    return Line(
        number, spoken(step.who), step.do, see, step.limit or _limit(pad, step), spoken(step.during or ""),
        tuple(spoken(role) for role in step.poll), hold, step.because or "",
    )  # fmt: skip


def _limit(pad: Pad, step: Step) -> str:
    """The limit that the file implies where the step does not write one: what a dial must show, a state's target."""
    if step.shows is not None:
        return str(step.shows.text)
    state = pad.states.get(step.wait_for or "") or pad.states.get(step.during or "")
    if step.press and state is not None and step.wait_for is None:
        return ", ".join(f"{spoken(name)} {bar(to_gauge(q, pad.pressures))}" for name, q in state.targets.items() if q.kind == "pressure")
    return ""
