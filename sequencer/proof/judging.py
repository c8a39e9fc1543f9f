"""Rules judged on words: about the world on every new word, about the box on every image of a scan.

Images are judged before duplicates are removed; membership in the reached set would be wrong (it holds situations
before scans). The first breach of each rule at each place is remembered.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sequencer.proof.engine import Numbers, Words
from sequencer.proof.system import Bad, Row, System

MOST = 24
"""Breaches remembered of one rule."""


@dataclass(frozen=True)
class Breach:
    """A rule broken: on the image of `row` from `source` (or on `word` itself: row None), first at this depth."""

    rule: int
    depth: int
    source: int
    row: int | None
    word: int


class Court:
    """Judges words and images. `blind`: free bits whose truth the box no longer sees (a fault); `rules`: numbers of the
    rules that are still of interest."""

    def __init__(self, system: System, rows: dict[int, Row], *, blind: int = 0, rules: set[int] | None = None) -> None:
        self.system = system
        self.depth = 0
        self.found: list[Breach] = []
        self._seen: set[tuple[int, int]] = set()
        self.shift = np.uint64(system.layout.shift)
        self.world: list[tuple[int, Bad, npt.NDArray[np.bool_]]] = []
        self.scans: list[tuple[int, Bad, npt.NDArray[np.bool_], npt.NDArray[np.bool_]]] = []
        numbers = max(rows, default=0) + 1
        size = 1 << (64 - system.layout.shift)
        for number, rule in enumerate(system.rules):
            if rules is not None and number not in rules:
                continue
            for bad in rule.bad:
                places = np.zeros(size, np.bool_)
                places[list(bad.places)] = True
                if bad.after_scan:
                    self.scans.append((number, bad, places, self._rows(bad, rows, numbers, blind)))
                else:
                    self.world.append((number, bad, places))

    def _rows(self, bad: Bad, rows: dict[int, Row], size: int, blind: int) -> npt.NDArray[np.bool_]:
        """Which rows' images this rule is judged on."""
        table = np.zeros(size, np.bool_)
        free = self.system.free & ~blind
        for number, row in rows.items():
            apart = (row.guard.want ^ bad.cube.want) & row.guard.care & bad.cube.care & free
            reaches = bad.places if row.to is None else {row.to} & bad.places
            if row.to is None:
                reaches = bad.places & set(row.at)
            table[number] = not apart and bool(reaches) and not (row.lazy and bad.starts is None)
        return table

    @property
    def broken(self) -> set[int]:
        return {b.rule for b in self.found}

    def words(self, words: Words) -> Words:
        """Judge new words for rules about the world alone. All are given back: what comes after a breach is followed
        too, so that a rule that only breaks later in the same story is not called unbroken."""
        free = self.system.free
        for number, bad, places in self.world:
            mask = (words & np.uint64(bad.cube.care & ~free)) == np.uint64(bad.cube.want & ~free)
            if not mask.any():
                continue
            mask &= places[words >> self.shift]
            hit = words[mask]
            if len(hit):
                _, first = np.unique(hit >> self.shift, return_index=True)
                for word in hit[first]:
                    self._note(Breach(number, self.depth, int(word), None, int(word)))
        return words

    def images(self, sources: Words, images: Words, numbers: Numbers) -> None:
        """Judge scans' images for rules about the box."""
        free = self.system.free
        for number, bad, places, rows in self.scans:
            mask = rows[numbers]
            if not mask.any():
                continue
            mask &= (images & np.uint64(bad.cube.care & ~free)) == np.uint64(bad.cube.want & ~free)
            if not mask.any():
                continue
            mask &= places[images >> self.shift]
            if bad.starts is not None and mask.any():
                mask &= self._began(bad, sources)
            at = np.flatnonzero(mask)
            if len(at):
                _, first = np.unique(images[at] >> self.shift, return_index=True)
                for i in at[first]:
                    self._note(Breach(number, self.depth, int(sources[i]), int(numbers[i]), int(images[i])))

    def _began(self, bad: Bad, sources: Words) -> npt.NDArray[np.bool_]:
        result = np.zeros(len(sources), np.bool_)
        for places, cube in bad.sources:
            here = np.isin(sources >> self.shift, np.array(sorted(places), np.uint64))
            result |= here & ((sources & np.uint64(cube.care)) == np.uint64(cube.want))
        return result

    def _note(self, breach: Breach) -> None:
        key = (breach.rule, breach.word >> int(self.shift))
        if key not in self._seen and sum(r == breach.rule for r, _ in self._seen) < MOST:
            self._seen.add(key)
            self.found.append(breach)
