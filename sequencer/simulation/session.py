"""One running pad: controller, site, events and crew, a period at a time.

`simulate` runs one to its end; a rehearsal steps one while people act in it.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from typing import Any

from sequencer.description import terms as t
from sequencer.description.crew import Step
from sequencer.description.faults import faults
from sequencer.description.grounds import HeadPart, PowerPart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.simulation import acting
from sequencer.simulation.box import Box
from sequencer.simulation.events import Action, Event, Hold, Strike
from sequencer.simulation.facts import Facts
from sequencer.simulation.monitors import ReactionWatch, watches
from sequencer.simulation.reasons import behind, missing_for, presses, why
from sequencer.simulation.recorder import Recorder
from sequencer.simulation.result import Line
from sequencer.simulation.schedule import Schedule
from sequencer.simulation.steps import StepsDriver
from sequencer.table import Inputs, Move, Table, compile_table

LOOK_MS = 200  # how often it is noted which parts of a rule have been true (and at every change)
ASSUMED_BOOT = (0.3, 2.0)  # s, grounds.PowerPart.boot


class Session:
    """A run in progress. All times are whole milliseconds since the first application of power.

    steps: the crew's steps to drive (None: nobody acts of themselves). `make_world(pad, seed=…)` builds
    the site. Raises SequencerError for a statement or an event that names nothing of this pad.
    """

    def __init__(
        self, pad: Pad, events: Sequence[Event] = (), *, seed: int = 0, steps: Sequence[Step] | None = None,
        table: Table | None = None, make_world: Callable[..., Any] | None = None, record: bool = True,
    ) -> None:  # fmt: skip
        if make_world is None:
            from sequencer.site.world import World

            make_world = World
        self.pad, self.seed = pad, seed
        self.table = compile_table(pad) if table is None else table
        self.world = make_world(pad, seed=seed)
        self.facts = Facts(pad, self.table, self.world)
        self.watches = watches(pad, self.facts)
        self.box = Box(self.table, self._boot_ms())
        self.schedule = Schedule(events, lambda once: self._tester(once.fact))
        self.ms = 0
        self.lines: list[Line] = []
        self.faults: list[str] = []
        self.kinds = {f.name: f for f in faults(pad)}
        self.heads = [name for name, head in pad.parts(HeadPart).items() if head.backup_for is None]
        self.released: set[str] = set()  # heads that have let go at some time
        self.struck = [0, 0]  # equipment faults, slips
        self.last_act_ms = 0
        self.supply_cut = False  # whether the supply was taken away; else a reset is a brown-out
        self.recorder = Recorder(pad, self.table) if record else None
        self._dt = pad.scan_ms / 1000
        self._undriven = self._codes_undriven()
        self._presses = presses(self.table)
        self._moved = True
        self._move: Move | None = None  # in the last period
        for watch in self.watches:
            if isinstance(watch, ReactionWatch):
                watch.by_fault = self._by_fault
        self._last_codes: tuple[int, ...] = ()
        self._last_bits = -1
        self._busy = [watch for watch in self.watches if not watch.quiet]
        self._quiet = [watch for watch in self.watches if watch.quiet]
        self.driver = StepsDriver(pad, list(steps or ()), self, seed)

    def _boot_ms(self) -> int:
        """Boot time of this run, drawn from the file's range, a whole number of periods."""
        given = [part.boot for part in self.pad.parts(PowerPart).values() if part.boot]
        low, high = (given[0].low, given[0].high) if given else ASSUMED_BOOT
        drawn = random.Random(f"{self.seed}/boot").uniform(low, high)
        return max(1, round(drawn * 1000 / self.pad.scan_ms)) * self.pad.scan_ms

    def _codes_undriven(self) -> tuple[int, ...]:
        """What undriven pins amount to: rest, or the file's `while_booting`."""
        codes = []
        for name, spec in zip(self.pad.outputs, self.table.outputs, strict=True):
            given = self.pad.outputs[name].while_booting
            codes.append(spec.idle if given is None else self.pad.output_positions[name].index(given))
        return tuple(codes)

    # ---- what the crew and the caller may ask and do -------------------------------------------

    @property
    def state_name(self) -> str:
        """The box's state, '' while nothing scans."""
        return self.box.state_name

    @property
    def trips(self) -> int:
        """How many trips have fired so far."""
        return self.box.trips

    @property
    def setbacks(self) -> int:
        """How often the box has gone, by a trip or not, to a state that trips lead to."""
        return self.box.setbacks

    @property
    def codes(self) -> tuple[int, ...]:
        """Codes that the outputs amount to now."""
        return self._undriven if self.box.commands is None else self.box.commands

    def true(self, expression: t.Expression) -> bool:
        """Whether a statement about the pad is true now."""
        return bool(self.facts.statement(expression)(self.codes, self.box.state, self.box.bits))

    def _tester(self, expression: t.Expression) -> Callable[[], bool]:
        statement = self.facts.statement(expression)
        return lambda: bool(statement(self.codes, self.box.state, self.box.bits))

    def tell(self, kind: str, who: str, what: str, why: tuple[str, ...] = ()) -> None:
        """Add a line to the story."""
        self.lines.append(Line(self.ms, kind, who, what, self.state_name, why))

    def act(self, who: str, action: Action) -> None:
        """Do something now. Raises SequencerError for what this pad does not have."""
        self.last_act_ms = self.ms
        if isinstance(action, Strike):
            self._strike(action)
            return
        acting.do(self, who, action)

    def follow(self, after_ms: int, who: str, action: Action) -> None:
        """Do something after a time, by itself (a button let go)."""
        self.schedule.follow(self.ms + after_ms, who, action)

    def let_go(self, who: str, input: str) -> None:
        """Let a held button go now, if it is still held by an earlier act."""
        if self.schedule.cancel(Hold(input, let_go=True)):
            self.act(who, Hold(input, let_go=True))

    def place(self, role: str) -> str:
        """Where a role is: line, walking or pad."""
        return str(self.world.place(role))

    def read_dial(self, name: str) -> float:
        """What a person sees on a dial, gauge pascal."""
        return float(self.world.read_dial(name))

    def _strike(self, action: Strike) -> None:
        name = f"{action.part}: {action.mode}"
        fault = self.kinds.get(name)
        if fault is None:
            raise SequencerError(f"'{name}' is no fault of this pad")
        self.faults.append(name)
        self.struck[fault.kind == "slip"] += 1
        self.tell("fault", action.part, fault.says.removeprefix(f"{action.part}: "), (name,))
        self.supply_cut = self.supply_cut or isinstance(self.pad.site.get(action.part), PowerPart) and action.mode == "fails"
        if action.part == "box":
            self.box.hang()
        else:
            self.world.fault(action.part, action.mode)

    # ---- one period ----------------------------------------------------------------------------

    def tick(self) -> None:
        """One period of the controller: events, physics, sample, scan, watch, record."""
        box, world = self.box, self.world
        for who, action, event in self.schedule.due(self.ms, box.state_name, box.since_ms):
            if event is not None and event.note:
                self.tell("crew", who, event.note)
            self.act(who, action)
        if not self.driver.idle:
            self.driver.tick(self.ms)
            self.last_act_ms = self.ms
        world.step(box.commands, self._dt)
        self.ms = ms = self.ms + self.table.scan_ms
        if world.events:
            self._tell_world(world.events)
        if box.phase != "running" or not world.powered:
            self._power(world)
        self._move = None
        if box.phase == "running":
            self._move = move = box.scan(ms, Inputs._make(world.sample()))
            if move is not None:
                self._moved = True
                self.tell("box", "box", f"{box.names[move.origin]} -> {box.names[move.to]}", why(self.pad, self.table, move))
            elif box.bits & self._presses:
                self._without_effect()
        codes = self._undriven if box.commands is None else box.commands
        state, bits = box.state, box.bits
        changed = self._moved or codes != self._last_codes
        for watch in self._busy:
            watch.step(ms, codes, state, bits)
        news = changed or bits != self._last_bits
        for watch in self._quiet:
            if news or watch.since is not None:
                watch.step(ms, codes, state, bits)
        if changed or ms % LOOK_MS < self.table.scan_ms:
            for watch in self.watches:
                if watch.unseen:
                    watch.look(codes, state, bits)
        if self.recorder is not None:
            self.recorder.take(ms, state, codes, world, changed or bool(world.events))
        self._last_codes, self._last_bits, self._moved = codes, bits, False

    def _by_fault(self) -> bool:
        """Whether what the box wrote in this period may be a fault's doing: of its supply or itself once it is off, else of
        an input that the move's row, or without a move an inhibit, looks at."""
        if not self.faults:
            return False
        struck = {self.kinds[name].part for name in self.faults if self.kinds[name].kind == "equipment"}
        if self.box.phase != "running":
            return bool(struck & {"box", *self.pad.parts(PowerPart)})
        looked = [self.table.rows[self._move.row].care] if self._move else [inhibit.care for inhibit in self.table.inhibits]
        return any(struck & behind(self.table, care) for care in looked)

    def _tell_world(self, told: Sequence[tuple[str, str]]) -> None:
        for part, what in told:
            self.tell("pad", part, what)
        self.released.update(head for head in self.heads if self.world.head_state(head) == "let go")

    def _without_effect(self) -> None:
        """Say what was missing when a press moved nothing, where a row of this state waits for that press."""
        missing = missing_for(self.table, self.box.state, self.box.bits & self._presses, self.box.bits, self.box.spent)
        if missing:
            self.tell("box", "box", f"stays in {self.state_name}", missing)

    def _power(self, world: Any) -> None:
        box, phase, cause = self.box, self.box.phase, self.box.cause
        box.power(self.ms, world.powered, "power-on" if self.supply_cut else "brown-out")
        if box.phase != phase:
            self._moved = True
            words = {
                "off": "the box stops, its supply is gone or too low; every output goes to rest",
                "booting": "the box boots; its pins are undriven",
                "running": f"the box runs ({box.cause}), in {box.names[0]}",
                "hung": "",
            }[box.phase]
            reason = (f"reset cause: {box.cause}",) if box.phase != "running" and box.cause != cause else ()
            self.tell("power", "box", words, reason)
