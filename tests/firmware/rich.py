"""A small table that uses everything the runtime can do, and the means to run the C on it."""

from __future__ import annotations

import subprocess
from pathlib import Path

from sequencer.firmware.conformance import operations_of
from sequencer.firmware.host import HostMaker, texts
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import WARNINGS, Compiler, build
from sequencer.table.table import (
    NO_TARGET,
    AnalogSpec,
    Bit,
    ContactSpec,
    InhibitSpec,
    Kind,
    Literals,
    OutputSpec,
    Row,
    StateSpec,
    Table,
)


def rich_table() -> Table:
    """Every kind of condition with and without its options, every kind of row, rests of every kind."""
    contacts = (ContactSpec("key", 2), ContactSpec("button", 0), ContactSpec("gate", 5))
    analogs = (
        AnalogSpec("low", 10, 50, 970, 3000, -100), AnalogSpec("twin", 10, 60, 960, 3000, -100),
        AnalogSpec("other", 12, 200, 3900, -700, 2_800_000),
    )  # fmt: skip
    outputs = (
        OutputSpec("fill", ("shut", "open"), 0, 0), OutputSpec("dump", ("open", "shut"), 0, 0),
        OutputSpec("aim", ("left", "middle", "right", "up"), None, 0), OutputSpec("brake", ("free", "held"), 1, 1),
        OutputSpec("lamp", ("dark", "lit"), 0, 0),
    )  # fmt: skip
    bits = (
        Bit("key_in", Kind.CONTACT, 0), Bit("key_out", Kind.CONTACT, 0, wanted=False),
        Bit("gate_long", Kind.CONTACT, 2, hold=7, drop=4), Bit("pressed", Kind.PRESS, 1),
        Bit("let_go", Kind.PRESS, 0, wanted=False),
        Bit("high", Kind.AT_LEAST, 0, on=500, off=450), Bit("high_late", Kind.AT_LEAST, 1, on=600, off=600, hold=3),
        Bit("empty", Kind.BELOW, 0, on=120, off=140, drop=5), Bit("empty_long", Kind.BELOW, 2, on=900, off=900, hold=6),
        Bit("ok", Kind.VALID, 0), Bit("bad", Kind.VALID, 2, wanted=False, hold=2),
        Bit("heard", Kind.HEARD, 0, on=4), Bit("heard_long", Kind.HEARD, 0, on=9, drop=3),
        Bit("apart", Kind.DIFFERS, 0, 1, on=90_001), Bit("alike", Kind.DIFFERS, 0, 1, on=30_000, wanted=False, hold=1),
        Bit("scaled", Kind.DIFFERS, 0, 2, on=500_000), Bit("scaled_near", Kind.DIFFERS, 2, 1, on=900_000, wanted=False),
        Bit("filling", Kind.STATE, 1), Bit("open", Kind.COMMAND, 0, on=1),
        Bit("rising", Kind.CHANGE, 0, 17, on=20, off=8), Bit("flat", Kind.CHANGE, 0, 18, on=5, off=4, wanted=False),
        Bit("sinking", Kind.CHANGE, 2, 0, on=30, off=3, sign=-1, hold=2),
        Bit("there", Kind.TARGET, 0, off=10), Bit("there_long", Kind.TARGET, 1, off=0, hold=2, drop=3),
        Bit("both", Kind.ALL, set=Literals(0b11 << 8 | 1, 1 << 8 | 1), hold=2),
        Bit("either", Kind.ALL, set=Literals(0b101 << 5, 0b101 << 5, invert=True)),
        Bit("noted", Kind.MEMORY, set=Literals(1 << 3, 1 << 3), clear=Literals(1 << 1, 1 << 1)),
        Bit("soon_gone", Kind.MEMORY, on=6, set=Literals(1 << 4, 1 << 4), clear=Literals(1 << 9, 0)),
        Bit("for_ever", Kind.MEMORY, set=Literals(1 << 13, 1 << 13), clear=Literals(0, 1)),
        Bit("not_filling", Kind.STATE, 1, wanted=False, drop=2), Bit("not_left", Kind.COMMAND, 2, on=0, wanted=False),
    )  # fmt: skip
    index = {bit.name: i for i, bit in enumerate(bits)}

    def row(state: int, wanted: str, least: int, to: int, origin: str = "") -> Row:
        care = want = 0
        for word in wanted.split():
            care |= 1 << index[word.strip("!")]
            want |= 0 if word.startswith("!") else 1 << index[word]
        return Row(state, care, want, least, to, origin or f"s{state} exit")

    trips = [("key_out let_go", 0, 0, "trip key"), ("bad !ok", 3, 4, "trip sensor"), ("apart scaled", 0, 4, "trip apart")]
    groups = [
        [row(0, "pressed key_in heard ok", 5, 1), row(0, "there_long noted", 300, 2), row(0, "for_ever", 0, 4), row(0, "soon_gone", 0, 4),
         row(0, "let_go !high", 0, 3)],
        [row(1, *t) for t in trips] + [row(1, "rising high", 0, 2), row(1, "flat", 10, 0), row(1, "", 70_000, 3)],
        [row(2, *t) for t in trips] + [row(2, "there both", 0, 3), row(2, "pressed", 2, 2), row(2, "", 40, 4)],
        [row(3, *t) for t in trips[1:]] + [row(3, "scaled_near !either", 0, 4), row(3, "soon_gone", 0, 1), row(3, "", 200, 0)],
        [row(4, "gate_long empty", 4, 0), row(4, "sinking for_ever", 0, 3), row(4, "", 16_000_000, 1)],
        [],
    ]
    rows = tuple(r for group in groups for r in group)
    codes = [(0, 0, 0, 1, 0), (1, 1, 1, 0, 1), (0, 1, 2, 0, 1), (1, 0, 3, 1, 0), (0, 0, 1, 1, 1), (0, 1, 0, 1, 0)]
    targets = [(NO_TARGET,) * 3, (300, 200, NO_TARGET), (400, NO_TARGET, 77), (0, 700, 5), (5, 6, 7), (900, 900, 900)]
    states, first = [], 0
    for i, group in enumerate(groups):
        states.append(StateSpec(f"s{i}", codes[i], targets[i], first, first + len(group)))
        first += len(group)
    inhibits = (
        InhibitSpec(0, 0, 1 << index["bad"], 1 << index["bad"], "fill stays shut"),
        InhibitSpec(0, 1, 1 << index["noted"] | 1, 1 << index["noted"], "fill stays open"),
        InhibitSpec(2, 3, 1 << index["not_left"] | 1 << index["heard_long"], 1 << index["heard_long"], "aim stays up"),
    )
    return Table("Rich", 7, 20, contacts, analogs, ("link",), outputs, bits, tuple(states), rows, inhibits)


def host_run(table: Table, compiler: Compiler, files: dict[str, str], given: bytes, flags: tuple[str, ...] = ("-O1",)) -> bytes:
    """Traces of a host library built from `files`."""
    path = build(compiler, files, [*WARNINGS, *flags, "-shared", "-fPIC"], "host.so")
    return HostMaker.of(table, path)()(given, len(given) // Sizes.of(table).operation)


def program_run(compiler: Compiler, files: dict[str, str], given: bytes, flags: tuple[str, ...]) -> subprocess.CompletedProcess[bytes]:
    """A program built from `files`, fed with operations; its output is the traces."""
    path = build(compiler, files, [*WARNINGS, *flags], "program")
    return subprocess.run([path], input=given, capture_output=True, timeout=120, check=False)


def host_texts(table: Table) -> dict[str, str]:
    return texts(table, "host.c")


def batch(table: Table, seed: int = 1, scans: int = 3000) -> tuple[bytes, bytes]:
    given, wanted, _ = operations_of(table, seed, scans)
    return given, wanted


def program_path(compiler: Compiler, files: dict[str, str], flags: tuple[str, ...]) -> Path:
    return build(compiler, files, [*WARNINGS, *flags], "program")
