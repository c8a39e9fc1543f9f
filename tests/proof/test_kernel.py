"""The kernel in C against the numpy code beside it: the same answers, ways and counts, on random small systems."""

from contextlib import contextmanager
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer import compilers
from sequencer.proof import cubes, kernel, possible, settling, slices
from sequencer.proof.explore import explore
from sequencer.proof.pairs import Pairs
from sequencer.proof.sound import Sound
from sequencer.proof.system import Place, Row, System
from sequencer.proof.words import ALL, Cube, Layout, TooLarge
from tests.proof.faulted import cases

words = st.integers(0, 255)


@pytest.fixture(scope="module", autouse=True)
def compiled():
    if kernel.library() is None:
        pytest.skip("not for this machine: no C compiler, or SEQUENCER_PLAIN is set")


@contextmanager
def plain():
    with patch.object(kernel, "library", lambda: None):
        yield


def both(function):
    """What a function gives with the kernel, and without."""
    with plain():
        expected = function()
    return function(), expected


def explored(case):
    found = explore(case.system)
    return [layer.tolist() for layer in found.layers], found.breaches, found.transitions


@given(cases())
@settings(max_examples=60)
def test_both_explore_the_same_layers_and_find_the_same_breaches(case):
    ours, plains = both(lambda: explored(case))
    assert ours == plains


def test_a_word_with_every_bit_set_is_a_word_like_any_other():
    layout = Layout(2)
    names = [f"bit {n}" for n in range(layout.shift)]
    for name in names:
        layout.new(name)
    rows = tuple(Row(name, "gas", (0, 1), Cube(), set=layout.mask(names[: n + 1]), to=1) for n, name in enumerate(names))
    system = System(layout, (Place("off"), Place("run")), rows, (0,), (), ())
    ours, plains = both(lambda: [layer.tolist() for layer in explore(system).layers])
    assert ours == plains and ALL in ours[1]


def outcomes(case):
    pairs = Pairs(case.system, case.brought, 1_000_000, 1e9, Sound(case.system, explore(case.system, judged=False)))
    broken = {b.rule for b in explore(case.system).breaches}
    found = [pairs.of(rule, lambda text: None) for n, rule in enumerate(case.system.rules) if n not in broken]
    return [(o.cuts, o.open, o.situations) for o in found]


@given(cases())
@settings(max_examples=40)
def test_both_find_the_same_sets_of_faults_by_the_same_ways_in_as_many_situations(case):
    ours, plains = both(lambda: outcomes(case))
    assert ours == plains


def test_the_random_systems_have_rules_that_faults_break_and_rules_that_they_do_not():
    seen = set()

    @given(cases())
    @settings(max_examples=30, database=None)
    def look(case):
        seen.update(len(next(iter(cuts))) if cuts else 0 for cuts, _, _ in outcomes(case))

    look()
    assert {0, 1, 2} <= seen


@given(cases())
@settings(max_examples=30)
def test_both_bring_the_same_words_to_a_goal(case):
    whole = explore(case.system, judged=False).all
    rows = [r for r in case.system.rows if r.forward]
    ours, plains = both(lambda: possible.cannot(case.system, rows, whole, lambda w: w % np.uint64(3) == 0).tolist())
    assert ours == plains


def test_both_give_up_at_the_same_budget():
    @given(cases())
    @settings(max_examples=20, database=None)
    def look(case):
        count = explore(case.system, judged=False).count
        for library in (kernel.library(), None):
            with patch.object(kernel, "library", lambda made=library: made):
                assert explore(case.system, budget=count, judged=False).count == count
                with pytest.raises(TooLarge):
                    explore(case.system, budget=count - 1, judged=False)

    look()


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2), st.integers(0, 1)), min_size=1, max_size=60))
def test_equal_columns_are_grouped_alike(columns):
    keys = np.array(columns, np.uint64).T
    ours, plains = both(lambda: [part.tolist() for part in slices.grouped(keys)])
    assert ours == plains


@given(st.lists(st.tuples(words, words, st.integers(0, 3)), min_size=1, max_size=40, unique=True))
def test_the_same_rows_are_covered_by_others(rows):
    keys = np.zeros((9, len(rows)), np.uint64)
    keys[slices.CARE], keys[slices.WANT], keys[slices.NEED] = np.array([(c, w & c, n) for c, w, n in rows], np.uint64).T
    ours, plains = both(lambda: slices._strongest(keys).tolist())
    assert ours == plains


@given(st.lists(st.lists(st.tuples(words, words), min_size=1, max_size=40), min_size=1, max_size=6))
def test_cubes_are_joined_alike(groups):
    care, want = np.array([(c, w & c) for group in groups for c, w in group], np.uint64).T
    ends = np.cumsum([len(group) for group in groups])
    ours, plains = both(lambda: cubes.joined_all(care, want, ends))
    assert ours == plains


@given(st.lists(st.integers(0, 9), min_size=1, max_size=60), st.integers(1, 20))
def test_the_least_ranks_come_first_and_those_of_equal_rank_in_their_order(ranks, most):
    assert settling._least(np.array(ranks), most).tolist() == sorted(range(len(ranks)), key=lambda i: ranks[i])[:most]


def test_without_a_compiler_there_is_no_kernel(monkeypatch):
    def missing():
        raise compilers.Missing("none here")

    monkeypatch.setattr(kernel, "host_compiler", missing)
    assert kernel.library.__wrapped__() is None


def test_a_compiler_that_fails_leaves_numpy_to_do_it(monkeypatch):
    monkeypatch.setattr(kernel, "host_compiler", lambda: compilers.Compiler("false", ("false",)))
    assert kernel.library.__wrapped__() is None


def test_the_kernel_can_be_left_out_by_a_variable(monkeypatch):
    monkeypatch.setenv("SEQUENCER_PLAIN", "1")
    assert kernel.library.__wrapped__() is None
