"""Every example in the README is run; what it shows must be what is printed.

In an example a line that is only '…' stands for any number of left-out lines. How long something took, and
the moment at which it was done, may differ; nothing else may.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BLOCK = re.compile(r"^```console\n(.*?)^```", re.MULTILINE | re.DOTALL)


def examples() -> list[tuple[str, list[str]]]:
    """(command line, lines shown) of every console example."""
    found = []
    for block in BLOCK.findall((ROOT / "README.md").read_text(encoding="utf-8")):
        first, *shown = block.splitlines()
        assert first.startswith("$ "), f"an example starts with '$ ': {first}"
        found.append((first[2:], shown))
    return found


def matches(shown: list[str], printed: list[str]) -> str:
    """Empty when the shown lines are the printed ones but for '…' gaps; else what differs."""
    at, gap = 0, False
    for line in shown:
        if line.strip() == "…":
            gap = True
            continue
        if gap:
            while at < len(printed) and not same(line, printed[at]):
                at += 1
        if at >= len(printed) or not same(line, printed[at]):
            return f"README shows {line!r}, the command prints {printed[at] if at < len(printed) else '(end)'!r}"
        at, gap = at + 1, False
    return "" if gap or at == len(printed) else f"the command goes on with {printed[at]!r}"


def same(shown: str, printed: str) -> bool:
    """Equal but for how long something took, and the moment it was done."""
    return _timeless(shown) == _timeless(printed)


def _timeless(line: str) -> str:
    line = re.sub(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d", "MOMENT", line.rstrip())
    return re.sub(r"\b\d+(\.\d+)? +s$|, \d+\.\d s\b", " N s", line)


RUNNABLE = [example for example in examples() if example[0].startswith("tools/run ")]


def test_the_readme_has_an_example_for_every_command() -> None:
    from sequencer.cli.main import COMMANDS

    shown = {line.split()[1] for line, _ in RUNNABLE}
    assert shown == set(COMMANDS)


@pytest.mark.parametrize(("line", "shown"), RUNNABLE, ids=[line for line, _ in RUNNABLE])
def test_an_example_prints_what_the_readme_shows(line: str, shown: list[str], tmp_path: Path) -> None:
    words = line.split()[1:]
    (tmp_path / "configs").symlink_to(ROOT / "configs")
    environment = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb"}
    done = subprocess.run(
        [sys.executable, "-m", "sequencer", *words], capture_output=True, text=True, cwd=tmp_path, env=environment, timeout=300,
        stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stderr
    if shown:
        problem = matches(shown, done.stdout.splitlines())
        assert not problem, f"{problem}\n--- printed ---\n{done.stdout}\n{done.stderr}"
