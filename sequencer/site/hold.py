"""What holds the vehicle down and how it comes free: claws, catch, wire, pin, jack, seat, and their faults.

The servo's horn draws the wire; beyond its slack and stretch the catch moves against its friction (head.py). Once the
catch is drawn clear of its engagement, the load pushes the claws open: after ``lets_go_in`` the head lets go, unless a
pin is in, or the contact holds itself (the friction angle exceeds the contact angle: seized). Without load nothing
rubs, and drawn claws open.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

from sequencer.description.grounds import HeadPart, PinPart, TestLoadPart, VolumePart, WirePart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.site import resolve_head
from sequencer.site.assumed import given_or_assumed
from sequencer.site.build import Ground
from sequencer.site.flow import P_ATM
from sequencer.site.head import KGF, wedge_hold
from sequencer.site.rig import RigCreep
from sequencer.site.servo import Wire

LIFTS = 2.0
"""Separating force in N above which nothing but a head keeps the vehicle on its seat."""
HAND_FORCE = 200.0
"""What a hand can put on the lever when it closes the head, N (our choice)."""
EARLY_LOAD = 20.0
"""A head that lets go by itself does so once it carries this much, N (our choice)."""
LATE = 3.0
"""Delay in s of a head that lets go late (our choice)."""
HALF_HOLDS = 0.4
"""Share of the rated load at which a half latched head gives way (our choice)."""
DIRT_HOLDS_FOR = 20.0
"""A head latched on dirt creeps off after so many s above a quarter of its rated load (our choice)."""
STRETCHED = 0.6
"""A stretched wire draws the catch only this share of its engagement (our choice)."""

HeadWord = Literal["latched", "half latched", "let go", "open"]


class WireState:
    """The wire from horn to catch, with its faults."""

    def __init__(self, ground: Ground, name: str, part: WirePart | None) -> None:
        self.ground, self.name = ground, name
        slack = given_or_assumed(part.slack if part else None, "wire.slack").nominal
        stretch = given_or_assumed(part.stretch if part else None, "wire.stretch").nominal
        self.whole = Wire(slack, max(stretch, 1e-9))
        self.wire = self.whole
        self._long = slack

    def stretches_for(self, travel: float, engages: float) -> None:
        """How slack it is when stretched, for a horn that draws ``travel`` m and a catch that ``engages`` m."""
        self._long = max(self.whole.slack, travel - STRETCHED * engages)

    def strike(self, mode: str) -> None:
        if mode == "off":
            self.wire = replace(self.wire, off=True)
        else:
            self.wire = replace(self.wire, slack=self._long)
        self.ground.stirred = True

    def mend(self) -> None:
        self.wire = self.whole
        self.ground.stirred = True


class PinState:
    """A locking pin. It begins outside."""

    def __init__(self, ground: Ground, name: str, part: PinPart) -> None:
        self.ground, self.name, self.head = ground, name, part.pin
        self.inside = False
        self.modes: set[str] = set()

    def put(self, inside: bool) -> None:
        """A hand or the lanyard moves it."""
        if inside == self.inside:
            return
        if not inside and "stays in" in self.modes:
            self.ground.tell(self.name, "does not come out")
            return
        if inside and "falls out" in self.modes:
            self.ground.tell(self.name, "does not stay in")
            return
        self.inside = inside
        self.ground.stirred = True

    def strike(self, mode: str) -> None:
        self.modes.add(mode)
        if mode == "falls out" and self.inside:
            self.inside = False
            self.ground.stirred = True
            self.ground.tell(self.name, "falls out")

    def mend(self) -> None:
        self.modes.clear()


class Jack:
    """A jack that loads the head on a bench; the rig settles under it."""

    def __init__(self, ground: Ground, name: str, part: TestLoadPart) -> None:
        self.ground, self.name, self.head = ground, name, part.jack
        self.most = part.load.high
        share = part.settles.nominal if part.settles is not None else 0.0
        self.creep = RigCreep(share, part.settling_time.si if part.settling_time is not None else 20.0)
        self.first = 0.0
        self._since = 0

    def pump(self, newtons: float) -> None:
        """Pump to a load, N; from there it sinks while the rig settles."""
        self.first, self._since = max(0.0, newtons), self.ground.ticks
        self.ground.stirred = True

    @property
    def load(self) -> float:
        if self.first <= 0.0:
            return 0.0
        return self.creep.load(self.first, (self.ground.ticks - self._since) * self.ground.dt)


class Stand:
    """The seat on which a volume stands: the force that would lift it, and whether it is still there."""

    def __init__(self, ground: Ground, volume: str, area: float, weight: float, jack: Jack | None) -> None:
        self.ground, self.volume, self.area, self.weight, self.jack = ground, volume, area, weight, jack
        self.index = ground.net.index(volume)
        self.present = True
        self.heads: list[HeadState] = []

    def force(self) -> float:
        """Separating force p_g*A - W and the jack's pull, N; negative while it rests on its seat."""
        pull = self.jack.load if self.jack is not None else 0.0
        return (self.ground.net.p[self.index] - P_ATM) * self.area - self.weight + pull


class HeadState:
    """One release head in time."""

    def __init__(self, ground: Ground, pad: Pad, name: str, stand: Stand, wire: WireState, pins: list[PinState]) -> None:
        part = pad.site[name]
        assert isinstance(part, HeadPart)
        self.ground, self.name, self.stand, self.wire, self.pins = ground, name, stand, wire, pins
        self.seen_by = part.seen_by
        self.backs_up: str | None = None
        """Another head of the same vehicle: it is free as soon as either lets go."""
        values = resolve_head.head(pad, name)
        self.sound = self.head = values.head("nominal")
        self.delay = values.lets_go_in.nominal
        held = pad.site.get(part.release_head)
        rated = held.rated.si * stand.area - stand.weight if isinstance(held, VolumePart) else 0.0
        if stand.jack is not None:
            rated = stand.jack.most
        elif part.load_range is not None:
            rated = part.load_range.high
        self.rated = max(rated, 10.0 * KGF)
        self.word: HeadWord = "open"
        self.load = 0.0
        self.catch = 0.0
        """How far the catch is drawn, m."""
        self.tension = 0.0
        """Pull of the wire on the horn, N."""
        self.modes: set[str] = set()
        self._timer = self._drawn_for = 0.0
        self._dirt = 0.0
        self._told: set[str] = set()
        self.holding = False
        """Latched and seated: holds a vehicle."""
        self.freed = False
        """Claws or vehicle free after having been latched, until latched again."""
        self.needs = self.head.catch_spring
        # Without an opening spring every force of the train is in proportion to the load.
        self._per_newton = self.head.pull_force(1.0) - self.head.catch_spring

    # ------------------------------------------------------------------ acts and faults

    def latch(self) -> bool:
        """Close the head by hand; False when it does not close against the load."""
        force = max(0.0, self.stand.force())
        if self.word in ("latched", "half latched"):
            return True
        if force > LIFTS and self.head.relatch_force(force) > HAND_FORCE:
            self.ground.tell(self.name, f"does not close against {force / KGF:.0f} kgf")
            return False
        self.catch = self._timer = self._dirt = self._drawn_for = 0.0
        self._told.clear()
        self.freed = False
        self.word = "half latched" if self.modes & {"half latched", "latched on dirt"} else "latched"
        self.ground.stirred = True
        self.settle()
        return True

    def strike(self, mode: str) -> None:
        self.modes.add(mode)
        if mode in ("half latched", "latched on dirt") and self.word == "latched":
            self.word = "half latched"
        self.ground.stirred = True
        self.settle()

    def mend(self) -> None:
        self.modes.clear()
        if self.word == "half latched":
            self.word = "latched"
        self._told.clear()
        self.ground.stirred = True
        self.settle()

    @property
    def shut(self) -> bool:
        """The claws are closed: what the contact sees, also when half latched or on dirt."""
        return self.word in ("latched", "half latched")

    @property
    def pinned(self) -> bool:
        return any(pin.inside for pin in self.pins)

    def settle(self) -> None:
        """Bring the load and what follows from it up to date."""
        present = self.stand.present
        self.load = max(0.0, self.stand.force()) if self.shut and present else 0.0
        self.holding = self.word == "latched" and present
        drawn = self.catch >= self.head.catch_engages
        spring = self.head.catch_spring
        self.needs = spring + self._per_newton * self.load if self.load > 0.0 and not drawn else spring

    # ------------------------------------------------------------------ motion

    def draw(self, horn: float, h: float) -> None:
        """The horn stands ``horn`` m from where the wire begins, for ``h`` s: move the catch, set the wire's tension."""
        self._drawn_for = self._drawn_for + h if self.catch >= self.head.catch_engages else 0.0
        wire = self.wire.wire
        if wire.off:
            self.catch = self.tension = 0.0
            return
        free = horn - wire.slack
        if free <= self.catch:
            # Not taut: the spring brings the catch back as far as the wire lets it.
            self.catch = max(0.0, free)
            self.tension = self.head.catch_spring if self.catch > 0.0 else 0.0
            return
        pull = (free - self.catch) / wire.stretch
        if pull > self.needs:
            self.catch = max(self.catch, free - wire.stretch * self.needs)
            self.tension = self.needs
        else:
            self.tension = pull

    @property
    def working(self) -> bool:
        """Whether time alone may change something: a drawn catch, a fault that lets go."""
        return self._timer > 0.0 or bool(self.modes) or self.catch > 0.0 or self.stand.jack is not None

    def step(self, dt: float) -> None:
        """Judge whether the head lets go in this step."""
        self.settle()
        if not self.shut:
            return
        if self.catch >= self.head.catch_engages:
            self._timer = max(self._timer, self._drawn_for)
        elif self._free(dt):
            self._timer += dt
        else:
            self._timer = 0.0
            return
        if self.pinned:
            drawn = self.catch >= self.head.catch_engages
            self._once("pin", f"its catch {'is drawn' if drawn else 'gives way'} but the pin holds it")
            self._timer = self._drawn_for = 0.0
            return
        if self._seized():
            self._once("seized", f"seizes under {self.load / KGF:.0f} kgf: its catch is free and it stays shut")
            return
        if self._timer >= self.delay + (LATE if "lets go late" in self.modes else 0.0) - 1e-9:
            self.let_go()

    def _free(self, dt: float) -> bool:
        """Whether the claws come off a catch that nobody draws."""
        modes, load = self.modes, self.load
        if modes:
            if "lets go early" in modes and load > EARLY_LOAD:
                return True
            if "half latched" in modes and load > HALF_HOLDS * self.rated:
                self._once("half", f"slips, half latched, at {load / KGF:.0f} kgf")
                return True
            if "latched on dirt" in modes and load > 0.25 * self.rated:
                self._dirt += dt
                if self._dirt >= DIRT_HOLDS_FOR:
                    self._once("dirt", f"creeps off the dirt at {load / KGF:.0f} kgf")
                    return True
        strength = self.head.catch_strength
        return strength < math.inf and self.head.hold_force(self.load) > strength

    def _seized(self) -> bool:
        if "seized" in self.modes:
            return True
        head = self.head
        return self.load > LIFTS and wedge_hold(self.load, head.contact_angle, head.contact_mu) + head.opening_spring <= 0.0

    def let_go(self) -> None:
        """The claws open."""
        self.word, self.freed = "let go", True
        self._timer = 0.0
        self.ground.stirred = True
        self.ground.tell(self.name, "lets go" if self.load > LIFTS else "opens, with no load on it")
        self.settle()

    def _once(self, key: str, what: str) -> None:
        if key not in self._told:
            self._told.add(key)
            self.ground.tell(self.name, what)


def stands(pad: Pad, ground: Ground, jacks: dict[str, Jack]) -> dict[str, Stand]:
    """{held volume: its seat}; a volume that several heads hold stands on the seat of the first.

    Raises SequencerError for a head that holds something else.
    """
    found: dict[str, Stand] = {}
    for name, part in pad.parts(HeadPart).items():
        if part.release_head in found:
            continue
        if not isinstance(pad.site.get(part.release_head), VolumePart):
            raise SequencerError(f"{name}: '{part.release_head}' is not a volume of this pad that it could hold")
        seat = part.seat.nominal
        weight = given_or_assumed(part.weight, "release_head.weight").nominal
        jack = next((jack for jack in jacks.values() if jack.head == name), None)
        found[part.release_head] = Stand(ground, part.release_head, math.pi * seat * seat / 4.0, weight, jack)
    return found


