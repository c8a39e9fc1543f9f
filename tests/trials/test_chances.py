"""Bounds, percentiles and rank correlation against tables, closed forms and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from sequencer.trials.chances import beta_share, chance, percentile, rank_correlation, ranks


@pytest.mark.parametrize(
    ("count", "runs", "low", "high"),
    [
        # Clopper-Pearson two-sided 95 %, computed values of the trade notes (section 6, method textbook)
        (0, 20, 0.0, 0.1684), (1, 20, 0.0013, 0.2487), (0, 59, 0.0, 0.0606), (1, 59, 0.0004, 0.0909), (2, 50, 0.0049, 0.1371),
        (10, 10, 0.6915, 1.0), (20, 20, 0.8316, 1.0), (19, 20, 0.7513, 0.9987), (50, 50, 0.9289, 1.0), (48, 50, 0.8629, 0.9951),
    ],
)  # fmt: skip
def test_bounds_of_a_chance_are_the_tabulated_ones(count: int, runs: int, low: float, high: float) -> None:
    found = chance(count, runs)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize(
    ("count", "runs", "high"), [(0, 20, 0.1391), (1, 20, 0.2161), (0, 59, 0.0495), (2, 50, 0.1206), (0, 60, 0.0487)]
)
def test_one_sided_upper_bounds_are_the_tabulated_ones(count: int, runs: int, high: float) -> None:
    assert chance(count, runs, 0.90).high == pytest.approx(high, abs=5e-5)  # two-sided 90 % is one-sided 95 %


@settings(max_examples=200, deadline=None)
@given(st.floats(0.5, 5000.0), st.floats(0.5, 5000.0), st.floats(0.0, 1.0))
def test_the_incomplete_beta_function_is_that_of_the_reference_library(a: float, b: float, x: float) -> None:
    assert beta_share(a, b, x) == pytest.approx(float(special.betainc(a, b, x)), rel=1e-8, abs=1e-12)


@settings(max_examples=100, deadline=None)
@given(st.integers(2, 20_000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_bounds_are_those_of_the_reference_library(seen: tuple[int, int]) -> None:
    count, runs = seen
    found = chance(count, runs)
    reference = stats.binomtest(count, runs).proportion_ci(0.95, "exact")
    assert (found.low, found.high) == (pytest.approx(reference.low, abs=1e-9), pytest.approx(reference.high, abs=1e-9))


def test_without_runs_nothing_is_known_of_a_chance() -> None:
    assert (chance(0, 0).low, chance(0, 0).high) == (0.0, 1.0)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=3, max_size=60))
def test_rank_correlation_is_that_of_the_reference_library(pairs: list[tuple[int, int]]) -> None:
    a, b = np.array(pairs, dtype=float).T
    assert list(ranks(a)) == list(stats.rankdata(a))
    if len(set(a)) > 1 and len(set(b)) > 1:
        assert rank_correlation(a, b) == pytest.approx(stats.spearmanr(a, b).statistic, abs=1e-12)
    else:
        assert rank_correlation(a, b) == 0.0


def test_percentile_bounds_hold_the_true_percentile_as_often_as_they_say() -> None:
    rng = np.random.default_rng(7)
    true, inside, repeats = float(stats.norm.ppf(0.95)), 0, 2000
    for _ in range(repeats):
        found = percentile(np.sort(rng.normal(size=200)), 0.95)
        assert found.low is not None and found.high is not None
        inside += found.low <= true <= found.high
    # at least 95 % by construction; four standard errors of 2000 repeats are 0.02
    assert inside / repeats > 0.95 - 0.02


def test_few_runs_do_not_bound_a_far_percentile() -> None:
    found = percentile(np.arange(100.0), 0.99)
    assert found.low is not None and found.high is None
