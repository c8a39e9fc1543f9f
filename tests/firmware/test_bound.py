"""The bound on a scan's cycles: no scan that was run takes more, and the code is not followed where it cannot be."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sequencer.firmware import avr
from sequencer.firmware.avr_bound import Bounder
from sequencer.firmware.avr_code import Undecoded, decode
from sequencer.firmware.avr_machine import NoBound
from sequencer.firmware.conformance import operations_of, operations_to_measure
from sequencer.firmware.elf import read
from sequencer.firmware.figures import avr_bound
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import Missing
from sequencer.table import Table


def longest(table: Table) -> int:
    """The most cycles of a scan among some in every state and some as they are drawn."""
    path, sizes = avr.image(table), Sizes.of(table)
    simulator = avr.Simulator(path, read(path), avr.simulator_library())
    for given in (operations_to_measure(table, 1, 20)[0], operations_of(table, 9, 2000)[0]):
        simulator.drive(given, len(given) // sizes.operation, sizes)
    most = simulator.cycles()[2]
    simulator.close()
    return most


@pytest.fixture(scope="module")
def tools() -> None:
    try:
        avr.compiler()
        avr.simulator_library()
    except Missing as error:
        pytest.skip(f"missing tool: {error.message}")


def test_no_scan_takes_more_than_the_bound_and_the_bound_is_near(tools: None, curlew: Table, club: Table) -> None:
    for table, share in ((curlew, 0.05), (club, 0.02)):
        bound, met = avr_bound(table), longest(table)
        assert met <= bound <= 1.4 * met
        assert bound < share * avr.HERTZ * table.scan_ms / 1000


def test_a_condition_more_raises_the_bound(tools: None, club: Table) -> None:
    more = replace(club, bits=(*club.bits, replace(club.bits[0], name="once_more", hold=3)))
    assert avr_bound(more) > avr_bound(club) + 30


def test_a_loop_by_something_unknown_has_no_bound(tools: None, club: Table) -> None:
    elf = read(avr.image(club))
    bounder = Bounder(elf, {})  # the state is not watched: how many rows it has is not known
    with pytest.raises(NoBound, match="loop"):
        for begin in bounder.starts():
            bounder.bound(begin, {})


@pytest.mark.parametrize(
    ("word", "name", "cycles"),
    # from the AVR Instruction Set Manual: LDI r24,0x2A; LPM r18,Z+; RET; ADIW r30,3; MUL r24,r25; CPSE r31,r1
    [(0xE28A, "ldi", 1), (0x9125, "lpm", 3), (0x9508, "ret", 4), (0x9633, "adiw", 2), (0x9F89, "mul", 2), (0x11F1, "cpse", 1)],
)
def test_instructions_take_the_cycles_of_the_manual(word: int, name: str, cycles: int) -> None:
    one = decode(word.to_bytes(2, "little") + b"\0\0", 0)
    assert (one.name, one.cycles) == (name, cycles)


def test_an_instruction_that_is_not_known_is_refused() -> None:
    with pytest.raises(Undecoded):
        decode(b"\x98\x95\0\0", 0)  # BREAK
