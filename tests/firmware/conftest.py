"""What the firmware tests share: the example files' tables, and compilers looked up in one way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sequencer.description import load
from sequencer.firmware.toolchain import Compiler, Missing, host_compiler, zig
from sequencer.table import Table, compile_table

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture(scope="session")
def curlew() -> Table:
    return compile_table(load(CONFIGS / "curlew.yaml"))


@pytest.fixture(scope="session")
def club() -> Table:
    return compile_table(load(CONFIGS / "club.yaml"))


@pytest.fixture(scope="session")
def compiler() -> Compiler:
    """Whichever C compiler this machine has."""
    try:
        return host_compiler()
    except Missing as error:
        pytest.skip(error.message)


@pytest.fixture(scope="session")
def zig_compiler() -> Compiler:
    try:
        return zig()
    except Missing as error:
        pytest.skip(error.message)


@pytest.fixture(scope="session")
def gcc(outside_tool: Callable[[str], str]) -> Compiler:
    return Compiler("gcc", (outside_tool("gcc"),))
