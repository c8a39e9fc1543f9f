"""The checklist command: to the screen, to a file, as JSON, and on bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sequencer.cli.main import main

CURLEW = str(Path(__file__).resolve().parents[2] / "configs" / "curlew.yaml")


def test_it_prints_every_phase_and_every_card(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["checklist", CURLEW]) == 0
    said = capsys.readouterr().out
    for title in ("## Power on", "## Latch", "## Launch", "### MISFIRE", "### HANG UP", "## Lamp card", "## Wiring"):
        assert title in said


def test_json_is_one_object_with_the_usual_keys(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["checklist", CURLEW, "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert (whole["command"], whole["verdict"]) == ("checklist", "pass")
    assert whole["result"]["phases"][0]["lines"][0]["number"] == 1


def test_an_unknown_format_is_unusable_input(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["checklist", CURLEW, "--format", "docx"]) == 2
    assert "docx" in capsys.readouterr().err


@pytest.mark.parametrize(("name", "begins"), [("a.pdf", b"%PDF-"), ("a.html", b"<!doctype html>"), ("a.md", b"# Curlew pad")])
def test_the_ending_of_the_file_chooses_the_format(name: str, begins: bytes, tmp_path: Path) -> None:
    assert main(["checklist", CURLEW, "--out", str(tmp_path / name)]) == 0
    assert (tmp_path / name).read_bytes().startswith(begins)


def test_a_pdf_does_not_go_to_the_screen(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["checklist", CURLEW, "--format", "pdf"]) == 2
    assert "--out" in capsys.readouterr().err


def test_a_file_that_is_not_there_is_unusable_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["checklist", str(tmp_path / "none.yaml")]) == 2
    assert "Traceback" not in capsys.readouterr().err
