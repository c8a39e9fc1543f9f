"""The plugin as a user has it: a built wheel, installed apart from this checkout, run in a folder that holds one file."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BUILD = "import sys; from setuptools.build_meta import build_wheel; print(build_wheel(sys.argv[1]))"


@pytest.fixture(scope="session")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The python of an environment that holds the built package, and its dependencies from the one that runs the tests."""
    source, out, home = (tmp_path_factory.mktemp(name) for name in ("source", "wheel", "home"))
    shutil.copytree(ROOT / "sequencer", source / "sequencer", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source / name)
    built = subprocess.run([sys.executable, "-c", BUILD, str(out)], cwd=source, capture_output=True, text=True)
    assert built.returncode == 0, built.stdout + built.stderr
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(home / "env")], check=True)
    python = home / "env" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    asked = subprocess.run([str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], check=True, capture_output=True, text=True)
    site = Path(asked.stdout.strip())
    with zipfile.ZipFile(next(out.glob("*.whl"))) as wheel:
        wheel.extractall(site)
    # the lines of a .pth name folders; the .pth files within those are not read, so the checkout stays out of sight
    (site / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return python


def run(python: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    kept = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTEST_ADDOPTS")}
    command = [str(python), "-m", "pytest", "-p", "no:cacheprovider", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, env={**kept, "COLUMNS": "100"})


def test_the_installed_package_is_not_this_checkout(installed: Path, tmp_path: Path) -> None:
    asked = subprocess.run([str(installed), "-c", "import sequencer; print(sequencer.__file__)"], cwd=tmp_path, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": ""})
    assert asked.returncode == 0 and str(ROOT) not in asked.stdout


def test_pytest_with_a_pad_works_in_a_clean_folder(installed: Path, tmp_path: Path) -> None:
    """Every kind of item, each with a readable name; what the file claims passes."""
    shutil.copy(ROOT / "configs/club.yaml", tmp_path)
    listed = run(installed, tmp_path, "--pad", "club.yaml", "--collect-only", "-q")
    assert listed.returncode == 0, listed.stdout + listed.stderr
    for name in ("reads", "day", "interlock[stop_stops]", "drill[stopped]", "step[3 skip]"):
        assert f"club.yaml::{name}" in listed.stdout
    done = run(installed, tmp_path, "--pad", "club.yaml", "--pad-faults", "0", "-q", "-k", "reads or day or finding or interlock or stopped")
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"\d+ passed", done.stdout)


def test_a_weakened_interlock_fails_there_with_what_is_wrong_and_where(installed: Path, tmp_path: Path) -> None:
    text = (ROOT / "configs/club.yaml").read_text(encoding="utf-8")
    weak = text.replace("  stop:     {everywhere_but: [dumping,", "  stop:     {everywhere_but: [filling, dumping,")
    assert weak != text
    (tmp_path / "club.yaml").write_text(weak, encoding="utf-8")
    done = run(installed, tmp_path, "--pad", "club.yaml", "--pad-faults", "0", "-q", "-k", "interlock and stop_stops")
    assert done.returncode == 1
    assert "broken: " in done.stdout and "why it is there: " in done.stdout and re.search(r"club\.yaml:\d+", done.stdout)


def test_the_examples_of_the_readme_for_own_tests_run(installed: Path, tmp_path: Path) -> None:
    """Each python block under 'Your own tests' is a file of tests that passes on the club."""
    section = README[README.index("### Your own tests") :].partition("\n## ")[0]
    blocks = re.findall(r"```python\n(.*?)```", section, re.DOTALL)
    assert len(blocks) >= 2
    shutil.copy(ROOT / "configs/club.yaml", tmp_path)
    for number, block in enumerate(blocks):
        (tmp_path / f"test_own_{number}.py").write_text(block, encoding="utf-8")
    files = [f"test_own_{number}.py" for number in range(len(blocks))]
    done = run(installed, tmp_path, *files, "--pad", "club.yaml", "-q", "-k", "test_own")
    assert done.returncode == 0, done.stdout + done.stderr
    passed = re.search(r"(\d+) passed", done.stdout)
    assert passed and int(passed[1]) == section.count("\ndef test_")
