"""The exported C's own texts, what is built around it, and the programs that run it."""

from __future__ import annotations

import shutil
from pathlib import Path

from sequencer.compilers import Compiler, DoesNotBuild, Missing, build, cache_folder, host_compiler, zig

WARNINGS = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-pedantic", "-Werror")
PACKAGE = Path(__file__).parent
RUNTIME = ("follow.h", "follow.c")


def program(name: str, package: str) -> str:
    """Path of an outside program; raises Missing with the system package that brings it."""
    path = shutil.which(name)
    if path is None:
        raise Missing(f"`{name}` is not on this machine; the system package {package} brings it")
    return path


def runtime_texts() -> dict[str, str]:
    """The runtime's two files, {name: text}."""
    return {name: (PACKAGE / "runtime" / name).read_text(encoding="utf-8") for name in RUNTIME}


def around_texts() -> dict[str, str]:
    """What stands around the runtime in an export folder, {name: text}."""
    return {name: (PACKAGE / "around" / name).read_text(encoding="utf-8") for name in ("board.h", "main.c", "bench.c")}


def format_text() -> str:
    """The description of the table's bytes."""
    return (PACKAGE / "FORMAT.md").read_text(encoding="utf-8")


def harness_texts(*names: str) -> dict[str, str]:
    """Files of the conformance harness, {name: text}."""
    return {name: (PACKAGE / "harness" / name).read_text(encoding="utf-8") for name in names}


__all__ = [
    "RUNTIME", "WARNINGS", "Compiler", "DoesNotBuild", "Missing", "around_texts", "build", "cache_folder", "format_text",
    "harness_texts", "host_compiler", "program", "runtime_texts", "zig",
]  # fmt: skip
