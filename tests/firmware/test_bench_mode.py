"""The real bench program on a simulated AVR, over its serial line, beside the Python scan."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from sequencer.description import Pad, load
from sequencer.firmware import avr
from sequencer.firmware.bench import Bench, BenchError
from sequencer.firmware.builder import hazardous
from sequencer.firmware.conformance import operations_of
from sequencer.firmware.elf import read
from sequencer.firmware.figures import avr_program
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import Missing
from sequencer.table import Table, compile_table

CLUB = Path(__file__).resolve().parents[2] / "configs/club.yaml"


@pytest.fixture(scope="module")
def pad() -> Pad:
    return load(CLUB)


@pytest.fixture(scope="module")
def bench(pad: Pad) -> Iterator[Bench]:
    table = compile_table(pad)
    try:
        path = avr_program(table, "bench.c", hazardous(pad))
        simulator = avr.Simulator(path, read(path), avr.simulator_library())
    except Missing as error:
        pytest.skip(f"missing tool: {error.message}")
    simulator.talk(b"", 1_000_000)  # until it has started
    yield Bench(table, simulator.talk)
    simulator.close()


def test_the_box_says_which_table_it_runs(bench: Bench, curlew: Table) -> None:
    assert bench.identify() == "Club pad"
    with pytest.raises(BenchError, match="checksum"):
        Bench(curlew, bench.talk).identify()


def test_scans_over_the_serial_line_agree_and_hazardous_outputs_stay_at_rest(bench: Bench, pad: Pad) -> None:
    table = bench.table
    sizes = Sizes.of(table)
    given, wanted, scans = operations_of(table, 2, 1500)
    held, rest = hazardous(pad), [o.idle if o.rest is None else o.rest for o in table.outputs]
    moved = 0
    for at in range(len(given) // sizes.operation):
        got = bench.operate(given[at * sizes.operation : (at + 1) * sizes.operation])
        assert got == wanted[at * sizes.trace : (at + 1) * sizes.trace]
        asked = got[-len(table.outputs) :]
        for output, (told, driven) in enumerate(zip(asked, bench.written, strict=True)):
            assert driven == (rest[output] if held[output] else told)
            moved += told != driven
    assert scans >= 1500 and moved > 50, "nothing hazardous was asked for"


def test_only_outputs_that_are_not_hazardous_can_be_driven_by_hand(bench: Bench, pad: Pad) -> None:
    for output, dangerous in enumerate(hazardous(pad)):
        if dangerous:
            with pytest.raises(BenchError):
                bench.ask("O", bytes([output, 1]))
        else:
            assert bench.ask("O", bytes([output, 1])) == b""


@pytest.mark.parametrize("line", [b"hello\n", b"S 00\n", b"R\n", b"R 0102\n", b"O FF01\n", b"S " + b"00" * 200 + b"\n", b"\n"])
def test_a_line_it_does_not_know_is_answered_with_a_question_mark(bench: Bench, line: bytes) -> None:
    assert bench.talk(line) == b"?\n"
    assert bench.identify() == "Club pad"


def test_the_wiring_self_test_reads_every_input(bench: Bench) -> None:
    assert len(bench.ask("W")) == 2 * Sizes.of(bench.table).inputs
