"""The named machine: the table's states and rows on the `transitions` library.

The table decides bit for bit what the chip does; this machine says the same with names, calls back on
every move and draws itself. A property test drives the two in lockstep. In a run it is stepped at the
table's moves only and must come to the same place each time: a second, independent reader of the rows.

Nothing is resolved by name: conditions and callbacks are passed as functions, every state is checked
before the machine is built, and no transition exists that no row asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from sequencer.errors import SequencerError
from sequencer.table.table import MAX_SCANS, Row, Table

Callback = Callable[[str, str, Row], None]
"""(state left, state entered, the row) of one move."""


@dataclass(frozen=True)
class Step:
    """What one step did: the state after it, the codes commanded, and the row that fired (None: none)."""

    state: str
    outputs: tuple[int, ...]
    row: int | None


class _Place:
    """Where the machine stands; the library keeps its `state` attribute here."""

    state: str


class Machine:
    """The named machine of one table.

    step(bits) is one scan with the condition bits the table worked out; its own timer counts scans in the
    state as the table's does. Raises SequencerError for a table whose rows name states it does not have.
    """

    def __init__(self, table: Table, on_move: Callback | None = None) -> None:
        check(table)
        self.table = table
        self._on_move = on_move
        self._bits = self._timer = 0
        self._fired: int | None = None
        self._place = _Place()
        self._machine = self._build()

    def _build(self) -> Any:
        import transitions

        names = [state.name for state in self.table.states]
        machine = transitions.Machine(
            model=self._place, states=names, initial=names[0], transitions=[], auto_transitions=False, send_event=True,
            ignore_invalid_triggers=True,
        )  # fmt: skip
        for index, row in enumerate(self.table.rows):
            machine.add_transition(
                "scan", names[row.state], names[row.to], conditions=[self._holds(row)], before=[self._leaving(index, row)]
            )
        return machine

    def _holds(self, row: Row) -> Callable[[Any], bool]:
        def holds(event: Any) -> bool:
            return self._timer >= row.least and self._bits & row.care == row.want

        return holds

    def _leaving(self, index: int, row: Row) -> Callable[[Any], None]:
        def leaving(event: Any) -> None:
            self._fired = index
            if self._on_move is not None:
                self._on_move(event.transition.source, event.transition.dest, row)

        return leaving

    @property
    def state(self) -> str:
        """Name of the state it stands in."""
        return self._place.state

    @property
    def timer(self) -> int:
        """Scans in this state, saturating."""
        return self._timer

    def step(self, bits: int, settled: bool = True) -> Step:
        """One scan with these condition bits; before the filters have settled nothing moves and no time counts."""
        self._bits, self._fired = bits, None
        if settled:
            if self.table.rows:
                self._machine.dispatch("scan")
            self._timer = 0 if self._fired is not None else min(self._timer + 1, MAX_SCANS + 1)
        return Step(self.state, self.outputs(bits), self._fired)

    def follow(self, bits: int, timer: int) -> Step:
        """Step once at a move of the table, which had spent `timer` scans in this state."""
        self._timer = timer
        return self.step(bits)

    def restart(self, state: int = 0) -> None:
        """Back to the first state, as after a reset, or to another to go on from."""
        self._machine.set_state(self.table.states[state].name)
        self._bits = self._timer = 0

    def outputs(self, bits: int) -> tuple[int, ...]:
        """Codes commanded in the present state under these bits: the state's outputs, then the inhibits."""
        codes = list(self.table.states[self.table.state_index(self.state)].outputs)
        for inhibit in self.table.inhibits:
            if bits & inhibit.care == inhibit.want:
                codes[inhibit.output] = inhibit.position
        return tuple(codes)

    def mermaid(self) -> str:
        """The machine as Mermaid state-diagram text."""
        return mermaid(self.table)

    def dot(self) -> str:
        """The machine as Graphviz DOT text."""
        return dot(self.table)


def check(table: Table) -> None:
    """Raise SequencerError unless every state is named once and every row starts and ends in a state there is."""
    names = [state.name for state in table.states]
    twice = sorted({name for name in names if names.count(name) > 1})
    if not names or twice:
        raise SequencerError(f"states named twice: {', '.join(twice)}" if twice else "a machine needs a state")
    for number, state in enumerate(table.states):
        for row in table.rows[state.first_row : state.end_row]:
            if row.state != number or not 0 <= row.to < len(names):
                raise SequencerError(f"row '{row.origin}' of state {state.name} leads to state number {row.to}, which is not there")


def words(table: Table, row: Row) -> str:
    """A row in the file's own words: 'pressed and not stop_down, from 3 s'."""
    parts = [
        ("" if row.want >> i & 1 else "not ") + bit.name.replace("_", " ")
        for i, bit in enumerate(table.bits)
        if row.care >> i & 1
    ]
    seconds = f"{row.least * table.scan_ms / 1000:g} s"
    if not parts:
        return f"after {seconds}"
    return " and ".join(parts) + (f", from {seconds}" if row.least else "")


def arrows(table: Table) -> list[tuple[str, str, list[str]]]:
    """(from, to, the rows in words) for every pair of states that a row joins, in file order."""
    found: dict[tuple[str, str], list[str]] = {}
    for row in table.rows:
        pair = (table.states[row.state].name, table.states[row.to].name)
        label = words(table, row)
        if row.origin.startswith("trip "):
            label = f"{row.origin}: {label}"
        found.setdefault(pair, []).append(label)
    return [(origin, to, labels) for (origin, to), labels in found.items()]


def mermaid(table: Table) -> str:
    """Mermaid `stateDiagram-v2` text; several rows between two states share one arrow."""
    lines = ["stateDiagram-v2", f"    [*] --> {table.states[0].name}"]
    lines += [f"    {origin} --> {to} : {_joined(labels, '<br/>')}" for origin, to, labels in arrows(table)]
    return "\n".join(lines) + "\n"


def dot(table: Table) -> str:
    """Graphviz DOT text of the same arrows."""
    lines = ["digraph sequence {", "    rankdir=TB; node [shape=box, style=rounded]; edge [fontsize=10];"]
    lines += [f'    "{state.name}"{" [peripheries=2]" if i == 0 else ""};' for i, state in enumerate(table.states)]
    lines += [f'    "{origin}" -> "{to}" [label="{_joined(labels, chr(92) + "n")}"];' for origin, to, labels in arrows(table)]
    return "\n".join([*lines, "}"]) + "\n"


def _joined(labels: Sequence[str], between: str) -> str:
    """Labels of one arrow; more than four are counted, not shown, so that the drawing stays legible."""
    shown = [label.replace(":", " -") for label in labels[:4]]
    if len(labels) > 4:
        shown.append(f"and {len(labels) - 4} more")
    return between.join(shown)
