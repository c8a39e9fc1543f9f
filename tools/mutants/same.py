"""Why a mutant is the same pad, where that can be shown: two tables with the same bits in which, from every state and
whatever the bits say together, the same state follows and the same outputs are written.

Shown by the meanings of the conditions (what cannot be true in one scan), never by trying; '' means: not shown.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sequencer.description import Pad
from sequencer.description import terms as t
from sequencer.description.reading.logic import MOST, clash, meaning
from sequencer.table import Table
from sequencer.table.table import InhibitSpec, Row, StateSpec

Way = tuple[tuple[str, bool], ...]


def bare(table: Table) -> Table:
    """A table without its wording."""
    return replace(
        table, title="", revision=0, roundings=(), rows=tuple(replace(row, origin="", path=()) for row in table.rows),
        inhibits=tuple(replace(one, name="") for one in table.inhibits),
    )  # fmt: skip


def _frame(table: Table) -> Table:
    """What is compared letter by letter: all but rows and inhibits."""
    states = tuple(replace(one, first_row=0, end_row=0) for one in table.states)
    return replace(bare(table), rows=(), inhibits=(), states=states)


def states(table: Table) -> list[tuple[object, ...]]:
    """Per state, all that happens in it."""
    rows = bare(table).rows
    return [(one.outputs, one.targets, rows[one.first_row : one.end_row]) for one in table.states]


def alike(old: Table, new: Table) -> bool:
    """Whether only rows, outputs and targets of single states differ."""
    def rest(table: Table) -> Table:
        return replace(bare(table), rows=(), states=())

    return rest(old) == rest(new) and len(old.states) == len(new.states)


def same(pad: Pad, old: Table, new: Table) -> str:
    """The reason in words; '' where it is not shown."""
    if bare(old) == bare(new):
        return "the compiled table is the same"
    if _frame(old) != _frame(new):
        return ""
    for number, (one, two) in enumerate(zip(old.states, new.states, strict=True)):
        for least in sorted({0, *(row.least for row in _rows(old, one) + _rows(new, two))}):
            before, after = (
                [row for row in _rows(table, state) if row.least <= least] for table, state in ((old, one), (new, two))
            )
            if not _same_moves(pad, old, one.name, before, after) or not _same_outputs(pad, old, new, number, before):
                return ""
    if _boot(old) != _boot(new):
        return ""
    return "the same state follows and the same outputs are written whatever the bits say: what tells the two apart cannot hold in one scan"


def _rows(table: Table, state: StateSpec) -> list[Row]:
    return list(table.rows[state.first_row : state.end_row])


def _way(table: Table, care: int, want: int) -> Way:
    return tuple((bit.name, bool(want >> i & 1)) for i, bit in enumerate(table.bits) if care >> i & 1)


def _ends(table: Table, rows: list[Row]) -> Iterator[tuple[int | None, Way, list[Way]]]:
    """(state that follows, what holds, what does not) of every way through the rows, the last: nothing fires."""
    never: list[Way] = []
    for row in rows:
        way = _way(table, row.care, row.want)
        yield row.to, way, list(never)
        if not way:
            return
        never.append(way)
    yield None, (), never


def _same_moves(pad: Pad, table: Table, state: str, before: list[Row], after: list[Row]) -> bool:
    theirs = list(_ends(table, after))
    for to, way, never in _ends(table, before):
        for other, their_way, their_never in theirs:
            if to != other and not impossible(pad, state, (*way, *their_way), [*never, *their_never]):
                return False
    return True


def _writes(inhibits: list[InhibitSpec], own: int, table: Table) -> Iterator[tuple[int, Way, list[Way]]]:
    """(position, what holds, what does not): later inhibits win."""
    never: list[Way] = []
    for one in reversed(inhibits):
        way = _way(table, one.care, one.want)
        yield one.position, way, list(never)
        never.append(way)
    yield own, (), never


def _same_outputs(pad: Pad, old: Table, new: Table, state: int, rows: list[Row]) -> bool:
    if [replace(i, name="") for i in old.inhibits] == [replace(i, name="") for i in new.inhibits]:
        return True
    for output in range(len(old.outputs)):
        mine, theirs = ([i for i in table.inhibits if i.output == output] for table in (old, new))
        if [replace(i, name="") for i in mine] == [replace(i, name="") for i in theirs]:
            continue
        for to, way, never in _ends(old, rows):
            own = old.states[state if to is None else to].outputs[output]
            for position, held, not_held in _writes(mine, own, old):
                for other, their_held, their_not in _writes(theirs, own, new):
                    if position != other and not impossible(pad, old.states[state].name, (*way, *held, *their_held), [*never, *not_held, *their_not]):
                        return False
    return True


def _boot(table: Table) -> tuple[int, ...]:
    """What is written before the filters have settled: the first state, all bits false."""
    codes = list(table.states[0].outputs)
    for one in table.inhibits:
        if one.want == 0:
            codes[one.output] = one.position
    return tuple(codes)


def impossible(pad: Pad, state: str, way: Way, never: list[Way]) -> bool:
    """Whether these literals can never hold in one scan of a state while none of `never` does.

    Leaving out a `never` only makes it harder to show, so those that say nothing here and the longest are left out
    until the alternatives are few enough to be looked at.
    """
    holds: dict[str, bool] = {}
    for name, value in way:
        if holds.setdefault(name, value) != value:
            return True
    left = []
    for one in dict.fromkeys(never):
        if any(holds.get(name, value) != value for name, value in one):
            continue  # it does not hold anyway
        rest = tuple(pair for pair in one if pair[0] not in holds)
        if not rest:
            return True
        left.append(rest)
    left.sort(key=len)
    literals = tuple(holds.items())
    ways = t.ways(t.And(tuple(meaning(pad, name, value) for name, value in literals)))
    kept: list[Way] = []
    for rest in left:
        ways *= t.ways(t.Or(tuple(meaning(pad, name, not value) for name, value in rest)))
        if ways > MOST:
            break
        kept.append(rest)
    return bool(clash(pad, state, literals, kept))


__all__ = ["alike", "bare", "impossible", "same", "states"]
