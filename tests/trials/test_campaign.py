"""Campaigns: the same by seed, guided, honest about what they visited; failures small and kept as drills."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path

import pytest

from sequencer.cli.main import main
from sequencer.description import Pad, load, loads
from sequencer.simulation import simulate
from sequencer.simulation.events import At, InState, Press, Strike, Switch, Walk
from sequencer.trials.campaign import Budget, Campaign, shake
from sequencer.trials.drillfile import copy_with, keep, snippet
from sequencer.trials.nominal import recorded
from sequencer.trials.plan import Plan, drill_of, event, ranges, seconds, with_drill, with_values
from sequencer.trials.shrink import shrink
from tests.trials.the_club import bench, club

CLUB = Path("configs/club.yaml").read_text(encoding="utf-8")


def changed(*changes: tuple[str, str]) -> str:
    text = CLUB
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


STOP_HELD = changed((" and radio_ok and not stop_down}", " and radio_ok}"))
"""The club as it was before a campaign found that it can be armed with stop held down."""


@cache
def found() -> tuple[Pad, Campaign]:
    pad = loads(STOP_HELD, "club.yaml")
    return pad, shake(pad, Budget(150), seed=1, most_faults=0)


def test_a_stop_held_down_at_arming_is_found_and_told_as_one_act() -> None:
    pad, campaign = found()
    failure = next(f for f in campaign.failures if f.rule == "stop_stops")
    assert failure.faults == ()
    assert failure.plan.steps and len(failure.plan.acts) == 1
    kept = next(k for k in keep(pad, campaign.failures) if k.found is failure)
    assert kept.again and kept.run.verdict == "fail"


def test_the_same_seed_gives_the_same_campaign_however_many_processes_share_it() -> None:
    pad = load("configs/bench.yaml")  # its days are short
    one, two = (shake(pad, Budget(51), seed=3, jobs=jobs) for jobs in (1, 2))
    assert (one.shares, one.failures, one.beyond) == (two.shares, two.failures, two.beyond)
    assert shake(pad, Budget(51), seed=4, jobs=2).shares != one.shares


def test_the_copy_holds_the_drill_and_it_breaks_there_but_not_in_the_mended_file() -> None:
    pad, campaign = found()
    kept = keep(pad, campaign.failures)
    text = copy_with(pad, kept)
    again = loads(text, "copy.yaml")
    assert set(again.drills) == set(pad.drills) | {k.name for k in kept}
    for one in kept:
        assert one.found.rule in {j.name for j in simulate(again, drill=one.name, trace=False).broken}
        mended = loads(text.replace(" and radio_ok}\n    stays: nothing", " and radio_ok and not stop_down}\n    stays: nothing"), "mended.yaml")
        assert one.found.rule not in {j.name for j in simulate(mended, drill=one.name, trace=False).broken}


def test_the_pasted_drill_is_the_drill() -> None:
    pad, campaign = found()
    kept = keep(pad, campaign.failures)
    text = re.sub(r"\ndrills:[^\n]*\n", lambda head: head.group() + snippet(kept, pad), STOP_HELD)
    read = loads(text, "club.yaml")
    assert kept
    for one in kept:
        assert read.drills[one.name] == one.drill


def test_a_breach_by_more_faults_than_asked_is_told_and_is_no_failure() -> None:
    plan = Plan((event(InState("filling", 0), Strike("pad", "walks in")),), steps=True)
    trial = bench().try_(plan)
    near = next(b for b in trial.breaches if b.rule == "nobody_near_gas")
    assert not near.asked and near.slips == ("pad: walks in",)
    small, last = shrink(bench(), plan, near)
    assert last.faults == ("pad: walks in",) and not last.asked and len(small.events) == 1


def test_walking_in_while_the_lamp_says_no_is_a_slip_and_at_rest_it_is_none() -> None:
    gate = Switch("gate", "not shut")
    early = bench().try_(Plan((event(At(5_000), gate), event(At(5_020), Walk("pad_hand", "in")))))
    late = bench().try_(Plan((event(InState("rest", 0), gate), event(InState("rest", 20), Walk("pad_hand", "in")))))
    assert not early.breaches and not late.breaches
    fast = Plan((event(InState("holding", 0), gate), event(InState("holding", 20), Walk("director", "in"))), steps=True)
    breach = next(b for b in bench().try_(fast).breaches if b.rule == "nobody_near_gas")
    assert breach.slips == ("pad: walks in",) and not breach.asked


def test_what_no_hand_can_reach_is_left_out_of_the_plan() -> None:
    shut_in = Plan((event(At(1_000), Switch("gate", "shut")), event(At(2_000), Walk("pad_hand", "in"))))
    assert [e.action for e in bench().try_(shut_in).plan.events] == [Switch("gate", "shut")]


def test_a_plan_and_its_drill_are_the_same_run() -> None:
    pad = club()
    plan = Plan(
        (event(InState("armed", 1_000), Strike("radio", "flapping")), event(At(110_000), Press("stop", 300)), event(InState("filling", 40), Press("button", 1_000))),
        steps=True, settle_ms=10_000,
    )  # fmt: skip
    run = simulate(with_drill(pad, "x", drill_of(plan, "A story.")), drill="x", trace=False)
    trial = bench().try_(plan)
    moves = tuple((ms, entry.to or pad.first_state) for ms, entry in zip(run.log_ms, run.log, strict=True))
    assert trial.moves == moves[: len(trial.moves)] and len(trial.moves) > 3


def test_the_recorded_day_moves_the_box_as_the_crew_does() -> None:
    day = recorded(club())
    assert day is not None
    moves = [state for _, state in bench().try_(day).moves]
    assert moves[:9] == ["dumping", "rest", "armed", "filling", "holding", "counting", "releasing", "gone", "dumping"]


def test_values_stay_within_their_range() -> None:
    pad = club()
    (name, key), span = next(iter(ranges(pad).items()))
    assert getattr(with_values(pad, ((name, key, span.high),)).site[name], key).nominal == span.high
    with pytest.raises(ValueError, match="no value within a range"):
        with_values(pad, ((name, key, span.high * 1.01 + 1),))


@pytest.mark.parametrize(("ms", "text"), [(0, "0 s"), (20, "0.02 s"), (12_340, "12.34 s"), (1_234_567, "1234.567 s"), (60_000, "60 s")])
def test_times_are_told_to_the_millisecond(ms: int, text: str) -> None:
    assert seconds(ms) == text


def test_the_shares_count_what_there_is() -> None:
    _, campaign = found()
    assert campaign.shares["states"].of == 9 and campaign.shares["rows"].of == len(bench().table.rows)
    for share in campaign.shares.values():
        assert share.visited + len(share.missing) == share.of
    struck = {f.name for f in bench().menu.faults} - set(campaign.shares["faults"].missing)
    assert struck <= {"pad: miscounts", "pad: walks in"}  # it was to strike none: these are acts against the procedure


def test_more_of_the_table_is_visited_than_the_plain_day_visits() -> None:
    _, campaign = found()
    plain = bench().try_(Plan(steps=True), enough=lambda b: False)
    assert campaign.shares["rows"].visited >= 2 * len({k[0] for k in plain.keys if k[1] == "row"})


def test_the_command_fails_for_a_failure_writes_what_was_asked_and_nothing_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, copy = tmp_path / "club.yaml", tmp_path / "copy.yaml"
    file.write_text(STOP_HELD, encoding="utf-8")
    order = ["shakedown", str(file), "--runs", "150", "--seed", "1", "--faults", "0", "--save", str(copy)]
    assert main(order) == 1
    out = capsys.readouterr()
    assert "BROKEN: stop_stops" in out.out and "150 trials" in out.out and "Blind to" in out.out
    assert max(map(len, out.out.splitlines())) <= 100
    assert file.read_text(encoding="utf-8") == STOP_HELD
    assert main(["run", str(copy), "--drill", "found_stop_stops", "--quiet"]) == 1
    assert main(order) == 2
    assert "nothing is overwritten" in capsys.readouterr().err


def test_the_command_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["shakedown", "configs/club.yaml", "--runs", "20", "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["command"] == "shakedown" and whole["verdict"] == "pass"
    assert whole["result"]["campaign"]["runs"] == 20


def test_a_file_without_interlocks_is_unusable_here(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "none.yaml"
    file.write_text(CLUB[: CLUB.index("interlocks:")] + CLUB[CLUB.index("site: ") :], encoding="utf-8")
    assert main(["shakedown", str(file)]) == 2
    assert "no interlocks" in capsys.readouterr().err
