"""tools/run, tools/test and the environment they share; nothing is installed here."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def environment() -> ModuleType:
    spec = importlib.util.spec_from_file_location("environment_of_tools", ROOT / "tools/environment.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def checkout(tmp_path: Path) -> tuple[str, str]:
    """A checkout with an environment that has all but its stamps."""
    (tmp_path / "pyproject.toml").write_text("[project]\nname = 'a'\n")
    venv = tmp_path / ".venv"
    (venv / "bin").mkdir(parents=True)
    (venv / "bin/python").symlink_to(sys.executable)
    (venv / "pyvenv.cfg").write_text("version = 3.11.7\n")
    return str(tmp_path), str(venv)


def test_an_environment_without_its_stamp_is_not_ready(environment: ModuleType, checkout: tuple[str, str]) -> None:
    assert not environment.ready("run", *checkout)
    environment.write_stamp("run", *checkout)
    assert environment.ready("run", *checkout)
    assert not environment.ready("test", *checkout)


def test_an_environment_for_the_tests_serves_the_command_too(
    environment: ModuleType, checkout: tuple[str, str]
) -> None:
    environment.write_stamp("test", *checkout)
    assert environment.ready("run", *checkout)


@pytest.mark.parametrize("file", ["pyproject.toml", ".venv/pyvenv.cfg"])
def test_a_changed_project_or_python_makes_the_stamp_stale(
    environment: ModuleType, checkout: tuple[str, str], file: str
) -> None:
    environment.write_stamp("test", *checkout)
    with open(Path(checkout[0]) / file, "a") as changed:
        changed.write("# changed\n")
    assert not environment.ready("test", *checkout)
    assert not environment.ready("run", *checkout)


def test_an_environment_whose_python_is_gone_is_not_ready(
    environment: ModuleType, checkout: tuple[str, str]
) -> None:
    environment.write_stamp("run", *checkout)
    os.remove(Path(checkout[1]) / "bin/python")
    assert not environment.ready("run", *checkout)


def test_an_old_python_is_refused_in_plain_words(environment: ModuleType) -> None:
    with pytest.raises(environment.Refused, match=r"Python 3\.11 or later is needed; this is 3\.10"):
        environment.refuse_old_python((3, 10))
    environment.refuse_old_python((3, 11))


@pytest.mark.parametrize("tool", ["run", "test", "bench", "units"])
def test_every_tool_explains_itself_from_another_folder(tmp_path: Path, tool: str) -> None:
    word = "--tool-help" if tool == "run" else "--help"
    done = subprocess.run([sys.executable, ROOT / "tools" / tool, word], cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0
    assert done.stdout.startswith(f"tools/{tool} ")


def test_run_works_from_another_folder_and_passes_the_exit_code_on(tmp_path: Path) -> None:
    (tmp_path / "sequencer.py").write_text("raise SystemExit('taken for the package')\n")
    run = [sys.executable, ROOT / "tools/run"]
    fine = subprocess.run([*run, "--version"], cwd=tmp_path, capture_output=True, text=True)
    assert (fine.returncode, fine.stdout) == (0, "sequencer 0.1.0\n")
    misused = subprocess.run([*run, "--no-such-option"], cwd=tmp_path, capture_output=True, text=True)
    assert misused.returncode == 2
    assert "--no-such-option" in misused.stderr
