"""Compilers on this machine, and one way to run them with a cache of what they made."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from sequencer.errors import SequencerError


class Missing(SequencerError):
    """A compiler or emulator is not on this machine; the message says how to get it."""


class DoesNotBuild(SequencerError):
    """The compiler refused; the message carries its words."""


@dataclass(frozen=True)
class Compiler:
    """A C compiler: `command` starts it, `name` is what people call it."""

    name: str
    command: tuple[str, ...]


def cache_folder() -> Path:
    """Where built artefacts are kept: SEQUENCER_CACHE, else the user's cache folder."""
    own = os.environ.get("SEQUENCER_CACHE")
    home = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    return Path(own) if own else Path(home) / "sequencer"


def zig() -> Compiler:
    """The compiler of the package index; raises Missing."""
    if importlib.util.find_spec("ziglang") is None:
        raise Missing("no C compiler from the package index: install the package `ziglang` beside this tool (pip install ziglang)")
    return Compiler("zig cc", (sys.executable, "-m", "ziglang", "cc"))


def host_compiler() -> Compiler:
    """This machine's own C compiler, else the one of the package index; raises Missing."""
    for name in ("gcc", "clang", "cc"):
        path = shutil.which(name)
        if path:
            return Compiler(name, (path,))
    return zig()


def build(compiler: Compiler, texts: Mapping[str, str], flags: Sequence[str], product: str, libraries: Sequence[str] = ()) -> Path:
    """Compile every .c of `texts` with `flags` into `product` and return its path; made once, kept in the cache.

    Raises DoesNotBuild with the compiler's words.
    """
    said = repr((compiler.command, sorted(texts.items()), tuple(flags), product, tuple(libraries)))
    folder = cache_folder() / "build" / sha256(said.encode()).hexdigest()[:24]
    made = folder / product
    if made.is_file():
        return made
    part = folder.with_name(f"{folder.name}.{os.getpid()}")
    part.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (part / name).write_text(text, encoding="utf-8")
    sources = [name for name in texts if name.endswith((".c", ".S"))]
    zig_cache = str(cache_folder() / "zig")
    done = subprocess.run(
        [*compiler.command, *flags, *sources, *libraries, "-o", product], cwd=part, capture_output=True, text=True,
        env={**os.environ, "ZIG_GLOBAL_CACHE_DIR": zig_cache, "ZIG_LOCAL_CACHE_DIR": zig_cache},
    )  # fmt: skip
    if done.returncode or not (part / product).is_file():
        shutil.rmtree(part, ignore_errors=True)
        raise DoesNotBuild(f"{compiler.name} refused the C:\n{done.stderr.strip()}")
    try:
        part.rename(folder)
    except OSError:  # another process was first
        shutil.rmtree(part, ignore_errors=True)
    return made
