"""Rows applied to many words at once: per place one table of masks, every row against every word in a few numpy calls.

`words` are always sorted arrays of uint64, contiguous per place. A row that carries `unless` cubes is applied on its
own; all others of a place share one matrix comparison, cut into pieces that stay in the cache.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sequencer.proof.system import Row, System
from sequencer.proof.words import ALL

Words = npt.NDArray[np.uint64]
Numbers = npt.NDArray[np.intp]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
PIECE = 1 << 14
"""Words times rows of one comparison."""

Judge = Callable[[Words, Words, Numbers], None]
"""(sources, images, row numbers) of scans and other judged rows."""


@dataclass
class _Alone:
    number: int
    care: np.uint64
    want: np.uint64
    keep: np.uint64
    put: np.uint64
    unless: list[tuple[np.uint64, np.uint64]]


@dataclass
class _Table:
    """The rows of one place."""

    number: Numbers
    care: Words
    want: Words
    keep: Words
    put: Words
    alone: list[_Alone]


def masks(system: System, row: Row) -> tuple[int, int, int, int]:
    """(care, want, keep, put) of a row; free bits are not kept."""
    layout, free = system.layout, system.free
    keep, put = ~row.clear & ALL, row.set
    if row.to is not None:
        keep &= layout.low
        put |= row.to << layout.shift
    keep &= ~put & ~free & ALL
    return row.guard.care & ~free, row.guard.want & ~free, keep, put & ~free


class Engine:
    """Some rows of a system, ready to be applied. `rows` are (number, row) pairs; numbers name rows to the judge."""

    def __init__(self, system: System, rows: list[tuple[int, Row]]) -> None:
        self.system = system
        self.shift = np.uint64(system.layout.shift)
        self.spent = np.uint64(~system.spent & ALL)
        self.borders = np.array([p << system.layout.shift for p in range(len(system.places))], np.uint64)
        by_place: dict[int, list[tuple[int, Row]]] = {}
        for number, row in rows:
            for place in row.at:
                by_place.setdefault(place, []).append((number, row))
        self.tables = {place: self._table(some) for place, some in by_place.items()}
        size = max((n for n, _ in rows), default=0) + 1
        self.judged = np.zeros(size, np.bool_)
        self.idle = np.zeros(size, np.bool_)
        for number, row in rows:
            self.judged[number] = row.scan or row.tag in ("settle", "boot")
            self.idle[number] = row.idle

    def _table(self, rows: list[tuple[int, Row]]) -> _Table:
        plain = [(n, *masks(self.system, r)) for n, r in rows if not r.unless]
        alone = []
        for number, row in rows:
            if row.unless:
                care, want, keep, put = (np.uint64(m) for m in masks(self.system, row))
                cubes = [(np.uint64(c.care), np.uint64(c.want)) for c, _ in row.unless]
                alone.append(_Alone(number, care, want, keep, put, cubes))
        numbers = np.array([p[0] for p in plain], np.intp)

        def column(i: int) -> Words:
            return np.array([p[i] for p in plain], np.uint64)

        return _Table(numbers, column(1), column(2), column(3), column(4), alone)

    def images(self, words: Words, judge: Judge | None = None) -> list[Words]:
        """Images of every word under every row (idle ones left out), as unsorted pieces."""
        out: list[Words] = []
        cuts = np.append(np.searchsorted(words, self.borders), len(words))
        for place, table in self.tables.items():
            part = words[cuts[place] : cuts[place + 1]]
            if not len(part):
                continue
            for row in table.alone:
                mask = (part & row.care) == row.want
                for care, want in row.unless:
                    mask &= (part & care) != want
                sources = part[mask]
                if len(sources):
                    self._keep(out, sources, sources & row.keep | row.put, np.full(len(sources), row.number), judge)
            if not len(table.number):
                continue
            step = max(1, PIECE // len(table.number))
            for start in range(0, len(part), step):
                piece = part[start : start + step]
                which, row_at = np.nonzero((piece[:, None] & table.care) == table.want)
                if len(which):
                    sources = piece[which]
                    self._keep(out, sources, sources & table.keep[row_at] | table.put[row_at], table.number[row_at], judge)
        return out

    def _keep(self, out: list[Words], sources: Words, images: Words, numbers: Numbers, judge: Judge | None) -> None:
        if judge is not None:
            scans = self.judged[numbers]
            if scans.any():
                judge(sources[scans], images[scans], numbers[scans])
        moved = ~self.idle[numbers]
        out.append(images[moved] & self.spent)

    def back(self, words: Words, target: int) -> tuple[int, int] | None:
        """(source, row number) of some row that leads from one of the words to the target, or None."""
        cuts = np.append(np.searchsorted(words, self.borders), len(words))
        goal = np.uint64(target)
        for place, table in self.tables.items():
            part = words[cuts[place] : cuts[place + 1]]
            if not len(part):
                continue
            rows = [(r.number, r.care, r.want, r.keep, r.put, r.unless) for r in table.alone]
            rows += [(int(n), c, w, k, p, []) for n, c, w, k, p in zip(table.number, table.care, table.want, table.keep, table.put, strict=True)]
            for number, care, want, keep, put, unless in rows:
                if (int(put) & int(self.spent)) & ~target or (target & ~int(keep) & ~int(put)):
                    continue
                mask = ((part & care) == want) & (((part & keep | put) & self.spent) == goal)
                for c, w in unless:
                    mask &= (part & c) != w
                hits = np.flatnonzero(mask)
                if len(hits):
                    return int(part[hits[0]]), number
        return None


def unique(pieces: list[Words]) -> Words:
    """Sorted words of some pieces, each once."""
    if not pieces:
        return np.empty(0, np.uint64)
    whole = np.concatenate(pieces)
    whole.sort()
    if len(whole) < 2:
        return whole
    fresh = np.empty(len(whole), np.bool_)
    fresh[0] = True
    np.not_equal(whole[1:], whole[:-1], out=fresh[1:])
    return whole[fresh]


def isin(words: Words, known: Words) -> Flags:
    """Which words are in a sorted array."""
    if not len(known) or not len(words):
        return np.zeros(len(words), np.bool_)
    at = np.searchsorted(known, words)
    at[at == len(known)] = 0
    return np.asarray(known[at] == words, np.bool_)


def missing(words: Words, known: Words) -> Words:
    """The sorted words that are not in a sorted array."""
    return words[~isin(words, known)] if len(known) else words


def merged(first: Words, second: Words) -> Words:
    """Two disjoint sorted arrays as one."""
    if not len(second):
        return first
    if not len(first):
        return second
    whole: Words = np.insert(first, np.searchsorted(first, second), second)
    return whole
