"""What the box believes and what it waits for, in the file's words: all that a crew can know from it.

Nothing here asks the true world: readings come from the counts of the last sample, states from the table.
"""

from __future__ import annotations

from dataclasses import dataclass

from sequencer.crew.words import bar, kgf, lit
from sequencer.description.box import AnalogInput
from sequencer.description.pad import Pad
from sequencer.quantities import SI, show
from sequencer.simulation.session import Session
from sequencer.table.compile import calibration
from sequencer.table.scan import Inputs
from sequencer.table.table import Kind, Row, Table


@dataclass(frozen=True)
class Exit:
    """One way out of the present state. `missing`: literals that do not hold, in words; `in_seconds`: least time left."""

    to: str
    missing: tuple[str, ...]
    in_seconds: float


@dataclass(frozen=True)
class Belief:
    """A still of the box. `state` is '' while it is off or boots; `readings` are (name, text)."""

    state: str
    says: str
    people: str
    lamps: str
    seconds: float
    readings: tuple[tuple[str, str], ...]
    exits: tuple[Exit, ...]


def belief(session: Session, inputs: Inputs | None) -> Belief:
    """What the box shows now; `inputs` is its last sample."""
    pad, box = session.pad, session.box
    if box.state < 0:
        return Belief("", f"The box is {box.phase}. Treat every vessel as full.", "keep out", "all dark", 0.0, (), ())
    state = pad.states[box.state_name]
    seconds = (session.ms - box.since_ms) / 1000
    return Belief(
        box.state_name, state.says, state.people, lit(pad, box.state_name), seconds, readings(pad, session.table, inputs),
        exits(session.table, pad, box.state, box.bits, round(seconds * 1000 / session.table.scan_ms)),
    )  # fmt: skip


def readings(pad: Pad, table: Table, inputs: Inputs | None) -> tuple[tuple[str, str], ...]:
    """Every analog input as the box reads it; outside its valid band it has no value."""
    if inputs is None:
        return ()
    shown = []
    for spec, counts in zip(table.analogs, inputs.counts, strict=True):
        if not spec.low <= counts <= spec.high:
            shown.append((spec.name, "INVALID"))
            continue
        slope, zero = calibration(pad, spec.name)
        shown.append((spec.name, _value(pad, spec.name, slope * counts + zero)))
    return tuple(shown)


def _value(pad: Pad, name: str, si: float) -> str:
    part = pad.inputs[name]
    assert isinstance(part, AnalogInput)
    quantity = next(iter(part.points.values()))
    if quantity.kind == "pressure":
        return bar(si)
    if quantity.kind == "force":
        return kgf(si)
    return show(si, quantity.unit) if quantity.unit else f"{si:.3g} {SI[quantity.kind]}"


def exits(table: Table, pad: Pad, state: int, bits: int, spent: int) -> tuple[Exit, ...]:
    """Every way out of a state that is no trip, in order, with what it still lacks."""
    spec = table.states[state]
    found = []
    for row in table.rows[spec.first_row : spec.end_row]:
        if not row.origin.startswith("trip "):
            left = max(0, row.least - spent) * table.scan_ms / 1000
            found.append(Exit(table.states[row.to].name, missing(table, pad, row, bits), left))
    return tuple(found)


def missing(table: Table, pad: Pad, row: Row, bits: int, but: Kind | None = None) -> tuple[str, ...]:
    """The literals of a row that do not hold, as words; those of kind `but` left out."""
    words = []
    for index, bit in enumerate(table.bits):
        care, want = row.care >> index & 1, row.want >> index & 1
        if care and (bits >> index & 1) != want and bit.kind != but:
            words.append(wording(pad, bit.name, bool(want)))
    return tuple(words)


def wording(pad: Pad, name: str, wanted: bool) -> str:
    """A literal as the file writes its condition, 'not' before it where the opposite is wanted."""
    condition = pad.conditions.get(name)
    text = condition.text if condition is not None else name
    return text if wanted else f"not ({text})"


def listens(table: Table, state: int, input: str) -> list[Row]:
    """Rows of a state that a press of this contact can fire."""
    index = [contact.name for contact in table.contacts].index(input)
    presses = {i for i, bit in enumerate(table.bits) if bit.kind == Kind.PRESS and bit.source == index}
    spec = table.states[state]
    rows = table.rows[spec.first_row : spec.end_row]
    return [row for row in rows if any(row.care >> i & row.want >> i & 1 for i in presses)]
