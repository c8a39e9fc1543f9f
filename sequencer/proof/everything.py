"""All rows of a system and of its faults as arrays, and what one rule judges of them: what slices are cut from."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import combinations

import numpy as np

from sequencer.proof.brought import blind, race
from sequencer.proof.engine import Flags, Ints, Words
from sequencer.proof.sets import Changes, Sets
from sequencer.proof.system import Bad, Row, RuleCheck, System
from sequencer.proof.words import ALL

Cubes = tuple[tuple[int, int], ...]


class Everything:
    """All rows as arrays, one entry per row and place it may be taken at; a row with races that faults take away stands
    there once more for every such group of them. What no set of faults suffices for is left out.

    needed: number of what an entry needs (0: nothing); enough: [need, set], which sets suffice. unless: groups of cubes
    under which a row may not be taken; held: which of them an entry has (0: none)."""

    def __init__(self, system: System, brought: Changes) -> None:
        self.system, self.brought = system, brought
        self.sets = Sets.up_to(brought, brought.most)
        self.rows: list[Row] = [*system.rows, *brought.rows]
        """A row's number is its index here."""
        self._bring: dict[str, Flags] = {}
        self._rows: dict[bytes, int] = {}
        self._needs: dict[frozenset[str], int] = {}
        self._table: list[Flags] = []
        self.need(frozenset())
        self.unless: list[Cubes] = [()]
        self._unless: dict[Cubes, int] = {(): 0}
        self._gone: dict[frozenset[int], list[tuple[frozenset[int], frozenset[str]]]] = {}
        entries: list[tuple[int, int, int, int]] = []
        for number, row in enumerate(self.rows):
            if row.forward or number >= len(system.rows):
                ways = self._ways(row) if row.unless else [(self.need(row.needs), 0)]
                entries += [(number, place, need, held) for need, held in ways if need >= 0 for place in row.at]
        self.number, self.place, self.needed, self.held = np.ascontiguousarray(np.array(entries, np.int64).reshape(-1, 4).T)
        free = system.free
        columns = [
            (r.guard.care & ALL, r.guard.want & ALL, r.set & ~free & ALL, r.clear & ~r.set & ~free & ALL) for r in self.rows
        ]  # fmt: skip
        masks = np.array(columns, np.uint64).reshape(-1, 4)[self.number]
        self.care, self.want, self.put, self.clear = (np.ascontiguousarray(masks[:, i]) for i in range(4))
        to = np.array([-1 if r.to is None else r.to for r in self.rows], np.int64)[self.number]
        self.to = np.where(to < 0, self.place, to)
        self.judged = np.array([r.scan or r.tag in ("settle", "boot") for r in self.rows], np.bool_)[self.number]
        self.lazy = np.array([r.lazy for r in self.rows], np.bool_)[self.number]
        self.unseen = [b for b in range(system.layout.shift) if free >> b & 1 and blind(b) in brought.wrongs]
        """Switches that some fault hides from the box."""

    def __len__(self) -> int:
        return len(self.number)

    @cached_property
    def unless_columns(self) -> tuple[Words, Words]:
        """(care, want) of `unless`: [group, cube], filled up with zeros."""
        made = np.zeros((2, len(self.unless), max(1, *map(len, self.unless))), np.uint64)
        for group, cubes in enumerate(self.unless):
            for column, (care, want) in enumerate(cubes):
                made[:, group, column] = care & ALL, want & ALL
        return made[0], made[1]

    def need(self, wrongs: frozenset[str]) -> int:
        """Number of a set of wrongs, the same for all that the same sets of faults suffice for; -1 where none does."""
        if wrongs not in self._needs:
            met = np.ones(len(self.sets), np.bool_)
            for wrong in wrongs:
                met &= self._brings(wrong)
            self._needs[wrongs] = self._numbered(met)
        return self._needs[wrongs]

    def hidden(self, bits: Sequence[int]) -> int:
        """Number of the need that the box sees none of these switches; -1 where no set of faults hides them all."""
        return self.need(frozenset(map(blind, bits)))

    def both(self, need: int, other: int) -> int:
        """Number of two needs at once."""
        return self._numbered(self._table[need] & self._table[other])

    def _brings(self, wrong: str) -> Flags:
        if wrong not in self._bring:
            self._bring[wrong] = self.sets.bring(wrong)
        return self._bring[wrong]

    def _numbered(self, met: Flags) -> int:
        if not met.any():
            return -1
        if met.tobytes() not in self._rows:
            self._rows[met.tobytes()] = len(self._table)
            self._table.append(met)
        return self._rows[met.tobytes()]

    def enough_for(self, sets: Sets) -> Flags:
        """[need, set]: which of these sets suffice for a need."""
        enough = np.array(self._table)
        return enough if sets is self.sets else enough[:, [self.sets.number[s] for s in sets.all]]

    def _ways(self, row: Row) -> list[tuple[int, int]]:
        """(need, cubes that hold the row back): as it stands, and without every group of races that faults can take away;
        of those for which the same sets suffice, the freest."""
        freest: dict[int, Cubes] = {}
        cubes = [(c.care, c.want, n) for c, n in row.unless]
        for gone, wrongs in self._groups(frozenset(n for _, _, n in cubes)):
            need = self.need(row.needs | wrongs)
            if need >= 0:
                left = tuple((care, want) for care, want, n in cubes if n not in gone)
                if need not in freest or set(left) < set(freest[need]):
                    freest[need] = left
        for left in freest.values():
            if left not in self._unless:
                self._unless[left] = len(self.unless)
                self.unless.append(left)
        return [(need, self._unless[left]) for need, left in freest.items()]

    def _groups(self, races: frozenset[int]) -> list[tuple[frozenset[int], frozenset[str]]]:
        """(races that are gone, the wrongs that this takes): none, and every group that some set of faults takes away; of
        those that the same sets take away, the largest."""
        if races not in self._gone:
            wrongs, kinds = self.brought.wrongs, range(len(self.brought.kinds))
            gone = {frozenset(n for n in races if k in wrongs.get(race(n), ())) for k in kinds} - {frozenset()}
            for _ in range(self.brought.most - 1):
                gone |= {a | b for a in gone for b in gone}
            needs = {g: self.need(frozenset(map(race, g))) for g in sorted(gone, key=lambda g: (len(g), sorted(g)))}
            largest = [g for g, need in needs.items() if need >= 0 and not any(g < o and needs[o] == need for o in needs)]
            self._gone[races] = [(g, frozenset(map(race, g))) for g in (frozenset[int](), *largest)]
        return self._gone[races]


class Judged:
    """One rule over all entries: the bits it names, and for which of its bad cubes an entry's image is judged.

    entries: all of the whole, then copies that are judged where the box does not see a switch, or several. needed: as in
    `Everything`. oks[ok]: per entry, which bad cubes it is judged by; judged: whether by any."""

    def __init__(self, whole: Everything, rule: RuleCheck) -> None:
        self.rule, self.bads = rule, rule.bad
        system, spent = whole.system, whole.system.spent
        self.bits = 0
        for bad in self.bads:
            for cube in (bad.cube, *(c for _, c in bad.sources)):
                self.bits |= cube.care & ~system.free & ~spent
        ok = np.stack([self._ok(whole, b, system.free) for b in self.bads], axis=1) if self.bads else np.zeros((len(whole), 0), np.bool_)
        entries, oks, needed = [np.arange(len(whole))], [ok], [whole.needed]
        asked = [b for b in whole.unseen if any(bad.cube.care >> b & 1 for bad in self.bads)]
        for bits in (some for size in range(1, len(asked) + 1) for some in combinations(asked, size)):
            if (hidden := whole.hidden(bits)) < 0:
                continue  # no set of faults hides all of these switches at once
            unseen = np.stack([self._ok(whole, b, system.free & ~sum(1 << bit for bit in bits)) for b in self.bads], axis=1)
            more = np.flatnonzero((unseen & ~ok).any(axis=1))
            table = {need: whole.both(need, hidden) for need in np.unique(whole.needed[more]).tolist()}
            also = np.array([table[need] for need in whole.needed[more].tolist()], np.int64)
            entries.append(more[also >= 0])
            oks.append(unseen[more[also >= 0]])
            needed.append(also[also >= 0])
        self.entries, self.needed = np.concatenate(entries), np.concatenate(needed)
        every = np.concatenate(oks)
        self.judged: Flags = np.asarray(every.any(axis=1), np.bool_)
        some = np.flatnonzero(self.judged)
        self.oks: Flags = np.zeros((1, len(self.bads)), np.bool_)
        self.ok: Ints = np.zeros(len(every), np.int64)
        if len(some):
            kinds, number = np.unique(every[some], axis=0, return_inverse=True)
            self.oks = np.concatenate([self.oks, kinds])
            self.ok[some] = number.reshape(-1) + 1

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
