"""Rows of the whole system laid out for the kernel: exploring it in layers, and finding what leads to a goal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from ctypes import CDLL

import numpy as np

from sequencer.proof import kernel
from sequencer.proof.engine import Flags, Words, masks
from sequencer.proof.system import Bad, Row, System
from sequencer.proof.words import ALL


def explored(made: CDLL, system: System, starts: Words) -> Iterator[tuple[Words, int]]:
    """(the next layer, rows taken so far), from the starts on, until a layer is empty."""
    view = view_of(system, [r for r in system.rows if r.forward and not r.idle])
    closed, cell = kernel.Closed(made, view, NO_PARTS), kernel.Cell(1)
    layer = closed.begin(cell, starts)
    while len(layer):
        yield layer, closed.taken
        layer = closed.step(cell, len(layer))
    yield layer, closed.taken


def broken(made: CDLL, system: System, words: Words) -> bool:
    """Whether the image of some judged row, of some reached word, breaks some rule about the box."""
    bads = [bad for rule in system.rules for bad in rule.bad if bad.after_scan]
    rows = [r for r in system.rows if r.forward and (r.scan or r.tag in ("settle", "boot"))]
    closed = kernel.Closed(made, view_of(system, []), NO_PARTS)
    closed.put(words)
    return bool(closed.hits(view_of(system, rows, bads), len(bads)).any())


def ways(made: CDLL, system: System, rows: Iterable[Row], words: Words, goal: Flags) -> Flags:
    """From which of some words a word of the goal can be brought about by these rows without leaving the words."""
    closed = kernel.Closed(made, view_of(system, [r for r in rows if not r.idle]), NO_PARTS)
    closed.put(words)
    return np.asarray(closed.far(words[goal]) >= 0, np.bool_)


NO_PARTS = np.zeros(2, np.int64), np.zeros(0, np.int64)


def view_of(system: System, rows: list[Row], bads: list[Bad] | None = None) -> kernel.View:
    """The rows by place. bads: judged on their images as the rows leave them; without, what a scan says for the rules alone
    is forgotten."""
    spent, free, places = 0 if bads else system.spent, system.free, len(system.places)
    entries = [(place, number) for number, row in enumerate(rows) for place in row.at]
    entries.sort()
    place, number = np.array(entries, np.int64).reshape(-1, 2).T
    lines = np.array([[m & ALL for m in masks(system, r)] for r in rows], np.uint64).reshape(-1, 4).T
    care, want, keep, put = (line[number] for line in lines)
    unless = [tuple((c.care, c.want) for c, _ in r.unless) for r in rows]
    groups = list(dict.fromkeys([(), *unless]))
    most = max(map(len, groups))
    held = np.array([[*g, *[(0, 1)] * (most - len(g))] for g in groups], np.uint64).reshape(len(groups), most, 2)
    group = np.array([groups.index(u) for u in unless], np.int64)
    count = np.bincount(place, minlength=places)
    ok, oks = np.zeros(len(entries), np.int64), np.zeros((1, len(bads or ())), np.bool_)
    if bads and entries:
        every = np.array([[_ok(bad, rows[n], p, free) for bad in bads] for p, n in entries], np.bool_)
        kinds, which = np.unique(every, axis=0, return_inverse=True)
        ok, oks = which.reshape(-1) + 1, np.concatenate([oks, kinds])
    return kernel.View(
        {
            "care": care, "want": want, "keep": keep & np.uint64(~spent & ALL), "put": put & np.uint64(~spent & ALL),
            "need": np.zeros(len(entries), np.int64), "ok": ok, "held": group[number],
            "first": np.cumsum(count) - count, "count": count, "held_care": held[:, :, 0], "held_want": held[:, :, 1],
            "enough": np.ones((1, 1), np.bool_), "oks": oks,
        },
        [_scan(bad, free) for bad in bads or ()], [], places, system.layout.shift, system.layout.shift,
    )  # fmt: skip


def _scan(bad: Bad, free: int) -> kernel.Scan:
    origins = [(sorted(places), c.care, c.want) for places, c in bad.sources]
    return bad.cube.care & ~free, bad.cube.want & ~free & bad.cube.care, bad.starts is not None, origins


def _ok(bad: Bad, row: Row, place: int, free: int) -> bool:
    """Whether a rule is judged on the image of a row from a place; what the word does not keep is seen in the guard."""
    apart = (row.guard.want ^ bad.cube.want) & row.guard.care & bad.cube.care & free
    return not apart and (place if row.to is None else row.to) in bad.places and not (row.lazy and bad.starts is None)
