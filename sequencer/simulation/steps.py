"""The crew's steps as one person after the other does them: the nominal run.

A step is: wait its time, wait until the box shows the state it is done in, do it, wait for what must
follow. A dial that shows something else than it must, or a state that does not come, stops the crew.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Protocol

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.crew import Step
from sequencer.description.grounds import DialPart, HeadPart, PinPart, TestLoadPart
from sequencer.description.pad import Pad
from sequencer.description.thresholds import point
from sequencer.errors import SequencerError
from sequencer.quantities import QuantityError, parse, show
from sequencer.simulation.events import (
    Action,
    HandValve,
    Hold,
    Latch,
    Pin,
    SetLoad,
    Switch,
    Walk,
)

AT_MOST_MS = 600_000  # the longest wait where the step says nothing
PRESS_MS = 300
LOOKS_MS = (300, 900)  # a person's time from seeing to doing
ANSWER_MS = 1_000  # one answer of a poll
LATE_MS = 30_000
PATIENCE_MS = 30_000  # how long the crew still waits for the planned state once a trip has fired
GIVE_UP_MS = 150_000  # the same once the box has gone by itself where trips go


class Stage(Protocol):
    """What the crew needs of the run it acts in."""

    ms: int

    @property
    def state_name(self) -> str: ...
    @property
    def trips(self) -> int: ...
    @property
    def setbacks(self) -> int: ...
    def act(self, who: str, action: Action) -> None: ...
    def follow(self, after_ms: int, who: str, action: Action) -> None: ...
    def let_go(self, who: str, input: str) -> None: ...
    def place(self, role: str) -> str: ...
    def read_dial(self, name: str) -> float: ...
    def true(self, expression: t.Expression) -> bool: ...
    def tell(self, kind: str, who: str, what: str, why: tuple[str, ...] = ()) -> None: ...


@dataclass(frozen=True)
class Wait:
    """Go on at `until_ms`, or as soon as `ready()`; the driver sends back whether it was ready."""

    until_ms: int
    ready: Callable[[], bool] | None = None


class StepsDriver:
    """Drives the steps. `finished`: all were done; `stopped`: why the crew did not go on ('' while it does)."""

    def __init__(self, pad: Pad, steps: list[Step], stage: Stage, seed: int) -> None:
        self.pad, self.steps, self.stage = pad, steps, stage
        self.finished = not steps
        self.stopped = ""
        self._rng = random.Random(f"{seed}/crew")
        self._known = (stage.trips, stage.setbacks)
        self._plan = self._all()
        self._wait = next(self._plan)

    @property
    def idle(self) -> bool:
        """The crew does nothing any more."""
        return self.finished or bool(self.stopped)

    @property
    def until_ms(self) -> int:
        """When it goes on at the latest; before that only a state, a trip or the end of a walk can make it."""
        return self._wait.until_ms

    def tick(self, ms: int) -> None:
        """Act where it is time to."""
        while not self.idle:
            ready = self._wait.ready is not None and self._wait.ready()
            if not ready and ms < self._wait.until_ms:
                return
            try:
                self._wait = self._plan.send(ready)
            except StopIteration:
                self.finished = not self.stopped

    def _all(self) -> Generator[Wait, bool, None]:
        yield Wait(0)
        for number, step in enumerate(self.steps, 1):
            yield from self._step(number, step)
            if self.stopped:
                return

    def _step(self, number: int, step: Step) -> Generator[Wait, bool, None]:
        stage = self.stage
        if step.wait is not None:
            yield Wait(stage.ms + round(step.wait.si * 1000))
        longest = AT_MOST_MS if step.at_most is None else round(step.at_most.si * 1000)
        if step.during is not None:
            yield from self._state(number, step, step.during, longest if step.during == step.wait_for else AT_MOST_MS)
        if self.stopped:
            return
        yield Wait(stage.ms + self._rng.randint(*LOOKS_MS))
        stage.tell("crew", step.who, step.do, (f"phase {step.phase}",) if step.phase else ())
        yield from self._do(number, step)
        if step.wait_for is not None and not self.stopped:
            yield from self._state(number, step, step.wait_for, longest)
            if step.press is not None:
                stage.let_go(step.who, step.press)

    def _do(self, number: int, step: Step) -> Generator[Wait, bool, None]:
        stage, late = self.stage, step.walk == "out"
        if not late:
            yield from self._set(step)
        if step.walk is not None:
            stage.act(step.who, Walk(step.who, step.walk))
            there = "pad" if step.walk == "in" else "line"
            yield Wait(stage.ms + AT_MOST_MS, lambda: stage.place(step.who) == there)
        if late:
            yield from self._set(step)
        if step.press is not None:
            held = PRESS_MS if step.held is None else round(step.held.si * 1000)
            stage.act(step.who, Hold(step.press))
            stage.follow(held, step.who, Hold(step.press, let_go=True))
        if step.poll:
            yield Wait(stage.ms + ANSWER_MS * len(step.poll))
        if step.read is not None:
            self._read(number, step)

    def _set(self, step: Step) -> Generator[Wait, bool, None]:
        for index, (name, word) in enumerate(step.set.items()):
            if index:
                yield Wait(self.stage.ms + self._rng.randint(*LOOKS_MS))
            holder = held_on_pad(self.pad, self.stage.place, name, word)
            if holder:
                self._stop(step, f"'{step.do}' cannot be done: the {name} is with the {holder}, who is on the pad")
                return
            self.stage.act(step.who, setting(self.pad, name, word))

    def _state(self, number: int, step: Step, wanted: str, longest: int) -> Generator[Wait, bool, None]:
        stage = self.stage
        start, until = stage.ms, stage.ms + longest
        trips, setbacks = self._known  # what fell back since the last state that was waited for counts as well

        def there() -> bool:
            return stage.state_name == wanted

        def there_or_set_back() -> bool:
            return stage.state_name == wanted or stage.trips != trips or stage.setbacks != setbacks

        yield Wait(until, there_or_set_back)
        if not there() and stage.ms < until:  # set back: nobody waits long for what was planned
            patience = PATIENCE_MS if stage.trips != trips else GIVE_UP_MS
            yield Wait(min(until, stage.ms + patience), there)
        if there():
            self._known = (stage.trips, stage.setbacks)
        else:
            shown = stage.state_name or "nothing, the box is off"
            waited = (stage.ms - start) / 1000
            self._stop(step, f"step {number} '{step.do}' waited {waited:.0f} s for {wanted}; the box shows {shown}")

    def _read(self, number: int, step: Step) -> None:
        assert step.read is not None
        dial = self.pad.site[step.read]
        assert isinstance(dial, DialPart)
        shown = self.stage.read_dial(step.read)
        wanted = step.shows
        fine = wanted is None or self.stage.true(_as_read(self.pad, wanted.expression, dial.dial, shown))
        self.stage.tell("crew", step.who, f"reads {show(shown, 'bar')} on {step.read}")
        if not fine and wanted is not None:
            self._stop(step, f"step {number}: {step.read} shows {show(shown, 'bar')}, wanted is {wanted.text}")

    def _stop(self, step: Step, why: str) -> None:
        self.stopped = why
        self.stage.tell("crew", step.who, "does not go on: " + why)
        for name, card in self.pad.cards.items():
            if self.stage.state_name in card.states:
                self.stage.tell("crew", step.who, f"turns to the card '{name}': {'; '.join(card.steps)}")


def _as_read(pad: Pad, expression: t.Expression, volume: str, shown: float) -> t.Expression:
    """The statement with the volume's pressure replaced by what the dial shows: always-true or always-false parts."""
    if isinstance(expression, t.Not):
        return t.Not(_as_read(pad, expression.item, volume, shown))
    if isinstance(expression, t.And):
        return t.And(tuple(_as_read(pad, item, volume, shown) for item in expression.items))
    if isinstance(expression, t.Or):
        return t.Or(tuple(_as_read(pad, item, volume, shown) for item in expression.items))
    if isinstance(expression, t.PressureIs) and expression.volume == volume:
        return t.And(()) if (shown >= point(pad, expression.limit)) == expression.at_least else t.Or(())
    return expression


def held_on_pad(pad: Pad, place: Callable[[str], str], name: str, word: str) -> str:
    """The role that `holds` this input's key and is on the pad with it, when the input would be put to its word; else ''."""
    part = pad.inputs.get(name)
    if not isinstance(part, ContactInput) or word != part.contact.word:
        return ""
    for role, said in pad.crew.roles.items():
        if said.holds and name in said.holds.replace(" ", "_").split("_") and place(role) == "pad":
            return role
    return ""


def setting(pad: Pad, name: str, word: str) -> Action:
    """`set: {name: word}` as an action; raises SequencerError for a name that nobody can set."""
    if name in pad.inputs:
        return Switch(name, word)
    part = pad.site.get(name)
    if isinstance(part, HeadPart) and word == "latched":
        return Latch(name)
    if isinstance(part, PinPart) and word in ("in", "out"):
        return Pin(name, word == "in")
    if isinstance(part, TestLoadPart):
        try:
            return SetLoad(name, parse(word, "force").si)
        except QuantityError as error:
            raise SequencerError(f"'{name}: {word}': {error.message}") from error
    if part is not None and word in ("open", "shut"):
        return HandValve(name, word == "open")
    raise SequencerError(f"'{name}: {word}' is nothing that a hand can set here")


def slipped(steps: list[Step], slip: str) -> list[Step]:
    """The steps with one slip: 'skip N', 'double N', 'early N', 'late N', 'swap N' (N with the one after it)."""
    kind, _, text = slip.partition(" ")
    if kind not in ("skip", "double", "early", "late", "swap") or not text.isdigit() or not 1 <= int(text) <= len(steps):
        raise SequencerError(f"'{slip}' is no slip; skip, double, early, late or swap, and a step from 1 to {len(steps)}")
    at, changed = int(text) - 1, list(steps)
    if kind == "skip":
        del changed[at]
    elif kind == "double":
        changed.insert(at + 1, replace_step(steps[at], wait=None, during=None, phase=None))
    elif kind == "early":
        changed[at] = replace_step(steps[at], wait=None, during=None)
        if at:
            changed[at - 1] = replace_step(steps[at - 1], wait_for=None)
    elif kind == "late":
        from sequencer.quantities import Quantity

        wait = steps[at].wait
        extra = LATE_MS / 1000 + (wait.si if wait is not None else 0.0)
        changed[at] = replace_step(steps[at], wait=Quantity(extra, "time", f"{extra:g} s"))
    elif at + 1 < len(changed):
        changed[at], changed[at + 1] = changed[at + 1], changed[at]
    return changed


def replace_step(step: Step, **changes: object) -> Step:
    """A step with some keys changed."""
    return step.model_copy(update=changes)


