"""The table as CSV and JSON that a person can follow line by line, and as causes and effects."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

from sequencer.description import Pad
from sequencer.firmware.words import bit_words, list_words, time_words
from sequencer.table import Table
from sequencer.table.image import CHECKSUM_NAME, encode, identity
from sequencer.table.records import is_trip
from sequencer.table.table import NO_TARGET, StateSpec


def csv_text(rows: Iterable[Iterable[object]]) -> str:
    """Plain CSV (RFC 4180) with line feeds, the same bytes everywhere."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def positions(table: Table, state: StateSpec) -> dict[str, str]:
    """{output: its position in the state}, inhibits apart."""
    return {o.name: o.positions[c] for o, c in zip(table.outputs, state.outputs, strict=True)}


def rows_csv(pad: Pad, table: Table) -> str:
    """Every row in the order the controller looks at them, then what its next state puts out."""
    head = ["row", "state", "why", "conditions", "not before", "next", *(f"then {o.name}" for o in table.outputs), "line"]
    lines: list[Sequence[object]] = [head]
    for number, row in enumerate(table.rows):
        then = table.states[row.to]
        lines.append([
            number, table.states[row.state].name, row.origin, list_words(table, row.care, row.want),
            time_words(table, row.least) if row.least else "", then.name, *positions(table, then).values(),
            pad.place(*row.path).line or "",
        ])  # fmt: skip
    return csv_text(lines)


def states_csv(pad: Pad, table: Table) -> str:
    """Every state: what it means, who may be near, every output's position, targets in counts."""
    targets = [i for i in range(len(table.analogs)) if any(s.targets[i] != NO_TARGET for s in table.states)]
    head = ["number", "state", "people", *(o.name for o in table.outputs)]
    head += [f"target of {table.analogs[i].name} in counts" for i in targets] + ["says"]
    lines: list[Sequence[object]] = [head]
    for number, state in enumerate(table.states):
        told = pad.states[state.name]
        counts = ["" if state.targets[i] == NO_TARGET else state.targets[i] for i in targets]
        lines.append([number, state.name, told.people, *positions(table, state).values(), *counts, told.says])
    return csv_text(lines)


def conditions_csv(pad: Pad, table: Table) -> str:
    """Every condition bit: as the file says it, and as the controller works it out."""
    lines: list[Sequence[object]] = [["bit", "condition", "as written", "in counts and scans", "line"]]
    for i, bit in enumerate(table.bits):
        written = "" if bit.hidden else pad.conditions[bit.name].text
        line = "" if bit.hidden else pad.place("conditions", bit.name).line
        lines.append([i, bit.name, written, bit_words(table, bit), line])
    return csv_text(lines)


def causes_csv(table: Table) -> str:
    """Causes down, effects across (IEC 62881's view): trips by what they bring about, then inhibits."""
    head = ["cause", "looked at in", "after", "state", *(o.name for o in table.outputs)]
    lines: list[Sequence[object]] = [head]
    trips: dict[tuple[str, int, int, int, int], list[str]] = {}
    for row in table.rows:
        if is_trip(row):
            key = (row.origin, row.care, row.want, row.least, row.to)
            trips.setdefault(key, []).append(table.states[row.state].name)
    for (origin, care, want, least, to), states in trips.items():
        after = time_words(table, least) if least else "at once"
        then = table.states[to]
        cause = f"{origin}: {list_words(table, care, want)}"
        lines.append([cause, " ".join(states), after, then.name, *positions(table, then).values()])
    for item in table.inhibits:
        effects = ["" for _ in table.outputs]
        effects[item.output] = f"stays {table.outputs[item.output].positions[item.position]}"
        lines.append([f"inhibit: {list_words(table, item.care, item.want)}", "every state", "at once", "", *effects])
    return csv_text(lines)


def plain(pad: Pad, table: Table) -> dict[str, Any]:
    """The whole table in plain data, names and words included, with the image in hexadecimal."""
    image = encode(table)
    return {
        "title": table.title, "revision": table.revision, "scan_ms": table.scan_ms,
        "checksum": f"{identity(image):08X}", "checksum_kind": CHECKSUM_NAME,
        "inputs": {
            "contacts": [{"name": c.name, "steady_scans": c.steady} for c in table.contacts],
            "readings": [{"name": a.name, "valid_counts": [a.low, a.high]} for a in table.analogs],
            "links": list(table.heartbeats),
        },
        "outputs": [
            {"name": o.name, "positions": list(o.positions), "rest": "stays" if o.rest is None else o.positions[o.rest]}
            for o in table.outputs
        ],
        "conditions": [
            {"bit": i, "name": b.name, "written": "" if b.hidden else pad.conditions[b.name].text, "means": bit_words(table, b)}
            for i, b in enumerate(table.bits)
        ],
        "states": [
            {
                "name": s.name, "says": pad.states[s.name].says, "people": pad.states[s.name].people,
                "outputs": positions(table, s),
                "rows": [
                    {
                        "row": n, "why": row.origin, "conditions": list_words(table, row.care, row.want),
                        "not_before_scans": row.least, "next": table.states[row.to].name,
                        "line": pad.place(*row.path).line,
                    }
                    for n, row in enumerate(table.rows) if s.first_row <= n < s.end_row
                ],
            }
            for s in table.states
        ],
        "inhibits": [
            {"name": i.name, "conditions": list_words(table, i.care, i.want)} for i in table.inhibits
        ],
        "image": image.hex(),
    }  # fmt: skip
