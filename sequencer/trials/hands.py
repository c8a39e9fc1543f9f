"""A session in which what people do beside the day's steps passes the procedure first.

A hand does only what it can reach, and an act against the procedure is counted as the slip it is: walking in while
the lamps or a dial say no, shutting the gate on someone (whoever does it).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

from sequencer.description import terms as t
from sequencer.description.box import ContactInput, LampOutput
from sequencer.description.crew import Step
from sequencer.description.grounds import DialPart, LinePart, PadPart, PinPart
from sequencer.description.pad import Pad
from sequencer.description.thresholds import point
from sequencer.simulation.events import (
    Action,
    Event,
    HandValve,
    Hold,
    Latch,
    Pin,
    Press,
    Strike,
    Switch,
    Walk,
)
from sequencer.simulation.session import Session
from sequencer.simulation.steps import held_on_pad, slipped
from sequencer.table import Table
from sequencer.trials.plan import Plan


def steps_of(pad: Pad, plan: Plan) -> list[Step]:
    """The crew's steps as a plan has them done."""
    steps = list(pad.crew.steps) if plan.steps else []
    for slip in plan.slips:
        steps = slipped(steps, slip)
    return steps


class _Steps(list[Step]):
    """The steps, counting how many the crew has come to; those it has not come to may still be changed."""

    come_to = 0

    def __iter__(self) -> Iterator[Step]:
        self.come_to = 0
        while self.come_to < len(self):
            self.come_to += 1
            yield self[self.come_to - 1]


def _numbered(plan: Plan) -> list[Event]:
    return [replace(e, who=f"#{i}") for i, e in enumerate(plan.ordered)]


def _first(plan: Plan, these: Counter[Event]) -> set[int]:
    """Numbers of a plan's events that are `these`, the first of equal ones."""
    found, left = set(), Counter(these)
    for number, one in enumerate(plan.ordered):
        if left[one] > 0:
            left[one] -= 1
            found.add(number)
    return found


class Hands(Session):
    """A session in which plan events pass the procedure first. Their `who` is '#' and their number."""

    def __init__(self, pad: Pad, plan: Plan, table: Table) -> None:
        super().__init__(pad, _numbered(plan), seed=plan.seed, steps=steps_of(pad, plan) or None, table=table, record=False)
        self.plan = plan
        self.driver.steps = self.steps = _Steps(self.driver.steps)
        self.left_out: set[int] = set()
        self.lapses: list[tuple[int, str]] = []
        self.struck_at: list[tuple[int, str]] = []
        self.ground = next(iter(pad.parts(PadPart).items()), None)
        self._lamps = [i for i, output in enumerate(pad.outputs.values()) if isinstance(output, LampOutput)]
        self._kind = [name for name, output in pad.outputs.items() if isinstance(output, LampOutput)]
        self._welcome = {
            tuple(pad.output_positions[lamp].index(pad.commanded(name, lamp)) for lamp in self._kind)
            for name, state in pad.states.items() if state.people == "allowed"
        }  # fmt: skip
        self._dials = _dials(pad)

    def replan(self, plan: Plan) -> None:
        """Go on by another plan of the same pad, seed and values, which is the same until now: no event in which they
        differ has been due, no step in which they differ has been come to."""
        old, fresh = self.plan.ordered, _numbered(plan)
        over = Counter(old[i] for i in self.schedule.over)
        out = Counter(old[i] for i in self.left_out)
        done = _first(plan, over)
        self.left_out = _first(plan, out)
        self.schedule.replace(fresh, done)
        self.steps[:] = steps_of(self.pad, plan)
        self.struck[1] += len(plan.slips) - len(self.plan.slips)
        self.plan = plan

    def act(self, who: str, action: Action) -> None:
        planned = who.startswith("#")
        if planned and not self._possible(action):
            self.left_out.add(int(who[1:]))
            return
        if planned or not isinstance(action, Walk):  # the crew's own way in is a step of the day
            self._note(self._lapse(action))
        super().act("someone" if planned else who, action)

    def _note(self, slip: str) -> None:
        if slip and self.ground is not None:
            self.struck[1] += 1
            self.lapses.append((self.ms, f"{self.ground[0]}: {slip}"))

    def _strike(self, action: Strike) -> None:
        super()._strike(action)
        self.struck_at.append((self.ms, self.faults[-1]))

    def _possible(self, action: Action) -> bool:
        """Whether someone can reach it now, with what they carry."""
        if self.ground is None:
            return True
        near = any(self.world.place(role) == "pad" for role in self.pad.crew.roles)
        if isinstance(action, Latch):
            return near
        if isinstance(action, Pin):
            part = self.pad.site[action.name]
            return near or (not action.inside and isinstance(part, PinPart) and "lanyard" in part.pulled)
        if isinstance(action, HandValve):
            part = self.pad.site[action.name]
            return near or not (isinstance(part, LinePart) and part.from_place == "pad")
        if isinstance(action, Walk):
            gate = self.ground[1].gate
            return action.direction == "out" or gate is None or not self.world.wiring.contacts[gate].stands
        if isinstance(action, Switch | Press | Hold):
            return not held_on_pad(self.pad, self.place, action.input, _word(self.pad, action))
        return True

    def _lapse(self, action: Action) -> str:
        """The slip that this act is, '' for none."""
        assert self.ground is not None or not isinstance(action, Walk)
        if isinstance(action, Walk) and action.direction == "in" and self.world.place(action.role) == "line":
            return "" if self._invited() else "walks in"
        if isinstance(action, Switch | Press | Hold) and self.ground is not None and action.input == self.ground[1].gate:
            gate = self.pad.inputs[action.input]
            if self.world.someone_on_pad and isinstance(gate, ContactInput) and _word(self.pad, action) == gate.contact.word:
                return "miscounts"
        return ""

    def _invited(self) -> bool:
        """Whether lamps and dials let a person walk in, as the file's states and steps tell it."""
        if self._lamps:
            codes = self.codes
            shown = tuple(0 if f"{n}: dead" in self.faults else codes[i] for i, n in zip(self._lamps, self._kind, strict=True))
            if shown not in self._welcome:
                return False
        elif not self.state_name or self.pad.states[self.state_name].people != "allowed":
            return False
        return all(self.world.read_dial(dial) < limit for dial, limit in self._dials)


def _word(pad: Pad, action: Switch | Press | Hold) -> str:
    return action.word if isinstance(action, Switch) else "" if isinstance(action, Hold) and action.let_go else pad.inputs[action.input].contact.word  # type: ignore[union-attr]  # what is pressed or held is a contact


def _dials(pad: Pad) -> list[tuple[str, float]]:
    """(dial, gauge pascal it must show less than) from the crew's steps."""
    found = []
    for step in pad.crew.steps:
        dial = pad.site.get(step.read or "")
        if isinstance(dial, DialPart) and step.shows is not None and step.read:
            found += [
                (step.read, point(pad, leaf.limit)) for leaf in t.leaves(step.shows.expression)
                if isinstance(leaf, t.PressureIs) and not leaf.at_least and leaf.volume == dial.dial
            ]  # fmt: skip
    return found
