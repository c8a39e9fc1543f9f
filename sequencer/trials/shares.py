"""What share of states, rows, timeouts and faults a campaign visited; of the rows also beside those that can fire at all."""

from __future__ import annotations

from dataclasses import dataclass

from sequencer.description.pad import Pad
from sequencer.table import Table
from sequencer.trials.menu import Menu
from sequencer.trials.probe import Key

NOTHING_WRONG = "rows, all sound"
"""Rows that fired with nothing wrong, of those that the proof's search lets fire so."""
MOST_SITUATIONS = 4_000_000
"""Of that search: beyond, the share is not told."""


@dataclass(frozen=True)
class Share:
    """How much of one kind of thing was visited."""

    visited: int
    of: int
    missing: tuple[str, ...]


def can_fire(pad: Pad) -> frozenset[int] | None:
    """Rows that can fire with nothing wrong, by the proof's search; None where it would take too long to know."""
    from sequencer.proof.words import TooLarge
    from sequencer.trials.fireable import fireable

    try:
        return fireable(pad, budget=MOST_SITUATIONS)[0]
    except TooLarge:
        return None


def row_names(table: Table) -> dict[int, str]:
    """Each row of a table in words."""
    return {i: f"{table.states[row.state].name}: {row.origin} -> {table.states[row.to].name}" for i, row in enumerate(table.rows)}


def shares(table: Table, menu: Menu, known: set[Key], can: frozenset[int] | None = None) -> dict[str, Share]:
    """What share of states, rows, timeouts, faults and pairs of them the keys hold. can: rows that can fire with nothing
    wrong; they are counted by themselves then."""
    rows = {k[0] for k in known if k[1] == "row"}
    sound = {k[0] for k in known if k[1] == "row" and not k[2]}
    states = {k[0] for k in known if isinstance(k[1], tuple) and k[0] != -1}
    pairs = {(k[0], k[2]) for k in known if isinstance(k[1], tuple) and k[2] and k[0] != -1}
    struck = {fault for _, fault in pairs}
    timeouts = [i for i, row in enumerate(table.rows) if row.care == 0 and row.least > 0]

    def share(there: list[tuple[object, str]], visited: set[object]) -> Share:
        missing = tuple(name for key, name in there if key not in visited)
        return Share(len(there) - len(missing), len(there), missing)

    names = row_names(table)
    return {
        "states": share([(i, s.name) for i, s in enumerate(table.states)], set(states)),
        "rows": share([(i, names[i]) for i in range(len(table.rows))], set(rows)),
        **({} if can is None else {NOTHING_WRONG: share([(i, names[i]) for i in sorted(can)], set(sound))}),
        "timeouts": share([(i, names[i]) for i in timeouts], set(rows)),
        "faults": share([(f.name, f.name) for f in menu.faults], set(struck)),
        "faults in states": share(
            [((i, f.name), f"{f.name} in {s.name}") for f in menu.faults for i, s in enumerate(table.states)], set(pairs)
        ),
    }  # fmt: skip
