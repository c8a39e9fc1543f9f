"""Tables at the format's limits, drawn from a seed: as many of everything as the image can carry."""

from __future__ import annotations

from random import Random

from sequencer.table import Kind, Table
from sequencer.table.table import (
    NO_TARGET,
    AnalogSpec,
    Bit,
    ContactSpec,
    InhibitSpec,
    Literals,
    OutputSpec,
    Row,
    StateSpec,
)

CONTACTS, ANALOGS, LINKS, OUTPUTS, BITS, STATES, INHIBITS = 64, 18, 3, 63, 128, 127, 255


def largest_table(seed: int, rows_per_state: int, delay: int = 0xFFFE) -> Table:
    """64 contacts, 63 outputs, 128 conditions, 127 states, 255 inhibits; cells and rows of the first state at their limit."""
    draw = Random(seed)
    contacts = tuple(ContactSpec(f"c{i}", draw.choice((0, 1, 2, 3, 255)) if i % 16 == 5 else draw.randrange(3)) for i in range(CONTACTS))
    analogs = tuple(AnalogSpec(f"a{i}", 16, draw.randrange(3000), 60_000 + draw.randrange(5_535), 1 + i % 3, 7 * i) for i in range(ANALOGS))
    outputs = tuple(OutputSpec(f"o{i}", ("w", "x", "y", "z")[: 2 + i % 3], None if i % 9 == 0 else i % 2, i % 2) for i in range(OUTPUTS))
    bits = tuple(_bit(draw, i, delay) for i in range(BITS))
    states, rows = list[StateSpec](), list[Row]()
    for s in range(STATES):
        first, count = len(rows), 255 if s == 0 else rows_per_state
        for n in range(count):
            care = sum(1 << i for i in draw.sample(range(BITS), 31 if n == 0 else 20 if s == 0 and n == 1 else draw.choice((1, 1, 2, 4, 6))))
            want, least = draw.getrandbits(BITS) & care, draw.choice((0, 0, 1, 300, 70_000, 0xFF_FFFF))
            rows.append(Row(s, care, want, least, draw.randrange(STATES), draw.choice(("trip t", "s exit"))))
        codes = tuple(draw.randrange(len(o.positions)) for o in outputs)
        targets = tuple(draw.choice((NO_TARGET, 0, 30_000, 0xFFFE)) for _ in analogs)
        states.append(StateSpec(f"s{s}", codes, targets, first, len(rows)))
    inhibits = []
    for i in range(INHIBITS):
        care = sum(1 << k for k in draw.sample(range(BITS), 3))
        inhibits.append(InhibitSpec(i % OUTPUTS, i % 2, care, draw.getrandbits(BITS) & care, f"i{i}"))
    return Table("Largest", 0xFFFF_FFFF, 1, contacts, analogs, tuple("jkl"), outputs, bits, tuple(states), tuple(rows), tuple(inhibits))


def _bit(draw: Random, i: int, delay: int) -> Bit:
    kind = Kind(i % 13) if i else Kind.CONTACT
    name, wanted = f"b{i}", bool(draw.getrandbits(1))
    hold, drop = draw.choice(((0, 0), (1, 0), (0, 2), (delay, 3)))
    care = sum(1 << k for k in draw.sample(range(i), min(i, draw.choice((1, 3, 31)))))
    both = Literals(care, draw.getrandbits(BITS) & care, bool(draw.getrandbits(1)))
    limit = draw.choice((0, 1, 30_000, 65_535))
    return {
        Kind.CONTACT: lambda: Bit(name, kind, draw.randrange(CONTACTS), wanted=wanted, hold=hold, drop=drop),
        Kind.PRESS: lambda: Bit(name, kind, draw.randrange(CONTACTS), wanted=wanted),
        Kind.AT_LEAST: lambda: Bit(name, kind, draw.randrange(ANALOGS), on=limit, off=max(0, limit - 9), drop=drop),
        Kind.BELOW: lambda: Bit(name, kind, draw.randrange(ANALOGS), on=max(0, limit - 9), off=limit, hold=hold),
        Kind.VALID: lambda: Bit(name, kind, draw.randrange(ANALOGS), wanted=wanted),
        Kind.HEARD: lambda: Bit(name, kind, draw.randrange(LINKS), on=draw.choice((0, 4, delay - 1))),
        Kind.DIFFERS: lambda: Bit(name, kind, draw.randrange(ANALOGS), draw.randrange(ANALOGS), on=1 + limit, wanted=wanted),
        Kind.CHANGE: lambda: Bit(name, kind, draw.randrange(ANALOGS), draw.randrange(i), limit, draw.choice((0, 3)), wanted, draw.choice((1, -1))),
        Kind.TARGET: lambda: Bit(name, kind, draw.randrange(ANALOGS), off=draw.choice((0, 50)), hold=hold),
        Kind.STATE: lambda: Bit(name, kind, draw.randrange(STATES), wanted=wanted),
        Kind.COMMAND: lambda: Bit(name, kind, draw.randrange(OUTPUTS), on=draw.randrange(2), wanted=wanted),
        Kind.ALL: lambda: Bit(name, kind, set=both, drop=drop),
        Kind.MEMORY: lambda: Bit(name, kind, set=both, clear=Literals(1, draw.getrandbits(1)), on=draw.choice((0, 5))),
    }[kind]()
