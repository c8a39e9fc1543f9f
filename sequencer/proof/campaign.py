"""Every single fault and every pair against the rules (in slices, see `pairs`); the whole system under one fault by delta
closure, for what asks for all of its situations; the shortest story of a set that breaks a rule.

R(f) is R0 closed under the rows that f changes: only what a fault makes new is explored.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np

from sequencer.description.faults import Fault
from sequencer.proof.brought import Brought, Kind, kinds
from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine, Words, merged, missing, unique
from sequencer.proof.explore import Explored
from sequencer.proof.faults import Edit, changed
from sequencer.proof.judging import Breach, Court
from sequencer.proof.pairs import PLENTY, Pairs
from sequencer.proof.sound import Sound
from sequencer.proof.system import Row, System
from sequencer.proof.words import ALL


@dataclass(frozen=True)
class Delta:
    """The situations that one fault kind makes new, the rules it breaks, and whether all was found within the budget."""

    new: Words
    broken: frozenset[int]
    finished: bool


@dataclass
class Campaign:
    """One pad's faults over one explored system."""

    draft: Draft
    system: System
    explored: Explored
    base: Engine
    budget: int = 5_000_000
    """Most new situations of one set of faults; beyond, the set is told as not shown."""
    seconds: float = 600.0
    """Most seconds of processor time for all pairs."""
    unfinished: list[tuple[Fault, ...]] = field(default_factory=list)
    """Sets that were not decided for some rule."""
    open: dict[int, list[tuple[Fault, ...]]] = field(default_factory=dict)
    """The same by the rule's number."""
    singles: dict[Edit, Delta] = field(default_factory=dict)
    cuts: dict[int, list[tuple[Fault, ...]]] = field(default_factory=dict)
    extra: list[Row] = field(default_factory=list)
    """Rows that faults add; their numbers follow those of the system."""
    situations: int = 0
    sets: int = 0

    def __post_init__(self) -> None:
        self.kinds = kinds(self.draft)
        self.sound = Sound(self.system, self.explored)
        self.rules = set(range(len(self.system.rules)))
        self._numbers: dict[Row, int] = {}

    # ---- rows by number -----------------------------------------------------------------------

    def numbered(self, rows: list[Row]) -> list[tuple[int, Row]]:
        """Rows that faults add, each with its number."""
        result = []
        for row in rows:
            if row not in self._numbers:
                self._numbers[row] = len(self.system.rows) + len(self.extra)
                self.extra.append(row)
            result.append((self._numbers[row], row))
        return result

    def _court(self, rows: list[tuple[int, Row]], edit: Edit, rules: set[int]) -> Court:
        return Court(self.system, {**dict(enumerate(self.system.rows)), **dict(rows)}, blind=edit.blind, rules=rules)

    # ---- one fault, the whole system ----------------------------------------------------------

    def single(self, kind: Kind) -> Delta:
        """What a fault kind makes new, worked out once."""
        if kind.edit not in self.singles:
            self.singles[kind.edit] = self._single(kind)
        return self.singles[kind.edit]

    def _single(self, kind: Kind) -> Delta:
        """What comes after a breach is followed too. Marks that only a race reads which the fault takes away are
        forgotten: words that differ in them alone have the same futures."""
        rows = self.numbered(changed(self.draft, self.system, kind.edit))
        whole, own, court = self.explored.all, Engine(self.system, rows), self._court(rows, kind.edit, self.rules)
        marks = [self.draft.fresh(c) for c in self.draft.tracked if c in kind.edit.relax]
        forget = np.uint64(~self.draft.layout.mask(marks) & ALL)
        if kind.edit.blind:
            self.base.images(whole, court.images)
        new = np.empty(0, np.uint64)
        pieces = own.images(whole, court.images)
        while True:
            frontier = court.words(missing(missing(unique([p & forget for p in pieces]), whole), new))
            new = merged(new, frontier)
            if not len(frontier) or len(new) > self.budget:
                return Delta(new, frozenset(court.broken), not len(frontier))
            pieces = [p for engine in (self.base, own) for p in engine.images(frontier, court.images)]

    # ---- all ----------------------------------------------------------------------------------

    def run(self, most: int, unbroken: set[int], progress: Callable[[str], None] | None = None) -> None:
        """All singles and, with `most` 2, all pairs, for the rules that hold without faults."""
        self.rules = unbroken
        say = progress or (lambda text: None)
        say("what the faults bring")
        brought = Brought(self.draft, self.system, most)
        pairs = Pairs(self.system, brought, self.budget, self.seconds, self.sound)
        answers = pairs.all({rule: self.system.rules[rule] for rule in sorted(unbroken)}, self.explored.count > PLENTY, say)
        named = cache(brought.named)
        for rule, found in answers.items():
            self.situations += found.situations
            self.cuts[rule] = [cut for some in found.cuts for cut in brought.named(some)]
            self.open[rule] = [cut for some in found.open for cut in named(some)]
        self.unfinished = list(dict.fromkeys(cut for some in self.open.values() for cut in some))
        self.sets += len(pairs.sets) - 1 + len(brought.inert)

    # ---- stories ------------------------------------------------------------------------------

    def whole_system(self) -> System:
        """The system with every row that a fault has brought so far, under its number."""
        return replace(self.system, rows=(*self.system.rows, *self.extra))

    def own_rows(self, fault: Fault) -> set[int]:
        """Numbers of the rows that a fault brings."""
        edit = next(k.edit for k in self.kinds if fault in k.faults)
        return {n for n, _ in self.numbered(changed(self.draft, self.system, edit))}

    def shortest(self, faults: tuple[Fault, ...], rule: int) -> tuple[list[Words], Breach, Engine] | None:
        """Layers in true depth order of the faulted system, and the first breach of the rule, stopping there."""
        edit = Edit()
        for fault in faults:
            edit |= next(k.edit for k in self.kinds if fault in k.faults)
        rows = self.numbered(changed(self.draft, self.system, edit))
        engine = Engine(self.system, rows)
        whole_engine = Engine(self.system, [*[(i, r) for i, r in enumerate(self.system.rows) if r.forward], *rows])
        court = self._court(rows, edit, {rule})
        layers, new = [self.explored.layers[0]], np.empty(0, np.uint64)
        frontier = np.empty(0, np.uint64)
        depth = 0
        while depth < len(self.explored.layers) or len(frontier):
            sound = self.explored.layers[depth] if depth < len(self.explored.layers) else np.empty(0, np.uint64)
            court.depth = depth + 1
            pieces = engine.images(sound, court.images)
            if edit.blind:
                self.base.images(sound, court.images)
            for one in (self.base, engine):
                pieces += one.images(frontier, court.images)
            fresh = missing(unique(pieces), new)
            depth += 1
            fresh = fresh[self.sound.later(fresh, depth)]
            court.words(fresh)
            new = merged(new, fresh)
            frontier = fresh
            following = self.explored.layers[depth] if depth < len(self.explored.layers) else np.empty(0, np.uint64)
            layers.append(merged(following, fresh))
            if court.found:
                return layers, court.found[0], whole_engine
        return None
