"""With SEQUENCER_CI=1 no test is passed over in silence."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).resolve().parents[1] / "conftest.py"
TESTS = """
import pytest

def test_wants_a_tool(outside_tool):
    outside_tool("no-such-tool-anywhere")

@pytest.mark.skip(reason="someday")
def test_is_put_off():
    pass

@pytest.mark.skip(reason="not for this machine: it has no moon")
def test_is_for_elsewhere():
    pass

@pytest.mark.xfail(reason="known", strict=True)
def test_is_known_to_fail():
    assert False
"""


def outcome(folder: Path, insist: str) -> tuple[int, str]:
    shutil.copy(CONFTEST, folder)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--rootdir", folder, folder],
        cwd=folder, env={**os.environ, "SEQUENCER_CI": insist}, capture_output=True, text=True,
    )  # fmt: skip
    return done.returncode, done.stdout.splitlines()[-1]


def test_a_missing_tool_is_a_skip_at_home_and_a_failure_under_ci(tmp_path: Path) -> None:
    (tmp_path / "test_a.py").write_text(TESTS)
    code, line = outcome(tmp_path, "0")
    assert code == 0 and line.startswith("3 skipped, 1 xfailed")
    code, line = outcome(tmp_path, "1")
    assert code == 1 and line.startswith("1 failed, 1 skipped, 1 xfailed, 1 error")  # put off before it began


@pytest.mark.parametrize("source", ['pytest.skip("no", allow_module_level=True)', 'pytest.importorskip("nowhere_x")'])
def test_a_whole_module_passed_over_is_a_failure_under_ci(tmp_path: Path, source: str) -> None:
    (tmp_path / "test_b.py").write_text(f"import pytest\n{source}\n")
    assert "1 skipped" in outcome(tmp_path, "0")[1]
    code, line = outcome(tmp_path, "1")
    assert code not in (0, 5) and "1 error" in line


def test_every_exception_to_types_and_lint_gives_its_reason() -> None:
    root = Path(__file__).resolve().parents[2]
    listed = subprocess.run(["git", "ls-files", "-z", "--", "sequencer", "tests", "tools"], cwd=root, capture_output=True, check=False)
    if listed.returncode != 0:
        pytest.skip("not for this machine: this copy is no git checkout")
    bare = []
    for name in filter(None, listed.stdout.decode().split("\0")):
        path = root / name
        if not path.is_file() or (path.suffix != ".py" and path.parent.name != "tools"):
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            exception = re.search(r"# (?:type: ignore|noqa)(?:\[[\w, -]+\]|: [A-Z0-9, ]+)?(.*)", line)
            if exception and "re.search(" not in line and not re.search(r"[a-z]{2,}", exception[1]):
                bare.append(f"{name}:{number}")
    assert bare == []
