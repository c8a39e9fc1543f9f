"""The real bench program on a simulated AVR, over its serial line, beside the Python scan."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from sequencer.description import Pad, load
from sequencer.firmware import avr
from sequencer.firmware.bench import Bench, BenchError
from sequencer.firmware.builder import hazardous, readme
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


def test_the_self_test_in_the_readme_names_every_byte_of_the_answer(bench: Bench, pad: Pad) -> None:
    _, text = readme(pad, bench.table).split("## Self-test of the wiring")
    text, _ = text.split("## Power-on order")
    numbers = {int(n) for cells in re.findall(r"^\| (\d+(?:, \d+)?) \|", text, re.MULTILINE) for n in cells.split(", ")}
    assert numbers == set(range(1, len(bench.ask("W")) // 2 + 1))


def test_the_self_test_in_the_readme_moves_what_bench_mode_moves(bench: Bench, pad: Pad) -> None:
    text = readme(pad, bench.table)
    lines = re.findall(r"`(O [0-9A-F]{2} [0-9A-F]{2})`: `", text)
    assert len(lines) == hazardous(pad).count(False) > 0
    for line in lines:
        assert bench.talk(line.encode() + b"\n") == b"O\n"


def test_the_power_on_table_starts_from_the_rest_levels_and_ends_in_the_first_state(pad: Pad) -> None:
    table = compile_table(pad)
    _, text = readme(pad, table).split("## Power-on order")
    for spec, code in zip(table.outputs, table.states[0].outputs, strict=True):
        cells = next(line.split(" | ") for line in text.splitlines() if line.startswith(f"| {spec.name} |"))
        assert spec.positions[code] in cells[3]
        assert cells[1].split(",")[0] == cells[2].split(",")[0], "board_start writes the level that the resistor keeps"
