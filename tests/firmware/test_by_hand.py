"""The hand-written switch that the benchmark sets beside the table is the same machine."""

from __future__ import annotations

from pathlib import Path

from sequencer.description import load
from sequencer.firmware.toolchain import Compiler
from sequencer.table import compile_table
from tests.firmware.rich import batch, host_run, host_texts

FOLDER = Path(__file__).resolve().parents[2] / "tools/benchmarks/firmware_by_hand"


def test_the_hand_written_switch_agrees_with_the_python_scan(compiler: Compiler) -> None:
    table = compile_table(load(FOLDER / "pad.yaml"))
    files = {k: v for k, v in host_texts(table).items() if k not in ("follow.c", "follow_table.c")}
    files["by_hand.c"] = (FOLDER / "by_hand.c").read_text()
    given, wanted = batch(table, seed=2, scans=60_000)
    assert host_run(table, compiler, files, given) == wanted
