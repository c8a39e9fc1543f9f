"""The launch pack: everything in one folder, and never better than its parts."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sequencer.cli import main as door
from sequencer.cli import pack

CURLEW = str(Path(__file__).resolve().parents[2] / "configs" / "curlew.yaml")


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pack with its quick parts only: the checklist, and a command that is not there."""

    def few(out: Path, drills: object = ()) -> tuple[pack.Part, ...]:
        return (
            pack.Part("checklist", "Checklist", ("--out", str(out / "checklist.md")), makes=("checklist.md",)),
            pack.Part("no_such_command", "Something later", needed=False),
        )

    monkeypatch.setattr(pack, "parts", few)


@pytest.mark.usefixtures("quick")
def test_a_pack_whose_needed_parts_pass_passes_and_still_names_what_is_missing(tmp_path: Path) -> None:
    assert door.main(["pack", CURLEW, "--out", str(tmp_path / "pack")]) == 0
    index = (tmp_path / "pack" / "index.md").read_text(encoding="utf-8")
    assert "not in this version" in index
    assert (tmp_path / "pack" / "description.yaml").read_text(encoding="utf-8") == Path(CURLEW).read_text(encoding="utf-8")


def test_a_needed_part_that_is_missing_fails_the_pack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pack, "parts", lambda out, drills=(): (pack.Part("no_such_command", "Needed"),))
    assert door.main(["pack", CURLEW, "--out", str(tmp_path)]) == 1
    assert "NOT READY" in (tmp_path / "index.md").read_text(encoding="utf-8")


def test_a_part_that_fails_fails_the_pack_and_leaves_its_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bad = pack.Part("checklist", "Checklist", ("--format", "docx"), text="said.txt")
    monkeypatch.setattr(pack, "parts", lambda out, drills=(): (bad,))
    assert door.main(["pack", CURLEW, "--out", str(tmp_path)]) == 1
    assert "docx" in (tmp_path / "said.txt").read_text(encoding="utf-8")
    assert "FAIL (exit 2)" in (tmp_path / "index.md").read_text(encoding="utf-8")


def test_a_part_that_says_pass_but_leaves_no_file_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    silent = pack.Part("checklist", "Checklist", makes=("elsewhere.md",))
    monkeypatch.setattr(pack, "parts", lambda out, drills=(): (silent,))
    (tmp_path / "elsewhere.md").write_text("left by yesterday's pack")
    assert door.main(["pack", CURLEW, "--out", str(tmp_path)]) == 1
    assert not (tmp_path / "elsewhere.md").exists()


@pytest.mark.usefixtures("quick")
def test_json_is_one_object_on_standard_output(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert door.main(["pack", CURLEW, "--out", str(tmp_path), "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["verdict"] == "pass"
    assert [part["result"] for part in whole["result"]["parts"]] == ["pass", "missing"]


def test_a_file_that_cannot_be_used_makes_no_pack(tmp_path: Path) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("title: only this\n")
    assert door.main(["pack", str(bad), "--out", str(tmp_path / "pack")]) == 2
    assert not (tmp_path / "pack").exists()


def test_the_full_pack_holds_every_part_of_the_job() -> None:
    commands = [part.command for part in pack.parts(Path("out")) if part.needed]
    assert [part.title for part in pack.parts(Path("out"), ["a", "b"]) if part.title.startswith("Drill")] == ["Drill a", "Drill b"]
    assert list(dict.fromkeys(commands)) == ["check", "run", "prove", "export", "checklist"]
