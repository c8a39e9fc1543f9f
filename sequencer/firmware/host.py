"""The exported C on this machine: compiled into a library and called through ctypes."""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sequencer.firmware.c_table import header_text, source_text
from sequencer.firmware.conformance import Target
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import WARNINGS, Compiler, build, harness_texts, runtime_texts
from sequencer.table import Table


def texts(table: Table, *harness: str) -> dict[str, str]:
    """All that is compiled: runtime, table, and files of the harness."""
    return {
        **runtime_texts(), "follow_table.h": header_text(table), "follow_table.c": source_text(table),
        **harness_texts("drive.h", "drive.c", *harness),
    }  # fmt: skip


def library(table: Table, compiler: Compiler, flags: tuple[str, ...] = ("-O2",)) -> Path:
    """The shared library of `table`; raises DoesNotBuild."""
    return build(compiler, texts(table, "host.c"), [*WARNINGS, *flags, "-shared", "-fPIC"], "host.so")


@dataclass(frozen=True)
class HostMaker:
    """A picklable maker of the host target."""

    path: Path
    operation: int
    trace: int

    @classmethod
    def of(cls, table: Table, path: Path) -> HostMaker:
        sizes = Sizes.of(table)
        return cls(path, sizes.operation, sizes.trace)

    def __call__(self) -> Target:
        loaded = ctypes.CDLL(str(self.path))
        drive: Callable[..., None] = loaded.drive_all

        def run(operations: bytes, count: int) -> bytes:
            out = ctypes.create_string_buffer(count * self.trace)
            drive(operations, out, ctypes.c_uint32(count))
            return out.raw

        return run


def ram(path: Path) -> int:
    """Bytes of the runtime's struct on this machine."""
    return int(ctypes.CDLL(str(path)).drive_ram())
