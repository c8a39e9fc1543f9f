"""Puts the running parts of a pad together and connects them; world.py moves them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from sequencer.description.box import LampOutput, RelayOutput, ServoOutput
from sequencer.description.grounds import (
    DialPart,
    HeadPart,
    PinPart,
    PowerPart,
    SupplyPart,
    SwitchPlace,
    TestLoadPart,
    VolumePart,
    WeatherPart,
    WirePart,
)
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.site.assumed import given_or_assumed
from sequencer.site.build import Ground, gas
from sequencer.site.drives import Feed, ServoDrive, Switched
from sequencer.site.flow import P_ATM
from sequencer.site.hold import HeadState, Jack, PinState, Stand, WireState, stands
from sequencer.site.parts import Thermal
from sequencer.site.people import People
from sequencer.site.pipework import Line, ReliefState, SupplyState
from sequencer.site.sensors import generator
from sequencer.site.wiring import Contact, Wiring

T = TypeVar("T")

GUSTS = 0.2
"""Standard deviation of the wind as a share of its mean, and how long a gust lasts, s (our choice)."""
GUST_TIME = 10.0


@dataclass
class Drive:
    """One output: what it moves, what feeds it, its codes at rest and while the board boots (None: no pulses)."""

    name: str
    feed: Feed
    rest: int | None
    booting: int | None
    switch: Switched | None
    servo: ServoDrive | None
    lines: list[Line]


class Wind:
    """The wind at this tick: a mean with gusts."""

    def __init__(self, ground: Ground, mean: float, seed: int) -> None:
        self.ground, self.mean, self.speed = ground, mean, mean
        self._draw = generator(seed, "wind").gauss
        self._at = 0

    def __call__(self) -> float:
        """Speed in m/s; a gust dies away with GUST_TIME."""
        steps = self.ground.ticks - self._at
        if steps > 0:
            self._at = self.ground.ticks
            keep = math.exp(-steps * self.ground.dt / GUST_TIME)
            spread = GUSTS * self.mean * math.sqrt(1.0 - keep * keep)
            self.speed = max(0.0, self.mean + (self.speed - self.mean) * keep + self._draw(0.0, spread))
        return self.speed


class Dial:
    """What a person reads off a gauge: its error grows from none at the zero pin to its own share of the accuracy."""

    def __init__(self, pad: Pad, name: str, part: DialPart, seed: int) -> None:
        self.volume = part.dial
        accuracy = given_or_assumed(part.accuracy, "dial.accuracy").nominal
        self.error = generator(seed, f"{name}/dial").uniform(-1.0, 1.0) * accuracy
        volume = pad.site.get(part.dial)
        self.full_from = 0.2 * volume.rated.si if isinstance(volume, VolumePart) else 1e5

    def shows(self, gauge: float) -> float:
        return max(0.0, gauge + self.error * min(1.0, abs(gauge) / self.full_from))


class Parts:
    """Every running part of a pad by its name in the file, connected."""

    def __init__(self, pad: Pad, seed: int, thermal: Thermal) -> None:
        self.pad = pad
        plan = gas(pad, thermal)
        self.net = plan.net
        self.ground = ground = Ground(plan.net, pad.scan.si, plan.temperature)
        self.wetted = plan.wetted
        self.seats = plan.seats
        self.supplies = {name: SupplyState(ground, pad, name) for name in pad.parts(SupplyPart)}
        self.lines: dict[str, Line] = {}
        for name, line in plan.lines.items():
            supply = self.supplies.get(line.resolved.source)
            self.lines[name] = Line(ground, line, pad, supply)
            if supply is not None:
                supply.lines.append(self.lines[name])
        self.reliefs = {name: ReliefState(ground, pad, name, path) for name, path in plan.reliefs.items()}
        self.people = People(ground, pad)
        self._build_hold(pad)
        self._build_drives(pad)
        wind = next((part.wind.si for part in pad.parts(WeatherPart).values() if part.wind is not None), 0.0)
        self.wind = Wind(ground, wind, seed)
        self.wiring = Wiring(ground, pad, seed, self._truth)
        self.dials = {name: Dial(pad, name, part, seed) for name, part in pad.parts(DialPart).items()}
        self._follows = list(self._moved_contacts(pad))

    def _build_hold(self, pad: Pad) -> None:
        ground = self.ground
        self.jacks = {name: Jack(ground, name, part) for name, part in pad.parts(TestLoadPart).items()}
        self.pins = {name: PinState(ground, name, part) for name, part in pad.parts(PinPart).items()}
        self.stands: dict[str, Stand] = stands(pad, ground, self.jacks)
        self.wires = {name: WireState(ground, name, part) for name, part in pad.parts(WirePart).items()}
        self.heads: dict[str, HeadState] = {}
        for name, part in pad.parts(HeadPart).items():
            wire = next((self.wires[n] for n, w in pad.parts(WirePart).items() if w.wire.end == name), None)
            pins = [pin for pin in self.pins.values() if pin.head == name]
            stand = self.stands[part.release_head]
            head = HeadState(ground, pad, name, stand, wire or WireState(ground, name, None), pins)
            head.backs_up = part.backup_for
            self.heads[name] = head
            stand.heads.append(head)

    def _build_drives(self, pad: Pad) -> None:
        ground = self.ground
        powers = pad.parts(PowerPart)
        self.feeds = {name: Feed(ground, name, part) for name, part in powers.items()}
        first = next((name for name, part in powers.items() if part.cut_by is None), next(iter(powers), None))
        self.box = self.feeds[first] if first is not None else Feed(ground, "supply", None)
        feed_of = {fed: self.feeds[name] for name, part in powers.items() for fed in part.feeds}
        self.cut: dict[str, list[Feed]] = {}
        for name, part in powers.items():
            if part.cut_by is not None:
                self.cut.setdefault(part.cut_by, []).append(self.feeds[name])
        self.switches = {
            name: Switched(ground, name, output)
            for name, output in pad.outputs.items() if isinstance(output, RelayOutput | LampOutput)
        }  # fmt: skip
        self.servos: dict[str, ServoDrive] = {}
        self.drives: list[Drive] = []
        for name, output in pad.outputs.items():
            feed = feed_of.get(name, self.box)
            positions = pad.output_positions[name]
            if isinstance(output, ServoOutput):
                feed = feed_of.get(output.powered_by or name, feed)
                relay = self.switches.get(output.powered_by) if output.powered_by is not None else None
                servo = ServoDrive(ground, pad, name, feed, relay)
                feed.servos.append(servo)
                pulled = [w.wire.end for w in pad.parts(WirePart).values() if w.wire.origin == name]
                servo.pull([self.heads[head] for head in pulled if head in self.heads])
                self.servos[name] = servo
            rest = positions.index(output.rest) if output.rest in positions else None
            booting = positions.index(output.while_booting) if output.while_booting in positions else rest
            lines = [line for line in self.lines.values() if line.output == name]
            self.drives.append(Drive(name, feed, rest, booting, self.switches.get(name), self.servos.get(name), lines))

    # ------------------------------------------------------------------ what the inputs sense

    def _truth(self, reads: str) -> Callable[[], float]:
        """The quantity an analog input senses. Raises SequencerError for a text that names nothing of this pad."""
        p = self.net.p
        if isinstance(self.pad.site.get(reads), VolumePart):
            i = self.net.index(reads)
            return lambda: p[i] - P_ATM
        if reads.startswith("load on "):
            head = self.head(reads.removeprefix("load on "))
            return lambda: head.load
        if reads == "supply voltage":
            box = self.box
            return lambda: box.voltage
        if reads == "wind":
            return self.wind
        raise SequencerError(f"'{reads}' is nothing that a sensor of this pad can read")

    def _moved_contacts(self, pad: Pad) -> list[tuple[Contact, Callable[[], bool]]]:
        """Contacts that a part moves, with what moves them."""
        contacts = self.wiring.contacts
        found: list[tuple[Contact, Callable[[], bool]]] = []

        def join(contact_name: str | None, mover: str, truth: Callable[[], bool], opposite: frozenset[str]) -> None:
            contact = contacts.get(contact_name or "")
            if contact is None:
                return
            contact.moved_by = mover
            against = contact.word in opposite
            found.append((contact, (lambda: not truth()) if against else truth))

        for name, head in self.heads.items():
            join(head.seen_by, name, _shut(head), frozenset({"open", "let go", "released", "free"}))
        for name, part in pad.parts(PinPart).items():
            join(part.seen_by, name, _inside(self.pins[name]), frozenset({"out", "pulled"}))
        for name, place in pad.parts(SwitchPlace).items():
            output, _, position = place.follows.partition(" at ")
            join(place.seen_by, name, self._at_position(output, position), frozenset())
        return found

    def _at_position(self, output: str, position: str) -> Callable[[], bool]:
        """Whether what an output moves truly stands at a position."""
        drive = next((drive for drive in self.drives if drive.name == output), None)
        if drive is None or position not in self.pad.output_positions[output]:
            raise SequencerError(f"'{output} at {position}' names no position of an output")
        code = self.pad.output_positions[output].index(position)
        if drive.servo is not None:
            servo = drive.servo
            return lambda: servo.stands_at(code)
        if drive.switch is not None:
            switch = drive.switch
            return lambda: switch.closed == (code == 1)
        if drive.lines:
            line = drive.lines[0]
            return lambda: line.position >= 0.9 if code == line.open_code else line.position <= 0.1
        return lambda: False

    # ------------------------------------------------------------------ by name

    def head(self, name: str) -> HeadState:
        return find(self.heads, name, "a release head")

    def line(self, name: str) -> Line:
        return find(self.lines, name, "a line")

    def pin_state(self, name: str) -> PinState:
        return find(self.pins, name, "a locking pin")

    def volume_index(self, name: str) -> int:
        """Index of a volume's pressure in the network."""
        if not isinstance(self.pad.site.get(name), VolumePart):
            raise SequencerError(f"'{name}' is not a volume of this pad")
        return self.net.index(name)


def find(table: dict[str, T], name: str, what: str) -> T:
    """The part of that name. Raises SequencerError with the names there are."""
    if name not in table:
        known = ", ".join(table) or "none"
        raise SequencerError(f"'{name}' is not {what} of this pad; there is {known}")
    return table[name]


def _shut(head: HeadState) -> Callable[[], bool]:
    return lambda: head.shut


def _inside(pin: PinState) -> Callable[[], bool]:
    return lambda: pin.inside
