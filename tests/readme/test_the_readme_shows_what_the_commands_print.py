"""Every example in the README is run; what it shows must be what is printed.

In an example a line that is only '…' stands for any number of left-out lines. How long something took, and
the moment at which it was done, may differ; nothing else may.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

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


SLOW = {"pack"}  # takes minutes on the Curlew pad; tests/cli/test_pack.py runs it on smaller ones
RUNNABLE = [example for example in examples() if example[0].startswith("tools/run ")]


def test_the_readme_has_an_example_for_every_command() -> None:
    from sequencer.cli.main import COMMANDS

    shown = {line.split()[1] for line, _ in RUNNABLE}
    assert shown == set(COMMANDS)


def test_every_example_prints_what_the_readme_shows(tmp_path: Path) -> None:
    """In order and in one folder, as a reader would: a later example may use what an earlier one wrote."""
    (tmp_path / "configs").symlink_to(ROOT / "configs")
    environment = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb"}
    problems = []
    for line, shown in RUNNABLE:
        if line.split()[1] in SLOW:
            continue
        done = subprocess.run(
            [sys.executable, "-m", "sequencer", *shlex.split(line)[1:]], capture_output=True,
            text=True, cwd=tmp_path, env=environment, timeout=300, stdin=subprocess.DEVNULL, check=False,
        )  # fmt: skip
        problem = matches(shown, done.stdout.splitlines()) if done.returncode in (0, 1) else f"exit {done.returncode}: {done.stderr}"
        if problem:
            problems.append(f"{line}: {problem}")
    assert not problems, "\n".join(problems)
