"""Why each permissive, trip and inhibit is there: what fails without it, or that nothing does.

A mutant drops one literal of a row, a whole trip, or an inhibit. All of them are looked at like single faults, in slices:
first with the scans that each adds beside the sound ones (which is more than the mutant can do, so 'no breach' stands),
then, where that breaks a rule, with the scans that it really has (a dropped literal also takes inputs away from rows below).
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from sequencer.proof import controller
from sequencer.proof.brought import Set
from sequencer.proof.draft import Draft
from sequencer.proof.kept import masks
from sequencer.proof.pairs import PLENTY, Outcome, Pairs
from sequencer.proof.result import Story, Why
from sequencer.proof.settling import Way
from sequencer.proof.sound import Sound
from sequencer.proof.stories import StoryStep, told_lines
from sequencer.proof.system import Row, System
from sequencer.table import Table
from sequencer.table.table import InhibitSpec

if TYPE_CHECKING:
    from sequencer.proof.prove import Work

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
    trips = dict.fromkeys(r.origin for r in table.rows if r.origin.startswith("trip "))
    for origin in trips:
        rows = tuple(replace(r, least=NEVER) if r.origin == origin else r for r in table.rows)
        states = tuple(sorted({r.state for r in table.rows if r.origin == origin}))
        yield Mutant(origin, "the whole trip", replace(table, rows=rows), states)
    for n, inhibit in enumerate(table.inhibits):
        names = ", ".join(("" if inhibit.want >> i & 1 else "not ") + b.name for i, b in enumerate(table.bits) if inhibit.care >> i & 1)
        kept = tuple(i for k, i in enumerate(table.inhibits) if k != n)
        yield Mutant(f"inhibit '{inhibit.name}'", names, replace(table, inhibits=kept), _inhibited(table, inhibit))
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


def _inhibited(table: Table, inhibit: InhibitSpec) -> tuple[int, ...]:
    """The states in which a scan can end where an inhibit changes what is commanded (others of its output may, too)."""
    positions = {i.position for i in table.inhibits if i.output == inhibit.output}
    changed = {n for n, s in enumerate(table.states) if {s.outputs[inhibit.output], *positions} != {inhibit.position}}
    return tuple(n for n in range(len(table.states)) if n in changed or any(r.to in changed for r in table.rows if r.state == n))


@dataclass
class Variants:
    """The mutants of one pad over its sound system, in the shape in which slices take faults: each brings the scans it
    adds, and bars those it takes away. system: the same system, whose barred rows need that no such mutant is there."""

    draft: Draft
    sound: System
    kinds: list[Mutant]
    most: int = 1
    rows: list[Row] = field(default_factory=list)
    wrongs: dict[str, frozenset[int]] = field(default_factory=dict)
    barred: dict[str, frozenset[int]] = field(default_factory=dict)
    alike: set[int] = field(default_factory=set)
    """Mutants with the scans of the sound pad."""
    system: System = field(init=False)

    def __post_init__(self) -> None:
        gone: dict[Row, set[int]] = {}
        added: dict[Row, set[int]] = {}
        for number, mutant in enumerate(self.kinds):
            places, rows = scans_without(self.draft, mutant)
            old = {r for r in self.sound.rows if r.scan and r.at[0] in places}
            new = set(rows)
            for table, some in ((gone, old - new), (added, new - old)):
                for row in some:
                    table.setdefault(row, set()).add(number)
            if old == new:
                self.alike.add(number)
        self.system = replace(self.sound, rows=tuple(self._needing(r, gone.get(r), "without", self.barred) for r in self.sound.rows))
        self.rows = [self._needing(row, some, "mutant", self.wrongs) for row, some in added.items()]

    @staticmethod
    def _needing(row: Row, some: set[int] | None, name: str, table: dict[str, frozenset[int]]) -> Row:
        if not some:
            return row
        wrong = f"{name} {' '.join(map(str, sorted(some)))}"
        table[wrong] = frozenset(some)
        return row.but(needs=frozenset({wrong}))

    def sets(self, size: int) -> list[Set]:
        """Each mutant by itself."""
        return [(n,) for n in range(len(self.kinds)) if n not in self.alike] if size == 1 else []


def reasons(work: Work, stories: int = 1) -> tuple[Why, ...]:
    """What every mutant breaks of the rules that hold without it."""
    draft, system, explored = work.draft, work.system, work.explored
    work.say("why: what is left out, one after the other")
    variants = Variants(draft, system, list(mutants(draft.table)))
    known = {b.rule for b in explored.breaches}
    rules = {n: rule for n, rule in enumerate(system.rules) if n not in known}
    pairs = Pairs(variants.system, variants, work.options.set_budget, work.options.seconds, Sound(system, explored))
    answers = pairs.all(rules, explored.count > PLENTY, work.say)
    return tuple(_reason(draft, pairs, answers, number, stories) for number in range(len(variants.kinds)))


def _reason(draft: Draft, pairs: Pairs, answers: dict[int, Outcome], number: int, stories: int) -> Why:
    variants = pairs.brought
    assert isinstance(variants, Variants)
    mutant = variants.kinds[number]
    if number in variants.alike:
        return Why(mutant.where, mutant.what, "equivalent")
    broken = {rule: found.cuts[(number,)] for rule, found in answers.items() if (number,) in found.cuts}
    if broken:
        names = tuple(variants.system.rules[rule].name for rule in broken)
        shortest = min(broken.values(), key=len)
        return Why(mutant.where, mutant.what, "needed", names, _story(draft, pairs, shortest) if stories else None)
    left = any((number,) in found.open for found in answers.values())
    return Why(mutant.where, mutant.what, "not shown" if left else "redundant")


def _story(draft: Draft, pairs: Pairs, way: Way) -> Story:
    system = replace(pairs.system, rows=tuple(pairs.whole.rows))
    rows = [(system.rows[number], number, word) for number, word in way]
    steps = [StoryStep(row.says, row.actor, number, system.layout.place_of(word), word) for row, number, word in rows]
    return Story((), told_lines(draft, system, steps))


def scans_without(draft: Draft, mutant: Mutant) -> tuple[set[int], list[Row]]:
    """The places whose scans the mutant changes, and those scans."""
    other = copy.copy(draft)
    other.table = mutant.table  # conditions, places and regions stay those of the sound table
    # a way in that asks for less may leave a delay open in the state it leads to
    shown = [s for s, (a, b) in enumerate(zip(masks(draft.table), masks(mutant.table), strict=True)) if a != b]
    places = {p for s in (*mutant.states, *shown) for p in draft.regions(s)}
    return places, [row for place in sorted(places) for row in controller.scan_rows(other, place)]


__all__ = ["Mutant", "Variants", "mutants", "reasons"]
