"""Why each permissive is there, against exploring every mutant of the file from the start."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given, settings

from sequencer.description import load
from sequencer.proof import why
from sequencer.proof.explore import explore
from sequencer.proof.prove import Options, Work
from tests.proof.small_pads import small_pad, small_pads


def worked(pad, stories=0):
    """(the reasons as the proof gives them, its work)."""
    work = Work(pad, Options(why=True, stories=stories, replays=False), lambda text: None)
    work.explore()
    return why.reasons(work, stories), work


def afresh(work):
    """Per mutant: the rules that hold in the file and are broken in its own system, explored from the start."""
    known = {b.rule for b in work.explored.breaches}
    for mutant in why.mutants(work.draft.table):
        places, rows = why.scans_without(work.draft, mutant)
        kept = tuple(r for r in work.system.rows if not (r.scan and r.at[0] in places))
        found = explore(replace(work.system, rows=(*kept, *rows))).breaches
        yield mutant, {work.system.rules[b.rule].name for b in found if b.rule not in known}


def agree(pad):
    reasons, work = worked(pad)
    verdicts = set()
    for reason, (mutant, broken) in zip(reasons, afresh(work), strict=True):
        assert (reason.where, reason.what) == (mutant.where, mutant.what)
        assert set(reason.rules) == broken
        assert reason.verdict == "needed" if broken else reason.verdict in ("redundant", "equivalent")
        verdicts.add(reason.verdict)
    return verdicts


@example(small_pad(0))
@example(small_pad(52))
@given(small_pads())
@settings(max_examples=6)
def test_what_fails_without_a_permissive_is_what_exploring_the_file_without_it_finds(pad):
    agree(pad)


@pytest.mark.parametrize("name", ["club", "bench"])
def test_every_permissive_of_the_demo_files_is_judged_as_exploring_it_afresh_does(name):
    assert "needed" in agree(load(Path(f"configs/{name}.yaml")))


def test_a_needed_permissive_has_a_story_that_ends_where_the_rule_breaks():
    reasons, work = worked(load(Path("configs/club.yaml")), stories=1)
    told = [r for r in reasons if r.verdict == "needed"]
    assert told
    assert all(any(line.says.startswith("the power comes") for line in r.story.lines) for r in told)
    places = {work.draft.told(p) for p in range(len(work.system.places))}
    assert all(line.state in places for r in told for line in r.story.lines)
