"""The Python scan, driven by the same operations as the chip and leaving the same trace bytes.

No second meaning of a scan: `sequencer.table` does the scanning; this only writes down what came out.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from sequencer.table import Inputs, Memory, Move, Table, power_up, scan
from sequencer.table.fast import Controller
from sequencer.table.image import checksum
from sequencer.table.records import is_trip
from sequencer.table.table import Kind

SCAN, PLACE, RESET = range(3)
POWER_ON = 1
U32 = 0xFFFF_FFFF
_HEAD = struct.Struct("<HcIBBBBB")


@dataclass(frozen=True)
class Sizes:
    """Bytes per operation and per trace record; the same sums stand in harness/drive.h."""

    inputs: int
    operation: int
    record: int
    trace: int

    @classmethod
    def of(cls, table: Table) -> Sizes:
        inputs = 2 * len(table.analogs) + len(table.contacts) + len(table.heartbeats)
        record = 10 + (len(table.bits) + 7) // 8
        return cls(inputs, 1 + max(inputs, 9), record, 2 + record + len(table.outputs))


@dataclass(frozen=True)
class Operation:
    """One thing to do `times` over: scan `inputs`; place (state, timer, scan); or reset with `cause`."""

    kind: int
    inputs: Inputs = Inputs()
    times: int = 1
    state: int = 0
    timer: int = 0
    scan: int = 0
    cause: int = POWER_ON


class _Plain:
    """The scan of scan.py itself, behind the interface of the specialised one."""

    def __init__(self, table: Table, memory: Memory) -> None:
        self.table, self.memory = table, memory
        self.outputs = memory.outputs

    @property
    def state(self) -> int:
        return self.memory.state

    @property
    def bits(self) -> int:
        return self.memory.bits

    def step(self, inputs: Inputs) -> Move | None:
        self.memory, self.outputs, move = scan(self.table, self.memory, inputs)
        return move


@dataclass
class Reference:
    """Runs operations on the Python scan; `plain` uses scan.py itself, else its specialised equal."""

    table: Table
    plain: bool = False
    fired: set[int] = field(default_factory=set)
    scans: int = 0

    def __post_init__(self) -> None:
        self.sizes = Sizes.of(self.table)
        self.bytes_of_bits = (len(self.table.bits) + 7) // 8
        self.trips = [is_trip(row) for row in self.table.rows]
        self.checksum = checksum(self.table)
        self.targets = sum(1 << i for i, bit in enumerate(self.table.bits) if bit.kind == Kind.TARGET)
        self._start(power_up(self.table))
        self._reset(POWER_ON)

    def _start(self, memory: Memory) -> None:
        self.controller: _Plain | Controller
        self.controller = _Plain(self.table, memory) if self.plain else Controller(self.table, memory)

    @property
    def memory(self) -> Memory:
        return self.controller.memory

    def _reset(self, cause: int) -> None:
        self.cause, self.origin, self.place, self.first, self.count = cause, 0, 0, 0, 0
        self.begun = False
        memory = power_up(self.table)
        self._start(memory)
        self.state = 0

    def _place(self, operation: Operation) -> None:
        memory = self.memory
        memory = memory._replace(state=operation.state, timer=operation.timer, scan=operation.scan)
        if operation.timer == 0 and memory.settled:  # as after a move
            memory = memory._replace(seen_away=0, before=memory.before & ~self.targets)
        self._start(memory)
        self.state, self.count = operation.state, operation.scan if self.begun else 0

    def pack(self, operation: Operation) -> bytes:
        """The bytes of one operation, without its repetition."""
        if operation.kind == SCAN:
            contacts, counts, heard = operation.inputs
            data = struct.pack(f"<{len(counts)}H", *counts) + bytes(contacts) + bytes(heard)
        elif operation.kind == PLACE:
            data = struct.pack("<BII", operation.state, operation.timer, operation.scan & U32)
        else:
            data = bytes([operation.cause])
        return (bytes([operation.kind]) + data).ljust(self.sizes.operation, b"\0")

    def run(self, operations: Iterable[Operation], least: int) -> tuple[bytes, bytes]:
        """(operations, traces) as bytes, from a reset on, until at least `least` scans are done or no more come."""
        begun = self.scans
        first = Operation(RESET)
        self._reset(first.cause)
        given, traced = [self.pack(first)], [self._trace(False)]
        for operation in self._parted(operations):
            given.append(self.pack(operation) * operation.times)
            if operation.kind == SCAN:
                self._scan(operation, traced)
            elif operation.kind == PLACE:
                self._place(operation)
                traced.append(self._trace(False))
            else:
                self._reset(operation.cause)
                traced.append(self._trace(False))
            if self.scans - begun >= least:
                break
        return b"".join(given), b"".join(traced)

    def _parted(self, operations: Iterable[Operation]) -> Iterator[Operation]:
        """The operations, with a scan more before a place with a timer of its own that follows a move at once: the chip
        takes a timer of 0 for the sign of a move, and forgets in its next scan what was seen in the state before."""
        last = None
        for operation in operations:
            if operation.kind == PLACE and operation.timer and last:
                for _ in range(5):
                    if not self.memory.settled or self.memory.timer:
                        break
                    yield replace(last, times=1)
                else:
                    operation = replace(operation, timer=0)
            last = operation if operation.kind == SCAN else last if operation.kind == PLACE else None
            yield operation

    def _scan(self, operation: Operation, traced: list[bytes]) -> None:
        step, inputs = self.controller.step, operation.inputs
        self.begun = True
        for _ in range(operation.times):
            move = step(inputs)
            self.count += 1
            if move is not None:
                self.origin, self.state = move.origin, move.to
                self.place = move.row - self.table.states[move.origin].first_row + 1  # 0: no move yet
                self.fired.add(move.row)
                if not self.trips[move.row]:
                    self.first = 0
                elif self.first == 0:
                    self.first = move.origin << 8 | self.place
            traced.append(self._trace(move is not None))
        self.scans += operation.times

    def _trace(self, moved: bool) -> bytes:
        """What harness/drive.c writes after one operation."""
        kind = b"M" if moved else b"\0" if self.begun else b"P"
        number = self.count - 1 & U32 if self.begun else self.checksum
        now = self.controller
        head = _HEAD.pack(self.first, kind, number, self.origin, now.state, self.place, 0, self.cause)
        return head + now.bits.to_bytes(self.bytes_of_bits, "little") + bytes(now.outputs)
