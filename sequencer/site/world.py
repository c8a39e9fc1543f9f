"""The whole pad in time: what the box commands goes in, what its inputs read comes out, and the truth can be asked.

One step is one scan of the controller. In a step: commands reach relays, valves and servos; servos draw wires; gas
moves; supplies, reliefs and heads follow; walkers arrive. While nothing moves and nothing was touched only the gas is
asked, and a gas that changes by less than a millionth may be left alone for up to half a second (network.py). Same
file, seed and acts: same world, always. SI units, pressures given out as gauge pascal.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Protocol

from sequencer.description.faults import faults
from sequencer.description.grounds import PadPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.description.terms import Expression
from sequencer.errors import SequencerError
from sequencer.site.assemble import find
from sequencer.site.flow import P_ATM
from sequencer.site.hold import LIFTS, HeadWord
from sequencer.site.parts import Thermal
from sequencer.site.people import Where
from sequencer.site.truths import judge
from sequencer.site.vehicle import Vehicle
from sequencer.site.wiring import Contact


class _Fails(Protocol):
    """A part that can fail."""

    def strike(self, mode: str) -> None: ...
    def mend(self) -> None: ...


Sample = tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]


class World(Vehicle):
    """The pad around the box. Raises SequencerError for names that the pad does not have."""

    def __init__(self, pad: Pad, *, seed: int = 0, thermal: Thermal = "wall") -> None:
        super().__init__(pad, seed, thermal)
        self.events: list[tuple[str, str]] = []
        """(part, what happened) in the last step, and by hand just before it."""
        self.powered = True
        """Whether the box has a supply it can run on."""
        self._commands: tuple[int, ...] | None = None
        self._seen = -1
        self._waiting = [switch for switch in self.switches.values() if switch.pending]
        self._over: set[tuple[str, str]] = set()
        self._ratings = [
            (name, self.net.index(name), part.rated.si, part.tested_to.si if part.tested_to is not None else float("inf"))
            for name, part in pad.parts(VolumePart).items()
        ]
        self._supplies = tuple(self.supplies.values())
        self._reliefs = tuple(self.reliefs.values())
        self._servos = tuple(self.servos.values())
        self._sagging = tuple(feed for feed in (*self.feeds.values(), self.box) if feed.servos)
        self._servo_lines = [(d.servo, line) for d in self.drives if d.servo is not None for line in d.lines]
        self.sample: Callable[[], Sample] = self.wiring.sample
        """(contacts, counts, heard) of this scan; to be called exactly once per scan."""
        self.wiring.changed = self._switch_moved
        for contact in self.wiring.contacts.values():
            self._switch_moved(contact)
        self._drive(None)
        self._follow()
        self._check_supply()

    # ------------------------------------------------------------------ time

    def step(self, commands: tuple[int, ...] | None, dt: float) -> None:
        """One scan of ``dt`` s under ``commands`` (codes in file order), or with undriven pins (None)."""
        busy = self.before_gas(commands, dt)
        self.net.step(dt)
        self.after_gas(dt, busy)

    def before_gas(self, commands: tuple[int, ...] | None, dt: float) -> bool:
        """The first half of a step, up to the gas (lanes move many gases at once): whether something was touched or moves."""
        ground, events = self.ground, self.events
        if events:
            events.clear()
        ground.ticks += 1
        busy = ground.stirred
        if busy or commands != self._commands:
            ground.stirred = False
            self._drive(commands)
            busy = True
        if ground.moving:
            for line in tuple(ground.moving):
                line.move(dt)
        if self._waiting:
            self._wait()
        for servo in self._servos:
            if servo.awake:
                servo.step(dt)
                busy = True
        return busy

    def after_gas(self, dt: float, busy: bool) -> None:
        """The other half: what follows from the gas."""
        ground, net = self.ground, self.net
        if busy or net.substeps != self._seen or not self.powered or self._working():
            self._seen = net.substeps
            self._look(dt)
        if self.people.walking:
            self.people.step()
        if ground.news:
            self.events.extend(ground.news)
            ground.news.clear()

    @property
    def at_work(self) -> bool:
        """Whether something beside gas and valves is on its way: a relay, a servo, a catch, a relief."""
        return bool(self._waiting) or self._working() or any(servo.awake for servo in self._servos)

    @property
    def follows_late(self) -> bool:
        """Whether a contact that a part moves has still to follow it."""
        return any(truth() != contact.let_be for contact, truth in self._follows)

    def _drive(self, commands: tuple[int, ...] | None) -> None:
        """Bring valves, relays, lamps and servos to what is commanded, as far as their supplies let them."""
        self._commands = commands
        powered = self.box.live
        for i, drive in enumerate(self.drives):
            code: int | None
            if commands is not None:
                code = commands[i]
            else:
                code = drive.booting if powered else drive.rest
            if drive.servo is not None:
                drive.servo.ask(code)
                continue
            energised = drive.feed.live and code == 1
            if drive.switch is not None:
                drive.switch.ask(energised)
                if drive.switch.pending and drive.switch not in self._waiting:
                    self._waiting.append(drive.switch)
            for line in drive.lines:
                line.ask(energised == (line.open_code == 1))

    def _wait(self) -> None:
        for switch in self._waiting:
            switch.wait()
        self._waiting = [switch for switch in self._waiting if switch.pending]

    def _working(self) -> bool:
        for head in self._heads:
            if head.working:
                return True
        for relief in self._reliefs:
            if relief.passing:
                return True
        return any(supply.modes for supply in self._supplies)

    def _look(self, dt: float) -> None:
        """What follows from the gas and the servos of this step."""
        for supply in self._supplies:
            supply.step(dt)
        for relief in self._reliefs:
            relief.look()
        for head in self._heads:
            head.step(dt)
        for stand in self.stands.values():
            if stand.present and stand.force() > LIFTS and not all(head.shut for head in stand.heads):
                self._leave(stand)
        for servo, line in self._servo_lines:
            line.ask(servo.position == line.open_code)
        self._check_supply()
        p, over = self.net.p, self._over
        for name, i, rated, tested in self._ratings:
            gauge = p[i] - P_ATM
            if gauge > rated:
                self._exceeds(name, gauge, "rating", rated, over)
                if gauge > tested:
                    self._exceeds(name, gauge, "proof-test pressure", tested, over)
        self._follow()

    def _exceeds(self, name: str, gauge: float, what: str, limit: float, over: set[tuple[str, str]]) -> None:
        if (name, what) not in over:
            over.add((name, what))
            self.ground.tell(name, f"rises above its {what} of {limit / 1e5:.1f} bar")

    def _check_supply(self) -> None:
        box = self.box
        lowest = min(box.lowest, box.voltage)
        up = box.live and lowest >= box.brown_out
        if self.powered and not up and box.live:
            self.ground.tell("box", f"resets: supply fell to {lowest:.1f} V")
        self.powered = up
        for feed in self._sagging:
            feed.lowest = feed.voltage

    def _switch_moved(self, contact: Contact) -> None:
        """A hardware switch before a supply."""
        for feed in self.cut.get(contact.name, ()):
            feed.keyed = contact.stands
            self.ground.stirred = True

    # ------------------------------------------------------------------ acts

    def set_power(self, on: bool) -> None:
        """The box's supply goes or comes back."""
        self.box.on = on
        self.box.lowest = self.box.voltage
        self.powered = self.box.live and self.box.voltage >= self.box.brown_out
        self.ground.stirred = True

    def set_switch(self, input: str, word: str) -> None:
        """A hand puts a contact to its word, or (any other word) away from it; not where a part moves it."""
        contact = find(self.wiring.contacts, input, "a contact")
        if contact.moved_by is None:
            contact.put(word == contact.word)

    def set_hand_valve(self, name: str, open: bool) -> None:
        """Turn a hand line, or a supply's hand valve."""
        if name in self.supplies:
            self.supplies[name].turn(open)
            return
        line = self.line(name)
        if not line.by_hand:
            raise SequencerError(f"'{name}' has no hand valve: it is opened by {line.plan.part.opened_by}")
        line.ask(open)

    def set_load(self, jack: str, newtons: float) -> None:
        """Pump a test jack to a load, N."""
        find(self.jacks, jack, "a jack").pump(newtons)

    def pin(self, name: str, inside: bool) -> None:
        """Put a locking pin in, or pull it."""
        self.pin_state(name).put(inside)
        self._follow()

    def walk(self, role: str, direction: str) -> None:
        """A person starts to walk 'in' or 'out'."""
        self.people.walk(role, direction)

    def fault(self, part: str, mode: str) -> None:
        """A fault or slip of `description.faults` begins, and stays. Raises SequencerError for one the pad cannot have."""
        if not any(fault.part == part and fault.mode == mode for fault in faults(self.pad)) or part == "box":
            raise SequencerError(f"'{part}: {mode}' is no fault of this pad's surroundings")
        self._part(part).strike(mode)
        self._follow()

    def clear(self, part: str) -> None:
        """Every fault of a part ends; what it brought about stays."""
        self._part(part).mend()
        self._follow()

    def _part(self, name: str) -> _Fails:
        tables: tuple[Mapping[str, _Fails], ...] = (
            self.wiring.contacts, self.wiring.converters, self.wiring.hearts, self.servos, self.switches, self.lines,
            self.supplies, self.reliefs, self.heads, self.wires, self.pins, self.feeds,
        )  # fmt: skip
        for table in tables:
            if name in table:
                return table[name]
        if name in self.pad.parts(PadPart):
            return self.people
        raise SequencerError(f"'{name}' is no part of this pad that can fail")

    # ------------------------------------------------------------------ the truth

    def place(self, role: str) -> Where:
        """Where a person is."""
        return find(self.people.places, role, "a role")

    @property
    def someone_on_pad(self) -> bool:
        """Anyone on the pad or on the way, counted or not."""
        return self.people.present > 0

    @property
    def uncounted(self) -> int:
        """People on the pad whom nobody counted."""
        return self.people.uncounted

    def read_dial(self, name: str) -> float:
        """What a person reads off a dial, gauge Pa; 0 while dials are misread."""
        dial = find(self.dials, name, "a dial")
        return 0.0 if self.people.misread else dial.shows(self.pressure(dial.volume))

    def load(self, head: str) -> float:
        """Load on a head, N."""
        return self.head(head).load

    def head_state(self, head: str) -> HeadWord:
        """'latched', 'half latched', 'let go' (also when another head let the vehicle go) or 'open'."""
        state = self.head(head)
        return "let go" if state.freed else state.word

    def line_open(self, line: str) -> bool:
        """Whether a line's valve is truly open."""
        return self.line(line).is_open

    def servo(self, output: str) -> float:
        """Angle of a servo from where it idles, degrees."""
        return find(self.servos, output, "a servo").degrees

    @property
    def voltage(self) -> float:
        """Voltage of the box's supply, V."""
        return self.box.voltage

    def judge(self, fact: Expression) -> Callable[[], bool]:
        """A fact of the world as a cheap function of this moment (see truths.py)."""
        return judge(self, fact)

    def truth(self, fact: Expression) -> bool:
        """Whether a fact of the world is true now."""
        return judge(self, fact)()
