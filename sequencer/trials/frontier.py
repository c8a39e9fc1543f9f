"""What a campaign has visited and what lies open beside the paths its plans took."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from sequencer.description.faults import Fault
from sequencer.table import Table
from sequencer.table.table import Literals
from sequencer.trials.plan import Plan
from sequencer.trials.probe import Key


@dataclass(frozen=True)
class Parent:
    """A plan worth changing, with what came of it."""

    plan: Plan
    moves: tuple[tuple[int, str], ...] = ()
    ended_ms: int = 60_000
    wrong: int = 0

    @property
    def stays(self) -> list[tuple[int, str, int, bool]]:
        """(entered, state, how long, whether it is the first visit) of each stay."""
        if not self.moves:  # the box never ran
            return []
        ends = [ms for ms, _ in self.moves[1:]] + [max(self.ended_ms, self.moves[-1][0])]
        seen: set[str] = set()
        found = []
        for (ms, state), end in zip(self.moves, ends, strict=True):
            found.append((ms, state, end - ms, state not in seen))
            seen.add(state)
        return found


@dataclass
class Frontier:
    """What a campaign has visited, and how often it aimed at what it has not. rows: those that fired with nothing wrong,
    fired: those that fired at all. bits: (state, bit, value) seen."""

    table: Table
    faults: tuple[Fault, ...]
    rows: set[int] = field(default_factory=set)
    fired: set[int] = field(default_factory=set)
    bits: set[tuple[str, int, int]] = field(default_factory=set)
    struck: set[str] = field(default_factory=set)
    pairs: set[tuple[str, str]] = field(default_factory=set)
    levels: set[tuple[str, int, int]] = field(default_factory=set)
    tries: Counter[int] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.names = [state.name for state in self.table.states]
        self.index = {name: i for i, name in enumerate(self.names)}

    def learn(self, keys: Iterable[Key]) -> None:
        one: Any
        for one in keys:
            if one[1] == "row":
                self.fired.add(one[0])
                self.rows.update(() if one[2] else (one[0],))
            elif one[1] == "bit":
                self.bits.add((self.names[one[0]], *one[2]))
            elif one[1] == "level":
                self.levels.add((self.names[one[0]], *one[2]))
            elif one[2] and one[0] != -1:
                self.pairs.add((self.names[one[0]], one[2]))
                self.struck.add(one[2])

    def open_rows(self, state: str) -> list[int]:
        """Rows of a state that never fired."""
        spec = self.table.states[self.index[state]]
        return [row for row in range(spec.first_row, spec.end_row) if row not in self.rows]

    def hope(self, row: int) -> float:
        """How much a row is worth aiming at: one that never fired most, one aimed at in vain ever less."""
        return (0.0 if row in self.rows else 1.0 if row in self.fired else 4.0) / (1 + self.tries[row])

    def hopes(self, state: str) -> float:
        """The same of all rows of a state."""
        spec = self.table.states[self.index[state]]
        return sum(self.hope(row) for row in range(spec.first_row, spec.end_row))

    def stands(self, state: str) -> Literals:
        """The bits that have only ever had one value in a state."""
        care = want = 0
        for i in range(len(self.table.bits)):
            low, high = (state, i, 0) in self.bits, (state, i, 1) in self.bits
            if low != high:
                care |= 1 << i
                want |= high << i
        return Literals(care, want)

    def open_levels(self, state: str) -> list[tuple[int, int]]:
        """(contact, level) that were never together with a state."""
        return [(i, level) for i in range(len(self.table.contacts)) for level in (0, 1) if (state, i, level) not in self.levels]

    def open_faults(self, state: str) -> list[Fault]:
        """Faults that were never there in a state."""
        return [fault for fault in self.faults if (state, fault.name) not in self.pairs]
