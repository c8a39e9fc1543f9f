"""The shape of the house: which way imports look, what stands at the top, how long a file may be."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "sequencer"
LONGEST = 350
FLOORS = {
    "cli": 7,
    "report": 6,  # draws what sizing works out
    "sizing": 5,  # asks the proof for its races
    "trials": 5,  # asks the proof and the crew's slips for their verdicts
    "proof": 4, "firmware": 4, "crew": 4, "records": 4,
    "simulation": 3,
    "machine": 2.5,  # steps the table by name
    "site": 2, "table": 2,
    "description": 1,
    "quantities": 0, "compilers": 0,
    "errors": -1,  # on the ground floor too, but quantities raises the one root error
}  # fmt: skip
DOORS = {"__init__", "__main__"}  # the package itself: its version (read by all) and its start (reads cli)
TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "sequencer", "configs", "tests", "tools", "LICENSE",
    ".gitignore", ".ci",
}  # fmt: skip


def room_of(path: Path, package: Path = PACKAGE) -> str:
    return path.relative_to(package).parts[0].removesuffix(".py")


def rooms_imported(source: str, module: tuple[str, ...], rooms: set[str]) -> Iterator[tuple[int, str]]:
    """Line and room of every import in `source`, wherever it stands; `module` is the dotted name of its package."""
    for node in ast.walk(ast.parse(source)):
        names: list[tuple[str, ...]] = []
        if isinstance(node, ast.Import):
            names = [tuple(alias.name.split(".")) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = module[: len(module) - node.level + 1] if node.level else ()
            origin = (*base, *(node.module.split(".") if node.module else ()))
            names = [(*origin, alias.name) for alias in node.names]
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in {"import_module", "__import__"} and isinstance(node.args[0].value, str):
                names = [tuple(node.args[0].value.split("."))]
        for name in names:
            if len(name) > 1 and name[0] == "sequencer" and name[1] in rooms:
                yield node.lineno, name[1]


def wrong_arrows(package: Path, floors: dict[str, int]) -> list[str]:
    """Every import from a room that is not strictly below; so no circle between rooms can stand either."""
    wrong = []
    for path in sorted(package.rglob("*.py")):
        room = room_of(path, package)
        if room in DOORS:
            continue
        module = ("sequencer", *path.relative_to(package).parent.parts)
        for line, other in rooms_imported(path.read_text(encoding="utf-8"), module, set(floors)):
            if other != room and floors[other] >= floors[room]:
                wrong.append(f"{path.relative_to(package)}:{line}: {room} imports {other}")
    return wrong


def tracked(*patterns: str) -> list[Path]:
    done = subprocess.run(["git", "ls-files", "-z", "--", *patterns], cwd=ROOT, capture_output=True, check=False)
    if done.returncode != 0:
        pytest.skip("not for this machine: this copy is no git checkout")
    return [ROOT / name for name in done.stdout.decode().split("\0") if name]


def test_every_room_has_a_floor() -> None:
    found = {room_of(path) for path in PACKAGE.rglob("*.py")} - DOORS
    assert found <= set(FLOORS), f"rooms the house does not know: {sorted(found - set(FLOORS))}"


def test_a_room_imports_only_from_rooms_strictly_below() -> None:
    assert wrong_arrows(PACKAGE, FLOORS) == []


@pytest.mark.parametrize(
    ("file", "source"),
    [
        ("site/gas.py", "from sequencer.simulation import trace\n"),
        ("site/gas.py", "import sequencer.table.rows\n"),
        ("site/gas.py", "def late():\n    from sequencer.proof import cuts\n"),
        ("site/gas.py", "from ..machine import Machine\n"),
        ("site/gas.py", "from .. import simulation\n"),
        ("site/gas.py", "from sequencer import cli\n"),
        ("site/__init__.py", "from ..proof import cuts\n"),
        ("errors.py", "from .quantities import parse\n"),
        ("site/gas.py", "import importlib\nimportlib.import_module('sequencer.report.page')\n"),
    ],
)
def test_an_arrow_that_runs_up_or_sideways_is_found(tmp_path: Path, file: str, source: str) -> None:
    (tmp_path / "site").mkdir()
    (tmp_path / file).write_text(source, encoding="utf-8")
    assert len(wrong_arrows(tmp_path, FLOORS)) == 1


@pytest.mark.parametrize("source", ["from .volume import Volume\n", "from sequencer.errors import Finding\n"])
def test_an_arrow_inside_a_room_or_down_is_let_through(tmp_path: Path, source: str) -> None:
    (tmp_path / "site").mkdir()
    (tmp_path / "site/gas.py").write_text(source, encoding="utf-8")
    assert wrong_arrows(tmp_path, FLOORS) == []


def test_every_room_says_at_its_door_what_it_is_for() -> None:
    doors = [PACKAGE / "__init__.py", *(PACKAGE / room / "__init__.py" for room in FLOORS if (PACKAGE / room).is_dir())]
    silent = [
        str(door.relative_to(ROOT))
        for door in doors
        if not door.is_file() or not ast.get_docstring(ast.parse(door.read_text(encoding="utf-8")))
    ]
    assert silent == []


def test_the_top_level_is_exactly_what_the_house_names() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in tracked()} == TOP


def test_no_source_file_is_longer_than_the_ceiling() -> None:
    files = [
        path
        for path in tracked("sequencer", "tools")
        if path.is_file()
        and (path.suffix in {".py", ".c", ".h"} or path.parent.name == "tools")
    ]
    assert files
    lengths = {str(path.relative_to(ROOT)): len(path.read_bytes().splitlines()) for path in files}
    assert {name: length for name, length in lengths.items() if length > LONGEST} == {}
