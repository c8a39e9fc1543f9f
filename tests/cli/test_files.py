"""Files beside the description: what cannot be read or written is told before the work begins, with exit code 2."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sequencer.cli.main import main

ROOT = Path(__file__).resolve().parents[2]
CLUB = str(ROOT / "configs/club.yaml")


@pytest.mark.parametrize(
    "words",
    [
        ["run", CLUB, "--log"], ["run", CLUB, "--plot"], ["sizing", CLUB, "--plot"], ["checklist", CLUB, "--out"],
        ["draw", CLUB, "--out"], ["spread", CLUB, "--plot"], ["spread", CLUB, "--csv"], ["shakedown", CLUB, "--save"],
        ["shakedown", CLUB, "--snippet"], ["rehearse", CLUB, "--plain", "--record"],
    ],
)  # fmt: skip
def test_a_place_that_cannot_be_written_is_refused_at_once(words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ending = "md" if words[0] == "checklist" else "svg"
    for place, found in ((f"none/x.{ending}", "there is no folder"), (f"folder.{ending}", "this is a folder")):
        (tmp_path / f"folder.{ending}").mkdir(exist_ok=True)
        assert main([*words, str(tmp_path / place)]) == 2
        said = capsys.readouterr()
        assert said.out == "" and f"{words[-1]} " in said.err and found in said.err
        assert "required: " in said.err and "to mend:  " in said.err


@pytest.mark.parametrize("words", [["pack", CLUB, "--out"], ["export", CLUB, "--to", "c", "--out"], ["prove", CLUB, "--keep"]])
def test_a_file_in_the_way_of_a_folder_is_refused_and_kept(words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "taken").write_text("mine")
    assert main([*words, str(tmp_path / "taken/inside")]) == 2
    assert "this is a file" in capsys.readouterr().err
    assert (tmp_path / "taken").read_text() == "mine"


@pytest.mark.parametrize(("command", "ending"), [("checklist", "docx"), ("draw", "tiff"), ("run", "pdf"), ("sizing", "pdf"), ("spread", "pdf")])
def test_an_ending_that_says_nothing_is_refused(command: str, ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    option = "--out" if command in ("checklist", "draw") else "--plot"
    assert main([command, CLUB, option, str(tmp_path / f"x.{ending}")]) == 2
    assert "a name that ends in ." in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("content", "found"), [(b"\xa0\xff\x00", "byte 1 is no UTF-8 text"), (b"# only a remark\n", "no order stands in it"), (b"fly\n", ":1: 'fly' is not understood")]
)
def test_a_script_that_is_none_is_told_with_its_place(content: bytes, found: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "script").write_bytes(content)
    assert main(["rehearse", CLUB, "--script", str(tmp_path / "script")]) == 2
    assert found in capsys.readouterr().err


def test_a_record_that_is_none_is_told_without_the_readers_own_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for content in (b"\xa0\xff\n", b"hello\n", b"[]\n"):
        (tmp_path / "record").write_bytes(content)
        assert main(["debrief", str(tmp_path / "record")]) == 2
        said = capsys.readouterr().err
        assert ":1: " in said and "required: a file that `rehearse --record` wrote" in said and "codec" not in said


def test_a_file_that_is_not_there_says_how_to_mend_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["debrief", str(tmp_path / "none.jsonl")]) == 2
    assert "to mend:  look at the name" in capsys.readouterr().err


def test_a_terminal_without_our_letters_shows_the_nearest_it_has() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "sequencer", "checklist", CLUB], capture_output=True, cwd=ROOT, env={**os.environ, "PYTHONIOENCODING": "ascii"}, check=True,
    )  # fmt: skip
    line = done.stdout.decode("ascii").splitlines()[2]
    assert line.startswith("Revision 1 - table checksum ")


@pytest.mark.parametrize("words", [["meaning"], ["schema"], ["run", CLUB]])
def test_a_pager_that_is_left_early_is_no_finding(words: list[str]) -> None:
    process = subprocess.Popen([sys.executable, "-m", "sequencer", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT)
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 141 and said == b""
