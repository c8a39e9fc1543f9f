"""How wrong each number may be: the edges are where the sheet really turns, and a changed pad is the edited file."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from sequencer.description import Pad, load, loads
from sequencer.quantities import Quantity
from sequencer.sizing.changing import changed, numbers_of
from sequencer.sizing.how_wrong import Asker, HowWrong, how_wrong, judgements
from sequencer.sizing.races import leaned_on, standings

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture(scope="module")
def club() -> Pad:
    return load(CONFIGS / "club.yaml")


@pytest.fixture(scope="module")
def answer(club: Pad) -> HowWrong:
    seen: list[tuple[int, int]] = []
    result = how_wrong(club, lambda done, of: seen.append((done, of)))
    assert seen[0][0] == 0 and seen[-1][0] == seen[-1][1] == result.looked_at
    return result


def test_thinnest_comes_first_and_every_answer_has_its_place(answer: HowWrong) -> None:
    thin = [slack.thinnest for slack in answer.slacks]
    assert thin == sorted(thin) and len(thin) > 10
    for slack in answer.slacks:
        assert slack.number.place.line > 0 and slack.number.place.file.endswith("club.yaml")


@pytest.fixture(scope="module")
def asker(club: Pad) -> Asker:
    return Asker(club)


def test_just_short_of_an_edge_nothing_is_worse_and_at_the_edge_something_is(asker: Asker, answer: HowWrong) -> None:
    races = [s for s in answer.slacks if any(e is not None and e.flips.startswith("race ") for e in (s.up, s.down))]
    assert len(races) >= 5
    for slack in [*answer.slacks[:10], *races[:4]]:
        for edge in (slack.up, slack.down):
            if edge is not None:
                assert asker.flips(slack.number, edge.factor) == edge.flips
                if abs(edge.factor - 1.0) > 0.001:  # nearer than the bisection looks: the number stands at its edge
                    assert asker.flips(slack.number, 1.0 + (edge.factor - 1.0) * 0.97) == "", slack.number.name


def test_a_filter_may_be_so_long_that_the_race_against_the_next_moment_is_just_won(answer: HowWrong) -> None:
    # by hand: 200 ms in releasing - 6.2 ms of bounce (survey of 18 switch types, most) - two scans of 20 ms
    slack = next(s for s in answer.slacks if s.number.name == "inputs.gate.steady_for")
    assert slack.up is not None and slack.up.factor * 100.0 == pytest.approx(200.0 - 6.2 - 40.0, rel=1e-3)
    assert slack.up.flips.startswith("race lost: the box sees gate change")


def test_a_race_whose_moment_is_gone_is_told_apart_from_one_that_is_lost(asker: Asker, club: Pad) -> None:
    # a filter as long as the wait loses its race; a walk so long that gas is out before its first part needs no such race
    told = {name: {asker.lost(n, by).partition(":")[0] for n in numbers_of(club) if n.name == name for by in (0.3, 3.0)}
            for name in ("inputs.gate.steady_for", "site.pad.walk")}  # fmt: skip
    assert "race lost" in told["inputs.gate.steady_for"] and "race no longer leaned on" not in told["inputs.gate.steady_for"]
    assert "race no longer leaned on" in told["site.pad.walk"]


def test_every_race_that_the_proof_leans_on_is_found_again_in_the_quick_draft(club: Pad) -> None:
    leaned, quick = leaned_on(club), standings(club).races
    assert leaned and set(leaned) <= set(quick)
    assert all(quick[key].won and not quick[key].lost(quick[key]) and quick[key].lost(None) for key in leaned)


def test_a_finding_of_critical_reading_counts_as_worse(club: Pad, answer: HowWrong) -> None:
    found = [e.flips for s in answer.slacks for e in (s.up, s.down) if e is not None and e.flips.startswith("check: ")]
    assert found  # e.g. a threshold moved beyond the band of its sensor


def test_a_relief_set_at_the_rating_is_the_edge_one_can_work_out_by_hand(answer: HowWrong) -> None:
    slack = next(s for s in answer.slacks if s.number.name == "site.relief.opens_at")
    assert slack.up is not None and slack.up.factor == pytest.approx(8.0 / 7.5, rel=2e-3)
    assert slack.up.flips == "bottle: relief to rating: holds -> fails"


def test_a_changed_pad_judges_as_the_edited_and_reread_file(club: Pad) -> None:
    rng, compared = random.Random(3), 0
    for number in numbers_of(club):
        by = rng.choice((0.8, 1.25))
        lines = club.text.splitlines()
        line = lines[number.place.line - 1]
        amount, _, unit = number.text.partition(" ")
        if line.count(number.text) != 1 or "(" in number.text or unit == "degC" or not number.text[0].isdigit():
            continue
        if float(amount) == 0.0 or number.path[0] == "scan":
            continue
        edited = number.text.replace(amount, f"{float(amount) * by:.9f}", 1)
        lines[number.place.line - 1] = line.replace(number.text, edited)
        again = loads("\n".join(lines), "edited.yaml")
        assert judgements(changed(club, number, by)) == judgements(again), number.name
        compared += 1
    assert compared > 30


def test_every_number_of_the_looked_at_parts_is_found_also_inside_sentences(club: Pad) -> None:
    found = {(number.name, number.text) for number in numbers_of(club)}
    assert ("site.fill_line.hose", "10 m") in found and ("site.fill_line.hose", "4 mm") in found
    assert ("site.hold_down.levels", "8 mm") not in found
    assert ("site.hold_down.levers.0", "8 mm") in found and ("site.hold_down.levers.0", "70 mm") in found
    assert any(name == "conditions.too_high" for name, _ in found)


def test_a_change_leaves_the_first_pad_as_it_was(club: Pad) -> None:
    number = next(n for n in numbers_of(club) if n.name == "site.bottle.rated")
    other = changed(club, number, 0.5)
    mine, theirs = club.site["bottle"].rated, other.site["bottle"].rated
    assert isinstance(mine, Quantity) and mine.si == 8e5 and theirs.si == 4e5
