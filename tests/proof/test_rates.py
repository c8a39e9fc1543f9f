"""Cut sets and probabilities against worked fault trees, entered as small files."""

import math
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.proof import rates

TREES = sorted((Path(__file__).parent / "trees").glob("*.txt"))


def read(path):
    gates, q, cuts, numbers = {}, {}, set(), {}
    for line in path.read_text().splitlines():
        if line.startswith("#") or not line.strip():
            continue
        if " = " in line:
            name, _, right = line.partition(" = ")
            kind = "and" if " and " in right else "or"
            gates[name] = (kind, right.split(f" {kind} "))
        elif line.startswith("q: "):
            q = {pair.split()[0]: float(pair.split()[1]) for pair in line[3:].split(", ")}
        elif line.startswith("cuts: "):
            cuts = {frozenset(part.split()) for part in line[6:].split(" | ")}
        else:
            name, number = line.split()
            numbers[name] = float(number)
    return gates, q, cuts, numbers


@pytest.mark.parametrize("path", TREES, ids=lambda p: p.stem)
def test_a_worked_tree_has_its_known_cut_sets_and_probabilities(path):
    gates, q, cuts, numbers = read(path)
    found = rates.cut_sets(gates, "top")
    assert set(found) == cuts
    assert math.isclose(rates.rare_event(found, q), numbers["rare"], rel_tol=5e-6)
    assert math.isclose(rates.exact(found, q), numbers["exact"], rel_tol=1e-9)
    if "bound" in numbers:
        assert math.isclose(rates.upper_bound(found, q), numbers["bound"], rel_tol=1e-8)


def test_the_relay_dominates_the_pressure_tank():
    """Fussell-Vesely importances of the handbook example."""
    gates, q, _, _ = read(next(p for p in TREES if p.stem == "pressure_tank"))
    importance = rates.fussell_vesely(rates.cut_sets(gates, "top"), q)
    assert math.isclose(importance["K2"], 0.856751, rel_tol=1e-5)
    assert math.isclose(importance["T"], 0.142792, rel_tol=1e-5)
    assert math.isclose(importance["S"], 0.000456934, rel_tol=1e-5)


def test_five_trees_were_found():
    assert len(TREES) == 5


@given(
    st.lists(st.frozensets(st.sampled_from("abcde"), min_size=1, max_size=3), min_size=1, max_size=6),
    st.lists(st.floats(0.01, 0.9), min_size=5, max_size=5),
)
def test_the_exact_value_is_the_sum_over_all_outcomes(sets, values):
    q = dict(zip("abcde", values, strict=True))
    total = 0.0
    for outcome in product((False, True), repeat=5):
        state = dict(zip("abcde", outcome, strict=True))
        if any(all(state[e] for e in s) for s in sets):
            total += math.prod(q[e] if state[e] else 1 - q[e] for e in "abcde")
    assert math.isclose(rates.exact(sets, q), total, rel_tol=1e-9)
    assert rates.exact(sets, q) <= rates.upper_bound(rates.absorbed(sets), q) + 1e-12
    assert rates.upper_bound(rates.absorbed(sets), q) <= rates.rare_event(rates.absorbed(sets), q) + 1e-12


def test_a_tree_in_a_circle_is_refused():
    with pytest.raises(ValueError, match="feeds itself"):
        rates.cut_sets({"top": ("or", ["a", "b"]), "a": ("and", ["top", "b"]), "b": ("or", ["a", "c"])}, "top")


def test_without_rates_nothing_is_said():
    assert rates.top_event([("valve: stuck open",)], {}) is None
