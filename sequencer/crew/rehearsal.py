"""A rehearsal without a screen: the crew acts in a running simulation, every order is recorded, answers are words.

The screen, the plain mode, scripts and the debrief all drive this one object through `order` and `advance`; since
the simulation is deterministic, the recorded orders play the evening again to the scan.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sequencer.crew.belief import Belief, belief
from sequencer.crew.orders import Order, read_order
from sequencer.crew.presses import Presses
from sequencer.crew.progress import Progress
from sequencer.crew.record import Recorder
from sequencer.crew.words import bar, spoken
from sequencer.description.faults import faults
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.simulation.events import Action, HandValve, Hold, Pin, Press, Strike, Switch, Walk
from sequencer.simulation.orders import act, drill_events, fault
from sequencer.simulation.run import named_drill
from sequencer.simulation.session import Session
from sequencer.simulation.steps import StepsDriver, held_on_pad, replace_step
from sequencer.table.scan import Inputs


@dataclass(frozen=True)
class Said:
    """One line of what the crew said and did, and what the box did that everyone can see or hear."""

    ms: int
    who: str
    what: str


class _Stage(Session):
    """A session that tells when a hand presses a button, whoever's it is."""

    presses: Presses | None = None

    def act(self, who: str, action: Action) -> None:
        super().act(who, action)
        if self.presses is not None and isinstance(action, Press | Hold) and not getattr(action, "let_go", False):
            self.presses.pressed(action.input)


class Rehearsal:
    """One evening's run.

    drill: a named drill of the file ('' none); surprise: a seed that picks one unseen. record: where to keep it (None:
    nowhere). Raises SequencerError for an unknown drill or a record that is there already.
    """

    def __init__(
        self, pad: Pad, *, seed: int = 0, drill: str = "", surprise: int | None = None, record: Path | None = None,
        events: tuple[str, ...] = (), date: str | None = None,
    ) -> None:  # fmt: skip
        if surprise is not None:
            drill, events = picked(pad, surprise)
        self.pad, self.drill, self.seed = pad, drill, seed
        story = drill_events(pad, named_drill(pad, drill)) if drill else []
        self.session = _Stage(pad, [*story, *(fault(pad, text) for text in events)], seed=seed, record=False)
        self.said: list[Said] = []
        self.answers: list[str] = []
        self.progress = Progress(pad)
        self.presses = self.session.presses = Presses(self.session)
        self.inputs: Inputs | None = None
        self.observe: Callable[[Rehearsal], None] = lambda rehearsal: None
        self._doing: list[tuple[int, StepsDriver]] = []
        self._told = self._logged = 0
        self._watch_sample()
        self.recorder = Recorder(record) if record is not None else None
        if self.recorder is not None:
            self.recorder.begin(
                title=pad.title, revision=pad.revision, checksum=f"{self.session.box.checksum:08x}", seed=seed, drill=drill, events=list(events),
                date=date or datetime.now().isoformat(timespec="seconds"), file=pad.file,
            )  # fmt: skip

    def _watch_sample(self) -> None:
        """Keep the box's last sample: what it reads is all that the crew may see of the truth."""
        world, ask = self.session.world, self.session.world.sample

        def kept() -> object:
            sample = ask()
            self.inputs = Inputs._make(sample)
            return sample

        world.sample = kept

    # ---- what the crew sees ---------------------------------------------------------------------

    @property
    def ms(self) -> int:
        return self.session.ms

    @property
    def state(self) -> str:
        """The state that the box shows, '' while it is off."""
        return self.session.state_name

    def belief(self) -> Belief:
        """What the box believes and waits for now."""
        return belief(self.session, self.inputs)

    # ---- time ------------------------------------------------------------------------------------

    def advance(self, ms: int) -> None:
        """Let at least `ms` pass, in whole scans."""
        end = self.session.ms + ms
        while self.session.ms < end:
            for number, driver in self._doing:
                if not driver.idle:
                    driver.tick(self.session.ms)
                    if driver.idle and driver.stopped:
                        self.say("", f"line {number} is not fulfilled: {_short(driver.stopped)}")
            self._doing = [(number, driver) for number, driver in self._doing if not driver.idle]
            self.session.tick()
            self._hear()
            self.observe(self)
            answer = self.presses.answer()
            if answer:
                self.say("box", answer)
                self.answers.append(answer)
                self.progress.undo(f"press {self.presses.judged}")

    def until(self, state: str, longest_ms: int) -> bool:
        """Let time pass until the box shows `state`; False when it does not within `longest_ms`."""
        end = self.session.ms + longest_ms
        while self.state != state and self.session.ms < end:
            self.advance(self.session.table.scan_ms)
        return self.state == state

    def visited(self, state: str, number: int) -> bool:
        """Whether the box came to `state` after line `number` was done."""
        since = self.progress.at.get(number, 0)
        box = self.session.box
        return any(entry.to == state and ms >= since for entry, ms in zip(box.log, box.log_ms, strict=True))

    @property
    def busy(self) -> bool:
        """Someone is still doing a line (walking, answering a poll)."""
        return bool(self._doing)

    def _hear(self) -> None:
        """Take over what can be seen or heard from the simulation's story: moves, power; never the truth of the pad."""
        for line in self.session.lines[self._told :]:
            if line.kind == "box" and " -> " in line.what or line.kind == "power":
                self.say("box", line.what)
            elif line.kind == "crew" and line.what.startswith("reads "):
                self.say(spoken(line.who), line.what)
        self._told = len(self.session.lines)
        box = self.session.box
        for entry, ms in zip(box.log[self._logged :], box.log_ms[self._logged :], strict=True):
            self._write(kind="box", ms=ms, what=entry.kind, **{"from": entry.origin, "to": entry.to})
        self._logged = len(box.log)

    def say(self, who: str, what: str) -> None:
        """Add a line that everyone hears."""
        self.said.append(Said(self.session.ms, who, what))

    def _write(self, **line: object) -> None:
        if self.recorder is not None:
            self.recorder.write(line)

    # ---- orders ----------------------------------------------------------------------------------

    def order(self, text: str) -> str:
        """Do what the words say and record them; returns what is answered at once ('' for nothing).

        Raises SequencerError for words that mean nothing here; those are not recorded.
        """
        order = read_order(self.pad, text)
        answer = self._do(order)
        self._write(kind="act", ms=self.session.ms, order=text)
        return answer

    def _do(self, order: Order) -> str:
        who = spoken(order.who)
        if order.verb == "next":
            return self._next(order)
        if order.verb == "skip":
            step = self.progress.skip(self.session.ms)
            self.say("", f"line {step} is skipped" if step else "no line is left")
            return ""
        if order.verb == "say":
            self.say(who or "someone", order.what)
            self.progress.call(order.who, order.what, self.session.ms)
            return ""
        if order.verb == "fault":
            event = fault(self.pad, order.what)
            self.session.act("director of the rehearsal", event.action)
            return "the fault is in; the crew does not know"
        if order.verb == "read":
            shown = self.session.read_dial(order.what)
            self.say(who, f"reads {bar(shown)} on {spoken(order.what)}")
            self.progress.act(order.who, "read", order.what, "", self.session.ms, self.state)
            return ""
        action = self._action(order)
        refused = self._impossible(order, action)
        if refused:
            self.say(who, refused)
            return refused
        self._act(order.who, action)
        return ""

    def _action(self, order: Order) -> Action:
        if order.verb == "let go":
            return Hold(order.what, let_go=True)
        return act(self.pad, f"{order.verb} {order.what} at 0 s").action

    def _impossible(self, order: Order, action: Action) -> str:
        """What a person cannot do from where they stand."""
        if isinstance(action, Walk):
            place = self.session.place(action.role)
            if place == "walking" or (place == "pad") == (action.direction == "in"):
                return f"{spoken(action.role)} is already {'walking' if place == 'walking' else 'at the ' + place}"
        if isinstance(action, Switch):
            holder = held_on_pad(self.pad, self.session.place, action.input, action.word)
            if holder:
                return f"the {spoken(action.input)} is with the {spoken(holder)}, who is on the pad"
        return ""

    def _act(self, who: str, action: Action) -> None:
        ms = self.session.ms
        self.session.act(who or "someone", action)
        self.say(spoken(who), _words(action))
        if isinstance(action, Press | Hold) and not (isinstance(action, Hold) and action.let_go):
            self.progress.act(who, "press", action.input, "", ms, self.state)
        elif isinstance(action, Switch):
            self.progress.act(who, "set", action.input, action.word, ms, self.state)
        elif isinstance(action, HandValve):
            self.progress.act(who, "set", action.name, "open" if action.open else "shut", ms, self.state)
        elif isinstance(action, Pin):
            self.progress.act(who, "set", action.name, "in" if action.inside else "out", ms, self.state)
        elif isinstance(action, Walk):
            self.progress.act(action.role, "walk", action.direction, "", ms, self.state)
        elif not isinstance(action, Hold | Strike):
            self.progress.act(who, "set", getattr(action, "head", ""), "latched", ms, self.state)

    def _next(self, order: Order) -> str:
        """The next line as it is written, now: whether the box is ready for it is for the crew to see."""
        number = self.progress.next
        if number is None:
            return "every line of the checklist is done"
        step = self.pad.crew.steps[number - 1]
        silent = self.progress.silent()
        if silent:
            return self._do(Order(silent[0], "say", "go"))
        self.say(spoken(step.who), f"line {number}: {step.do}")
        if step.poll:
            self.progress.ask(number, self.session.ms)
            return ""
        bare = replace_step(step, wait=None, during=None)
        self._doing.append((number, StepsDriver(self.pad, [bare], self.session, self.seed + number)))
        self.progress.done(number, self.session.ms, step.who)
        return ""

    def close(self) -> None:
        """End the record; may be called twice."""
        if self.recorder is not None and self.recorder.path.exists():
            self._write(kind="end", ms=self.session.ms)
            self.recorder.close()
            self.recorder = None


def picked(pad: Pad, surprise: int) -> tuple[str, tuple[str, ...]]:
    """(drill, events) that a surprise seed picks: a drill of the file that has faults or acts, else a fault at random."""
    rng = random.Random(f"surprise {surprise}")
    drills = [name for name, drill in pad.drills.items() if drill.faults or drill.starts]
    if drills:
        return rng.choice(drills), ()
    kinds = [one for one in faults(pad) if one.kind == "equipment"]
    if not kinds:
        raise SequencerError(f"{pad.file}: no drill and no part that can fail; there is nothing to be surprised by")
    state = rng.choice(list(pad.states))
    return "", (f"{rng.choice(kinds).name} in {state} after {rng.randint(1, 8)} s",)


def _words(action: Action) -> str:
    if isinstance(action, Press):
        return f"presses {spoken(action.input)}"
    if isinstance(action, Hold):
        return f"{'lets go of' if action.let_go else 'holds'} {spoken(action.input)}"
    if isinstance(action, Switch):
        return f"{spoken(action.input)}: {action.word}"
    if isinstance(action, Walk):
        return f"walks {action.direction}"
    if isinstance(action, HandValve):
        return f"{'opens' if action.open else 'shuts'} {spoken(action.name)}"
    if isinstance(action, Pin):
        return f"{spoken(action.name)} {'in' if action.inside else 'out'}"
    return f"{spoken(type(action).__name__.lower())} {spoken(str(getattr(action, 'head', '')))}".strip()


def _short(stopped: str) -> str:
    return stopped.split(": ", 1)[-1]
