"""Every single fault and every pair, by delta closure: only what a fault makes new is explored.

R(f) is R0 closed under the rows that f changes. R(f, g) starts from both: the rows that g changes on what f made new,
the rows that f changes on what g made new, the rows that only both together change on everything; then it is closed.
A set that breaks a rule is explored once more in depth buckets for its shortest story (`shortest`).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from sequencer.description.faults import Fault
from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine, Words, merged, missing, unique
from sequencer.proof.explore import Explored
from sequencer.proof.faults import Edit, changed, edits
from sequencer.proof.judging import Breach, Court
from sequencer.proof.system import Row, System


@dataclass(frozen=True)
class Kind:
    """Faults with the same edit, explored once."""

    edit: Edit
    faults: tuple[Fault, ...]

    @property
    def parts(self) -> frozenset[str]:
        return frozenset(f.part for f in self.faults)


@dataclass
class Delta:
    """What one fault kind makes new: its own rows, their engine, the new words, the rules it breaks."""

    kind: Kind
    rows: list[tuple[int, Row]]
    engine: Engine
    new: Words
    broken: frozenset[int]
    finished: bool = True


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
    """Most seconds for all pairs."""
    unfinished: list[tuple[Fault, ...]] = field(default_factory=list)
    singles: dict[Edit, Delta] = field(default_factory=dict)
    cuts: dict[int, list[tuple[Fault, ...]]] = field(default_factory=dict)
    extra: list[Row] = field(default_factory=list)
    """Rows that faults add; their numbers follow those of the system."""
    situations: int = 0
    sets: int = 0

    def __post_init__(self) -> None:
        found: dict[Edit, list[Fault]] = {}
        for fault, edit in edits(self.draft).items():
            found.setdefault(edit, []).append(fault)
        self.kinds = [Kind(edit, tuple(some)) for edit, some in found.items()]
        self.rules = set(range(len(self.system.rules)))
        self._numbers: dict[Row, int] = {}

    # ---- rows by number -----------------------------------------------------------------------

    def row(self, number: int) -> Row:
        """A row of the system or of a fault."""
        own = len(self.system.rows)
        return self.system.rows[number] if number < own else self.extra[number - own]

    def numbered(self, rows: list[Row]) -> list[tuple[int, Row]]:
        result = []
        for row in rows:
            if row not in self._numbers:
                self._numbers[row] = len(self.system.rows) + len(self.extra)
                self.extra.append(row)
            result.append((self._numbers[row], row))
        return result

    def _court(self, rows: list[tuple[int, Row]], edit: Edit, rules: set[int]) -> Court:
        return Court(self.system, {**dict(enumerate(self.system.rows)), **dict(rows)}, blind=edit.blind, rules=rules)

    # ---- singles ------------------------------------------------------------------------------

    def single(self, kind: Kind) -> Delta:
        """What a fault kind makes new."""
        rows = self.numbered(changed(self.draft, self.system, kind.edit))
        engine = Engine(self.system, rows)
        court = self._court(rows, kind.edit, self.rules)
        whole = self.explored.all
        if kind.edit.blind:
            self.base.images(whole, court.images)
        seeds = missing(unique(engine.images(whole, court.images)), whole)
        new, finished = self._closed(seeds, [whole], [engine], court, kind.edit)
        self.situations += len(new)
        self.sets += 1
        delta = Delta(kind, rows, engine, new, frozenset(court.broken), finished)
        self.singles[kind.edit] = delta
        return delta

    def _closed(
        self, seeds: Words, known: list[Words], engines: list[Engine], court: Court, edit: Edit
    ) -> tuple[Words, bool]:
        """The seeds closed under everything, and whether that came to an end within the budget. What comes after a
        breach is followed too. Marks that only a race reads which the faults take away are
        forgotten: words that differ in them alone have the same futures."""
        marks = [self.draft.fresh(c) for c in self.draft.tracked if c in edit.relax]
        forget = np.uint64(~self.draft.layout.mask(marks) & (1 << 64) - 1)
        seeds = unique([seeds & forget])
        for words in known:
            seeds = missing(seeds, words)
        frontier = new = court.words(seeds)
        while len(frontier):
            if len(new) > self.budget:
                return new, False
            pieces = [p for e in (self.base, *engines) for p in e.images(frontier, court.images)]
            fresh = unique([p & forget for p in pieces])
            for words in (*known, new):
                fresh = missing(fresh, words)
            frontier = court.words(fresh)
            new = merged(new, frontier)
        return new, True

    # ---- pairs --------------------------------------------------------------------------------

    def pair(self, first: Delta, second: Delta, rules: set[int]) -> tuple[frozenset[int], bool]:
        """The rules (of those of interest) that only both together break, and whether the search came to an end."""
        edit = first.kind.edit | second.kind.edit
        own = {n for n, _ in (*first.rows, *second.rows)}
        both = [pair for pair in self.numbered(changed(self.draft, self.system, edit)) if pair[0] not in own]
        court = self._court([*first.rows, *second.rows, *both], edit, rules)
        engines = [first.engine, second.engine]
        whole = self.explored.all
        seeds = [*second.engine.images(first.new, court.images), *first.engine.images(second.new, court.images)]
        if both:
            joint = Engine(self.system, both)
            engines.append(joint)
            for words in (whole, first.new, second.new):
                seeds += joint.images(words, court.images)
        if first.kind.edit.blind or second.kind.edit.blind:
            for delta in (first, second):
                for engine in (self.base, *engines):
                    engine.images(delta.new, court.images)
        known = merged(first.new, missing(second.new, first.new))
        fresh = missing(missing(unique(seeds), whole), known)
        new, finished = self._closed(fresh, [whole, known], engines, court, edit)
        self.situations += len(new)
        self.sets += 1
        return frozenset(court.broken), finished

    # ---- all ----------------------------------------------------------------------------------

    def run(self, most: int, unbroken: set[int], progress: Callable[[str], None] | None = None) -> None:
        """All singles and, with `most` 2, all pairs, for the rules that hold without faults."""
        self.rules = unbroken
        self.cuts = {rule: [] for rule in unbroken}
        live = [k for k in self.kinds if not k.edit.inert]
        self.sets += len(self.kinds) - len(live)
        for number, kind in enumerate(live):
            delta = self.single(kind)
            for rule in delta.broken:
                self.cuts[rule] += [(fault,) for fault in kind.faults]
            if not delta.finished:
                self.unfinished += [(fault,) for fault in kind.faults]
            if progress:
                progress(f"fault {number + 1} of {len(live)}: {kind.faults[0]}: {len(delta.new):,} new situations")
        if most >= 2:
            self._pairs(progress)

    def _asked(self, first: Delta, second: Delta) -> bool:
        """Whether some rule asks to withstand such a pair: those come first."""
        for f in first.kind.faults:
            for g in second.kind.faults:
                slips = (f.kind == "slip") + (g.kind == "slip")
                if f.part != g.part and any(
                    2 - slips <= rule.withstand.equipment and slips <= rule.withstand.slips
                    for rule in self.draft.pad.interlocks.values()
                ):
                    return True
        return False

    def _pairs(self, progress: Callable[[str], None] | None) -> None:
        deltas = list(self.singles.values())
        begun = time.monotonic()
        pairs_ = sorted(combinations(deltas, 2), key=lambda two: not self._asked(*two))
        for number, (first, second) in enumerate(pairs_):
            rules = self.rules - first.broken - second.broken
            pairs = [(f, g) for f in first.kind.faults for g in second.kind.faults if f.part != g.part]
            if not rules or not pairs:
                continue
            if not (first.finished and second.finished) or time.monotonic() - begun > self.seconds:
                self.unfinished += pairs
                continue
            broken, finished = self.pair(first, second, rules)
            for rule in broken:
                self.cuts[rule] += pairs
            if not finished:
                self.unfinished += pairs
            if progress and number % 20 == 0:
                progress(f"pair {number + 1} of {len(deltas) * (len(deltas) - 1) // 2}")

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
        whole = self.explored.all
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
            fresh = missing(missing(unique(pieces), whole), new)
            court.words(fresh)
            new = merged(new, fresh)
            frontier = fresh
            depth += 1
            following = self.explored.layers[depth] if depth < len(self.explored.layers) else np.empty(0, np.uint64)
            layers.append(merged(following, fresh))
            if court.found:
                return layers, court.found[0], whole_engine
        return None
