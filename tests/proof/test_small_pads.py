"""A whole proof of random small files against a plain-Python explorer that looks at every set of faults from the start."""

from dataclasses import replace
from unittest import mock

from hypothesis import example, given, settings

from sequencer.description import load
from sequencer.proof import why
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.campaign import Kind
from sequencer.proof.prove import Options, Work, prove, worked
from tests.proof import plain_pads
from tests.proof.small_pads import small_pad, small_pads

RICH = (0, 194, 215, 230)
"""Seeds of small files with many pairs that break something: stuck and leaking valves, failed regulators, lying sensors."""


def rich(test):
    """The test with the rich files besides its random ones."""
    for seed in RICH:
        test = example(small_pad(seed))(test)
    return test


def proven(pad, faults):
    """(proof, its work) without stories, which other tests look at."""
    work = Work(pad, Options(faults=faults, stories=0, replays=False), lambda text: None)
    return worked(work), work


def found(proof):
    """{rule: minimal cut sets}, the empty set where it is broken without faults."""
    return {r.name: {frozenset(c.faults) for c in r.cuts} or ({frozenset()} if r.level == "broken without any fault" else set()) for r in proof.interlocks}


@rich
@given(small_pads())
@settings(max_examples=4)
def test_a_proof_has_the_cut_sets_that_exploring_every_set_from_the_start_finds(pad):
    """At two faults by slices, at one by delta closure, at none by the explorer."""
    proof, work = proven(pad, 2)
    wanted = plain_pads.cut_sets(work.draft, work.system)
    assert found(proof) == wanted
    assert not proof.unfinished
    for faults in (0, 1):
        fewer, _ = proven(pad, faults)
        assert found(fewer) == {rule: {s for s in sets if len(s) <= faults} for rule, sets in wanted.items()}


@given(small_pads())
@settings(max_examples=8)
def test_verdicts_follow_from_the_cut_sets(pad):
    """Nothing is asked of these rules but to hold without faults."""
    proof, work = proven(pad, 2)
    slips = {f.name for f in plain_pads.edits(work.draft) if f.kind == "slip"}
    for rule in proof.interlocks:
        if frozenset() in found(proof)[rule.name]:
            assert rule.outcome == "broken" and rule.story is not None
            continue
        parts = [len(c.faults) for c in rule.cuts if not slips & set(c.faults)]
        errors = [len(c.faults) for c in rule.cuts if slips >= set(c.faults)]
        assert rule.outcome == "holds"
        assert rule.withstands == (min(parts, default=3) - 1, min(errors, default=3) - 1)


@rich
@given(small_pads())
@settings(max_examples=4)
def test_the_same_situations_are_counted_without_faults_and_with_each_single_one(pad):
    proof, work = proven(pad, 1)
    sound = plain_pads.explored(work.draft, work.system)
    assert proof.situations == len(sound.depths)
    assert proof.steps == max(sound.depths.values())
    assert {b.rule for b in work.explored.breaches} == set(sound.breaches)
    depths = {}
    for breach in work.explored.breaches:
        depths[breach.rule] = min(breach.depth, depths.get(breach.rule, breach.depth))
    assert depths == sound.breaches
    for kind in (k for k in work.campaign.kinds if not k.edit.inert):
        delta = work.campaign.single(kind)
        reached = plain_pads.explored(work.draft, work.system, kind.faults[:1]).depths
        marks = work.draft.layout.mask(work.draft.fresh(c) for c in work.draft.tracked if c in kind.edit.relax)
        assert {w & ~marks for w in reached} >= {int(w) & ~marks for w in delta.new}
        assert {w & ~marks for w in reached} == {int(w) & ~marks for w in (*work.explored.all, *delta.new)}


@rich
@example(small_pad(7))
@example(small_pad(16))
@given(small_pads())
@settings(max_examples=8)
def test_pairs_in_slices_break_what_delta_closure_of_the_whole_system_breaks(pad):
    proof, work = proven(pad, 2)
    campaign = work.campaign
    broken = {}
    for some in plain_pads.sets_of(work.draft, 2):
        if some:
            kinds = [next(k for k in campaign.kinds if f in k.faults) for f in some]
            edit = kinds[0].edit if len(kinds) == 1 else kinds[0].edit | kinds[1].edit
            broken[frozenset(f.name for f in some)] = campaign.single(Kind(edit, some)).broken
    for number, rule in enumerate(work.system.rules):
        if number in campaign.rules:
            breaking = {s for s, rules in broken.items() if number in rules}
            assert found(proof)[rule.name] == {s for s in breaking if not any(o < s for o in breaking)}


@example(small_pad(3))  # a fault brings a situation about sooner than the sound pad reaches it
@given(small_pads())
@settings(max_examples=8)
def test_the_shortest_story_of_a_cut_set_is_as_long_as_the_plain_explorer_says(pad):
    proof, work = proven(pad, 2)
    named = {f.name: f for f in plain_pads.edits(work.draft)}
    for number, check in enumerate(work.system.rules):
        for cut in next(r.cuts for r in proof.interlocks if r.name == check.name)[:2]:
            faults = tuple(named[name] for name in cut.faults)
            layers, breach, _ = work.campaign.shortest(faults, number)
            assert breach.depth == plain_pads.explored(work.draft, work.system, faults).breaches[number]
            assert len(layers) == breach.depth + 1


def test_two_processes_answer_as_one_does():
    pad = load("configs/bench.yaml")
    answers = []
    for able in (True, False):
        with mock.patch("sequencer.proof.campaign.PLENTY", 0), mock.patch("sequencer.proof.pairs.able", lambda able=able: able):
            _, work = proven(pad, 2)
        answers.append(({n: set(cuts) for n, cuts in work.campaign.cuts.items()}, work.campaign.unfinished, work.campaign.situations))
    assert answers[0] == answers[1] and any(answers[0][0].values())


@example(small_pad(3))
@example(small_pad(14))
@given(small_pads())
@settings(max_examples=3)
def test_what_is_needed_is_what_a_pad_without_it_breaks_explored_from_the_start(pad):
    """Every literal, trip and inhibit left out by hand, its system written and explored by the plain explorer."""
    proof = prove(pad, Options(why=True, replays=False, stories=0))
    draft = draft_of(pad)
    system = system_of(draft)
    sound = set(plain_pads.explored(draft, system).breaches)
    mutants = list(why.mutants(draft.table))
    assert [(w.where, w.what) for w in proof.why] == [(m.where, m.what) for m in mutants]
    for mutant, told in zip(mutants, proof.why, strict=True):
        places, rows = why.scans_without(draft, mutant)
        kept = [r for r in system.rows if not (r.scan and r.at[0] in places)]
        broken = set(plain_pads.explored(draft, replace(system, rows=(*kept, *rows))).breaches) - sound
        assert (told.verdict == "needed") == bool(broken)
        assert set(told.rules) == {system.rules[n].name for n in broken}
