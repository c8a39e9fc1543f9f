"""Which rows of the table can fire at all: in the proof's search, every order of everything its model knows.

A row that is missing there cannot fire without a fault (or with one fault): a campaign need not look for it. A row that is
there may still not fire on the simulator, since the search allows more than the pad can do.
"""

from __future__ import annotations

import time
from collections.abc import Iterable

import numpy as np

from sequencer.description.pad import Pad
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.campaign import Campaign
from sequencer.proof.engine import Engine, Numbers, Words
from sequencer.proof.explore import BUDGET, explore, forward
from sequencer.proof.faults import changed
from sequencer.proof.system import Row


class _Fired:
    """Notes which rows of the system are taken."""

    def __init__(self, rows: Iterable[tuple[int, Row]]) -> None:
        self.origin = {number: row.origin for number, row in rows if row.origin is not None}
        self.table: set[int] = set()

    def __call__(self, sources: Words, images: Words, numbers: Numbers) -> None:
        self.table.update(self.origin[n] for n in np.unique(numbers).tolist() if n in self.origin)


def fireable(pad: Pad, *, single_faults: bool = False, seconds: float = 60.0, budget: int = BUDGET) -> tuple[frozenset[int], frozenset[int] | None]:
    """(rows of the table that can fire with nothing wrong, the same with at most one fault; None where that was not asked
    for or took longer than `seconds`). Raises TooLarge when the pad does not fit the search."""
    draft = draft_of(pad)
    system = system_of(draft)
    explored, engine = explore(system, budget=budget, judged=False), forward(system)
    fired = _Fired(enumerate(system.rows))
    engine.images(explored.all, fired)
    plain, begun = frozenset(fired.table), time.monotonic()
    if not single_faults:
        return plain, None
    campaign, found = Campaign(draft, system, explored, engine), set(plain)
    for kind in campaign.kinds:
        delta = campaign.single(kind)
        rows = campaign.numbered(changed(draft, system, kind.edit))
        fired = _Fired([*enumerate(system.rows), *rows])
        own = Engine(system, rows)
        own.images(explored.all, fired)
        for one in (engine, own):
            one.images(delta.new, fired)
        found |= fired.table
        if not delta.finished or time.monotonic() - begun > seconds:
            return plain, None
    return plain, frozenset(found)
