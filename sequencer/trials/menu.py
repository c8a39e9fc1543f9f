"""What can be done to one pad, and when it may matter: acts of hands and feet, faults, moments.

The Hypothesis strategies and the campaigns draw from this one menu, so both try the same things.
"""

from __future__ import annotations

from dataclasses import dataclass

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput
from sequencer.description.faults import Fault, faults
from sequencer.description.grounds import (
    HeadPart,
    LinePart,
    PadPart,
    PinPart,
    SupplyPart,
    SwitchPlace,
    VolumePart,
)
from sequencer.description.pad import Pad
from sequencer.description.thresholds import point
from sequencer.simulation.events import (
    Action,
    Blink,
    HandValve,
    Hold,
    Latch,
    Mend,
    Pin,
    PowerOff,
    Press,
    Switch,
    Walk,
)
from sequencer.table import Kind, Table, compile_table

HELD_MS = (20, 100, 300, 1000, 5000, 30_000)
"""How long a press may last: shorter than a filter, as people press, and much too long."""


@dataclass(frozen=True)
class Menu:
    """acts: every act that hands, feet or the supply can do here (`Press` stands once for each contact).
    equipment, slips: faults that may strike, without those the file leaves out with a reason.
    left_out: (fault, reason) of those. timers: {state: whole ms at which something of it falls due}.
    edges: {volume: gauge pascal that rules and conditions name}. cares: for each state the bits its rows look at."""

    acts: tuple[Action, ...]
    equipment: tuple[Fault, ...]
    slips: tuple[Fault, ...]
    left_out: tuple[tuple[str, str], ...]
    timers: dict[str, tuple[int, ...]]
    edges: dict[str, tuple[float, ...]]
    scan_ms: int
    most: tuple[int, int]
    """The most equipment faults and slips that any interlock is asked to withstand."""
    cares: tuple[int, ...]

    @property
    def faults(self) -> tuple[Fault, ...]:
        return self.equipment + self.slips

    @property
    def states(self) -> tuple[str, ...]:
        return tuple(self.timers)


def menu(pad: Pad, table: Table | None = None) -> Menu:
    """The menu of a pad."""
    table = compile_table(pad) if table is None else table
    out = {one.fault: one.because for one in pad.left_out}
    known = [fault for fault in faults(pad) if fault.name not in out]
    rules = pad.interlocks.values()
    most = (max((r.withstand.equipment for r in rules), default=0), max((r.withstand.slips for r in rules), default=0))
    return Menu(
        tuple(_acts(pad)), tuple(f for f in known if f.kind == "equipment"), tuple(f for f in known if f.kind == "slip"),
        tuple(out.items()), _timers(pad, table), _edges(pad), pad.scan_ms, most, _cares(table),
    )  # fmt: skip


def moved_by_parts(pad: Pad) -> set[str]:
    """Contacts that a part of the site moves, so that no hand does."""
    kinds = HeadPart | PinPart | SwitchPlace
    return {part.seen_by for part in pad.site.values() if isinstance(part, kinds) and part.seen_by}


def _acts(pad: Pad) -> list[Action]:
    acts: list[Action] = []
    moved = moved_by_parts(pad)
    for name, part in pad.inputs.items():
        if isinstance(part, ContactInput) and name not in moved:
            word = part.contact.word
            acts += [Press(name), Hold(name), Switch(name, word), Switch(name, f"not {word}")]
    for name, site in pad.site.items():
        if (isinstance(site, LinePart) and site.opened_by == "hand") or (isinstance(site, SupplyPart) and site.hand_valve):
            acts += [HandValve(name, True), HandValve(name, False)]
        elif isinstance(site, HeadPart):
            acts.append(Latch(name))
        elif isinstance(site, PinPart):
            acts += [Pin(name, True), Pin(name, False)]
    if pad.parts(PadPart):
        acts += [Walk(role, way) for role in pad.crew.roles for way in ("in", "out")]
    return [*acts, Blink(), PowerOff()]


def mends(pad: Pad) -> tuple[Mend, ...]:
    """A fault of a link may pass by itself; other parts stay broken within a day."""
    return tuple(Mend(name) for name, part in pad.inputs.items() if not isinstance(part, ContactInput | AnalogInput))


def _timers(pad: Pad, table: Table) -> dict[str, tuple[int, ...]]:
    """Times in each state at which a row may first fire, and the delays of conditions counted from its entry."""
    delays = {bit.hold for bit in table.bits} | {bit.drop for bit in table.bits}
    delays |= {bit.off for bit in table.bits if bit.kind == Kind.CHANGE} | {c.steady for c in table.contacts}
    found = {}
    for state in table.states:
        own = {row.least for row in table.rows[state.first_row : state.end_row]}
        found[state.name] = tuple(sorted(n * pad.scan_ms for n in own | delays))
    return found


def _cares(table: Table) -> tuple[int, ...]:
    """The bits that the rows of each state look at, and what those are made from."""
    found = []
    for state in table.states:
        care = 0
        for row in table.rows[state.first_row : state.end_row]:
            care |= row.care
        for i in reversed(range(care.bit_length())):  # a bit is made from bits before it
            if care >> i & 1:
                care |= table.bits[i].set.care | table.bits[i].clear.care
        found.append(care)
    return tuple(found)


def _edges(pad: Pad) -> dict[str, tuple[float, ...]]:
    """Gauge pressures that matter, of each volume."""
    found: dict[str, set[float]] = {name: set() for name in pad.parts(VolumePart)}
    for rule in pad.interlocks.values():
        for value in vars(rule).values():
            for leaf in t.leaves(value.expression) if isinstance(value, t.Written) else []:
                if isinstance(leaf, t.PressureIs) and leaf.volume in found:
                    found[leaf.volume].add(point(pad, leaf.limit))
    for condition in pad.conditions.values():
        term = condition.term
        reading = pad.inputs.get(term.reading) if isinstance(term, t.AtLeast | t.Below) else None
        if isinstance(term, t.AtLeast | t.Below) and isinstance(reading, AnalogInput) and reading.reads in found:
            found[reading.reads].add(point(pad, term.limit))
    return {name: tuple(sorted(edges)) for name, edges in found.items()}
