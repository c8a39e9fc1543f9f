"""rehearse, debrief and steps from the command line, killed in the middle included."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sequencer.cli.main import main

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
CLUB, BENCH = str(CONFIGS / "club.yaml"), str(CONFIGS / "bench.yaml")


def test_a_script_is_rehearsed_recorded_and_debriefed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    script, record = tmp_path / "evening.txt", tmp_path / "r.jsonl"
    script.write_text("next until filling\nwait 1 s\npad_hand: say stop\ndirector: hold stop\nwait 3 s\n")
    assert main(["rehearse", CLUB, "--script", str(script), "--record", str(record)]) == 0
    assert "The script reached its end" in capsys.readouterr().out
    log = tmp_path / "box.csv"
    assert main(["debrief", str(record), "--log", str(log)]) == 0
    said = capsys.readouterr().out
    assert "called by pad hand" in said and "Verdict: pass." in said
    assert log.read_text().startswith("kind,scan,from,to")


def test_a_folder_of_records_is_set_side_by_side(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    script = tmp_path / "evening.txt"
    script.write_text("next 3\n")
    for name in ("a", "b"):
        assert main(["rehearse", BENCH, "--script", str(script), "--record", str(tmp_path / f"{name}.jsonl")]) == 0
    capsys.readouterr()
    assert main(["debrief", str(tmp_path), "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["command"] == "debrief" and len(whole["result"]["evenings"]) == 2


def test_a_surprise_does_not_say_what_it_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    script = tmp_path / "evening.txt"
    script.write_text("next 3\n")
    assert main(["rehearse", CLUB, "--surprise", "1", "--script", str(script)]) == 0
    said = capsys.readouterr()
    assert "servo_sticks" not in said.out + said.err


def test_a_rehearsal_killed_at_any_moment_keeps_what_was_ordered(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    process = subprocess.Popen(
        [sys.executable, "-m", "sequencer", "rehearse", CLUB, "--plain", "--record", str(record)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=CONFIGS.parent,
    )  # fmt: skip
    assert process.stdin is not None and process.stdout is not None
    process.stdin.write(b"director: say good evening\n")
    process.stdin.flush()
    until = time.monotonic() + 30
    while time.monotonic() < until and not (record.exists() and b"good evening" in record.read_bytes()):
        time.sleep(0.05)
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdin.close()
    process.stdout.close()
    assert b"good evening" in record.read_bytes()
    assert main(["debrief", str(record)]) == 0


@pytest.mark.parametrize(
    "words",
    [
        ["rehearse", CLUB, "--drill", "nobody_knows", "--script", "/dev/null"],
        ["rehearse", CLUB, "--drill", "stopped", "--surprise", "1"],
        ["rehearse", CLUB, "--json"],
        ["debrief", CLUB],
        ["steps", BENCH, "--line", "99"],
    ],
)
def test_bad_input_is_told_without_a_traceback(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_record_of_another_kind_is_named_with_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "r.jsonl").write_text('{"kind": "shopping"}\n')
    assert main(["debrief", str(tmp_path / "r.jsonl")]) == 2
    assert "r.jsonl:1" in capsys.readouterr().err


def test_steps_prints_its_table_and_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["steps", BENCH, "--line", "10"]) == 0
    assert "Hazards that only a human step prevents" in capsys.readouterr().out
    assert main(["steps", BENCH, "--line", "10", "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["verdict"] == "pass" and whole["result"]["lines"][0][0] == 10


def test_the_evening_that_comes_with_the_curlew_pad_goes_through_and_its_stop_is_in_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = tmp_path / "r.jsonl"
    words = ["--script", str(CONFIGS / "curlew_evening.txt"), "--record", str(record)]
    assert main(["rehearse", str(CONFIGS / "curlew.yaml"), *words]) == 0
    assert "release button: too early, press again" in capsys.readouterr().out
    assert main(["debrief", str(record)]) == 0
    said = capsys.readouterr().out
    assert "called by left observer" in said and "Verdict: pass." in said
