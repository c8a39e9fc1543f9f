"""The proof's inner loops in C, compiled once on this machine; where there is no compiler, numpy does the same.

`library()` is None then, and where the variable SEQUENCER_PLAIN is set. What the C does is what the numpy code beside its
callers does, to the same words in the same order; tests hold both together.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from ctypes import CDLL, POINTER, Structure, byref, c_int, c_int64, c_uint64, c_void_p
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from weakref import finalize

import numpy as np
import numpy.typing as npt

from sequencer.compilers import DoesNotBuild, Missing, build, host_compiler
from sequencer.proof.words import TooLarge

if TYPE_CHECKING:
    from sequencer.proof.engine import Flags, Ints, Words
    from sequencer.proof.slices import Slice

FLAGS = ("-O3", "-std=c99", "-shared", "-fPIC")
SOURCES = ("kernel.h", "words.c", "closing.c", "search.c", "cubes.c")
Small = npt.NDArray[np.int32]


Scan = tuple[int, int, bool, list[tuple[list[int], int, int]]]
"""A bad cube of images (care, want), whether only a start counts, and (places, care, want) of where it begins then."""
World = tuple[int, int, list[int]]
"""A bad cube of words (care, want) and its places."""
_ROWS = ("care", "want", "keep", "put", "need", "ok", "held", "first", "count", "held_care", "held_want", "enough", "oks")
_JUDGED = ("bad_care", "bad_want", "origin_first", "origin_care", "origin_want", "origin_places", "world_places", "world_care", "world_want")


class _View(Structure):
    _fields_ = [
        *((name, c_void_p) for name in (*_ROWS, *_JUDGED)),
        *((name, c_int64) for name in ("held_most", "sets", "bads", "worlds", "places", "shift", "tag")),
    ]  # fmt: skip


class _Court(Structure):
    _fields_ = [("broken", c_void_p), ("image", c_void_p), ("source", c_void_p), ("row", c_void_p)]


class _Runs(Structure):
    _fields_ = [("start", c_void_p), ("to", c_void_p), ("mask", c_void_p), ("count", c_int64)]


@cache
def library() -> CDLL | None:
    """The compiled kernel, or None."""
    if os.environ.get("SEQUENCER_PLAIN"):
        return None
    folder = Path(__file__).parent
    try:
        made = CDLL(str(build(host_compiler(), {n: (folder / n).read_text(encoding="utf-8") for n in SOURCES}, FLAGS, "kernel.so")))
    except (Missing, DoesNotBuild, OSError):
        return None
    for name, answer, arguments in (
        ("closing_make", c_void_p, (c_void_p, c_void_p, c_void_p)),
        ("closing_drop", None, (c_void_p,)),
        ("closing_seed", c_int, (c_void_p, c_void_p, c_void_p, c_int64, *(c_void_p,) * 5, c_int64, c_int64, c_void_p)),
        ("closing_close", c_int64, (c_void_p, c_void_p, c_void_p, c_int64, c_int64)),
        ("closing_begin", c_int64, (c_void_p, c_void_p, c_void_p, c_int64)),
        ("closing_step", c_int64, (c_void_p, c_void_p, c_int64)),
        ("closing_taken", c_int64, (c_void_p,)),
        ("closing_put", c_int, (c_void_p, c_void_p, c_int64)),
        ("closing_hits", None, (c_void_p, c_void_p, c_void_p)),
        ("closing_layers", c_int64, (c_void_p, c_void_p)),
        ("closing_words", None, (c_void_p, c_void_p, c_int64)),
        ("ways_shortest", None, (c_void_p, c_void_p, c_int64, c_void_p)),
        ("ways_all", c_int, (c_void_p, c_void_p, c_int64, c_void_p)),
        ("search_make", c_void_p, (c_void_p, c_void_p, c_void_p, c_void_p, c_int64)),
        ("search_drop", None, (c_void_p,)),
        ("search_run", c_int64, (c_void_p, c_void_p, c_void_p, *(c_int64,) * 5)),
        ("search_words", None, (c_void_p, c_void_p)),
        ("search_before", c_int64, (c_void_p, c_uint64, POINTER(c_uint64))),
        ("cubes_join", c_int, (c_void_p, c_void_p, c_void_p, c_int64, c_void_p, c_void_p, c_int64)),
        ("rows_group", c_int64, (c_void_p, c_int64, c_int64, c_void_p, c_void_p)),
        ("rows_order", None, (c_void_p, c_int64, c_void_p, c_int64, c_void_p, c_void_p)),
        ("rows_cover", None, (*(c_void_p,) * 5, c_int64, c_int64, c_int64, c_void_p)),
        ("kinds_seen", c_int64, (c_void_p, c_void_p, c_int64, c_void_p, c_void_p)),
    ):
        function = getattr(made, name)
        function.restype, function.argtypes = answer, arguments
    return made


def _at(array: npt.NDArray[Any]) -> int:
    return int(array.ctypes.data)


def _fine(answer: int) -> int:
    if answer == -1:
        raise MemoryError("not enough memory for the proof")
    if answer == -2:
        raise TooLarge("what is looked at of the pad is larger than the budget of one rule")
    return answer


def cover(made: CDLL, rows: Words, order: Ints, starts: Ints, most: int, alive: Flags) -> None:
    """Within groups of rows, see `slices`. rows: three lines: care, want, need; alive is changed."""
    some = [np.ascontiguousarray(a) for a in (*rows, order, starts)]
    made.rows_cover(*map(_at, some), len(starts), len(order), most, _at(alive))


def group(made: CDLL, keys: Words) -> tuple[Ints, Ints]:
    """(order, starts of groups in it) of equal columns of a table, in the order of the columns."""
    keys, count = np.ascontiguousarray(keys), keys.shape[1]
    groups, first = np.empty(count, np.int64), np.empty(count, np.int64)
    first = first[: _fine(made.rows_group(_at(keys), len(keys), count, _at(groups), _at(first)))]
    rank, starts, order = np.empty(len(first), np.int64), np.empty(len(first), np.int64), np.empty(count, np.int64)
    rank[np.lexsort(keys[:, first][::-1])] = np.arange(len(first))
    made.rows_order(_at(groups), count, _at(rank), len(first), _at(starts), _at(order))
    return order, starts


def join(made: CDLL, care: Words, want: Words, ends: Ints) -> tuple[Words, Words, Ints] | None:
    """Unions of cubes with fewer of them, sorted, of many groups at once, see `cubes`; None where they would be far more."""
    care, want, ends = np.ascontiguousarray(care), np.ascontiguousarray(want), np.array(ends, np.int64)
    room = 2 * len(care) + 1024
    cares, wants = np.empty(room, np.uint64), np.empty(room, np.uint64)
    answer = made.cubes_join(_at(care), _at(want), _at(ends), len(ends), _at(cares), _at(wants), room)
    return None if answer == -2 else (cares[: ends[_fine(answer) - 1]], wants[: ends[-1]], ends)


class Cell:
    """The first breach of every set, as the kernel writes it down."""

    def __init__(self, sets: int) -> None:
        self.broken = np.zeros(sets, np.bool_)
        self.image, self.source, self.row = np.zeros(sets, np.uint64), np.zeros(sets, np.uint64), np.zeros(sets, np.int64)
        self.struct = _Court(_at(self.broken), _at(self.image), _at(self.source), _at(self.row))

    def breaks(self) -> list[tuple[int, int, int | None, int | None]]:
        """(set, breaking word, source, row of the table) of every broken set; no source and row where the word itself breaks."""
        found: list[tuple[int, int, int | None, int | None]] = []
        for tag in np.flatnonzero(self.broken).tolist():
            row = int(self.row[tag])
            found.append((tag, int(self.image[tag]), None if row < 0 else int(self.source[tag]), None if row < 0 else row))
        return found


class View:
    """Rows by place with what is judged on them, laid out for the kernel. rows: the arrays of `_ROWS` by name; scans and
    worlds: the rule's bad cubes, see `slices`; shift, tag: where the place and the number of the set of faults stand."""

    def __init__(self, rows: dict[str, npt.NDArray[Any]], scans: Sequence[Scan], worlds: Sequence[World], places: int, shift: int, tag: int) -> None:
        begins: list[tuple[int, int]] = []
        origins: list[tuple[list[int], int, int]] = []
        for _, _, starts, some in scans:
            begins.append((len(origins), len(origins) + len(some)) if starts else (-1, -1))
            origins += some if starts else []

        def marked(some: list[list[int]]) -> npt.NDArray[np.uint8]:
            flags = np.zeros((len(some), places), np.uint8)
            for line, members in enumerate(some):
                flags[line, members] = 1
            return flags

        def masks(some: list[int]) -> Words:
            return np.array(some, np.uint64)

        self._kept = {name: np.ascontiguousarray(rows[name]) for name in _ROWS} | {
            "bad_care": masks([s[0] for s in scans]), "bad_want": masks([s[1] for s in scans]), "origin_first": np.array(begins, np.int64),
            "origin_care": masks([o[1] for o in origins]), "origin_want": masks([o[2] for o in origins]),
            "origin_places": marked([o[0] for o in origins]), "world_places": marked([w[2] for w in worlds]),
            "world_care": masks([w[0] for w in worlds]), "world_want": masks([w[1] for w in worlds]),
        }  # fmt: skip
        numbers = (rows["held_care"].shape[1], rows["enough"].shape[1], len(scans), len(worlds), places, shift, tag)
        self.struct = _View(*map(_at, self._kept.values()), *numbers)

    @classmethod
    def of(cls, view: Slice, enough: Flags) -> View:
        """A slice. enough: [need, set]."""
        table = view.table
        rows: dict[str, npt.NDArray[Any]] = {
            "care": table.care, "want": table.want, "keep": table.keep, "put": table.put, "need": table.need, "ok": table.ok,
            "held": table.held, "first": table.first, "count": table.count, "held_care": view.held_care, "held_want": view.held_want,
            "enough": enough, "oks": view.judged.oks,
        }  # fmt: skip
        return cls(rows, *view.judgements, len(view.borders), int(view.shift), int(view.tag))


class Closed:
    """One slice's exploration in the kernel. parts: (first, numbers): the smaller sets within each."""

    def __init__(self, made: CDLL, view: View, parts: tuple[Ints, Ints]) -> None:
        self.made, self.view, self._parts = made, view, parts
        self.handle = made.closing_make(byref(view.struct), *map(_at, parts))
        if not self.handle:
            _fine(-1)
        finalize(self, made.closing_drop, self.handle)
        self.kept = 0

    def seed(self, cell: Cell, words: Words, gain: Flags, able: Flags, gains: tuple[Ints, Ints, Ints], first: int, live: Flags) -> None:
        """What sorted words of a smaller level become by rows that a larger set brings."""
        arrays = [np.ascontiguousarray(a) for a in (words, gain, able, *gains, live)]
        at = [_at(a) for a in arrays]
        _fine(self.made.closing_seed(self.handle, byref(cell.struct), at[0], len(words), *at[1:6], first, gains[1].shape[1], at[6]))

    def close(self, cell: Cell, seeds: Words, budget: int) -> list[Words]:
        """The layers of a level, sorted. Raises TooLarge beyond the budget."""
        before, known = self.kept, self.made.closing_layers(self.handle, None)
        count = _fine(self.made.closing_close(self.handle, byref(cell.struct), _at(seeds), len(seeds), budget))
        bounds = np.zeros(self.made.closing_layers(self.handle, None), np.int64)
        self.made.closing_layers(self.handle, _at(bounds))
        return np.split(self._new(count), bounds[known:-1] - before)

    def _new(self, count: int) -> Words:
        words = np.empty(count, np.uint64)
        self.made.closing_words(self.handle, _at(words), self.kept)
        self.kept += count
        return words

    def begin(self, cell: Cell, seeds: Words) -> Words:
        """The first layer of a level."""
        return self._new(_fine(self.made.closing_begin(self.handle, byref(cell.struct), _at(seeds), len(seeds))))

    def step(self, cell: Cell, last: int) -> Words:
        """The layer after one of so many words."""
        return self._new(_fine(self.made.closing_step(self.handle, byref(cell.struct), self.kept - last)))

    @property
    def taken(self) -> int:
        """Rows taken so far."""
        return int(self.made.closing_taken(self.handle))

    def put(self, words: Words) -> None:
        """Words that are known to be reached."""
        _fine(self.made.closing_put(self.handle, _at(words), len(words)))
        self.kept += len(words)

    def hits(self, view: View, bads: int) -> Flags:
        """Which bad cubes of scans the image of some row of a view breaks, from all words kept."""
        hit = np.zeros(bads, np.bool_)
        self.made.closing_hits(self.handle, byref(view.struct), _at(hit))
        return hit

    def shortest(self, goals: Words) -> Flags:
        """Which of the words kept lie on a shortest way to a goal."""
        on = np.zeros(self.kept, np.bool_)
        self.made.ways_shortest(self.handle, _at(goals), len(goals), _at(on))
        return on

    def far(self, goals: Words) -> Small:
        """Steps from every word kept to the nearest goal; -1 where none can be reached."""
        steps = np.empty(self.kept, np.int32)
        _fine(self.made.ways_all(self.handle, _at(goals), len(goals), _at(steps)))
        return steps


class Runs:
    """Bits that move together: (from, to, mask) each."""

    def __init__(self, some: list[tuple[int, int, int]]) -> None:
        self._kept = tuple(np.array([r[i] for r in some], np.uint64 if i == 2 else np.int64) for i in range(3))
        self.struct = _Runs(*map(_at, self._kept), len(some))

    def kinds(self, made: CDLL, words: Words) -> tuple[Words, Small]:
        """(what the words look like through these, each once; which of them each word is)."""
        which, seen = np.empty(len(words), np.int32), np.empty(len(words), np.uint64)
        count = _fine(made.kinds_seen(byref(self.struct), _at(words), len(words), _at(which), _at(seen)))
        return seen[:count].copy(), which


class Searched:
    """A search of the whole system along the ways of a slice. ways, far: words of the slice and their steps left."""

    def __init__(self, made: CDLL, view: View, runs: Runs, ways: Words, far: Ints) -> None:
        self.made, self._kept = made, (view, runs, np.ascontiguousarray(far, np.int32))
        self.deep = int(far.max(initial=0)) + 1
        self.handle = made.search_make(byref(view.struct), byref(runs.struct), _at(ways), _at(self._kept[2]), len(ways))
        if not self.handle:
            _fine(-1)
        finalize(self, made.search_drop, self.handle)

    def run(self, cell: Cell, begin: Words, at_once: int, most: int | None, budget: int) -> Words:
        """The words looked at, sorted. Raises TooLarge beyond the budget."""
        limit = -1 if most is None else most
        count = _fine(self.made.search_run(self.handle, byref(cell.struct), _at(begin), len(begin), self.deep, at_once, limit, budget))
        words = np.empty(count, np.uint64)
        self.made.search_words(self.handle, _at(words))
        words.sort()
        return words

    def before(self, word: int) -> tuple[int, int] | None:
        """(word, row of the table) by which a word was reached; None where the search began."""
        source = c_uint64()
        row = int(self.made.search_before(self.handle, word, byref(source)))
        return None if row < 0 else (int(source.value), row)


__all__ = ["Cell", "Closed", "Runs", "Searched", "View", "library"]
