"""A rule needs only part of the word: the system seen through some of its bits.

A slice keeps the places and a chosen set of bits; guards and effects on all others are forgotten, so that a row may be
taken at least as often as in the whole system. What cannot be reached in a slice cannot be reached at all. Words of a
slice are packed: [place | number of the set of faults | kept bits].
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sequencer.proof.brought import Brought, Set, blind, race
from sequencer.proof.engine import Words
from sequencer.proof.system import Bad, Row, RuleCheck, System
from sequencer.proof.words import WORD, TooLarge

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
ALL = (1 << 64) - 1


class Everything:
    """All rows of the sound system and of its faults as arrays, one entry per row and place it may be taken at.
    `free`: bits that are not kept and that every scan may find either way; where the box does not see a switch, its
    bit is not among them."""

    free: int

    def __init__(self, system: System, brought: Brought | None) -> None:
        self.system, self.brought = system, brought
        sound = [(i, r) for i, r in enumerate(system.rows) if r.forward]
        self.rows: list[Row] = [*system.rows, *(brought.rows if brought else [])]
        """A row's number is its index here."""
        added = [(len(system.rows) + i, r) for i, r in enumerate(brought.rows)] if brought else []
        pairs = [(n, r, p) for n, r in [*sound, *added] for p in r.at]
        self.number = np.array([n for n, _, _ in pairs], np.int64)
        self.place = np.array([p for _, _, p in pairs], np.int64)
        rows, free = [r for _, r, _ in pairs], system.free
        self.free = free

        def words(values: list[int]) -> Words:
            return np.array([v & ALL for v in values], np.uint64)

        self.care, self.want = words([r.guard.care for r in rows]), words([r.guard.want for r in rows])
        self.put = words([r.set & ~free for r in rows])
        self.clear = words([r.clear & ~r.set & ~free for r in rows])
        self.to = np.array([p if r.to is None else r.to for _, r, p in pairs], np.int64)
        self.judged = np.array([r.scan or r.tag in ("settle", "boot") for r in rows], np.bool_)
        self.lazy = np.array([r.lazy for r in rows], np.bool_)
        self.needs: list[frozenset[str]] = [frozenset()]
        known = {frozenset[str](): 0}
        ids = []
        for row in rows:
            if row.needs not in known:
                known[row.needs] = len(self.needs)
                self.needs.append(row.needs)
            ids.append(known[row.needs])
        self.needed = np.array(ids, np.int64)
        self.unless: list[tuple[tuple[int, int, int], ...]] = [()]
        kept = {self.unless[0]: 0}
        marks = []
        for row in rows:
            held = tuple((c.care, c.want, n) for c, n in row.unless)
            if held not in kept:
                kept[held] = len(self.unless)
                self.unless.append(held)
            marks.append(kept[held])
        self.held = np.array(marks, np.int64)

    def __len__(self) -> int:
        return len(self.number)

    def under(self, some: Set) -> Everything:
        """The same with the faults of one set there all the time, and no others."""
        assert self.brought is not None or not some
        made = copy.copy(self)
        made.brought = None
        enough = self.brought.suffices(self.needs, [some])[:, 0] if self.brought else np.array([not n for n in self.needs])
        chosen = np.flatnonzero(enough[self.needed])
        for name in ("number", "place", "care", "want", "put", "clear", "to", "judged", "lazy", "held"):
            setattr(made, name, getattr(self, name)[chosen])
        made.needs, made.needed = [frozenset()], np.zeros(len(chosen), np.int64)
        if self.brought is not None:
            gone = {n for n in range(len(self.system.races)) if set(some) & self.brought.wrongs.get(race(n), frozenset())}
            made.unless = [tuple(c for c in cubes if c[2] not in gone) for cubes in self.unless]
            for kind in some:
                made.free &= ~self.brought.kinds[kind].edit.blind
        return made


class Judged:
    """One rule over all entries: the bits it names, and for which of its bad cubes an entry's image is judged."""

    def __init__(self, whole: Everything, rule: RuleCheck) -> None:
        self.rule, self.bads = rule, rule.bad
        system, free, spent = whole.system, whole.free, whole.system.spent
        self.bits = 0
        for bad in self.bads:
            self.bits |= bad.cube.care & ~system.free & ~spent
            for _, cube in bad.sources:
                self.bits |= cube.care & ~system.free & ~spent
        self.entries = np.arange(len(whole))
        self.extra: list[frozenset[str]] = []
        """Per entry beyond `whole`: a copy that is judged where the box does not see a switch."""
        self.ok = np.stack([self._ok(whole, b, free) for b in self.bads], axis=1) if self.bads else np.zeros((len(whole), 0), np.bool_)
        copies, oks, needs = [], [], []
        for bit in (b for b in range(system.layout.shift) if free >> b & 1):
            if whole.brought is None or blind(bit) not in whole.brought.wrongs or not any(b.cube.care >> bit & 1 for b in self.bads):
                continue
            unseen = np.stack([self._ok(whole, b, free & ~(1 << bit)) for b in self.bads], axis=1)
            more = np.flatnonzero((unseen & ~self.ok).any(axis=1))
            copies.append(more)
            oks.append(unseen[more])
            needs += [frozenset({blind(bit)})] * len(more)
        if copies:
            self.entries = np.concatenate([self.entries, *copies])
            self.ok = np.concatenate([self.ok, *oks])
            self.extra = needs

    def _ok(self, whole: Everything, bad: Bad, free: int) -> Flags:
        if not bad.after_scan:
            return np.zeros(len(whole), np.bool_)
        places = np.zeros(len(whole.system.places), np.bool_)
        places[list(bad.places)] = True
        apart = ((whole.want ^ np.uint64(bad.cube.want)) & whole.care & np.uint64(bad.cube.care & free)) != 0
        says = np.uint64(bad.cube.care & whole.system.spent)
        result = whole.judged & ~apart & places[whole.to] & ((whole.put & says) == (np.uint64(bad.cube.want) & says))
        if bad.starts is None:
            result = result & ~whole.lazy
        return np.asarray(result, np.bool_)


@dataclass
class Group:
    """Rows of a slice at one place, as columns. needs: index into the slice's list of needs."""

    care: Words
    want: Words
    keep: Words
    put: Words
    to: Ints
    needs: Ints
    ok: Ints
    key: Ints
    unless: list[list[tuple[np.uint64, np.uint64]]]

    @property
    def plain(self) -> int:
        """How many of the rows (the first ones) have no `unless`."""
        return next((i for i, u in enumerate(self.unless) if u), len(self.unless))


class Slice:
    """The system through the bits of `mask` for one rule, with room for numbers of sets below `sets`."""

    def __init__(self, whole: Everything, judged: Judged, mask: int, sets: int) -> None:
        self.whole, self.judged, self.mask = whole, judged, mask
        self.kept = [b for b in range(whole.system.layout.shift) if mask >> b & 1]
        self.width = len(self.kept)
        self.tag = np.uint64(self.width)
        self.shift = np.uint64(self.width + (sets - 1).bit_length())
        if int(self.shift) + whole.system.layout.place_bits > WORD:
            raise TooLarge(f"a slice of {self.width} bits with {sets} sets of faults does not fit {WORD} bits")
        self.low = (1 << int(self.shift)) - 1
        self.bits = (1 << self.width) - 1
        self._project()

    def packed(self, values: Words) -> Words:
        """The kept bits of words (masks), moved together."""
        out = np.zeros(len(values), np.uint64)
        for i, bit in enumerate(self.kept):
            out |= (values >> np.uint64(bit) & np.uint64(1)) << np.uint64(i)
        return out

    def word(self, word: int) -> int:
        """A word of the whole system, without a set of faults, as a word of the slice."""
        low = int(self.packed(np.array([word], np.uint64))[0])
        return self.whole.system.layout.place_of(word) << int(self.shift) | low

    def _project(self) -> None:
        whole, at = self.whole, self.judged.entries
        spent = np.uint64(~whole.system.spent & ALL)
        care, want = self.packed(whole.care)[at], self.packed(whole.want & whole.care)[at]
        clear, put = self.packed(whole.clear)[at], self.packed(whole.put & spent)[at]
        clear, put = clear & ~(care & ~want), put & ~(care & want)
        place, to, held = whole.place[at], whole.to[at], whole.held[at]
        _, ok = np.unique(self.judged.ok, axis=0, return_inverse=True) if self.judged.bads else (None, np.zeros(len(at), np.int64))
        ok = ok.reshape(-1)
        first = np.zeros(int(ok.max(initial=0)) + 1, np.int64)
        first[ok] = np.arange(len(at))
        self.oks: Flags = self.judged.ok[first]
        self.needs = list(whole.needs)
        known = {n: i for i, n in enumerate(self.needs)}
        needed = whole.needed[at]
        base = len(whole)
        for i, more in enumerate(self.judged.extra):
            both = self.needs[needed[base + i]] | more
            if both not in known:
                known[both] = len(self.needs)
                self.needs.append(both)
            needed[base + i] = known[both]
        judged: Flags = np.asarray(self.oks.any(axis=1), np.bool_)
        acts = (clear | put).astype(bool) | (place != to) | judged[ok]
        index = np.flatnonzero(acts)
        held = self._held(held)
        columns = np.stack([c[index].astype(np.uint64) for c in (place, care, want, clear, put, to, needed, ok, held)], axis=1)
        order = np.lexsort(columns.T[::-1])
        ordered = columns[order]
        new = np.ones(len(ordered), np.bool_)
        new[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
        self.keys = ordered[new].astype(np.uint64)
        self.members = np.split(index[order], np.flatnonzero(new)[1:])
        """Entries of every key."""
        self.alive = _strongest(self.keys)
        self._tables()

    def _held(self, held: Ints) -> Ints:
        """Cubes under which a row may not be taken, as far as the slice sees them whole."""
        self.unless: list[tuple[tuple[int, ...], ...]] = [()]
        known: dict[tuple[tuple[int, ...], ...], int] = {(): 0}
        table = []
        for cubes in self.whole.unless:
            seen = [c for c in cubes if not c[0] & ~self.mask]
            made = tuple(sorted((*(int(v) for v in self.packed(np.array(c[:2], np.uint64))), c[2]) for c in seen))
            if made not in known:
                known[made] = len(self.unless)
                self.unless.append(made)
            table.append(known[made])
        return np.array(table, np.int64)[held]

    def _tables(self) -> None:
        """Rows by place; a row with races that faults take away stands there once more for every such group of them."""
        self.groups: dict[int, Group] = {}
        wanted: dict[int, list[tuple[int, frozenset[str], list[tuple[int, int]]]]] = {}
        for key in np.flatnonzero(self.alive):
            place, held, need = (int(self.keys[key, c]) for c in (0, 8, 6))
            for wrong, cubes in self._ways(self.unless[held]):
                wanted.setdefault(place, []).append((int(key), self.needs[need] | wrong, cubes))
        known = {n: i for i, n in enumerate(self.needs)}
        for place, some in wanted.items():
            some.sort(key=lambda one: bool(one[2]))
            for _, needs, _ in some:
                if needs not in known:
                    known[needs] = len(self.needs)
                    self.needs.append(needs)
            numbers: Ints = np.array([k for k, _, _ in some], np.int64)
            columns = self.keys[numbers]
            to = columns[:, 5].astype(np.int64)
            keep = ~columns[:, 3] & np.uint64(ALL)
            moved = to != place
            keep[moved] &= np.uint64(self.low)
            put = columns[:, 4] | np.where(moved, columns[:, 5] << self.shift, np.uint64(0))
            needs_at = np.array([known[n] for _, n, _ in some], np.int64)
            unless = [[(np.uint64(c), np.uint64(w)) for c, w in cubes] for _, _, cubes in some]
            self.groups[place] = Group(columns[:, 1], columns[:, 2], keep & ~put, put, to, needs_at, columns[:, 7].astype(np.int64), numbers, unless)

    def _ways(self, held: Sequence[tuple[int, ...]]) -> list[tuple[frozenset[str], list[tuple[int, int]]]]:
        """(wrongs, cubes that still hold a row back) for every group of races that faults can take away."""
        brought = self.whole.brought
        sound = (frozenset[str](), [(c, w) for c, w, _ in held])
        if not held or brought is None:
            return [sound]
        races = {n for _, _, n in held}
        gone = {frozenset(n for n in races if k in brought.wrongs.get(race(n), ())) for k in range(len(brought.kinds))} - {frozenset()}
        for _ in range(brought.most - 1):
            gone |= {a | b for a in gone for b in gone}
        return [sound] + [(frozenset(map(race, g)), [(c, w) for c, w, n in held if n not in g]) for g in sorted(gone, key=sorted)]


def _strongest(keys: Words) -> Flags:
    """Which rows are not covered by another: same effect, wider guard, no more needed."""
    alive = np.ones(len(keys), np.bool_)
    effect = keys[:, [0, 3, 4, 5, 7, 8]]
    order = np.lexsort(effect.T[::-1])
    ordered = effect[order]
    cuts = np.flatnonzero((ordered[1:] != ordered[:-1]).any(axis=1)) + 1
    for part in np.split(order, cuts):
        if len(part) < 2 or len(part) > 3000:
            continue
        care, want, needs = keys[part, 1], keys[part, 2], keys[part, 6]
        wider = (care[:, None] & ~care[None]) == 0
        wider &= (want[None] & care[:, None]) == want[:, None]
        wider &= (needs[:, None] == 0) | (needs[:, None] == needs[None])
        np.fill_diagonal(wider, False)
        alive[part[wider.any(axis=0)]] = False
    return alive
