"""A toy site for tests of the simulation itself: gas that follows first order, no noise, no faults but a few.

Not physics: it only gives the simulation's own tests something quick and known to run against.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput
from sequencer.description.grounds import DialPart, HeadPart, LinePart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.table.compile import calibration

WALK_S = 20.0


class StandIn:
    """Speaks the words the simulation needs of a site (see simulation.session)."""

    def __init__(self, pad: Pad, *, seed: int = 0, thermal: str = "wall") -> None:
        self.pad, self.powered, self.reset_cause = pad, True, "power-on"
        self.events: list[tuple[str, str]] = []
        self.gas = dict.fromkeys(pad.parts(VolumePart), 0.0)
        self.switch = {n: False for n, p in pad.inputs.items() if isinstance(p, ContactInput)}
        self.heads = dict.fromkeys(pad.parts(HeadPart), "open")
        self.places = {name: role.starts for name, role in pad.crew.roles.items()}
        self.walks: dict[str, list[Any]] = {}
        self.uncounted = 0
        self.faults: dict[str, str] = {}
        self.time = self.pulling = 0.0
        self.codes: tuple[int, ...] = ()

    def step(self, commands: tuple[int, ...] | None, dt: float) -> None:
        self.events = []
        self.time += dt
        rest = [0] * len(self.pad.outputs)
        self.codes = tuple(rest) if commands is None or not self.powered else commands
        for role, walk in list(self.walks.items()):
            walk[1] -= dt
            if walk[1] <= 0:
                self.places[role] = "pad" if walk[0] == "in" else "line"
                del self.walks[role]
        for name in self.gas:
            goal = None
            for line, part in self.pad.parts(LinePart).items():
                if name in (part.line.origin, part.line.end) and self.line_open(line):
                    other = part.line.end if part.line.origin == name else part.line.origin
                    supply = self.pad.site.get(other)
                    goal = 8e5 if isinstance(supply, SupplyPart) else 0.0 if other == "air" else goal
            if goal is not None:
                self.gas[name] += (goal - self.gas[name]) * -math.expm1(-dt / 3.0)
        self._release(dt)

    def _release(self, dt: float) -> None:
        names = list(self.pad.outputs)
        if "release" not in names:
            return
        pulled = self.codes[names.index("release")] == 1 and self.faults.get("release") != "jammed"
        self.pulling = self.pulling + dt if pulled else 0.0
        for head, state in self.heads.items():
            if state == "latched" and self.pulling > 0.1:
                self.heads[head] = "let go"
                self.events.append((head, "lets go"))
                self.gas = dict.fromkeys(self.gas, 0.0)

    def sample(self) -> tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]:
        contacts, counts, heard = [], [], []
        for name, part in self.pad.inputs.items():
            if isinstance(part, ContactInput):
                at_word = self._at_word(name)
                raw = int(at_word == part.contact.closed_means_word)
                contacts.append({"wire cut": 0, "shorted": 1}.get(self.faults.get(name, ""), raw))
            elif isinstance(part, AnalogInput):
                slope, zero = calibration(self.pad, name)
                value = round((self.gas.get(part.reads, 0.0) - zero) / slope)
                counts.append(0 if self.faults.get(name) == "shorted" else value)
            elif isinstance(part, HeartbeatInput):
                lost = self.faults.get(name) == "lost"
                heard.append(int(round(self.time * 1000) % 100 == 0 and not lost))
        return tuple(contacts), tuple(counts), tuple(heard)

    def _at_word(self, name: str) -> bool:
        for head, part in self.pad.parts(HeadPart).items():
            if part.seen_by == name:
                return self.heads[head] == "latched"
        return self.faults.get(name) == "held" or self.switch[name]

    def set_power(self, on: bool) -> None:
        self.powered = on

    def set_switch(self, name: str, word: str) -> None:
        part = self.pad.inputs[name]
        assert isinstance(part, ContactInput)
        self.switch[name] = word == part.contact.word

    def set_hand_valve(self, name: str, open: bool) -> None:
        self.faults[name] = "open" if open else "shut"

    def latch(self, head: str) -> None:
        self.heads[head] = "latched"

    def pin(self, name: str, inside: bool) -> None:
        pass

    def set_pressure(self, volume: str, gauge_pa: float) -> None:
        self.gas[volume] = gauge_pa

    def walk(self, role: str, direction: str) -> None:
        self.walks[role] = [direction, WALK_S]
        self.places[role] = "walking"

    def place(self, role: str) -> str:
        return self.places[role]

    def read_dial(self, name: str) -> float:
        part = self.pad.site[name]
        assert isinstance(part, DialPart)
        return self.gas[part.dial]

    def fault(self, part: str, mode: str) -> None:
        self.faults[part] = mode
        self.uncounted += mode in ("walks in", "miscounts")

    def clear(self, part: str) -> None:
        self.faults.pop(part, None)

    @property
    def someone_on_pad(self) -> bool:
        return self.uncounted > 0 or any(place != "line" for place in self.places.values())

    def pressure(self, volume: str) -> float:
        return self.gas[volume]

    def load(self, head: str) -> float:
        return self.gas[self.pad.parts(HeadPart)[head].release_head] * 3.8e-4

    def head_state(self, head: str) -> str:
        return self.heads[head]

    def line_open(self, line: str) -> bool:
        part = self.pad.parts(LinePart)[line]
        if part.opened_by in self.pad.outputs:
            index = list(self.pad.outputs).index(part.opened_by)
            return self.pad.output_positions[part.opened_by][self.codes[index]] == "open"
        return self.faults.get(line) == "open"

    def judge(self, fact: Any) -> Callable[[], bool]:
        if isinstance(fact, t.Someone):
            return lambda: self.someone_on_pad == fact.wanted
        if isinstance(fact, t.PressureIs):
            return lambda: (self.gas[fact.volume] >= fact.limit.si) == fact.at_least
        if isinstance(fact, t.HeadIs):
            return lambda: (self.heads[fact.head] == fact.what) == fact.wanted
        if isinstance(fact, t.SwitchIs):
            part = self.pad.inputs[fact.input]
            assert isinstance(part, ContactInput)
            return lambda: (self._at_word(fact.input) == (fact.word == part.contact.word)) == fact.wanted
        raise AssertionError(f"the stand-in cannot judge {fact}")
