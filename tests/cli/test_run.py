"""`run FILE` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sequencer.cli.main import main
from sequencer.table import boxlog

CLUB = "configs/club.yaml"


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["run", *words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_the_story_fits_eighty_columns_and_says_who_what_state_and_why(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, CLUB)
    assert code == 0
    assert max(len(line) for line in out.splitlines()) <= 80
    told = " ".join(out.split())
    for words in ("Blind to:", "pad_hand Read the dial", "armed -> filling", "because pressed (button becomes pressed); 3 s in armed",
                  "lets go", "Verdict: pass.", "First-out: no trip fired", "in rest, people allowed on the pad"):  # fmt: skip
        assert words in told, words


def test_the_story_names_neither_safe_nor_proved(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, CLUB)
    assert "safe" not in out.lower() and "proved" not in out.lower()


def test_quiet_leaves_only_the_end(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, CLUB, "--quiet")
    assert out.startswith("Interlocks in this run") and "Verdict:" in out and "because" not in out


def test_json_is_one_object_with_command_file_and_verdict(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, CLUB, "--json")
    whole = json.loads(out)
    assert (code, whole["command"], whole["file"], whole["verdict"]) == (0, "run", CLUB, "pass")
    assert whole["result"]["log"][0]["kind"] == "power-up"


def test_the_same_seed_prints_the_same_story(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, CLUB, "--seed", "3") == run(capsys, CLUB, "--seed", "3")


def test_the_log_written_has_a_header_and_a_line_for_every_move(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    target = tmp_path / "box.csv"
    run(capsys, CLUB, "--quiet", "--log", str(target))
    text = target.read_text(encoding="utf-8")
    assert text.splitlines()[0] == ",".join(boxlog.COLUMNS)
    assert [entry.to for entry in boxlog.read(text)][1:3] == ["rest", "armed"]


@pytest.mark.parametrize("ending", [".svg", ".png"])
def test_the_plot_is_written_in_the_kind_asked_for(capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str) -> None:
    target = tmp_path / f"run{ending}"
    assert run(capsys, CLUB, "--quiet", "--drill", "servo_sticks", "--plot", str(target))[0] == 0
    start = target.read_bytes()[:400]
    assert start.startswith(b"\x89PNG") if ending == ".png" else b"<svg" in start or b"<?xml" in start


def test_a_plot_of_another_kind_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, _, err = run(capsys, CLUB, "--plot", str(tmp_path / "run.gif"))
    assert code == 2 and ".svg or .png" in err


def test_a_broken_interlock_is_told_with_its_time_and_ends_with_one(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, CLUB, "--fault", "pad: walks in@filling", "--quiet")
    assert code == 1
    assert "broken          nobody_near_gas at " in out and "Verdict: fail." in out


@pytest.mark.parametrize(
    ("fault", "hint"),
    [
        ("release:jamed@30s", "did you mean 'release: jammed'?"),
        ("relase:jammed@30s", "did you mean 'release: jammed'?"),
        ("release:jammed@fillng", "did you mean 'filling'?"),
        ("release:jammed@30", "unit"),
        ("release", "PART:MODE@TIME"),
        ("nothing: at all", "Parts:"),
    ],
)
def test_a_bad_fault_ends_with_two_and_the_nearest_spelling(capsys: pytest.CaptureFixture[str], fault: str, hint: str) -> None:
    code, out, err = run(capsys, CLUB, "--fault", fault)
    assert code == 2 and hint in err and "Traceback" not in err and not out


def test_a_drill_that_is_not_there_ends_with_two(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, CLUB, "--drill", "servo_stick")
    assert code == 2 and "did you mean 'servo_sticks'?" in err


def test_several_faults_strike_together_and_each_shows_its_name(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, CLUB, "--fault", "bottle_sensor:frozen@filling", "--fault", "radio:flapping@filling")
    assert "Faults: bottle_sensor: frozen, radio: flapping" in " ".join(out.split())
    assert out.count("FAULT") == 2


@pytest.mark.parametrize("name", ["club", "curlew", "bench"])
def test_every_example_runs_its_day_to_the_end(capsys: pytest.CaptureFixture[str], name: str) -> None:
    code, out, _ = run(capsys, f"configs/{name}.yaml", "--quiet")
    assert code == 0, out


def test_a_press_that_does_nothing_is_told_with_what_it_lacked(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    text = Path(CLUB).read_text(encoding="utf-8").replace("press: button, wait: 4 s}", "press: button, wait: 1 s}")
    target = tmp_path / "club.yaml"
    target.write_text(text, encoding="utf-8")
    code, out, _ = run(capsys, str(target))
    assert code == 1
    assert "for filling it lacks 3 s in armed" in " ".join(out.split())


def test_a_fault_whose_moment_never_comes_is_told_and_fails_the_run(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, CLUB, "--quiet", "--fault", "release:jammed@hung_up")
    assert code == 1 and "never came about: release: jammed in hung_up" in " ".join(out.split())
