"""The exported C on a Cortex-M0+: compiled by the package index's compiler, run in its processor emulator."""

from __future__ import annotations

import importlib
import importlib.util
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sequencer.firmware.conformance import Target
from sequencer.firmware.elf import Image, read
from sequencer.firmware.host import texts
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import WARNINGS, Missing, build, harness_texts, zig
from sequencer.table import Table

FLAGS = (
    "-target", "thumb-freestanding-eabi", "-mcpu=cortex_m0plus", "-O2", "-g", "-ffreestanding", "-nostdlib",
    "-ffunction-sections", "-fdata-sections", "-Wl,--gc-sections", "-Wl,-T,m0.ld",
)  # fmt: skip
FLASH, FLASH_SIZE = 0x0000_0000, 0x2_0000
RAM, RAM_SIZE = 0x2000_0000, 0x4000
IN, OUT, BATCH_ROOM = 0x3000_0000, 0x5000_0000, 0x0200_0000
STOP = FLASH_SIZE - 16  # nothing is linked so high
PAINT = 0xA5


def image(table: Table) -> Path:
    """The conformance image; raises Missing, DoesNotBuild."""
    files = {**texts(table, "m0.c", "m0_library.c"), **harness_texts("m0.ld")}
    return build(zig(), files, [*WARNINGS, *FLAGS, "-Wl,-e,m0_drive"], "m0.elf")


@dataclass
class Cortex:
    """One emulated chip; raises Missing without the emulator. A stray write or read ends with the emulator's error."""

    elf: Image
    sizes: Sizes

    def __post_init__(self) -> None:
        if importlib.util.find_spec("unicorn") is None:
            raise Missing("no processor emulator: install the package `unicorn` beside this tool (pip install unicorn)")
        u: Any = importlib.import_module("unicorn")
        arm: Any = importlib.import_module("unicorn.arm_const")
        self.u, self.arm = u, arm
        uc = u.Uc(u.UC_ARCH_ARM, u.UC_MODE_THUMB | u.UC_MODE_MCLASS)
        uc.ctl_set_cpu_model(arm.UC_CPU_ARM_CORTEX_M0)
        uc.mem_map(FLASH, FLASH_SIZE, u.UC_PROT_READ | u.UC_PROT_EXEC)
        uc.mem_map(RAM, RAM_SIZE, u.UC_PROT_READ | u.UC_PROT_WRITE)
        uc.mem_map(IN, BATCH_ROOM, u.UC_PROT_READ)
        uc.mem_map(OUT, BATCH_ROOM, u.UC_PROT_READ | u.UC_PROT_WRITE)
        for segment in self.elf.segments:
            if segment.data:
                uc.mem_write(segment.address, segment.data)
        self.used = max((s.address + s.size for s in self.elf.segments if s.address >= RAM), default=RAM)
        self.uc: Any = uc

    def __call__(self, operations: bytes, count: int) -> bytes:
        """Run a batch; more operations than the emulator's memory holds are run in turns."""
        out, most = [], BATCH_ROOM // max(self.sizes.operation, self.sizes.trace)
        for first in range(0, count, most):
            number = min(most, count - first)
            self.uc.mem_write(IN, operations[first * self.sizes.operation : (first + number) * self.sizes.operation])
            self._call(number)
            out.append(bytes(self.uc.mem_read(OUT, number * self.sizes.trace)))
        return b"".join(out)

    def _call(self, count: int) -> None:
        uc, arm = self.uc, self.arm
        for register, value in (
            (arm.UC_ARM_REG_R0, IN), (arm.UC_ARM_REG_R1, OUT), (arm.UC_ARM_REG_R2, count),
            (arm.UC_ARM_REG_SP, RAM + RAM_SIZE), (arm.UC_ARM_REG_LR, STOP | 1),
        ):  # fmt: skip
            uc.reg_write(register, value)
        uc.emu_start(self.elf.entry | 1, STOP)

    def measure(self, operations: bytes, count: int) -> tuple[int, int]:
        """(most instructions in one call of follow_scan, bytes of stack used) over a batch; slow, each block is counted."""
        start = self.elf.symbols["follow_scan"][0] & ~1
        uc, lengths = self.uc, dict[tuple[int, int], int]()
        now = most = back = 0

        def block(_: Any, address: int, size: int, data: Any) -> None:
            nonlocal now, most, back
            if address == start and not back:
                now, back = 0, uc.reg_read(self.arm.UC_ARM_REG_LR) & ~1
            elif address == back:
                most, back = max(most, now), 0
            if back:
                if (address, size) not in lengths:
                    lengths[address, size] = _instructions(bytes(uc.mem_read(address, size)))
                now += lengths[address, size]

        uc.mem_write(self.used, bytes([PAINT]) * (RAM + RAM_SIZE - self.used))
        hook = uc.hook_add(self.u.UC_HOOK_BLOCK, block)
        uc.ctl_flush_tb()
        self(operations, count)
        uc.hook_del(hook)
        left = bytes(uc.mem_read(self.used, RAM + RAM_SIZE - self.used))
        untouched = len(left) - len(left.lstrip(bytes([PAINT])))
        return most, len(left) - untouched


def _instructions(code: bytes) -> int:
    """How many Thumb instructions stand in `code`: those whose first half begins with 11101, 11110 or 11111 are two halves."""
    at = count = 0
    while at < len(code):
        at += 4 if code[at + 1] >> 3 in (0b11101, 0b11110, 0b11111) else 2
        count += 1
    return count


@dataclass(frozen=True)
class CortexMaker:
    """A picklable maker of the Cortex-M0+ target."""

    path: Path
    sizes: Sizes

    def __call__(self) -> Target:
        return Cortex(read(self.path), self.sizes)
