"""One meaning: the Python scan, the C on this machine, on an emulated Cortex-M0+ and on a simulated AVR."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from sequencer.firmware import avr, cortex
from sequencer.firmware.conformance import lockstep, lockstep_in_parts
from sequencer.firmware.coverage import never
from sequencer.firmware.host import HostMaker, library, ram, texts
from sequencer.firmware.reference import RESET, SCAN, Operation, Reference, Sizes
from sequencer.firmware.toolchain import Compiler, Missing
from sequencer.table import Table
from tests.firmware.rich import batch, host_run, host_texts, program_run, rich_table
from tests.strategies import input_runs, tables

WHOLE = os.environ.get("SEQUENCER_CI") == "1"  # a million scans and a hundred thousand per chip; fewer at home, for time
HOST, CORTEX, AVR = (1_000_000, 100_000, 100_000) if WHOLE else (200_000, 10_000, 4_000)


def test_the_c_on_this_machine_follows_the_curlew_table_as_the_python_scan_does(curlew: Table, compiler: Compiler) -> None:
    outcome = lockstep_in_parts(curlew, "host", HostMaker.of(curlew, library(curlew, compiler)), HOST, seed=3)
    assert outcome.difference == ""
    assert outcome.scans >= HOST and outcome.plain_scans >= 1000
    assert outcome.rows_fired > 0.5 * (outcome.rows - len(never(curlew)))


def test_every_row_of_the_club_table_fires_and_agrees(club: Table, compiler: Compiler) -> None:
    outcome = lockstep(club, "host", HostMaker.of(club, library(club, compiler))(), 120_000)
    assert outcome.agrees and outcome.rows_fired == outcome.rows


def test_the_compiler_of_the_package_index_is_enough_and_traps_on_undefined_behaviour(zig_compiler: Compiler) -> None:
    table = rich_table()
    given, wanted = batch(table)
    flags = ("-O1", "-fsanitize=undefined", "-fsanitize-trap=undefined")
    done = program_run(zig_compiler, texts(table, "stdio.c"), given, flags)
    assert (done.returncode, done.stdout == wanted) == (0, True)


def test_a_table_that_uses_everything_agrees_under_address_and_undefined_behaviour_sanitizers(gcc: Compiler) -> None:
    table = rich_table()
    given, wanted = batch(table, scans=20_000)
    flags = ("-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
    done = program_run(gcc, texts(table, "stdio.c"), given, flags)
    assert done.stderr == b"" and done.returncode == 0
    assert done.stdout == wanted


@settings(max_examples=15, phases=(Phase.explicit, Phase.generate), suppress_health_check=list(HealthCheck))
@given(st.data())
def test_random_tables_and_inputs_agree(compiler: Compiler, data: st.DataObject) -> None:
    table = data.draw(tables())
    reference = Reference(table, plain=True)
    operations: list[Operation] = []
    for run in data.draw(st.lists(input_runs(table), min_size=1, max_size=4)):
        operations += [Operation(SCAN, inputs) for inputs in run] + [Operation(RESET, cause=2)]
    given, wanted = reference.run(operations, 1 << 30)
    assert host_run(table, compiler, host_texts(table), given, ("-O0",)) == wanted


@pytest.fixture(scope="module")
def cortex_image(curlew: Table) -> cortex.CortexMaker:
    try:
        maker = cortex.CortexMaker(cortex.image(curlew), Sizes.of(curlew))
        maker()
    except Missing as error:
        pytest.skip(error.message)
    return maker


def test_the_cortex_m0_code_agrees(curlew: Table, cortex_image: cortex.CortexMaker) -> None:
    outcome = lockstep_in_parts(curlew, "Cortex-M0+", cortex_image, CORTEX, seed=5)
    assert outcome.difference == "" and outcome.scans >= CORTEX


def test_the_cortex_m0_code_agrees_on_a_table_that_uses_everything(cortex_image: cortex.CortexMaker) -> None:
    table = rich_table()
    given, wanted = batch(table)
    target = cortex.CortexMaker(cortex.image(table), Sizes.of(table))()
    assert target(given, len(given) // Sizes.of(table).operation) == wanted


@pytest.fixture(scope="module")
def avr_library() -> object:
    try:
        avr.compiler()
        return avr.simulator_library()
    except Missing as error:
        pytest.skip(f"missing tool: {error.message}")


@pytest.mark.parametrize("which", ["curlew", "rich"])
def test_the_avr_code_agrees(which: str, curlew: Table, avr_library: object) -> None:
    table = curlew if which == "curlew" else rich_table()
    maker = avr.AvrMaker(avr.image(table), avr_library, Sizes.of(table))
    outcome = lockstep_in_parts(table, "AVR", maker, AVR if which == "curlew" else 4_000, seed=7)
    assert outcome.difference == "" and outcome.scans >= 4_000


def test_the_curlew_box_fits_in_two_hundred_bytes_of_ram_and_a_twentieth_of_its_period(curlew: Table, avr_library: object) -> None:
    from sequencer.firmware.figures import avr_figures

    figures = avr_figures(curlew, 300)
    assert figures.ram < 200
    assert 0 < figures.share_of_period < 0.05


def test_the_runtime_needs_the_ram_its_struct_says(club: Table, compiler: Compiler) -> None:
    assert 60 < ram(library(club, compiler)) < 160


def test_a_planted_mistake_is_told_with_inputs_and_both_results(club: Table, compiler: Compiler) -> None:
    files = host_texts(club)
    files["follow.c"] = files["follow.c"].replace("count < hold", "count <= hold")
    given, wanted = batch(club)
    got = host_run(club, compiler, files, given)
    assert got != wanted
    from sequencer.firmware.conformance import difference

    told = difference(club, given, wanted, got)
    assert "Python scan:" in told and "this target:" in told and "scan of key" in told
