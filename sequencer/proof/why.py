"""Why each permissive, trip and inhibit is there: what fails without it, or that nothing does.

A mutant drops one literal of a row, a whole trip, or an inhibit. Screened first: only the scans that the mutant adds
are applied to the reached set and closed. The closure holds more than the mutant can do (a dropped literal may also
take inputs away from lower rows), so 'no breach' stands; a breach is confirmed by exploring the mutant afresh.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from sequencer.proof import controller
from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine, Words, merged, missing, unique
from sequencer.proof.explore import Explored, explore
from sequencer.proof.judging import Court
from sequencer.proof.kept import masks
from sequencer.proof.result import Story, Why
from sequencer.proof.stories import path, told_lines
from sequencer.proof.system import Row, System
from sequencer.table import Table

NEVER = 16_777_215
"""The longest least time that a table can hold: days."""


@dataclass(frozen=True)
class Mutant:
    """One thing left out: where it stands, what it is, the table without it and the states whose scans change."""

    where: str
    what: str
    table: Table
    states: tuple[int, ...]


def mutants(table: Table) -> Iterator[Mutant]:
    """Every literal of every leave, every trip, every inhibit, left out on its own."""
    whole = tuple(range(len(table.states)))
    trips = dict.fromkeys(r.origin for r in table.rows if r.origin.startswith("trip "))
    for origin in trips:
        rows = tuple(replace(r, least=NEVER) if r.origin == origin else r for r in table.rows)
        states = tuple(sorted({r.state for r in table.rows if r.origin == origin}))
        yield Mutant(origin, "the whole trip", replace(table, rows=rows), states)
    for n, inhibit in enumerate(table.inhibits):
        names = ", ".join(("" if inhibit.want >> i & 1 else "not ") + b.name for i, b in enumerate(table.bits) if inhibit.care >> i & 1)
        kept = tuple(i for k, i in enumerate(table.inhibits) if k != n)
        yield Mutant(f"inhibit '{inhibit.name}'", names, replace(table, inhibits=kept), whole)
    for index, row in enumerate(table.rows):
        if row.origin.startswith("trip "):
            continue
        for i, bit in enumerate(table.bits):
            if row.care >> i & 1:
                left = replace(row, care=row.care & ~(1 << i), want=row.want & ~(1 << i))
                name = ("" if row.want >> i & 1 else "not ") + bit.name
                rows = (*table.rows[:index], left, *table.rows[index + 1 :])
                yield Mutant(f"{row.origin} to {table.states[row.to].name}", name, replace(table, rows=rows), (row.state,))
        if row.care and row.least:
            rows = (*table.rows[:index], replace(row, least=0), *table.rows[index + 1 :])
            seconds = row.least * table.scan_ms / 1000
            yield Mutant(f"{row.origin} to {table.states[row.to].name}", f"not before {seconds:g} s", replace(table, rows=rows), (row.state,))


def reasons(draft: Draft, system: System, explored: Explored, base: Engine, say: Callable[[str], None], stories: int = 1) -> tuple[Why, ...]:
    """What every mutant breaks."""
    found = []
    every = list(mutants(draft.table))
    for n, mutant in enumerate(every):
        if n % 10 == 0:
            say(f"why: {n + 1} of {len(every)}: {mutant.where}, {mutant.what}")
        found.append(_reason(draft, system, explored, base, mutant, stories))
    return tuple(found)


def _scans_of(draft: Draft, mutant: Mutant) -> tuple[tuple[int, ...], list[Row]]:
    """The places whose scans the mutant changes, and those scans."""
    other = copy.copy(draft)
    other.table = mutant.table  # places and regions stay those of the sound table
    # a way in that asks for less may leave a delay open in the state it leads to
    shown = [s for s, (a, b) in enumerate(zip(masks(draft.table), masks(mutant.table), strict=True)) if a != b]
    places = tuple(p for s in sorted({*mutant.states, *shown}) for p in draft.regions(s))
    rows = []
    for place in places:
        rows += controller.scan_rows(other, place)
    return places, rows


def _reason(draft: Draft, system: System, explored: Explored, base: Engine, mutant: Mutant, stories: int) -> Why:
    places, rows = _scans_of(draft, mutant)
    inside = set(places)
    old = {r for r in system.rows if r.scan and r.at[0] in inside}
    new = [r for r in rows if r not in old]
    if not new and len(rows) == len(old):
        return Why(mutant.where, mutant.what, "equivalent")
    start = len(system.rows)
    numbered = [(start + i, r) for i, r in enumerate(new)]
    engine = Engine(system, numbered)
    court = Court(system, {**dict(enumerate(system.rows)), **dict(numbered)})
    _closed(explored.all, [engine, base], engine, court)
    known = {b.rule for b in explored.breaches}
    if not court.broken - known:
        return Why(mutant.where, mutant.what, "redundant")
    fresh = replace(system, rows=(*(r for r in system.rows if r not in old), *rows))
    again = explore(fresh)
    broken = [b for b in again.breaches if b.rule not in known]
    if not broken:
        return Why(mutant.where, mutant.what, "redundant")
    names = tuple(dict.fromkeys(system.rules[b.rule].name for b in broken))
    steps = path(fresh, again, broken[0]) if stories else []
    return Why(mutant.where, mutant.what, "needed", names, Story((), told_lines(draft, fresh, steps)) if stories else None)


def _closed(whole: Words, engines: list[Engine], first: Engine, court: Court) -> None:
    frontier = court.words(missing(unique(first.images(whole, court.images)), whole))
    new = np.empty(0, np.uint64)
    while len(frontier):
        new = merged(new, frontier)
        pieces = [p for e in engines for p in e.images(frontier, court.images)]
        frontier = court.words(missing(missing(unique(pieces), whole), new))


__all__ = ["mutants", "reasons"]
