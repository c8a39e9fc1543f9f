"""`start: state to NAME` and `start: STATE to NAME`: what a step needs before it may begin, judged alike by proof and run."""

import pytest

from sequencer.description import loads
from sequencer.errors import UnusableFile
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.explore import explore
from sequencer.proof.prove import Options, prove
from sequencer.simulation import simulate

with open("configs/club.yaml", encoding="utf-8") as _file:
    CLUB = _file.read()
RULE = "  no_dead_end:\n"


def club(start, needs, *edits):
    text = CLUB.replace(RULE, f"  asked:\n    start: {start}\n    needs: {needs}\n    why: It is asked for.\n{RULE}")
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    return loads(text, "club.yaml")


def outcome(pad):
    return next(r.outcome for r in prove(pad, Options(replays=False)).interlocks if r.name == "asked")


PRESSED = "{go_to: counting, once: pressed and at_pressure and radio_ok}"
UNPRESSED = "{go_to: counting, once: at_pressure and radio_ok}"


@pytest.mark.parametrize("start", ["state to counting", "holding to counting"])
def test_a_step_that_asks_for_its_button_holds_and_breaks_without_it(start):
    needs = "button is pressed and nobody on the pad and box says at_pressure"
    assert outcome(club(start, needs)) == "holds"
    assert outcome(club(start, needs, (PRESSED, UNPRESSED))) == "broken"


def test_a_start_from_one_state_says_nothing_about_the_others():
    assert outcome(club("armed to dumping", "button is pressed")) == "broken"
    assert outcome(club("filling to counting", "bottle below 0.1 bar")) == "holds"  # no row leads there


def test_a_rule_about_the_state_where_power_lands_is_refused():
    with pytest.raises(UnusableFile) as refused:
        club("state to dumping", "nobody on the pad")
    assert "power-up" in str(refused.value)
    with pytest.raises(UnusableFile):
        club("state to nowhere", "nobody on the pad")


def test_the_run_sees_the_same_start():
    """A nominal day enters counting with the button down; a rule that wants the gate open there is broken in the run."""
    fine = simulate(club("holding to counting", "gate is shut and nobody on the pad"), crew=True)
    wrong = simulate(club("state to counting", "bottle below 1 bar"), crew=True)
    assert {j.name: j.outcome for j in fine.judged}["asked"] == "held"
    assert {j.name: j.outcome for j in wrong.judged}["asked"] == "broken"


def test_naming_more_switches_leaves_the_situations_as_they_are():
    """Hands move switches at will: what a rule reads of them is told apart only on the scans where it is judged."""
    few = system_of(draft_of(loads(CLUB, "club.yaml")))
    many = system_of(draft_of(club("state to counting", "button is pressed and key is turned and stop is not pressed and box says at_pressure")))
    assert explore(few).count == explore(many).count
    assert len(many.rows) < 1.5 * len(few.rows)
