"""Why a move fired, in the file's own words."""

from __future__ import annotations

from sequencer.description.pad import Pad
from sequencer.table import Move, Table


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
