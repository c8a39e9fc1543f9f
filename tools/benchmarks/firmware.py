"""The table and its runtime beside the same logic written by hand as a C switch: flash and cycles on an AVR, as ratios.

    tools/bench firmware

Both run the same operations in the same simulator and have to leave the same trace, byte by byte, before anything is
said about them. The hand-written one stands in benchmarks/firmware_by_hand; it has no table, so it checks none.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

from sequencer.description import load
from sequencer.firmware import avr
from sequencer.firmware.conformance import difference, operations_of, operations_to_measure
from sequencer.firmware.elf import read
from sequencer.firmware.figures import program_texts
from sequencer.firmware.host import texts
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import WARNINGS, Missing, build
from sequencer.table import Table, compile_table

FOLDER = Path(__file__).parent / "firmware_by_hand"


@dataclass(frozen=True)
class Side:
    """One of the two: its flash with main and an empty board, and cycles of a scan."""

    flash: int
    least: int
    mean: int
    most: int


def by_hand(files: dict[str, str]) -> dict[str, str]:
    """The same program with the hand-written logic in place of runtime and table."""
    return {**{k: v for k, v in files.items() if k not in ("follow.c", "follow_table.c")}, "by_hand.c": (FOLDER / "by_hand.c").read_text()}


PLAIN = avr.FLAGS[: avr.FLAGS.index("-Wl,--gc-sections") + 1]  # without what was chosen for the runtime
NEAR = (*PLAIN, "-mstrict-X", "-fno-move-loop-invariants", "-fno-gcse", "-fno-tree-forwprop")  # the least flash by hand that was found


def best(table: Table) -> Side:
    """The hand-written side, each figure under those of the flags that suit it best: the runtime's were chosen for it too."""
    sides = [side(table, True, options) for options in (PLAIN, NEAR, avr.FLAGS)]
    least_flash = min(sides, key=lambda one: one.flash)
    quick = min(sides, key=lambda one: one.most)
    return Side(least_flash.flash, quick.least, quick.mean, quick.most)


def side(table: Table, hand: bool, base: tuple[str, ...] = avr.FLAGS, flags: tuple[str, ...] = ()) -> Side:
    """Measure one side; raises Missing without compiler or simulator, ValueError when it does not agree."""
    conformance, program = texts(table, "avr.c"), program_texts(table, "main.c", "board_avr.c")
    if hand:
        conformance, program = by_hand(conformance), by_hand(program)
    options = [*WARNINGS, *base, *flags]
    path = build(avr.compiler(), conformance, options, "avr.elf")
    simulator = avr.Simulator(path, read(path), avr.simulator_library())
    sizes = Sizes.of(table)
    for given, wanted, _ in (operations_of(table, 5, 4000), operations_to_measure(table, 1, 20)):
        got = simulator.drive(given, len(given) // sizes.operation, sizes)
        if got != wanted:
            raise ValueError(difference(table, given, wanted, got))
    least, mean, most = simulator.cycles()
    flash = sum(len(s.data) for s in read(build(avr.compiler(), program, options, "program.elf")).segments)
    return Side(flash, least, mean, most)


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.parse_args(arguments)
    table = compile_table(load(FOLDER / "pad.yaml"))
    try:
        hand, followed, unchecked = best(table), side(table, False), side(table, False, flags=("-DFOLLOW_SLICE=0u",))
    except Missing as error:
        print(f"cannot measure here: {error.message}", file=sys.stderr)
        return 2
    print(f"{table.title}: {len(table.states)} states, {len(table.rows)} rows, {len(table.bits)} conditions; ATmega328P, -Os")
    print(f"{'':34}{'flash':>8}{'least':>8}{'mean':>8}{'worst':>8}  cycles")
    for name, one in (("by hand, a switch", hand), ("table and runtime", followed), ("the same, no checking while it runs", unchecked)):
        print(f"{name:35}{one.flash:>7}{one.least:>8}{one.mean:>8}{one.most:>8}")
    for name, one in (("table and runtime", followed), ("no checking while it runs", unchecked)):
        print(f"ratio to by hand, {name + ':':27} flash {one.flash / hand.flash:.2f}, worst scan {one.most / hand.most:.2f}")
    return 0
