"""Always possible: from every reached situation a state can still be brought about, without a power blink.

The forward exploration takes more behaviour than there is, so a way found in it might be no way at all. Backwards
only rows count that can certainly be brought about: what hands do, valves that stroke, gas that leaves through an
open path, time that passes, readings on the certain side of their thresholds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from sequencer.proof import controller
from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine, Words
from sequencer.proof.system import Row, System

Mask = npt.NDArray[np.bool_]


def sure_rows(draft: Draft) -> list[Row]:
    """The rows that can certainly be brought about."""
    world = [r for r in draft.rows if not r.scan and r.sure and r.actor != "power"]
    scans = [row for place in draft.running for row in controller.scan_rows(draft, place, sure=True)]
    return world + [replace(r, unless=()) for r in scans] + [r for r in draft.rows if r.tag in ("boot",)]


def cannot(system: System, rows: list[Row], words: Words, goal: Callable[[Words], Mask]) -> Words:
    """The words of a closed sorted set from which no word of the goal can be brought about."""
    sources: list[npt.NDArray[np.int32]] = []
    targets: list[npt.NDArray[np.int32]] = []
    spent = np.uint64(~system.spent & (1 << 64) - 1)

    def note(at: Words, images: Words, _: npt.NDArray[np.intp]) -> None:
        images = images & spent
        index = np.searchsorted(words, images)
        index[index == len(words)] = 0
        here = words[index] == images
        sources.append(np.searchsorted(words, at[here]).astype(np.int32))
        targets.append(index[here].astype(np.int32))

    engine = Engine(system, [(i, r) for i, r in enumerate(rows) if not r.idle])
    engine.judged[:] = True
    engine.images(words, note)
    good = goal(words)
    source = np.concatenate(sources) if sources else np.empty(0, np.int32)
    target = np.concatenate(targets) if targets else np.empty(0, np.int32)
    while True:
        open_ = ~good[source]
        source, target = source[open_], target[open_]
        hit = source[good[target]]
        if not len(hit):
            return words[~good]
        good[hit] = True


def in_state(system: System, state: int) -> Callable[[Words], Mask]:
    """Goal: the box stands in a state."""
    places = np.array([p.kind == "run" and p.state == state for p in system.places])
    table = np.zeros(1 << (64 - system.layout.shift), np.bool_)
    table[: len(places)] = places
    shift = np.uint64(system.layout.shift)
    return lambda words: table[words >> shift]


def without(mask: int) -> Callable[[Words], Mask]:
    """Goal: none of these bits is set."""
    return lambda words: (words & np.uint64(mask)) == 0
