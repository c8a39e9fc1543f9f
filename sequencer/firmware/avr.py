"""The exported C on an 8-bit AVR (ATmega328P), in an instruction-level simulator with exact cycle counts."""

from __future__ import annotations

import ctypes
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sequencer.firmware.conformance import Target
from sequencer.firmware.elf import Image, read
from sequencer.firmware.host import texts
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import (
    WARNINGS,
    Compiler,
    DoesNotBuild,
    Missing,
    build,
    harness_texts,
    program,
)
from sequencer.table import Table

CHIP, HERTZ = "atmega328p", 16_000_000
FLAGS = (
    f"-mmcu={CHIP}", "-Os", "-flto", "-mrelax", "-ffunction-sections", "-fdata-sections", "-Wl,--gc-sections",
    # measured on the runtime: each of these takes bytes or cycles off, together a twentieth of the flash
    "-mstrict-X", "-fno-move-loop-invariants", "-fno-gcse", "-fno-tree-ter", "-fno-expensive-optimizations", "-fno-tree-loop-im",
    "-fno-tree-scev-cprop", "-frename-registers",
)  # fmt: skip
RAM_OFFSET = 0x80_0000  # where AVR's linker puts the data space
RAM_END = 0x8FF


def compiler() -> Compiler:
    """The AVR compiler; raises Missing."""
    return Compiler("avr-gcc", (program("avr-gcc", "gcc-avr (with avr-libc)"),))


def image(table: Table) -> Path:
    """The conformance image; raises Missing, DoesNotBuild."""
    return build(compiler(), texts(table, "avr.c"), [*WARNINGS, *FLAGS], "avr.elf")


def simulator_library() -> Path:
    """The door to the simulator's library; raises Missing."""
    gcc = Compiler("gcc", (program("gcc", "gcc"),))
    try:
        return build(gcc, harness_texts("avr_simulator.c"), ["-O2", "-shared", "-fPIC"], "simulator.so", ["-lsimavr"])
    except DoesNotBuild as error:
        raise Missing(f"the AVR simulator's library is not usable here (system package libsimavr-dev): {error.message}") from error


class Simulator:
    """One simulated chip with an image in its flash."""

    def __init__(self, path: Path, elf: Image, library: Path) -> None:
        self.lib: Any = ctypes.CDLL(str(library))
        self.lib.simulator_open.restype = ctypes.c_void_p
        self.elf = elf
        used = max((s.address + s.size for s in elf.segments if s.address >= RAM_OFFSET), default=RAM_OFFSET + 0x100)
        self.ram_from = used - RAM_OFFSET
        self.handle = ctypes.c_void_p(
            self.lib.simulator_open(str(path).encode(), CHIP.encode(), HERTZ, ctypes.c_uint32(self.ram_from))
        )
        if not self.handle:
            raise Missing(f"the simulator does not know the chip {CHIP}")

    def drive(self, operations: bytes, count: int, sizes: Sizes) -> bytes:
        """Run a batch of operations by memory; raises RuntimeError when the chip crashes."""
        out = ctypes.create_string_buffer(count * sizes.trace)
        at = {name: self.elf.symbols[name][0] - RAM_OFFSET for name in ("drive_in", "drive_out")}
        state = self.lib.simulator_drive(
            self.handle, operations, sizes.operation, at["drive_in"], out, sizes.trace, at["drive_out"], count
        )
        if state:
            raise RuntimeError(f"the simulated chip stopped (state {state})")
        return out.raw

    def talk(self, line: bytes, cycles: int = 50_000_000) -> bytes:
        """Send a line to the serial port; returns the line that comes back, or what came within `cycles`."""
        answer = ctypes.create_string_buffer(4096)
        length = self.lib.simulator_talk(
            self.handle, line, len(line), 10, answer, len(answer), ctypes.c_uint64(cycles)
        )
        return answer.raw[:length]

    def cycles(self) -> tuple[int, int, int]:
        """(least, mean, most) cycles of one follow_scan so far."""
        figures = (ctypes.c_uint32 * 3)()
        self.lib.simulator_cycles(self.handle, figures)
        return figures[0], figures[1], figures[2]

    def stack(self) -> int:
        """Most bytes of stack in use so far."""
        untouched = int(self.lib.simulator_untouched(self.handle, ctypes.c_uint32(self.ram_from)))
        return RAM_END + 1 - self.ram_from - untouched

    def close(self) -> None:
        self.lib.simulator_close(self.handle)


@dataclass(frozen=True)
class AvrMaker:
    """A picklable maker of the AVR target."""

    path: Path
    library: Path
    sizes: Sizes

    def __call__(self) -> Target:
        simulator = Simulator(self.path, read(self.path), self.library)
        return lambda operations, count: simulator.drive(operations, count, self.sizes)


def available() -> bool:
    """Whether compiler and simulator are on this machine."""
    return bool(shutil.which("avr-gcc") and shutil.which("gcc") and Path("/usr/include/simavr/sim_avr.h").is_file())
