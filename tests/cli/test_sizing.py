"""The sizing command: exit codes, JSON, pictures, progress, and bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sequencer.cli.main import main

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
CLUB, CURLEW, BENCH = (str(CONFIGS / f"{name}.yaml") for name in ("club", "curlew", "bench"))


@pytest.mark.parametrize("file", [CLUB, CURLEW, BENCH])
def test_the_exit_code_says_whether_a_margin_fails(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["sizing", file])
    said = capsys.readouterr().out
    assert said.startswith("Sizing sheet: ") and max(map(len, said.splitlines())) <= 80
    assert code == (1 if "\nFAILS: " in said else 0)


def test_json_carries_every_line_with_si_number_and_shown_text(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["sizing", CURLEW, "--json"])
    whole = json.loads(capsys.readouterr().out)
    assert whole["command"] == "sizing" and whole["verdict"] == ("pass" if code == 0 else "fail")
    lines = {line["name"]: line for section in whole["result"]["sheet"]["sections"] for line in section["lines"]}
    distance = lines["stand-off, all people"]
    assert distance["value"] >= 30.0 and distance["shown"].endswith(" m")
    assert distance["note"] == "blast only; fragments, hoses and the vehicle go further"
    assert whole["result"]["how_wrong"] is None


def test_how_wrong_lists_the_thinnest_first_and_tells_its_progress_aside(capsys: pytest.CaptureFixture[str]) -> None:
    main(["sizing", CLUB, "--how-wrong"])
    said = capsys.readouterr()
    shares = [float(line.split("%")[0]) for line in said.out.splitlines() if line[:7].strip().endswith("%")]
    assert len(shares) > 10 and shares == sorted(shares)
    assert "of" in said.err and "numbers" in said.err


@pytest.mark.parametrize(("file", "name", "begins"), [(CURLEW, "a.png", b"\x89PNG"), (BENCH, "a.svg", b"<?xml")])
def test_a_picture_is_drawn_in_the_kind_its_ending_says(file: str, name: str, begins: bytes, tmp_path: Path) -> None:
    main(["sizing", file, "--plot", str(tmp_path / name)])
    assert (tmp_path / name).read_bytes().startswith(begins)


def test_the_same_file_draws_the_same_picture(tmp_path: Path) -> None:
    for name in ("a.svg", "b.svg"):
        main(["sizing", BENCH, "--plot", str(tmp_path / name)])
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_the_picture_names_zones_in_words_and_hatches_them(tmp_path: Path) -> None:
    main(["sizing", CURLEW, "--plot", str(tmp_path / "a.svg")])
    text = (tmp_path / "a.svg").read_text()
    for zone in ("lets go", "seized", "lets go by itself"):
        assert f"<!-- {zone} -->" in text
    assert "<pattern " in text  # hatching: the zones are told apart without colour


def test_another_ending_or_a_bad_file_is_unusable_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sizing", CLUB, "--plot", str(tmp_path / "a.gif")]) == 2
    assert ".svg or .png" in capsys.readouterr().err
    bad = tmp_path / "bad.yaml"
    bad.write_text("title: [\n")
    assert main(["sizing", str(bad)]) == 2
    assert "Traceback" not in capsys.readouterr().err
