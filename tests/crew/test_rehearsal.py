"""A rehearsal without a screen: orders, answers, what stays hidden, and a record that survives being killed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.crew.orders import VERBS, read_order
from sequencer.crew.record import read
from sequencer.crew.rehearsal import Rehearsal, picked
from sequencer.crew.script import play
from sequencer.description import load
from sequencer.errors import SequencerError

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
CLUB = load(CONFIGS / "club.yaml")
BENCH = load(CONFIGS / "bench.yaml")
CURLEW = load(CONFIGS / "curlew.yaml")


def said(rehearsal: Rehearsal) -> list[str]:
    return [one.what for one in rehearsal.said]


@pytest.mark.parametrize("pad", [BENCH, CLUB, CURLEW], ids=["bench", "club", "curlew"])
def test_a_crew_that_follows_its_checklist_gets_through_the_day(pad: object) -> None:
    rehearsal = Rehearsal(pad)
    assert play(rehearsal, f"next {len(rehearsal.pad.crew.steps)}")
    assert rehearsal.progress.next is None
    assert rehearsal.progress.disordered == [] and rehearsal.answers == []


def test_a_button_pressed_too_early_is_told_so_and_works_when_pressed_again() -> None:
    rehearsal = Rehearsal(CLUB)
    play(rehearsal, "next until armed\nwait 500 ms\ndirector: press button\nwait 1 s")
    assert rehearsal.answers == ["button: too early, press again"]
    assert rehearsal.state == "armed"
    play(rehearsal, "wait 3 s\ndirector: press button\nwait 1 s")
    assert rehearsal.state == "filling"


def test_a_button_nobody_listens_to_is_told_so() -> None:
    rehearsal = Rehearsal(CLUB)
    play(rehearsal, "wait for dumping\ndirector: press button\nwait 1 s")
    assert rehearsal.answers == ["button does nothing in dumping"]


def test_a_button_that_lacks_something_is_told_what() -> None:
    rehearsal = Rehearsal(CURLEW)
    play(rehearsal, "next until rest\ndirector: press arm\nwait 1 s")
    assert len(rehearsal.answers) == 1
    assert "lacking" in rehearsal.answers[0] and "key is turned" in rehearsal.answers[0]


def test_a_press_over_the_radio_is_not_judged_before_it_can_have_arrived() -> None:
    rehearsal = Rehearsal(CURLEW)
    play(rehearsal, "next until approach")
    assert rehearsal.answers == []


def test_what_is_true_of_the_pad_is_not_said() -> None:
    rehearsal = Rehearsal(CLUB, drill="servo_sticks")
    play(rehearsal, f"next {len(CLUB.crew.steps)}")
    told = " ".join(said(rehearsal))
    assert any(line.kind == "fault" for line in rehearsal.session.lines)
    assert "jam" not in told and "stall" not in told and "lets go" not in told


def test_the_key_on_the_pad_cannot_be_turned_at_the_box() -> None:
    rehearsal = Rehearsal(CURLEW)
    play(rehearsal, "next until approach\npad_hand: walk in\nwait 40 s")
    answer = rehearsal.order("pad_hand: set key: turned")
    assert answer == "the key is with the pad hand, who is on the pad"
    rehearsal.advance(1_000)
    assert rehearsal.state == "approach"


def test_a_poll_is_done_only_when_every_role_has_answered() -> None:
    rehearsal = Rehearsal(CURLEW)
    play(rehearsal, "next until holding\nnext")
    rehearsal.order("next")
    number = rehearsal.progress.next
    assert number is not None and CURLEW.crew.steps[number - 1].poll
    for role in CURLEW.crew.steps[number - 1].poll[:-1]:
        rehearsal.order(f"{role}: say go")
    assert rehearsal.progress.next == number
    assert rehearsal.progress.silent() == (CURLEW.crew.steps[number - 1].poll[-1],)
    rehearsal.order(f"{CURLEW.crew.steps[number - 1].poll[-1]}: say go")
    assert rehearsal.progress.next == number + 1


def test_a_surprise_picks_a_story_with_a_fault_and_the_same_seed_the_same() -> None:
    drills = {picked(CURLEW, seed)[0] for seed in range(40)}
    assert len(drills) > 5
    assert all(CURLEW.drills[name].faults or CURLEW.drills[name].starts for name in drills)
    assert picked(CURLEW, 3) == picked(CURLEW, 3)


def test_every_line_of_the_record_is_on_the_disk_when_the_order_returns(tmp_path: Path) -> None:
    path = tmp_path / "r.jsonl"
    rehearsal = Rehearsal(CLUB, record=path)
    rehearsal.advance(3_000)
    rehearsal.order("director: say ready")
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]  # not closed, as after a kill
    assert lines[-1] == {"kind": "act", "ms": 3_000, "order": "director: say ready"}
    assert any(line["kind"] == "box" for line in lines)
    rehearsal.close()


def test_a_record_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "r.jsonl"
    path.write_text("an evening")
    with pytest.raises(SequencerError, match="already"):
        Rehearsal(CLUB, record=path)
    assert path.read_text() == "an evening"


@given(cut=st.integers(min_value=1, max_value=2_000))
def test_a_record_torn_anywhere_keeps_every_whole_line(cut: int) -> None:
    import tempfile

    whole = _whole_record()
    cut = min(cut, len(whole))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "torn.jsonl"
        path.write_bytes(whole[:cut])
        ends = whole[:cut].count(b"\n")
        try:
            record = read(path)
        except SequencerError:
            assert ends == 0 and b'"torn"' not in whole[:cut]
            return
        kept = len(record.acts) + len(record.box)
        complete = ends + (0 if record.torn or whole[:cut].endswith(b"\n") else 1)
        assert kept == complete - 1  # the first line is the heading


_cache: list[bytes] = []


def _whole_record() -> bytes:
    if not _cache:
        import tempfile

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "r.jsonl"
            rehearsal = Rehearsal(CLUB, record=path, date="2026-01-01T20:00:00")
            play(rehearsal, "next 4\ndirector: say stop\nwait 1 s")
            _cache.append(path.read_bytes())
            rehearsal.close()
    return _cache[0]


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("director: prass arm", "press"), ("", "required"), ("walk in", "who walks"), ("filler: read dial_lowwer", "dial_lower"),
        ("director: press", "of what"), ("next please", "stands alone"), ("fault radio: tired", "lost"),
        ("director: press arrm", "arm"), ("let go gate_of_heaven", "no switch"),
    ],
)  # fmt: skip
def test_an_order_that_means_nothing_is_answered_with_what_would(text: str, hint: str) -> None:
    with pytest.raises(SequencerError) as caught:
        read_order(CURLEW, text)
    assert hint in caught.value.message


@given(st.one_of(st.text(max_size=40), st.builds("{} {}".format, st.sampled_from(VERBS), st.text(max_size=20))))
def test_no_text_makes_an_order_crash(text: str) -> None:
    try:
        order = read_order(CURLEW, text)
    except SequencerError:
        return
    assert order.verb in VERBS


def test_a_script_names_the_line_it_does_not_understand() -> None:
    with pytest.raises(SequencerError, match=r"evening\.txt:2: "):
        play(Rehearsal(CLUB), "wait 1 s\ndirector: dance\n", "evening.txt")


def test_a_script_that_waits_in_vain_says_so() -> None:
    rehearsal = Rehearsal(CLUB)
    assert not play(rehearsal, "wait for releasing at most 5 s")
    assert "waited in vain" in said(rehearsal)[-1]
