"""Every single fault by delta closure, only what a fault makes new is explored; every pair in slices (`pairs`).

R(f) is R0 closed under the rows that f changes.
A set that breaks a rule is explored once more in depth buckets for its shortest story (`shortest`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

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
    """Most seconds of processor time for all pairs."""
    unfinished: list[tuple[Fault, ...]] = field(default_factory=list)
    singles: dict[Edit, Delta] = field(default_factory=dict)
    cuts: dict[int, list[tuple[Fault, ...]]] = field(default_factory=dict)
    extra: list[Row] = field(default_factory=list)
    """Rows that faults add; their numbers follow those of the system."""
    situations: int = 0
    sets: int = 0
    _depths: npt.NDArray[np.int32] | None = None

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

    def _pairs(self, progress: Callable[[str], None] | None) -> None:
        from sequencer.proof.brought import Brought, Set
        from sequencer.proof.pairs import Pairs

        say = progress or (lambda text: None)
        say("every pair: what the faults bring")
        brought = Brought(self.draft, self.system, 2)
        pairs = Pairs(self.system, brought, self.budget, self.seconds)
        number_of = {kind.faults: n for n, kind in enumerate(brought.kinds)}
        whole = [(number_of[d.kind.faults], d) for d in self.singles.values()]
        for n, rule in enumerate(sorted(self.rules)):
            check = self.system.rules[rule]
            say(f"every pair against {check.name} ({n + 1} of {len(self.rules)})")
            singles: set[Set] = {(number,) for number, delta in whole if rule in delta.broken}
            found = pairs.of(check, singles, say)
            self.situations += found.situations
            for some in found.cuts:
                self.cuts[rule] += [cut for cut in brought.named(some) if len(cut) == 2 or some not in singles]
            self.unfinished += [cut for some in found.open for cut in brought.named(some)]
        self.unfinished = list(dict.fromkeys(self.unfinished))
        self.sets += len(pairs.sets.level(2))

    # ---- stories ------------------------------------------------------------------------------

    def whole_system(self) -> System:
        """The system with every row that a fault has brought so far, under its number."""
        return replace(self.system, rows=(*self.system.rows, *self.extra))

    def own_rows(self, fault: Fault) -> set[int]:
        """Numbers of the rows that a fault brings."""
        edit = next(k.edit for k in self.kinds if fault in k.faults)
        return {n for n, _ in self.numbered(changed(self.draft, self.system, edit))}

    def _sooner(self, words: Words, depth: int) -> npt.NDArray[np.bool_]:
        """Which words the sound system does not reach within this depth: not at all, or only by a longer way."""
        whole = self.explored.all
        if self._depths is None:
            self._depths = np.empty(len(whole), np.int32)
            for number, layer in enumerate(self.explored.layers):
                self._depths[np.searchsorted(whole, layer)] = number
        at = np.searchsorted(whole, words)
        at[at == len(whole)] = 0
        sooner: npt.NDArray[np.bool_] = (whole[at] != words) | (self._depths[at] > depth)
        return sooner

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
            fresh = fresh[self._sooner(fresh, depth)]
            court.words(fresh)
            new = merged(new, fresh)
            frontier = fresh
            following = self.explored.layers[depth] if depth < len(self.explored.layers) else np.empty(0, np.uint64)
            layers.append(merged(following, fresh))
            if court.found:
                return layers, court.found[0], whole_engine
        return None
