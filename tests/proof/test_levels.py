"""How a verdict is worded: it never claims an order of faults that was not explored to the end."""

from dataclasses import replace
from types import SimpleNamespace

from sequencer.description.faults import Fault
from sequencer.proof import levels
from sequencer.proof.prove import Options
from sequencer.proof.result import InterlockResult

A, B, C = (Fault(p, "stuck", "equipment", p) for p in "abc")
SLIP = Fault("pad", "walks in", "slip", "s")
BASE = InterlockResult("rule", "never", "text", "catastrophic", "holds", "", (1, 0))


def against(base, cuts, unseen=()):
    return levels.against(base, cuts, SimpleNamespace(kinds=[SimpleNamespace(faults=(A, B, C, SLIP))]), 2, list(unseen))


def test_without_cut_sets_it_holds_up_to_what_was_looked_at():
    result = against(BASE, [])
    assert result.outcome == "holds" and "up to 2 at once" in result.level and result.withstands == (2, 2)


def test_an_unexplored_pair_lowers_the_claim_to_one_at_once():
    result = against(BASE, [], [(A, B)])
    assert result.outcome == "holds" and "up to 1 at once" in result.level and "NOT shown for 1 sets" in result.level


def test_an_unexplored_set_within_what_is_asked_is_not_shown():
    assert against(BASE, [], [(A,)]).outcome == "not shown"


def test_a_single_fault_breaks_a_rule_that_asks_for_one_but_not_one_that_asks_for_none():
    assert against(BASE, [(A,)]).outcome == "broken"
    assert against(replace(BASE, asked=(0, 0)), [(A,)]).outcome == "holds"


def test_cut_sets_that_hold_a_smaller_one_drop_out():
    assert levels.minimal([(A, B), (A,), (B, C), (B, SLIP)]) == [(A,), (B, C), (B, SLIP)]


def test_stories_are_of_what_is_asked_first_and_of_the_rest_only_where_they_are_wanted():
    cuts = [(A, B), (C,), (SLIP,)]
    assert levels.worth_telling(cuts, (1, 0), Options(stories=2)) == [(C,)]
    assert levels.worth_telling(cuts, (1, 0), Options(stories=2, beyond=True)) == [(C,), (A, B)]
    assert levels.worth_telling(cuts, (1, 0), Options(stories=9, beyond=True)) == [(C,), (A, B), (SLIP,)]
    assert levels.worth_telling(cuts, (1, 0), Options(stories=0, beyond=True)) == []
