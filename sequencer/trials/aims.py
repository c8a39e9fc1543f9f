"""From the table: which acts can make a row's literals hold in its state, and which take them away.

This guides a campaign and judges nothing: an act that turns out to do nothing costs one trial.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput
from sequencer.description.grounds import (
    HeadPart,
    LinePart,
    PadPart,
    PinPart,
    ReliefPart,
    SupplyPart,
    SwitchPlace,
)
from sequencer.description.pad import Pad
from sequencer.description.sequence import Interlock, Start
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
from sequencer.table.table import Literals, StateSpec
from sequencer.trials.menu import Menu
from sequencer.trials.plan import event
from sequencer.trials.recipes import Recipe, Recipes

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
    """Acts towards the rows of one pad's table. most: the most faults in what is drawn. used: the recipes drawn lately."""

    def __init__(self, pad: Pad, table: Table, menu: Menu, recipes: Recipes | None = None) -> None:
        self.pad, self.table, self.scan, self.most = pad, table, menu.scan_ms, 1
        self.recipes, self.used = recipes or Recipes(table), list[Recipe]()
        self.moved: dict[str, tuple[str, HeadPart | PinPart]] = {
            part.seen_by: (name, part) for name, part in pad.site.items() if isinstance(part, HeadPart | PinPart) and part.seen_by
        }
        ground = next(iter(pad.parts(PadPart).values()), None)
        self.gate = ground.gate if ground else None
        self.walk_ms = round(ground.walk.si * 1000) + 2 * self.scan if ground else 0
        self.valves = [act for act in menu.acts if isinstance(act, HandValve)]
        self.faults = {(f.part, f.mode) for f in menu.equipment}
        self.modes: dict[str, list[str]] = {}
        for fault in menu.equipment:
            self.modes.setdefault(fault.part, []).append(fault.mode)
        self.against = [one for rule in pad.interlocks.values() if rule.waive is None for one in self._looked_at(rule)]
        self.poles = {part.seen_by: part.follows.split(" at ")[0] for part in pad.parts(SwitchPlace).values()}
        self.gas = [name for name, part in pad.site.items() if isinstance(part, LinePart | SupplyPart | ReliefPart) and name in self.modes]

    def _looked_at(self, rule: Interlock) -> Iterator[tuple[frozenset[str], object, bool]]:
        """(states at whose entry it counts or none, what the rule looks at, whether that is to be so for the rule to break)."""
        rows = [(self.table.states[row.state], self.table.states[row.to]) for row in self.table.rows]
        entered = frozenset(to.name for origin, to in rows if isinstance(rule, Start) and self._begins(rule, to) and not self._begins(rule, origin))
        for key, value in vars(rule).items():
            if isinstance(value, t.Written):
                for leaf in t.leaves(value.expression):
                    if isinstance(leaf, t.SwitchIs | t.BoxSays | t.HeadIs | t.PinIs | t.PressureIs | t.LineIs | t.Someone):
                        yield entered, leaf, key not in ("needs", "effect", "must")

    def _begins(self, rule: Start, state: StateSpec) -> bool:
        """Whether what the rule guards may begin at the entry of a state."""
        what, _, to = rule.start.partition(" to ")
        if what in self.pad.outputs:
            return state.outputs[self.table.output_index(what)] == self.pad.output_positions[what].index(to)
        return state.name == to

    def leaf(self, rng: random.Random, leaf: object, so: bool) -> list[Make]:
        """Acts that make what a rule looks at as its words say, or otherwise; [] where nobody can."""
        value = bool(getattr(leaf, "wanted", True)) == so
        if isinstance(leaf, t.SwitchIs):
            source = [spec.name for spec in self.table.contacts].index(leaf.input)
            part = self.pad.inputs[leaf.input]
            assert isinstance(part, ContactInput)
            at_word = (leaf.word == part.contact.word) == value
            return self.contact(rng, source, at_word == part.contact.closed_means_word, 0, rng.random() < 0.2)
        if isinstance(leaf, t.BoxSays):
            return self.bit(rng, self.table.bit_index(leaf.condition), value)
        if isinstance(leaf, t.HeadIs | t.PinIs):
            name = leaf.head if isinstance(leaf, t.HeadIs) else leaf.pin
            acts: list[Action] = [Latch(name)] if isinstance(leaf, t.HeadIs) else [Pin(name, leaf.inside == so)]
            if self.most:
                acts += [Strike(name, mode) for mode in self.modes.get(name, ())]
            return [Make(rng.choice(acts), self.scan)]
        if isinstance(leaf, t.PressureIs | t.LineIs):
            acts = [*self.valves, *([Strike(line, mode) for line in self.gas for mode in self.modes[line]] if self.most else [])]
            return [Make(rng.choice(acts), self.scan)] if acts else []
        if isinstance(leaf, t.Someone) and self.pad.crew.roles:
            role, gate = rng.choice(list(self.pad.crew.roles)), self.pad.inputs.get(self.gate or "")
            opened = [Make(Switch(self.gate, f"not {gate.contact.word}"), self.scan)] if self.gate and isinstance(gate, ContactInput) else []
            return [*opened, Make(Walk(role, "in"), self.walk_ms)]
        return []

    def _delay(self, scans: int) -> int:
        return (scans + 1) * self.scan

    def contact(self, rng: random.Random, source: int, level: bool, hold: int, press: bool) -> list[Make]:
        """Bring a contact's raw level to `level` (1 closed)."""
        spec = self.table.contacts[source]
        part = self.pad.inputs[spec.name]
        assert isinstance(part, ContactInput)
        at_word = level == part.contact.closed_means_word
        after = self._delay(spec.steady) + hold * self.scan
        if spec.name in self.poles or (self.most and rng.random() < 0.08):
            return self._struck(rng, spec.name, ("stuck closed", "shorted") if level else ("stuck open", "wire cut"), self.poles.get(spec.name), after)
        if spec.name in self.moved:
            name, by = self.moved[spec.name]
            if isinstance(by, PinPart):
                return [Make(Pin(name, at_word), after)]
            return [Make(Latch(name), after)] if at_word else self._struck(rng, spec.name, ("stuck open", "wire cut"), name, after)
        if press and at_word:
            return [Make(Press(spec.name, rng.choice((300, 300, 1_000, after + 100))), after, True)]
        word = part.contact.word
        turned = Switch(spec.name, word if at_word else f"not {word}")
        if at_word and spec.name == self.gate and rng.random() < 0.6:  # nobody is shut in
            return [*(Make(Walk(role, "out"), self.walk_ms + after) for role in self.pad.crew.roles), Make(turned, after, press, self.walk_ms)]
        return [Make(turned, after, press)]

    def _struck(self, rng: random.Random, name: str, modes: tuple[str, ...], other: str | None, after: int) -> list[Make]:
        """A fault of an input, or any of the part that moves it; [] where none may be."""
        if not self.most:
            return []
        known = [Strike(name, mode) for mode in modes if (name, mode) in self.faults]
        more = [Strike(other, mode) for mode in self.modes.get(other, [])] if other else []
        choices = more if more and rng.random() < 0.7 else known
        return [Make(rng.choice(choices), after)] if choices else []

    def bit(self, rng: random.Random, index: int, value: bool, depth: int = 0) -> list[Make]:
        """Acts that may bring a bit to a value, as the table has it or as trials have shown; [] where none are known."""
        if depth > DEEPEST:
            return []
        made = self._by_table(rng, index, value, depth) if rng.random() < 0.6 else []
        if not made:
            recipe = self.recipes.draw(rng, index, value, self.most)
            if recipe is None:
                return self._by_table(rng, index, value, depth)
            self.used.append(recipe)
            made = [Make(action, recipe.after_ms - ms, lead_ms=ms) for ms, action in recipe.steps]
        return made

    def _by_table(self, rng: random.Random, index: int, value: bool, depth: int) -> list[Make]:
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
        """A pressure or a load follows by itself, by a hand valve, or by a fault of a line, or seems to by one of its sensor."""
        name = self.table.analogs[source].name
        part = self.pad.inputs[name]
        assert isinstance(part, AnalogInput)
        choices: list[Action] = list(self.valves)
        if self.most:
            modes = ("saturated", "offset") if high else ("shorted", "open", "frozen", "slow") if high is False else tuple(self.modes.get(name, ()))
            choices += [Strike(name, mode) for mode in modes if (name, mode) in self.faults]
            if self.gas and rng.random() < 0.5:
                line = rng.choice(self.gas)
                choices = [Strike(line, mode) for mode in self.modes[line]]
        if not choices or rng.random() < 0.3:
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

    def makes(self, rng: random.Random, index: int, stands: Literals = Literals()) -> list[Make]:
        """Acts that may make the literals of a row hold; `stands`: bits that have never had another value there."""
        row = self.table.rows[index]
        given = row.care & stands.care & ~(row.want ^ stands.want)
        if rng.random() < 0.1:
            given = 0
        return self.literals(rng, Literals(row.care & ~given, row.want & ~given), True, -1)

    def hindered(self, rng: random.Random, index: int) -> list[Make]:
        """Acts that may keep a row from firing."""
        row = self.table.rows[index]
        return self.literals(rng, Literals(row.care, row.want), False, -1)

    def row(self, rng: random.Random, index: int, start_ms: int, stands: Literals = Literals()) -> tuple[list[Event], int]:
        """Events in a row's state, from `start_ms` after its entry on, and when the row may fire at the soonest."""
        row, makes = self.table.rows[index], self.makes(rng, index, stands)
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
