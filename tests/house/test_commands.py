"""The command line's frame: what is listed, what is imported, and how each ending becomes an exit code."""

from __future__ import annotations

import errno
import importlib
import inspect
import json
import math
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pytest

from sequencer.cli import main as frame
from sequencer.cli.shared import Ended, Verdict, counted, emit_json, say_findings
from sequencer.errors import Finding, Place, UnusableFile

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("name", frame.COMMANDS)
def test_every_command_has_its_module_a_help_and_one_line(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    line = frame.COMMANDS[name]
    assert line.endswith(".") and "\n" not in line and len(line) <= 90
    assert (ROOT / f"sequencer/cli/{name}.py").is_file()
    assert frame.main([name, "--help"]) == 0
    assert capsys.readouterr().out.startswith(f"Usage: sequencer {name} ")


def test_every_command_that_has_a_module_is_listed_at_eighty_columns(capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.main(["--help"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    for name in frame.COMMANDS:
        assert any(line.startswith(f"  {name} ") for line in lines) == (ROOT / f"sequencer/cli/{name}.py").is_file()


def test_help_imports_no_command_and_nothing_heavy() -> None:
    look = (
        "import sys; from sequencer.cli.main import COMMANDS, main; main(['--help']); "
        "heavy = {'numpy', 'pydantic', 'rich', 'textual', 'matplotlib', 'hypothesis', 'pint', 'jinja2', 'yaml'}; "
        "commands = {f'sequencer.cli.{name}' for name in COMMANDS}; "
        "print(sorted((heavy | commands) & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stderr == "[]\n"


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """A command module whose `command` each test writes for itself, in the place of `check`."""
    module = ModuleType("sequencer.cli.check")
    monkeypatch.setattr(frame.CommandGroup, "list_commands", lambda self, ctx: ["check"])
    monkeypatch.setitem(sys.modules, "sequencer.cli.check", module)
    return module


@pytest.mark.parametrize(("answer", "code"), [(None, 0), (Ended(), 0), (Ended.of(Verdict.FAIL, "two rules broken"), 1)])
def test_what_a_command_returns_is_its_exit_code_and_its_sentence(stand_in: ModuleType, answer: Ended | None, code: int) -> None:
    stand_in.command = lambda: answer
    assert frame.main(["check"]) == code
    assert frame.run(["check"]) == (answer or Ended())


def _raise(error: BaseException) -> None:
    raise error


def test_unusable_input_is_told_plainly_with_exit_code_two(
    stand_in: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    finding = Finding("unknown-key", "error", Place("pad.yaml", 3, 5), "`volts`", "a known key", "write `voltage`")
    stand_in.command = lambda json=False: _raise(UnusableFile("one mistake", (finding,)))
    assert frame.main(["check"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("pad.yaml:3:5: error: `volts` [unknown-key]")
    assert "Traceback" not in said.err
    assert frame.main(["check", "--json"]) == 2
    whole = json.loads(capsys.readouterr().out)
    assert (whole["command"], whole["file"], whole["verdict"]) == ("check", "pad.yaml", "fail")
    assert whole["result"]["findings"][0]["place"] == {"file": "pad.yaml", "line": 3, "column": 5}


@pytest.mark.parametrize(
    ("error", "code"),
    [(KeyboardInterrupt(), 130), (RuntimeError("odd"), 70), (PermissionError(13, "Permission denied", "out"), 2)],
)
def test_every_other_ending_has_its_own_exit_code(
    stand_in: ModuleType, capsys: pytest.CaptureFixture[str], error: BaseException, code: int
) -> None:
    stand_in.command = lambda: _raise(error)
    assert frame.main(["check"]) == code
    said = capsys.readouterr().err
    assert ("this is a defect of the tool" in said) == (code == 70)
    assert ("Traceback" in said) == (code == 70)


def test_a_full_disk_is_no_defect_of_the_tool(stand_in: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    """The system names no file where the room ends while one is written."""
    stand_in.command = lambda: _raise(OSError(errno.ENOSPC, "No space left on device"))
    assert frame.main(["check"]) == 2
    said = capsys.readouterr().err
    assert "No space left on device" in said and "make room" in said and "Traceback" not in said


def test_a_word_that_an_option_does_not_know_is_told_in_plain_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.main(["checklist", "pad.yaml", "--paper", "a5"]) == 2
    said = capsys.readouterr().err
    assert "'a5' is not one of 'a4', 'letter'" in said and "Value error" not in said


def test_findings_are_wrapped_between_words_on_a_terminal_and_whole_elsewhere(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    finding = Finding("rule-never-fires", "warning", Place("pad.yaml", 3, 5), "word " * 30 + "end", "a rule that can fire " * 5, "write it above")
    say_findings([finding])
    assert capsys.readouterr().out == f"{finding}\n"
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    say_findings([finding])
    told = capsys.readouterr().out
    assert max(map(len, told.splitlines())) <= 80
    assert told.split() == str(finding).split()


def test_a_misspelt_command_is_answered_with_the_nearest_one(
    stand_in: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    assert frame.main(["chekc"]) == 2
    assert "did you mean 'check'?" in capsys.readouterr().err


def test_a_reader_that_goes_away_leaves_no_traceback() -> None:
    look = (
        "import sys; from types import ModuleType; from sequencer.cli import main as frame; "
        "module = ModuleType('x'); module.command = lambda: print('line\\n' * 200000); "
        "sys.modules['sequencer.cli.check'] = module; "
        "frame.CommandGroup.list_commands = lambda self, ctx: ['check']; sys.exit(frame.main(['check']))"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", look], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT
    )
    assert process.stdout is not None and process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 141
    assert said == ""


def test_a_number_takes_its_noun_with_it() -> None:
    assert [counted(n, "rule") for n in (0, 1, 1200)] == ["no rule", "1 rule", "1,200 rules"]
    assert counted(2, "launch", "launches") == "2 launches"


@dataclass(frozen=True)
class Result:
    names: frozenset[str]
    where: Path


def test_the_json_object_names_command_file_verdict_and_result(capsys: pytest.CaptureFixture[str]) -> None:
    emit_json("prove", Path("a.yaml"), Verdict.of(True), Result(frozenset("cab"), Path("x")))
    assert json.loads(capsys.readouterr().out) == {
        "command": "prove", "file": "a.yaml", "verdict": "pass", "result": {"names": ["a", "b", "c"], "where": "x"},
    }  # fmt: skip


@pytest.mark.parametrize(("value", "error"), [(math.nan, ValueError), (math.inf, ValueError), (object(), TypeError)])
def test_what_json_cannot_hold_is_refused(value: object, error: type[Exception]) -> None:
    with pytest.raises(error):
        emit_json("prove", "a.yaml", Verdict.PASS, value)


def test_every_command_prints_one_json_object_when_asked() -> None:
    for name in frame.COMMANDS:
        module = importlib.import_module(f"sequencer.cli.{name}")
        assert "json" in inspect.signature(module.command).parameters, name
