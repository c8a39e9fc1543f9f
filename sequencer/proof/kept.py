"""Delays that are certainly over while the box stands in a state.

Where every way into a state asks for a condition that has held for a time, and the state is left in the very scan in
which what the condition rests on is lost, then it still holds whenever a later row of that state is looked at: no
delay of it has begun anew. `rest` that is entered only when empty for a minute and left at the first gas is empty.
"""

from __future__ import annotations

from sequencer.proof.draft import Draft
from sequencer.table import Kind, Table
from sequencer.table.table import Row


def kept(draft: Draft, state: int) -> int:
    """Mask of the conditions with an on-delay that are true in this state as long as what they rest on is."""
    known = draft.found.get("kept")
    if known is None or known[0] is not draft.table:
        known = draft.found["kept"] = (draft.table, masks(draft.table))
    return known[1][state]


def masks(table: Table) -> list[int]:
    """The same for every state of a table."""
    result = [0] * len(table.states)
    for i, bit in enumerate(table.bits):
        if bit.kind == Kind.ALL and bit.hold and not bit.drop:
            for state in _states(table, i):
                result[state] |= 1 << i
    return result


def at_row(table: Table, row: Row) -> int:
    """Mask of the kept conditions that certainly hold whenever this row is taken, whether it asks for them or not."""
    mask = masks(table)[row.state]
    return sum(1 << i for i in range(len(table.bits)) if mask >> i & 1 and _leaves(table, i, row.state, row))


def _states(table: Table, i: int) -> set[int]:
    """The largest set of states in which bit `i` is kept. The first state is entered by power-up and never in it."""
    inside = {s for s in range(1, len(table.states)) if _leaves(table, i, s, None)}
    while True:
        lost = {s for s in inside for r in table.rows if r.to == s and not _entry(table, i, r, inside)}
        if not lost:
            return inside
        inside -= lost


def _entry(table: Table, i: int, row: Row, inside: set[int]) -> bool:
    """Whether bit `i` certainly holds when this row is taken."""
    return bool(row.want >> i & 1) or (row.state in inside and _leaves(table, i, row.state, row))


def _leaves(table: Table, i: int, state: int, before: Row | None) -> bool:
    """Whether the state is left in the scan in which what bit `i` rests on is not so: by one row (ahead of `before`)
    for each thing that it rests on, or by one for all of them."""
    bit, lost = table.bits[i], 0
    for row in table.rows:
        if row is before:
            break
        if row.state != state:
            continue
        if row.to == state:
            return False
        if row.least == 0 and row.care and not row.care & (row.care - 1):
            lost |= row.care & ~row.want
    return not bit.set.invert and bit.set.care == bit.set.want and not bit.set.care & ~lost


__all__ = ["at_row", "kept", "masks"]
