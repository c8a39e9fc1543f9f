"""The launch pack: everything in one folder, and never better than its parts."""

from __future__ import annotations

import contextlib
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.cli import export, pack
from sequencer.cli import main as door
from sequencer.cli.shared import Ended
from sequencer.firmware.conformance import Agreement
from sequencer.firmware.export import Exported
from sequencer.report import pack as report

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
    assert "this version has no such command" in index
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
    assert "| FAIL |" in (tmp_path / "index.md").read_text(encoding="utf-8")


def test_a_part_that_says_pass_but_leaves_no_file_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    silent = pack.Part("checklist", "Checklist", makes=("elsewhere.md",))
    monkeypatch.setattr(pack, "parts", lambda out, drills=(): (silent,))
    (tmp_path / "elsewhere.md").write_text("left by yesterday's pack")
    assert door.main(["pack", CURLEW, "--out", str(tmp_path)]) == 1
    assert not (tmp_path / "elsewhere.md").exists()


@pytest.mark.usefixtures("quick")
def test_a_file_changed_while_the_pack_is_made_fails_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "pad.yaml"
    file.write_bytes(Path(CURLEW).read_bytes())
    do = pack._do

    def meddling(part: pack.Part, file: Path, out: Path) -> object:
        file.write_bytes(file.read_bytes() + b"\n# a remark\n")
        return do(part, file, out)

    monkeypatch.setattr(pack, "_do", meddling)
    assert door.main(["pack", str(file), "--out", str(tmp_path / "pack")]) == 1
    assert "changed while the pack was made" in (tmp_path / "pack" / "index.md").read_text(encoding="utf-8")


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
    assert set(commands) == {"check", "checklist", "run", "sizing", "export", "steps", "prove"}


def test_the_list_on_the_screen_fits_eighty_columns(tmp_path: Path, capsys: pytest.CaptureFixture[str], quick: None) -> None:
    assert door.main(["pack", CURLEW, "--out", str(tmp_path)]) == 0
    said = capsys.readouterr()
    assert all(len(line) <= 80 for line in said.out.splitlines() if str(tmp_path) not in line)
    assert "pass" in said.out and "[1 of 2]" in said.err


CLUB = str(Path(CURLEW).parent / "club.yaml")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["check", CURLEW], "nothing found in the file"),
        (["check", str(Path(CURLEW).parent / "planted.yaml")], "warnings found in the file"),
        (["run", CLUB, "--quiet"], "ended after "),
        (["sizing", CURLEW], "; stand-off 30.5 m"),
        (["prove", CLUB, "--faults", "0"], "hold in this model"),
        (["steps", str(Path(CURLEW).parent / "bench.yaml"), "--line", "10"], "hazards that only a human step prevents: "),
    ],
)
def test_each_part_says_its_verdict_in_one_sentence(words: list[str], sentence: str) -> None:
    ended = door.run(words)
    assert sentence in ended.says and "\n" not in ended.says


def test_bad_input_says_in_one_sentence_what_is_wrong(tmp_path: Path) -> None:
    assert door.run(["sizing", str(tmp_path / "none.yaml")]).says.startswith(str(tmp_path / "none.yaml"))
    assert door.run(["check", CLUB, "--no-such-option"]).says == "the command was not understood"
    (tmp_path / "bad.yaml").write_text("title: only this\n")
    assert door.run(["check", str(tmp_path / "bad.yaml")]).says.endswith("in the file, which cannot be used")


def test_a_pack_that_is_interrupted_stops_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def stopped(words: list[str]) -> Ended:
        asked.append(words)
        return Ended(door.INTERRUPTED, "interrupted")

    real = door.run
    monkeypatch.setattr(door, "run", lambda words: real(words) if words[0] == "pack" else stopped(words))
    assert door.run(["pack", CLUB, "--out", str(tmp_path)]).code == 130
    assert len(asked) == 1 and not (tmp_path / "index.md").exists()


class Screen(io.StringIO):
    """Standard error as a terminal."""

    def isatty(self) -> bool:
        return True


def test_a_part_shows_how_far_it_is_on_the_packs_own_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = pack.Part("prove", "Interlocks", ("--faults", "0"), text="prove.txt")
    monkeypatch.setattr(pack, "parts", lambda out, drills=(): (one,))
    screen = Screen()
    with contextlib.redirect_stderr(screen):
        assert door.main(["pack", CLUB, "--out", str(tmp_path)]) == 0
    assert "[1 of 1] Interlocks … depth " in screen.getvalue()
    assert screen.getvalue().splitlines()[-1].startswith("[1 of 1] Interlocks … pass, ")
    assert "depth" not in (tmp_path / "prove.txt").read_text(encoding="utf-8")


def test_drills_that_passed_are_one_line_and_one_that_failed_stands_apart() -> None:
    def drill(name: str, result: report.Result) -> report.Done:
        return report.Done("run", f"Drill {name}", result, 0, 1.0, (f"drills/{name}.txt",), True, "ended")

    told = report.listing(report.Pack("p", "Pad", 1, "0", (drill("a", "pass"), drill("b", "fail"), drill("c", "pass"))))
    assert "2 drills of the file ended as it says" in told
    assert "FAIL" in told and "Drill b" in told and "Drill a" not in told
    assert "NOT READY: 1 of 3" in told


def test_an_export_that_differs_is_never_told_as_agreed() -> None:
    fine = Agreement("this machine (gcc)", 1000, 10, 3, 3)
    result = Exported("Pad", 1, "0", 9, 2, 3, 1, 20, Path("x"), verified=True, agreements=[fine, replace(fine, target="Cortex-M0+", difference="row 3")])
    assert export._sentence(result) == "this machine (gcc): 1,000 scans agreed; Cortex-M0+ DIFFERS"
