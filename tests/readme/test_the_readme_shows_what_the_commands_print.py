"""Every example in the README is run; what it shows must be what is printed.

In an example the line '…' stands for the lines left out between the first and the last. How long something took, and
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
    """Empty when the shown lines are the printed ones but for one '…' gap; else what differs."""
    if "…" in shown:
        gap = shown.index("…")
        tail = len(shown) - gap - 1
        if len(printed) < gap + tail:
            return f"only {len(printed)} lines are printed"
        printed = [*printed[:gap], "…", *printed[len(printed) - tail :]]
    for ours, theirs in zip(shown, printed, strict=False):
        if not same(ours, theirs):
            return f"README shows {ours!r}, the command prints {theirs!r}"
    return "" if len(shown) == len(printed) else f"README shows {len(shown)} lines, the command prints {len(printed)}"


def same(shown: str, printed: str) -> bool:
    """Equal but for how long something took, and the moment it was done."""
    return _timeless(shown) == _timeless(printed)


def _timeless(line: str) -> str:
    line = re.sub(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d", "MOMENT", line.rstrip())
    line = re.sub(r"\d+ s \([\d,]+ trials a minute\)", "N s (N trials a minute)", line)
    return re.sub(r"\b\d+(\.\d+)? +s$|, \d+\.\d s\b", " N s", line)


FINDS = {  # the examples that show a finding: exit code 1; every other one ends with 0, also where its middle is not shown
    "tools/run check configs/planted.yaml",
    'tools/run run configs/club.yaml --fault "release: jammed@100 s"',
}
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
        wanted = 1 if line in FINDS else 0
        problem = matches(shown, done.stdout.splitlines()) if done.returncode == wanted else f"exit {done.returncode}: {done.stderr}"
        if problem:
            problems.append(f"{line}: {problem}")
    assert not problems, "\n".join(problems)
