"""How much flash, RAM and time the exported table takes, per target; measured, not estimated."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from sequencer.firmware import avr, cortex
from sequencer.firmware.avr_bound import Bounder
from sequencer.firmware.avr_code import Undecoded
from sequencer.firmware.avr_machine import NoBound
from sequencer.firmware.c_table import header_text, source_text
from sequencer.firmware.conformance import operations_of, operations_to_measure
from sequencer.firmware.elf import Image, read
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import WARNINGS, around_texts, build, harness_texts, runtime_texts, zig
from sequencer.table import Table


@dataclass(frozen=True)
class Figures:
    """Sizes in bytes of main.c, runtime, table and an empty board; the longest scan met while measuring."""

    target: str
    flash: int
    table: int
    ram: int
    stack: int
    longest_scan: int
    unit: str  # 'cycles' or 'instructions'
    share_of_period: float  # at 16 MHz, an instruction taken as two cycles on the Cortex-M0+
    most: int | None = None  # no scan takes more, whatever inputs and memory; None where no bound was worked out
    most_share: float | None = None  # of the period


def program_texts(table: Table, main: str, board: str, hazardous: Sequence[bool] | None = None) -> dict[str, str]:
    """A whole program with an empty board, {name: text}."""
    around = around_texts()
    return {
        **runtime_texts(), "follow_table.h": header_text(table, hazardous), "follow_table.c": source_text(table),
        "board.h": around["board.h"], main: around[main], **harness_texts(board),
    }  # fmt: skip


def avr_program(table: Table, main: str = "main.c", hazardous: Sequence[bool] | None = None) -> Path:
    """main.c or bench.c on the AVR; raises Missing, DoesNotBuild."""
    return build(avr.compiler(), program_texts(table, main, "board_avr.c", hazardous), [*WARNINGS, *avr.FLAGS], "program.elf")


def _sizes(elf: Image, ram_from: int) -> tuple[int, int]:
    flash = sum(len(s.data) for s in elf.segments)
    ram = sum(s.size for s in elf.segments if s.address >= ram_from)
    return flash, ram


STATE_AT = 6  # where the state stands in struct follow on the AVR; harness/avr.c does not compile where it stands elsewhere


def avr_bound(table: Table) -> int:
    """Cycles that no scan of the table exceeds on the AVR; raises Missing, DoesNotBuild, NoBound, Undecoded."""
    elf = read(avr.image(table))
    at = (elf.symbols["box"][0] & 0xFFFF) + STATE_AT
    bounder = Bounder(elf, {at: 0})
    begins = bounder.starts()
    return max(bounder.bound(begin, {at: state}) for begin in begins for state in range(len(table.states)))


def avr_figures(table: Table, scans: int, bounded: bool = False) -> Figures:
    """Exact cycles over `scans` trial scans in the simulator, and `bounded` what none exceeds; raises Missing, DoesNotBuild."""
    path = avr.image(table)
    simulator = avr.Simulator(path, read(path), avr.simulator_library())
    sizes = Sizes.of(table)
    given, _, _ = operations_of(table, 1, scans)
    simulator.drive(given, len(given) // sizes.operation, sizes)
    given, _, _ = operations_to_measure(table, 1, 20)
    simulator.drive(given, len(given) // sizes.operation, sizes)
    _, _, longest = simulator.cycles()
    stack = simulator.stack()
    simulator.close()
    elf = read(avr_program(table))
    flash, ram = _sizes(elf, avr.RAM_OFFSET)
    share = longest / (avr.HERTZ * table.scan_ms / 1000)
    box = elf.symbols["box"][1]
    most = None
    if bounded:
        with suppress(NoBound, Undecoded):  # said where it is printed
            most = avr_bound(table)
    size = elf.symbols["follow_table"][1]
    most_share = most / (avr.HERTZ * table.scan_ms / 1000) if most else None
    return Figures("AVR (ATmega328P)", flash, size, box, stack + ram - box, longest, "cycles", share, most, most_share)


def cortex_figures(table: Table, scans: int) -> Figures:
    """Instructions over `scans` trial scans in each state in the emulator; raises Missing, DoesNotBuild."""
    path = cortex.image(table)
    sizes = Sizes.of(table)
    given, _, _ = operations_to_measure(table, 1, scans)
    longest, stack = cortex.Cortex(read(path), sizes).measure(given, len(given) // sizes.operation)
    files = {**program_texts(table, "main.c", "board_m0.c"), **harness_texts("m0.ld", "m0_library.c")}
    elf = read(build(zig(), files, [*WARNINGS, *cortex.FLAGS, "-Wl,-e,main"], "program.elf"))
    flash, _ = _sizes(elf, cortex.RAM)
    share = 2 * longest / (avr.HERTZ * table.scan_ms / 1000)
    return Figures("Cortex-M0+", flash, elf.symbols["follow_table"][1], elf.symbols["box"][1], stack, longest, "instructions", share)
