"""Bench mode's side of the serial line: operations out as text lines, traces back, the box being the real program."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sequencer.errors import SequencerError
from sequencer.firmware.reference import PLACE, RESET, Sizes
from sequencer.table import Table
from sequencer.table.image import checksum


class BenchError(SequencerError):
    """The box did not answer as bench mode does."""


@dataclass
class Bench:
    """A box in bench mode behind `talk`, which sends one line and returns the line that comes back."""

    table: Table
    talk: Callable[[bytes], bytes]

    def __post_init__(self) -> None:
        self.sizes = Sizes.of(self.table)
        self.written = b""  # positions really driven after the last scan, hazardous ones at rest

    def ask(self, letter: str, data: bytes = b"") -> bytes:
        """The bytes of an answer; raises BenchError when it is none."""
        answer = self.talk(f"{letter} {data.hex().upper()}\n".encode())
        expected = b"T" if letter in "RSP" else letter.encode()
        if not answer.endswith(b"\n") or answer[:1] != expected:
            raise BenchError(f"the box answered {answer!r} to {letter}")
        return answer[1:-1]

    def identify(self) -> str:
        """The title the box runs; raises BenchError when its table is not this one."""
        answer = self.ask("I")
        found = int.from_bytes(bytes.fromhex(answer[:8].decode()), "little")
        if found != checksum(self.table):
            raise BenchError(f"the box runs a table with checksum {found:08X}, the file has {checksum(self.table):08X}")
        return answer[24:].decode("utf-8", "replace")

    def operate(self, packed: bytes) -> bytes:
        """One packed operation; returns its trace record."""
        kind, data = packed[0], packed[1:]
        length = 1 if kind == RESET else 9 if kind == PLACE else self.sizes.inputs
        raw = bytes.fromhex(self.ask("SPR"[kind], data[:length]).decode())
        self.written = raw[self.sizes.trace :]
        return raw[: self.sizes.trace]
