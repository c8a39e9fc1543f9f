"""The builder that the parts of the abstraction write their bits, rows and races into."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.grounds import HeadPart, LinePart, PadPart, PinPart, SwitchPlace
from sequencer.description.pad import Pad
from sequencer.proof.bands import Bands, bands, facts
from sequencer.proof.durations import Durations
from sequencer.proof.system import Actor, Place, Race, Row
from sequencer.proof.words import EVERYTHING, Cube, Layout
from sequencer.table import Kind, Table
from sequencer.table.table import Bit

READING = "the box is reading"
"""Set between the first contact that the box sees anew and the end of that scan: nothing else happens meanwhile."""


def thresholds(table: Table, state: int) -> list[int]:
    """Scans at which a state's timer enters its next region: least times of its rows, and of changes that
    count from its entry."""
    spec = table.states[state]
    rows = table.rows[spec.first_row : spec.end_row]
    found = {row.least for row in rows if row.least}
    if all(row.to != state for row in rows):
        found |= {bit.off for bit in table.bits if bit.off and counts_from(table, bit) == state}
    return sorted(found)


def counts_from(table: Table, bit: Bit) -> int | None:
    """The state whose entry a 'change' counts from, if it counts from one."""
    if bit.kind != Kind.CHANGE:
        return None
    since = table.bits[bit.second]
    return since.source if since.kind == Kind.STATE and since.wanted and not since.hold and not since.drop else None


@dataclass
class Draft:
    """One pad on its way to a `System`."""

    pad: Pad
    table: Table
    rows: list[Row] = field(default_factory=list)
    races: list[Race] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    found: dict[str, Any] = field(default_factory=dict)
    """Answers worked out once."""

    def __post_init__(self) -> None:
        self.durations = Durations(self.pad)
        self.bands: Bands = bands(self.pad, self.table, self.durations)
        self.steps = [thresholds(self.table, state) for state in range(len(self.table.states))]
        """Per state: the scans at which its timer enters its next region."""
        places = [Place("off"), Place("settling")]
        for state in range(len(self.table.states)):
            places += [Place("run", state, region) for region in range(len(self.steps[state]) + 1)]
        self.places: tuple[Place, ...] = tuple(places)
        self.first_places = {p.state: i for i, p in reversed(list(enumerate(places))) if p.kind == "run"}
        self.layout = Layout(len(places))
        self.layout.new(READING)
        self.everywhere = tuple(range(len(places)))
        self.unpowered = (0,)
        self.running = tuple(range(2, len(places)))
        self.tracked: dict[str, str] = self._tracked()
        self.by_hand: dict[str, str] = self._by_hand()

    # ---- places and commands ------------------------------------------------------------------

    def place(self, state: int, region: int = 0) -> int:
        """Number of a running place."""
        return self.first_places[state] + region

    def regions(self, state: int) -> list[int]:
        """Place numbers of a state, by region."""
        return [i for i, p in enumerate(self.places) if p.kind == "run" and p.state == state]

    def told(self, place: int) -> str:
        """A place in words."""
        p = self.places[place]
        return {"off": "no power", "settling": "starting up"}.get(p.kind) or self.table.states[p.state].name

    def state_command(self, place: int, output: int) -> int:
        """The code that a place commands before inhibits (undriven outputs are at rest)."""
        p = self.places[place]
        if p.kind == "off":
            return self.table.outputs[output].idle
        return self.table.states[0 if p.kind == "settling" else p.state].outputs[output]

    def inhibited(self, output: int) -> list[int]:
        """Codes that inhibits can hold this output at."""
        known: dict[int, list[int]] = self.found.setdefault("inhibited", {})
        if output not in known:
            known[output] = sorted({i.position for i in self.table.inhibits if i.output == output})
        return known[output]

    def stays(self, output: int, code: int) -> str:
        """Name of the bit 'an inhibit holds this output there'."""
        spec = self.table.outputs[output]
        return f"{spec.name} stays {spec.positions[code]}"

    def command(self, output: int, code: int, wanted: bool = True) -> list[tuple[tuple[int, ...], Cube]]:
        """Where the command for an output is (not) this code: (places, cube) pairs, disjoint."""
        known: dict[tuple[int, int, bool], list[tuple[tuple[int, ...], Cube]]] = self.found.setdefault("command", {})
        if (output, code, wanted) not in known:
            known[output, code, wanted] = self._command(output, code, wanted)
        return known[output, code, wanted]

    def _command(self, output: int, code: int, wanted: bool) -> list[tuple[tuple[int, ...], Cube]]:
        found: dict[Cube, list[int]] = {}
        holds = self.inhibited(output)
        for place in self.everywhere:
            own = self.state_command(place, output)
            here: list[tuple[Cube, int]] = [(EVERYTHING, own)]
            if self.places[place].kind == "off" and self.booting(output) is not None:
                here.append((EVERYTHING, self.booting(output) or 0))
            if self.places[place].kind != "off":
                others = [c for c in holds if c != own]
                free = self.layout.cube({self.stays(output, c): False for c in others})
                here = [(free, own), *((self.layout.cube({self.stays(output, c): True}), c) for c in others)]
            for cube, actual in here:
                if (actual == code) == wanted:
                    found.setdefault(cube, []).append(place)
        return [(tuple(places), cube) for cube, places in found.items()]

    def booting(self, output: int) -> int | None:
        """The code an output may take while the board boots, where the file gives one that is not its rest."""
        spec = self.table.outputs[output]
        given = self.pad.outputs[spec.name].while_booting
        code = None if given is None else spec.positions.index(given)
        return None if code == spec.idle else code

    def unpowered_code(self, output: int) -> int | None:
        """The code without power, or None where booting may give another."""
        return self.table.outputs[output].idle if self.booting(output) is None else None

    def certain(self, state: int, output: int) -> int | None:
        """The code a state commands whatever the inhibits say, or None."""
        own = self.table.states[state].outputs[output]
        return own if all(code == own for code in self.inhibited(output)) else None

    # ---- contacts whose truth the world moves -------------------------------------------------

    def _tracked(self) -> dict[str, str]:
        """{contact: name of the bit that says it truly stands at its word}."""
        found: dict[str, str] = {}
        for name, part in self.pad.site.items():
            if isinstance(part, PadPart) and part.gate:
                found[part.gate] = f"{part.gate} truly {self._word(part.gate)}"
            elif isinstance(part, HeadPart) and part.seen_by:
                found[part.seen_by] = f"{name} latched"
            elif isinstance(part, PinPart) and part.seen_by:
                found[part.seen_by] = f"{name} in"
            elif isinstance(part, SwitchPlace):
                output, _, position = part.follows.partition(" at ")
                found[part.seen_by] = f"{output} truly {position}"
        return {contact: bit for contact, bit in found.items() if contact in self.pad.inputs}

    def _by_hand(self) -> dict[str, str]:
        """{contact: bit} of hand-moved contacts that a rule names: the box sees them within their filter time, which
        the rules allow for, so that one bit says where the hand stands and what the box sees."""
        found: dict[str, str] = {}
        for fact in facts(self.pad):
            if isinstance(fact, t.SwitchIs) and fact.input not in self.tracked and self._judged(fact):
                found.setdefault(fact.input, f"{fact.input} is {self._word(fact.input)}")
        return found

    def _judged(self, fact: t.SwitchIs) -> bool:
        from sequencer.description.sequence import Never, Start

        for rule in self.pad.interlocks.values():
            text = rule.never if isinstance(rule, Never) else rule.needs if isinstance(rule, Start) else None
            if text is not None and fact in t.leaves(text.expression):
                return True
        return False

    def away(self, contact: str, place: int) -> dict[str, bool | int]:
        """Where a contact's key is carried onto the pad: what must be so for the box to see it at its word.

        In the first part of a walk the box may still see the key for its filter time: but only where it can have come
        in so short a time from a place where the walk may begin.
        """
        known: dict[tuple[str, int], dict[str, bool | int]] = self.found.setdefault("away", {})
        if (contact, place) not in known:
            from sequencer.proof.people import NEAR, ON_PAD, WALKING, carried, since_allowed

            needs: dict[str, bool | int] = {}
            if contact in carried(self):
                needs = {NEAR: False, ON_PAD: False}
                if since_allowed(self)[self.places[place].state] * self.durations.scan > self.durations.follows(contact):
                    needs[WALKING] = False
            known[contact, place] = needs
        return known[contact, place]

    def _word(self, contact: str) -> str:
        part = self.pad.inputs[contact]
        assert isinstance(part, ContactInput)
        return part.contact.word

    def seen(self, contact: str) -> str:
        """Name of the bit 'the box sees this contact at its word'."""
        return f"the box sees {contact} {self._word(contact)}"

    def fresh(self, contact: str) -> str:
        """Name of the bit 'this contact changed in the present state'."""
        return f"{contact} changed just now"

    # ---- writing ------------------------------------------------------------------------------

    def row(
        self, says: str, actor: Actor, guard: Mapping[str, bool | int] | Cube, change: Mapping[str, bool | int],
        at: Iterable[int] | None = None, *, to: int | None = None, unless: Iterable[tuple[Cube, int]] = (),
        sure: bool = True, forward: bool = True, tag: str = "",
    ) -> None:
        """Add one row; `change` gives the new values of bits."""
        cube: Cube | None = guard if isinstance(guard, Cube) else self.layout.cube(guard)
        if actor != "reading":
            assert cube is not None
            cube = cube.meet(self.layout.cube({READING: False}))
            assert cube is not None
        clear = self.layout.mask(n for n, v in change.items() if not v)
        put = self.layout.mask(n for n, v in change.items() if v)
        places = tuple(self.everywhere if at is None else at)
        if places:
            assert cube is not None
            self.rows.append(Row(says, actor, places, cube, clear, put, to, tuple(unless), sure=sure, forward=forward, tag=tag))

    def race(self, race: Race) -> int:
        """Number of a race, kept once."""
        if race not in self.races:
            self.races.append(race)
        return self.races.index(race)

    def parts_lines(self, output: str) -> list[str]:
        """Lines that an output opens."""
        return [n for n, part in self.pad.parts(LinePart).items() if part.opened_by == output]
