"""Which switches and sayings of the box some rule judges on a scan: only there they need to be told apart.

A hand moves its switch at will, and what the box says is forgotten after the scan: where no rule asks, a scan needs no
row for either value. Without this every named switch would double the scans of every place.
"""

from __future__ import annotations

from sequencer.proof import interlocks
from sequencer.proof.bits import Reading
from sequencer.proof.branches import Branches
from sequencer.proof.draft import Draft
from sequencer.proof.system import Bad


def asked(draft: Draft, place: int, state: int | None) -> int:
    """Mask of the bits that rules judge on a scan from this place that goes to `state` (None: the box stays)."""
    known: dict[tuple[int, int | None], int] = draft.found.setdefault("asked", {})
    if (place, state) not in known:
        ends = {p for p in (place, place + 1) if p in draft.regions(draft.places[place].state)} if state is None else {draft.place(state)}
        care = 0
        for bad in _bads(draft):
            if bad.places & ends and (bad.starts is None or any(place in places for places, _ in bad.sources)):
                care |= bad.cube.care
        known[place, state] = care
    return known[place, state]


def _bads(draft: Draft) -> list[Bad]:
    if "bads" not in draft.found:
        draft.found["bads"] = [bad for check in interlocks.checks(draft) for bad in check.bad if bad.after_scan]
    return draft.found["bads"]  # type: ignore[no-any-return]  # kept there by this function


def only(draft: Draft, reading: Reading, branches: Branches, later: int, rules: int) -> Branches:
    """The branches without the choices and switches that neither a later condition (`later`, a mask of conditions) nor a
    rule (`rules`, a mask of the word) asks for, each once."""
    live = reading.live(later)
    known: dict[tuple[int, int], int] = draft.found.setdefault("hands", {})
    if (live, rules) not in known:
        first = len(draft.table.bits)
        names = [c.name for i, c in enumerate(draft.table.contacts) if not live >> first + i & 1]
        known[live, rules] = draft.layout.mask(draft.by_hand[n] for n in names if n in draft.by_hand) & ~rules
    gone = known[live, rules]
    if reading.loose:
        return reading.choices.only(branches, live, gone)
    # many mutants of a table (see `why`) share most of their ways through it
    same: dict[tuple[int, int, bytes], Branches] = draft.found.setdefault("only", {})
    key = (live, gone, branches.tobytes())
    if key not in same:
        same[key] = reading.choices.only(branches, live, gone)
    return same[key]
