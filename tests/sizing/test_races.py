"""The races of the proof on the sheet: all of them, each with both durations, judged by the proof's own factor."""

from __future__ import annotations

from sequencer.description import Pad
from sequencer.proof.build import draft_of
from sequencer.proof.durations import FACTOR
from sequencer.sizing import Sheet


def test_every_race_of_the_proof_stands_on_the_sheet_with_both_durations(examples: dict[str, Pad], sheets: dict[str, Sheet]) -> None:
    section = next(s for s in sheets["club"].sections if s.name.startswith("Races"))
    races = draft_of(examples["club"]).races
    assert races
    for race in races:
        mine = [line for line in section.lines if line.name.startswith(race.first) and line.value == race.first_most]
        assert any(race.second in f"{line.worst_is}, {line.note}" and line.worst <= race.second_least for line in mine), str(race)


def test_a_race_that_rests_on_physics_must_be_won_by_the_factor(sheets: dict[str, Sheet]) -> None:
    section = next(s for s in sheets["club"].sections if s.name.startswith("Races"))
    physical = [line for line in section.lines if line.source.startswith("physics")]
    assert physical
    for line in physical:
        assert line.margin is not None and line.value is not None and line.worst is not None
        assert abs(line.margin - line.worst / (FACTOR * line.value)) < 1e-9
