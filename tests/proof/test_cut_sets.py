"""What defeats a rule is named: every cut set stands in the text, in few lines, or its line says how many are left out."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st

from sequencer.proof.result import CutSet, InterlockResult
from sequencer.report import cut_sets

FAULTS = st.builds(lambda part, mode: f"{part}: {mode}", st.sampled_from(["gate", "pad", "fill_line"]), st.sampled_from(["held", "walks in", "leaks"]))


def result(cuts: list[tuple[str, ...]], kind: str = "never", level: str = "holds") -> InterlockResult:
    return InterlockResult("rule", kind, "text", "critical", "holds", level, cuts=tuple(CutSet(cut, len(cut), 0) for cut in cuts))


def read(told: str) -> list[str]:
    """The faults that a list by part names."""
    return [f"{part}: {mode}" for part, modes in re.findall(r"(\w+) \(([^)]*)\)", told) for mode in modes.split(", ")]


@given(st.sets(FAULTS, max_size=4), st.sets(st.tuples(FAULTS, FAULTS).filter(lambda pair: pair[0] < pair[1]), max_size=12))
def test_the_lines_name_every_cut_set_and_no_other(alone: set[str], pairs: set[tuple[str, str]]) -> None:
    cuts = [*((one,) for one in sorted(alone)), *sorted(pairs)]
    named: list[tuple[str, ...]] = []
    left = 0
    for line in cut_sets.lines(result(cuts)):
        first, _, second = line.partition(" together with one of ")
        if (more := re.match(r"and by (\d+) more pairs", line)) is not None:
            left = int(more[1])
        elif second:
            named += [(one, two) for one in read(first) for two in read(second)]
        else:
            named += [(one,) for one in read(first)]
    assert len(named) == len(set(named)) and set(named) <= set(cuts)
    assert len(named) + left == len(cuts)


def test_pairs_with_the_same_partners_are_said_once() -> None:
    told = cut_sets.lines(result([("a: x", "c: z"), ("a: x", "d: z"), ("b: y", "c: z"), ("b: y", "d: z"), ("e: w",)]))
    assert told == ["defeated by one of e (w)", "defeated by one of a (x), b (y) together with one of c (z), d (z)"]


def test_what_the_answer_names_already_is_not_said_again() -> None:
    cuts: list[tuple[str, ...]] = [("key: bounces",), ("box: hangs",)]
    assert cut_sets.lines(result(cuts, level="holds; defeated by box: hangs; key: bounces")) == []
    assert cut_sets.lines(result(cuts, level="holds; defeated by box: hangs; and 1 more")) == ["defeated by one of key (bounces), box (hangs)"]
    assert cut_sets.lines(result(cuts, "always possible")) == ["no way is shown with one of key (bounces), box (hangs)"]
