"""Lockstep: the Python scan and an implementation of the exported table, operation by operation, byte by byte."""

from __future__ import annotations

import multiprocessing
import os
import struct
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from sequencer.firmware.coverage import plan
from sequencer.firmware.reference import PLACE, RESET, Operation, Reference, Sizes
from sequencer.firmware.stimulus import Stimulus
from sequencer.firmware.words import row_words
from sequencer.table import Table

Target = Callable[[bytes, int], bytes]
"""Runs a batch of packed operations, the first a reset, and returns their trace records."""

BATCH = 20_000  # scans from one reset to the next


@dataclass(frozen=True)
class Agreement:
    """How far an implementation agreed with the Python scan. `difference` is empty, or tells the first one."""

    target: str
    scans: int
    plain_scans: int  # of them against scan.py itself rather than its specialised equal
    rows_fired: int
    rows: int
    difference: str = ""
    never: int = 0  # rows shown to be unable to fire; found where the directed operations were run

    @property
    def agrees(self) -> bool:
        return not self.difference and self.scans > 0


def lockstep(table: Table, name: str, target: Target, scans: int, seed: int = 0, plain_share: float = 0.02) -> Agreement:
    """Compare until `scans` scans agreed or one differed."""
    fired, difference = _campaign(table, target, scans, seed, plain_share)
    done, plain, rows = fired
    return Agreement(name, done, plain, len(rows), len(table.rows), difference)


def _campaign(
    table: Table, target: Target, scans: int, seed: int, plain_share: float
) -> tuple[tuple[int, int, set[int]], str]:
    rows: set[int] = set()
    done = plain = batch = 0
    sizes = Sizes.of(table)
    while done < scans:
        is_plain = plain < plain_share * (done + 1)
        reference = Reference(table, is_plain, rows)
        stimulus = Stimulus(table, seed * 1_000_003 + batch, lambda r=reference: r.state, rows)  # type: ignore[misc]  # the default binds the loop's value
        size = min(BATCH // 10 if is_plain else BATCH, scans - done)
        given, wanted = reference.run(stimulus, size)
        got = target(given, len(given) // sizes.operation)
        if got != wanted:
            return (done, plain, rows), difference(table, given, wanted, got)
        done += reference.scans
        plain += reference.scans if is_plain else 0
        batch += 1
    return (done, plain, rows), ""


def _part(work: tuple[Table, Callable[[], Target], int, int, float]) -> tuple[tuple[int, int, set[int]], str]:
    table, make, scans, seed, plain_share = work
    return _campaign(table, make(), scans, seed, plain_share)


def lockstep_in_parts(
    table: Table, name: str, make: Callable[[], Target], scans: int, seed: int = 0, edges: Iterable[Operation] | None = None
) -> Agreement:
    """`lockstep` in as many processes as there are cores; `make` is a picklable maker of the target.

    With `edges` given, they and a plan that fires every row that can fire are run first.
    """
    done, rows, never = 0, set[int](), 0
    if edges is not None:
        planned = plan(table)
        never = len(planned.never)
        target = make()
        for operations in (planned.operations, edges):
            reference = Reference(table)
            given, wanted = reference.run(operations, 1 << 30)
            got = target(given, len(given) // reference.sizes.operation)
            rows |= reference.fired
            if got != wanted:
                return Agreement(name, done, 0, len(rows), len(table.rows), difference(table, given, wanted, got), never)
            done += reference.scans
    parts = max(1, min(os.cpu_count() or 1, 8, scans // (2 * BATCH)))
    share = -(-scans // parts)
    works = [(table, make, share, seed * 64 + i, 0.02) for i in range(parts)]
    if parts == 1:
        outcomes = [_part(works[0])]
    else:
        with multiprocessing.get_context("spawn").Pool(parts) as pool:
            outcomes = pool.map(_part, works)
    rows = rows.union(*(outcome[0][2] for outcome in outcomes))
    done, plain = done + sum(o[0][0] for o in outcomes), sum(o[0][1] for o in outcomes)
    return Agreement(name, done, plain, len(rows), len(table.rows), next((o[1] for o in outcomes if o[1]), ""), never)


def difference(table: Table, given: bytes, wanted: bytes, got: bytes) -> str:
    """The first record that differs, told with the operations that led to it."""
    sizes = Sizes.of(table)
    if len(wanted) != len(got):
        return f"{len(got)} bytes of trace came back, {len(wanted)} were due"
    at = next(i for i in range(len(wanted)) if wanted[i] != got[i]) // sizes.trace
    operation = given[at * sizes.operation : (at + 1) * sizes.operation]
    before = wanted[(at - 1) * sizes.trace : at * sizes.trace] if at else b""
    mine, its = (trace[at * sizes.trace : (at + 1) * sizes.trace] for trace in (wanted, got))
    lines = [f"operation {at} of its batch: {operation_words(table, operation)}"]
    if before:
        lines.append(f"  before it:   {trace_words(table, before)}")
    lines += [f"  Python scan: {trace_words(table, mine)}", f"  this target: {trace_words(table, its)}"]
    return "\n".join(lines)


def operation_words(table: Table, packed: bytes) -> str:
    """One packed operation in words."""
    kind, data = packed[0], packed[1:]
    if kind == RESET:
        return f"reset, cause {data[0]}"
    if kind == PLACE:
        state, timer, scan = struct.unpack_from("<BII", data)
        return f"placed in {table.states[state].name}, timer {timer}, scan {scan}"
    n, c = len(table.analogs), len(table.contacts)
    counts = struct.unpack_from(f"<{n}H", data)
    parts = [f"{t.name} {'closed' if v else 'open'}" for t, v in zip(table.contacts, data[2 * n :], strict=False)]
    parts += [f"{a.name} {v}" for a, v in zip(table.analogs, counts, strict=True)]
    parts += [f"{h} {'heard' if v else 'silent'}" for h, v in zip(table.heartbeats, data[2 * n + c :], strict=False)]
    return "scan of " + ", ".join(parts)


def trace_words(table: Table, trace: bytes) -> str:
    """One trace record in words."""
    _, kind, _, left, state, place, code, _ = struct.unpack_from("<HcIBBBBB", trace)
    n = (len(table.bits) + 7) // 8
    bits = int.from_bytes(trace[12 : 12 + n], "little")
    true = [bit.name for i, bit in enumerate(table.bits) if bits >> i & 1]
    outputs = [
        f"{o.name} {o.positions[c] if c < len(o.positions) else c}"
        for o, c in zip(table.outputs, trace[12 + n :], strict=True)
    ]
    name = table.states[state].name if state < len(table.states) else f"state {state}"
    words = f"{name}; true: {', '.join(true) or 'none'}; {', '.join(outputs)}"
    row = table.states[left].first_row + place - 1 if left < len(table.states) else len(table.rows)
    if kind == b"M" and row < len(table.rows):
        words += f"; moved by row {row} ({row_words(table, table.rows[row])})"
    return words + (f"; at rest, code {code}" if code else "")


def operations_of(table: Table, seed: int, scans: int) -> tuple[bytes, bytes, int]:
    """(operations, traces, scans) of one batch, for targets that run it as a whole."""
    reference = Reference(table)
    given, wanted = reference.run(Stimulus(table, seed, lambda: reference.state, reference.fired), scans)
    return given, wanted, reference.scans


def operations_to_measure(table: Table, seed: int, scans: int) -> tuple[bytes, bytes, int]:
    """The same, `scans` in each state: short, for targets that count every instruction."""
    reference = Reference(table)
    stimulus = Stimulus(table, seed, lambda: reference.state, reference.fired)
    given, wanted = reference.run(stimulus.every_state(scans), 1 << 30)
    return given, wanted, reference.scans
