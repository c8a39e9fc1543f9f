"""`draw FILE` from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.cli.main import main


def test_the_drawing_as_text_names_every_state(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["draw", "configs/club.yaml"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("stateDiagram-v2") and "armed --> filling : pressed, from 3 s" in out


@pytest.mark.parametrize(("kind", "start"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("dot", b"digraph"), ("mermaid", b"stateDiagram")])
def test_every_kind_of_drawing_is_written(tmp_path: Path, kind: str, start: bytes) -> None:
    target = tmp_path / f"states.{kind}"
    assert main(["draw", "configs/club.yaml", "--format", kind, "--out", str(target)]) == 0
    assert target.read_bytes().startswith(start)


def test_a_picture_without_a_file_to_go_to_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["draw", "configs/club.yaml", "--format", "png"]) == 2
    assert "--out" in capsys.readouterr().err
