"""`pytest --pad`: what becomes an item, what a failure says, and that ordinary runs are left alone."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

import sequencer.crew.slips
import sequencer.proof.prove
import sequencer.simulation
import sequencer.site.world
from sequencer.crew.slips import KINDS
from sequencer.description import load, loads
from sequencer.trials.plugin import PadFile, _folded

pytest_plugins = ["pytester"]

ROOT = Path(__file__).resolve().parents[2]
CLUB = (ROOT / "configs/club.yaml").read_text(encoding="utf-8")
PLUGIN = ("-p", "sequencer.trials.plugin", "-p", "no:cacheprovider")
LOADED = (sequencer.crew.slips, sequencer.proof.prove, sequencer.simulation, sequencer.site.world)  # once for all runs in here


def names(result: pytest.RunResult) -> list[str]:
    return [line.partition("::")[2] for line in result.outlines if "::" in line]


def changed(old: str, new: str) -> str:
    assert CLUB.count(old) == 1
    return CLUB.replace(old, new)


def test_every_interlock_drill_and_line_done_wrong_is_an_item(pytester: pytest.Pytester) -> None:
    pytester.path.joinpath("club.yaml").write_text(CLUB, encoding="utf-8")
    pad = load(str(ROOT / "configs/club.yaml"))
    wanted = {"reads", "day", *(f"interlock[{n}]" for n in pad.interlocks), *(f"drill[{n}]" for n in pad.drills)}
    last = len(pad.crew.steps)
    wanted |= {f"step[{n} {kind}]" for n in range(1, last + 1) for kind in KINDS if kind != "swap" or n < last}
    found = names(pytester.runpytest_inprocess(*PLUGIN, "--pad", "club.yaml", "--collect-only", "-q"))
    assert set(found) == wanted and len(found) == len(wanted)


def test_a_file_that_cannot_be_read_is_one_failing_item_with_the_place(pytester: pytest.Pytester) -> None:
    pytester.path.joinpath("club.yaml").write_text(changed("revision: 1\n", "revision: soon\n"), encoding="utf-8")
    result = pytester.runpytest_inprocess(*PLUGIN, "--pad", "club.yaml")
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["*club.yaml:3:11: error: 'soon' is not understood*"])


def test_a_finding_is_an_item_that_fails_with_what_is_required(pytester: pytest.Pytester) -> None:
    pytester.path.joinpath("club.yaml").write_text(changed("  radio_ok:     radio heard within 500 ms", "  radio_ok:     radio heard within 200 ms"), encoding="utf-8")
    result = pytester.runpytest_inprocess(*PLUGIN, "--pad", "club.yaml", "-k", "finding or reads")
    result.assert_outcomes(passed=1, failed=1, deselected=result.parseoutcomes()["deselected"])
    result.stdout.fnmatch_lines(["*finding?impatient-link?*", "*warning: *", "required: *"])


def test_a_weakened_interlock_fails_with_its_story(pytester: pytest.Pytester) -> None:
    weak = changed("  stop:     {everywhere_but: [dumping,", "  stop:     {everywhere_but: [filling, dumping,")
    pytester.path.joinpath("club.yaml").write_text(weak, encoding="utf-8")
    result = pytester.runpytest_inprocess(*PLUGIN, "--pad", "club.yaml", "-k", "interlock and stop_stops")
    assert result.ret == 1
    result.stdout.fnmatch_lines(["*stop is pressed -> fill shut and dump open within *", "broken: *", "why it is there: *", "at *club.yaml:*"])


def test_a_drill_that_ends_elsewhere_fails_with_the_last_lines(pytester: pytest.Pytester) -> None:
    pytester.path.joinpath("club.yaml").write_text(changed('acts: ["press stop in filling"]\n    ends: [dumping, rest]', 'acts: ["press stop in filling"]\n    ends: [gone]'), encoding="utf-8")
    result = pytester.runpytest_inprocess(*PLUGIN, "--pad", "club.yaml", "-k", "drill and stopped")
    result.assert_outcomes(failed=1, deselected=result.parseoutcomes()["deselected"])
    result.stdout.fnmatch_lines(["*the drill wants gone*", "the last lines of the run:", "*box: filling -> dumping (*stop_down*"])


def test_a_failure_is_told_within_80_columns_and_the_breach_stands_in_its_place() -> None:
    """What goes on stands under what it goes on with; the lines of a run are ordered by their times."""
    text = _folded(["   8. box: " + "word " * 40, "     83.12 s  director: " + "word " * 40, "required: " + "word " * 40])
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80 and lines[1].startswith("      word") and lines[4].startswith(" " * 14 + "word")
    weak = loads(changed("  stop:     {everywhere_but: [dumping,", "  stop:     {everywhere_but: [filling, dumping,"), "club.yaml")
    told = PadFile._run(SimpleNamespace(pad=weak), "stopped").splitlines()  # type: ignore[arg-type]  # it asks for the pad alone
    broken = next(i for i, line in enumerate(told) if "BROKEN stop_stops" in line)
    times = [float(found[1]) for line in told if (found := re.match(r" +(\d+\.\d\d) s  ", line))]
    assert times == sorted(times) and broken < len(told) - 1 and max(map(len, told)) <= 80


def test_a_folder_is_every_pad_in_it_and_only_those_are_run(pytester: pytest.Pytester) -> None:
    pytester.mkdir("pads").joinpath("club.yml").write_text(CLUB, encoding="utf-8")
    pytester.makepyfile(test_own="def test_own(): pass")
    assert "reads" in names(only := pytester.runpytest_inprocess(*PLUGIN, "--pad", "pads", "--collect-only", "-q"))
    assert not any("test_own" in line for line in only.outlines)
    both = pytester.runpytest_inprocess(*PLUGIN, "--pad", "pads", "test_own.py", "--collect-only", "-q")
    assert {"reads", "test_own"} <= set(names(both))


def test_files_are_collected_by_name_where_the_configuration_says_so(pytester: pytest.Pytester) -> None:
    pytester.makeini("[pytest]\npad_files = *.pad.yaml\n")
    pytester.path.joinpath("a.pad.yaml").write_text(CLUB, encoding="utf-8")
    pytester.path.joinpath("other.yaml").write_text("a: b\n", encoding="utf-8")
    result = pytester.runpytest_inprocess(*PLUGIN, "--collect-only", "-q")
    assert "reads" in names(result) and not any("other.yaml" in line for line in result.outlines)


def test_a_path_that_is_not_there_is_a_usage_error(pytester: pytest.Pytester) -> None:
    result = pytester.runpytest_inprocess(*PLUGIN, "--pad", "nowhere.yaml")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*--pad: there is no *nowhere.yaml*"])


def test_own_tests_get_the_pad_and_days_for_it(pytester: pytest.Pytester) -> None:
    pytester.path.joinpath("club.yaml").write_text(CLUB, encoding="utf-8")
    pytester.makepyfile(
        test_own="""
        from hypothesis import given, settings, strategies as st
        from sequencer.trials.strategies import days

        @settings(max_examples=5, deadline=None, database=None)
        @given(data=st.data())
        def test_own(described_pad, play_day, data):
            trial = play_day(data.draw(days(described_pad)))
            assert not [b for b in trial.breaches if b.asked]
        """
    )
    result = pytester.runpytest_inprocess(*PLUGIN, "--pad", "club.yaml", "test_own.py", "-k", "test_own")
    assert result.parseoutcomes()["passed"] == 1
    without = pytester.runpytest_inprocess(*PLUGIN, "test_own.py")
    without.assert_outcomes(errors=1)
    without.stdout.fnmatch_lines(["*run it with --pad FILE*"])


def test_an_ordinary_run_imports_nothing_heavy_and_collects_no_yaml(tmp_path: Path) -> None:
    (tmp_path / "club.yaml").write_text("title: x\n")
    (tmp_path / "test_a.py").write_text(
        "import sys\ndef test_a():\n    heavy = {'numpy', 'pydantic', 'yaml', 'pint', 'hypothesis'}\n"
        "    assert not heavy & set(sys.modules)\n    assert not {m for m in sys.modules if m.startswith('sequencer.') and 'trials' not in m}\n"
    )
    run = [sys.executable, "-m", "pytest", *PLUGIN, "-p", "no:hypothesispytest", "-p", "no:xdist", "-q"]
    done = subprocess.run(run, cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "1 passed" in done.stdout
