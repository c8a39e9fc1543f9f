"""The control box in a run: powered or not, booting, scanning or hung; its log.

Boot time is drawn from the file's range; the pins are undriven meanwhile. A hang ends by the watchdog.
"""

from __future__ import annotations

from typing import Literal

from sequencer.machine import Machine
from sequencer.table import Inputs, Move, Table, boxlog
from sequencer.table.fast import Controller
from sequencer.table.image import checksum

WATCHDOG_MS = 250  # common practice, no published source
Phase = Literal["off", "booting", "running", "hung"]


class Box:
    """The box between power and outputs.

    commands: codes on the pins, None while they are undriven. state: -1 while nothing scans.
    """

    def __init__(self, table: Table, boot_ms: int) -> None:
        self.table, self.boot_ms = table, boot_ms
        self.machine = Machine(table)
        self.controller = Controller(table)
        self.names = [state.name for state in table.states]
        self.phase: Phase = "off"
        self.cause = "power-on"
        self.commands: tuple[int, ...] | None = None
        self.state = -1
        self.bits = 0
        self.spent = 0  # scans in the state as the last scan compared them
        self.since_ms = 0  # when the present state was entered
        self.log: list[boxlog.Entry] = []
        self.log_ms: list[int] = []
        self.checksum = checksum(table)
        self.first_out = ""
        self.trips = self.setbacks = 0
        self._havens = {row.to for row in table.rows if row.origin.startswith("trip ")}
        self._left = 0
        self._fresh = False

    @property
    def state_name(self) -> str:
        """The state's name, '' while nothing scans."""
        return self.names[self.state] if self.state >= 0 else ""

    def power(self, ms: int, powered: bool, cause: str = "power-on") -> bool:
        """One period of supply; returns whether the box scans in this period. `cause`: why it fell, if it did."""
        if not powered:
            if self.phase != "off":
                self._stop("off", cause)
            return False
        if self.phase == "off":
            self.phase, self._left = "booting", self.boot_ms
        if self.phase == "running":
            return True
        self._left -= self.table.scan_ms
        if self._left > 0:
            return False
        if self.phase == "hung":
            self._stop("booting", "watchdog")
            self._left = self.boot_ms
            return False
        self.phase, self.controller, self._fresh = "running", Controller(self.table), True
        self.machine.restart()
        self._write(ms, boxlog.power_up(self.cause, self.checksum))
        return True

    def hang(self) -> None:
        """The program stops; the pins stay as they are until the watchdog bites."""
        if self.phase == "running":
            self.phase, self._left = "hung", WATCHDOG_MS

    def scan(self, ms: int, inputs: Inputs) -> Move | None:
        """One scan. The named machine follows each move and must agree with the table."""
        self.commands, move, self.state, self.bits, self.spent = self.controller.send(inputs)
        if self._fresh:
            self._fresh, self.since_ms = False, ms
        if move is not None:
            self._moved(ms, move, self.spent)
        return move

    def _moved(self, ms: int, move: Move, spent: int) -> None:
        row = self.table.rows[move.row]
        followed = self.machine.follow(move.bits, spent)
        if followed.row != move.row or followed.state != self.names[move.to] or followed.outputs != self.commands:
            raise AssertionError(f"machine and table disagree at scan {move.scan}: {followed} against {move}")
        self.since_ms = ms
        self._write(ms, boxlog.move(move.scan, self.names[move.origin], self.names[move.to], move.row, move.bits))
        self.setbacks += move.to in self._havens
        if row.origin.startswith("trip "):
            self.trips += 1
            self.first_out = self.first_out or row.origin.removeprefix("trip ")

    def _write(self, ms: int, entry: boxlog.Entry) -> None:
        self.log.append(entry)
        self.log_ms.append(ms)

    def _stop(self, phase: Phase, cause: str) -> None:
        self.phase, self.cause = phase, cause
        self.commands, self.state, self.bits = None, -1, 0
