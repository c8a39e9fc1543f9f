"""The debrief: the evening played again to the scan, measured against what was planted in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.crew.debrief import Debrief, debrief
from sequencer.crew.debrief_text import debrief_text, evenings
from sequencer.crew.record import read
from sequencer.crew.rehearsal import Rehearsal
from sequencer.crew.script import play
from sequencer.description import load, loads
from sequencer.errors import SequencerError

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
CLUB = load(CONFIGS / "club.yaml")
CURLEW = load(CONFIGS / "curlew.yaml")


def evening(tmp_path: Path, script: str, pad: object = CLUB, drill: str = "", name: str = "r.jsonl") -> Debrief:
    """Rehearse a script, forget it, and debrief from the record alone."""
    rehearsal = Rehearsal(pad, drill=drill, record=tmp_path / name, date="2026-01-01T20:00:00")
    play(rehearsal, script)
    rehearsal.close()
    return debrief(pad, read(tmp_path / name))


def test_a_clean_evening_passes_with_every_line_done(tmp_path: Path) -> None:
    told = evening(tmp_path, f"next {len(CLUB.crew.steps)}")
    assert told.passed, told.against
    assert told.lines_done == told.lines_all
    assert told.people == () and told.disordered == () and told.skipped == ()
    assert told.at_pressure_ms > 0


def test_the_time_from_the_call_to_fill_shut_is_measured(tmp_path: Path) -> None:
    told = evening(tmp_path, "next until filling\nwait 2 s\npad_hand: say stop\nwait 1500 ms\ndirector: hold stop\nwait 5 s")
    assert len(told.stops) == 1
    took = told.stops[0].shut_ms
    assert took is not None and 1_500 < took < 2_000  # 1.5 s of ours, then filter, scan and valve stroke
    assert told.passed, told.against


def test_a_stop_slower_than_the_target_fails_the_evening(tmp_path: Path) -> None:
    told = evening(tmp_path, "next until filling\nwait 2 s\npad_hand: say stop\nwait 4 s\ndirector: hold stop\nwait 5 s")
    assert not told.passed
    assert any("target 2 s" in reason for reason in told.against)


def test_a_stop_that_never_comes_fails_the_evening(tmp_path: Path) -> None:
    told = evening(tmp_path, "next until filling\nwait 1 s\npad_hand: say stop\nwait 1 s")
    assert told.stops[0].shut_ms is None
    assert not told.passed


def test_someone_on_the_pad_with_gas_in_fails_the_evening(tmp_path: Path) -> None:
    told = evening(tmp_path, "next until holding\npad_lead: walk in\nwait 40 s", CURLEW)
    assert any(span.says == "on the pad with gas in" for span in told.people)
    assert "nobody_near_gas" in {rule.name for rule in told.broken}
    assert not told.passed


def test_lines_skipped_and_done_out_of_order_are_named(tmp_path: Path) -> None:
    told = evening(tmp_path, "next 4\nskip\ndirector: set key: turned\nwait 1 s")
    assert told.skipped == (5,)
    key = next(n for n, step in enumerate(CLUB.crew.steps, 1) if step.set == {"key": "turned"})
    assert told.disordered == (key,)


def test_a_role_that_never_answers_the_poll_is_named(tmp_path: Path) -> None:
    poll = next(n for n, step in enumerate(CLUB.crew.steps, 1) if step.poll)
    rehearsal = Rehearsal(CLUB, record=tmp_path / "r.jsonl")
    play(rehearsal, f"next {poll - 1}\nwait for holding\n")
    rehearsal.order("next")  # asks, nobody answers
    rehearsal.order("skip")
    rehearsal.advance(1_000)
    rehearsal.close()
    told = debrief(CLUB, read(tmp_path / "r.jsonl"))
    assert told.silent == ((poll, tuple(CLUB.crew.steps[poll - 1].poll)),)
    assert not told.passed


def test_what_was_true_comes_out_afterwards(tmp_path: Path) -> None:
    told = evening(tmp_path, f"next {len(CLUB.crew.steps)}", drill="servo_sticks")
    assert told.drill == "servo_sticks"
    assert any("jams" in fault for fault in told.truth)
    assert "jams" in debrief_text(told)


def test_a_broken_rule_beyond_what_it_must_withstand_is_told_but_not_held_against_the_crew(tmp_path: Path) -> None:
    told = evening(tmp_path, f"next {len(CLUB.crew.steps)}", drill="servo_sticks")
    assert {rule.name for rule in told.broken} == {"lets_go"}
    assert told.passed, told.against


def test_an_evening_killed_in_the_middle_is_debriefed_as_far_as_it_went(tmp_path: Path) -> None:
    rehearsal = Rehearsal(CLUB, record=tmp_path / "r.jsonl")
    play(rehearsal, "next 6")
    rehearsal.close()
    with (tmp_path / "r.jsonl").open("ab") as record:
        record.write(b'{"kind": "act", "ms": 99')
    told = debrief(CLUB, read(tmp_path / "r.jsonl"))
    assert told.torn and told.lines_done == 6
    assert "killed" in debrief_text(told)


def test_a_file_changed_since_is_refused(tmp_path: Path) -> None:
    evening(tmp_path, "next 2")
    changed = loads(CLUB.text.replace("not_before: 5 s", "not_before: 6 s"), "club.yaml")
    with pytest.raises(SequencerError, match="now compiles to"):
        debrief(changed, read(tmp_path / "r.jsonl"))


def test_a_record_whose_box_did_something_else_fails(tmp_path: Path) -> None:
    evening(tmp_path, "next until armed")
    path = tmp_path / "r.jsonl"
    path.write_text(path.read_text().replace('"to": "armed"', '"to": "filling"'))
    told = debrief(CLUB, read(path))
    assert any("something else" in reason for reason in told.against)


def test_the_same_record_gives_the_same_debrief(tmp_path: Path) -> None:
    first = evening(tmp_path, "next 9", name="a.jsonl")
    assert debrief(CLUB, read(tmp_path / "a.jsonl")) == first


def test_the_text_fits_eighty_columns(tmp_path: Path) -> None:
    told = evening(tmp_path, f"next {len(CLUB.crew.steps)}", drill="servo_sticks")
    for line in (debrief_text(told, replay=True) + "\n" + evenings([told, told])).splitlines():
        assert len(line) <= 80, line
