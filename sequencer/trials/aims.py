"""From the table: which acts can make a row's literals hold in its state, and which take them away.

This guides a campaign and judges nothing: an act that turns out to do nothing costs one trial.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from sequencer.description.box import AnalogInput, ContactInput
from sequencer.description.grounds import HeadPart, PadPart, PinPart
from sequencer.description.pad import Pad
from sequencer.simulation.events import (
    Action,
    Event,
    HandValve,
    InState,
    Latch,
    Mend,
    Moment,
    Pin,
    Press,
    Strike,
    Switch,
    Walk,
)
from sequencer.table import Kind, Table
from sequencer.table.table import Literals
from sequencer.trials.menu import Menu
from sequencer.trials.plan import event

DEEPEST = 6  # bits made from bits made from bits


@dataclass(frozen=True)
class Make:
    """One act, how long after it its bit follows at the soonest, whether it is over at once (a press), and how long
    after the first acts it is done."""

    action: Action
    after_ms: int
    fleeting: bool = False
    lead_ms: int = 0


class Aims:
    """Acts towards the rows of one pad's table."""

    def __init__(self, pad: Pad, table: Table, menu: Menu) -> None:
        self.pad, self.table, self.scan = pad, table, menu.scan_ms
        self.moved: dict[str, tuple[str, HeadPart | PinPart]] = {
            part.seen_by: (name, part) for name, part in pad.site.items() if isinstance(part, HeadPart | PinPart) and part.seen_by
        }
        ground = next(iter(pad.parts(PadPart).values()), None)
        self.gate = ground.gate if ground else None
        self.walk_ms = round(ground.walk.si * 1000) + 2 * self.scan if ground else 0
        self.valves = [act for act in menu.acts if isinstance(act, HandValve)]
        self.faults = {(f.part, f.mode) for f in menu.equipment}

    def _delay(self, scans: int) -> int:
        return (scans + 1) * self.scan

    def contact(self, rng: random.Random, source: int, level: bool, hold: int, press: bool) -> list[Make]:
        """Bring a contact's raw level to `level` (1 closed)."""
        spec = self.table.contacts[source]
        part = self.pad.inputs[spec.name]
        assert isinstance(part, ContactInput)
        at_word = level == part.contact.closed_means_word
        after = self._delay(spec.steady) + hold * self.scan
        if spec.name in self.moved:
            name, by = self.moved[spec.name]
            if isinstance(by, PinPart):
                return [Make(Pin(name, at_word), after)]
            return [Make(Latch(name), after)] if at_word else []
        if press and at_word:
            return [Make(Press(spec.name, rng.choice((300, 300, 1_000, after + 100))), after, True)]
        word = part.contact.word
        turned = Switch(spec.name, word if at_word else f"not {word}")
        if at_word and spec.name == self.gate and rng.random() < 0.6:  # nobody is shut in
            return [*(Make(Walk(role, "out"), self.walk_ms + after) for role in self.pad.crew.roles), Make(turned, after, press, self.walk_ms)]
        return [Make(turned, after, press)]

    def bit(self, rng: random.Random, index: int, value: bool, depth: int = 0) -> list[Make]:
        """Acts that may bring a bit to a value; [] where nothing that hands do brings it about."""
        if depth > DEEPEST:
            return []
        bit = self.table.bits[index]
        hold = bit.hold if value else bit.drop
        if bit.kind == Kind.CONTACT:
            return self.contact(rng, bit.source, bit.wanted == value, hold, False)
        if bit.kind == Kind.PRESS:
            return self.contact(rng, bit.source, bit.wanted, 0, True) if value else []
        if bit.kind == Kind.MEMORY:
            return self.literals(rng, bit.set if value else bit.clear, True, depth)
        if bit.kind == Kind.ALL:
            made = self.literals(rng, bit.set, value, depth)
            return [replace(m, after_ms=m.after_ms + hold * self.scan) for m in made]
        if bit.kind == Kind.HEARD:
            name = self.table.heartbeats[bit.source]
            if value:
                return [Make(Mend(name), self._delay(hold))]
            return [Make(Strike(name, "lost"), self._delay(bit.on + hold))] if (name, "lost") in self.faults else []
        if bit.kind in (Kind.STATE, Kind.COMMAND):
            return []
        return self._reading(rng, bit.source, value if bit.kind == Kind.AT_LEAST else None, hold)

    def _reading(self, rng: random.Random, source: int, high: bool | None, hold: int) -> list[Make]:
        """A pressure or a load follows by itself, by a hand valve, or seems to by a fault of its sensor."""
        name = self.table.analogs[source].name
        part = self.pad.inputs[name]
        assert isinstance(part, AnalogInput)
        modes = ("saturated", "offset") if high else ("shorted", "open", "frozen", "slow")
        choices: list[Action] = [Strike(name, mode) for mode in modes if (name, mode) in self.faults]
        choices += self.valves
        if not choices or rng.random() < 0.6:
            return []
        return [Make(rng.choice(choices), self._delay(hold))]

    def literals(self, rng: random.Random, what: Literals, hold: bool, depth: int) -> list[Make]:
        """Acts for a list of literals to hold, or not to."""
        bits = [(i, bool(what.want >> i & 1)) for i in range(what.care.bit_length()) if what.care >> i & 1]
        if hold != what.invert:
            return [make for i, value in bits for make in self.bit(rng, i, value, depth + 1)]
        if not bits:
            return []
        i, value = rng.choice(bits)
        return self.bit(rng, i, not value, depth + 1)

    def makes(self, rng: random.Random, index: int) -> list[Make]:
        """Acts that may make the literals of a row hold."""
        row = self.table.rows[index]
        return self.literals(rng, Literals(row.care, row.want), True, -1)

    def row(self, rng: random.Random, index: int, start_ms: int) -> tuple[list[Event], int]:
        """Events in a row's state, from `start_ms` after its entry on, and when the row may fire at the soonest."""
        row, makes = self.table.rows[index], self.makes(rng, index)
        state = self.table.states[row.state].name
        level, brief = [m for m in makes if not m.fleeting], [m for m in makes if m.fleeting]
        level.sort(key=_far)
        if rng.random() < 0.2:
            rng.shuffle(level)
        events = [event(InState(state, start_ms + m.lead_ms), m.action) for m in level]
        ready = max((m.lead_ms + m.after_ms for m in level), default=0)
        soonest = max(start_ms + ready, row.least * self.scan) + rng.choice((1, 2, 5)) * self.scan
        late = rng.random() < 0.5
        for m in brief:
            ms = max(start_ms, soonest if late else soonest - m.after_ms)
            events.append(event(InState(state, ms), m.action))
        return events, soonest + (max((m.after_ms for m in brief), default=0) if late else 0)

    def together(self, rng: random.Random, index: int, done_ms: int, place: Callable[[int], Moment]) -> list[Event]:
        """Acts so that a row's literals come to hold at about `done_ms`; `place` makes a moment of a time."""
        return [event(place(max(0, done_ms - m.after_ms) // self.scan * self.scan), m.action) for m in self.makes(rng, index)]


def _far(make: Make) -> int:
    """Hands at the pad do their work before anyone walks off."""
    return 0 if isinstance(make.action, Latch | Pin | HandValve) else 2 if isinstance(make.action, Walk) else 1
