"""Why a move fired, in the file's own words."""

from __future__ import annotations

from sequencer.description.pad import Pad
from sequencer.table import Kind, Move, Table


def why(pad: Pad, table: Table, move: Move) -> tuple[str, ...]:
    """The row's reason, the conditions that held (each with its own sentence), the least time if it has one."""
    row = table.rows[move.row]
    told = []
    said = _says(pad, row.path)
    if row.origin.startswith("trip "):
        told.append(f"{row.origin}: {said}" if said else row.origin)
    elif said:
        told.append(said)
    for index, bit in enumerate(table.bits):
        if row.care >> index & 1:
            held = row.want >> index & 1
            sentence = pad.conditions[bit.name].text if bit.name in pad.conditions else ""
            told.append(f"{'' if held else 'not '}{bit.name}" + (f" ({sentence})" if sentence else ""))
    if row.least:
        seconds = row.least * table.scan_ms / 1000
        told.append(f"{seconds:g} s in {table.states[row.state].name} {'are over' if row.care == 0 else 'were reached'}")
    return tuple(told)


def _says(pad: Pad, path: tuple[str | int, ...]) -> str:
    if len(path) == 2 and path[0] == "trips":
        return pad.trips[str(path[1])].says or ""
    if len(path) == 4 and path[0] == "states":
        return pad.states[str(path[1])].leave[int(path[3])].says or ""
    return ""


def presses(table: Table) -> int:
    """Mask of the bits that are presses."""
    return sum(1 << i for i, bit in enumerate(table.bits) if bit.kind == Kind.PRESS)


def missing_for(table: Table, state: int, pressed: int, bits: int, spent: int) -> tuple[str, ...]:
    """What the rows of `state` that wait for one of the presses `pressed` still lacked; () if no row waits for them."""
    told = []
    spec = table.states[state]
    for row in table.rows[spec.first_row : spec.end_row]:
        if not row.care & row.want & pressed:
            continue
        wrong = (bits ^ row.want) & row.care
        lacks = [
            ("" if row.want >> i & 1 else "not ") + bit.name for i, bit in enumerate(table.bits) if wrong >> i & 1
        ]
        if spent < row.least:
            lacks.append(f"{row.least * table.scan_ms / 1000:g} s in {spec.name}")
        told.append(f"for {table.states[row.to].name} it lacks {', '.join(lacks)}")
    return tuple(told)


def behind(table: Table, care: int) -> frozenset[str]:
    """Names of the inputs whose readings the bits of a mask are made from."""
    found: set[str] = set()
    open_, seen = care, 0
    while open_ & ~seen:
        index = (open_ & ~seen).bit_length() - 1
        seen |= 1 << index
        bit = table.bits[index]
        if bit.kind in (Kind.CONTACT, Kind.PRESS):
            found.add(table.contacts[bit.source].name)
        elif bit.kind == Kind.HEARD:
            found.add(table.heartbeats[bit.source])
        elif bit.kind not in (Kind.STATE, Kind.COMMAND, Kind.ALL, Kind.MEMORY):
            found.add(table.analogs[bit.source].name)
        if bit.kind == Kind.DIFFERS:
            found.add(table.analogs[bit.second].name)
        open_ |= bit.set.care | bit.clear.care | (1 << bit.second if bit.kind == Kind.CHANGE else 0)
    return frozenset(found)
