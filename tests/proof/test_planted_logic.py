"""The planted file: with every repair all of it holds; each plant put back alone is found by the rule it is marked with."""

import re
from pathlib import Path

import pytest

from sequencer.description import loads
from sequencer.proof import house
from sequencer.proof.build import draft_of
from sequencer.proof.prove import Options, Work, judged

PLANTED = Path("configs/planted_logic.yaml").read_text(encoding="utf-8")
REPAIRS = {
    "nobody_near_gas": [
        ("  nearly_empty: bottle_sensor below 0.5 bar for 5 s", "  nearly_empty: bottle_sensor below 0.12 bar for 5 s"),
        ("opened_by: fill, hose: 10 m of 4 mm}", "opened_by: fill, bore: 0.6 mm, hose: 10 m of 4 mm}\n  dial:       {dial: bottle, read_by: pad_hand}"),
        ("    - {who: pad_hand, during: rest, do: Close the head", "    - {who: pad_hand, during: rest, do: Read the dial, read: dial, shows: bottle below 0.1 bar}\n    - {who: pad_hand, during: rest, do: Close the head"),
        ("{go_to: rest, once: nearly_empty and not key_in}", "{go_to: rest, once: nearly_empty and not key_in, not_before: 60 s}"),
    ],
    "release_is_meant": [("{go_to: releasing, once: pressed}", "{go_to: releasing, once: pressed and at_pressure}")],
    "stop_stops": [("opens when pressed, steady_for: 200 ms", "opens when pressed, steady_for: 20 ms")],
    "lets_go": [("    within: 50 ms", "    within: 500 ms")],
    "servo_on_shortly": [("{go_to: dumping, at_latest: 4 s}", "{go_to: dumping, at_latest: 1 s}")],
    "armed_is_heard": [
        ("    lasts: state is armed", "    lasts: state is gone"),
        ("      - {go_to: rest, at_latest: 2 s}", "      - {go_to: rest, at_latest: 3 s}"),
        ("{go_to: again, once: pressed}", "{go_to: again, once: pressed, not_before: 3 s}"),
    ],
    "pull_is_whole": [("    at_least: 150 ms", "    at_most: 10 s")],  # no box that stops at once can promise it
    "no_dead_end": [("    stays: someone has to come and look\n", "    leave:\n      - {go_to: dumping, at_latest: 60 s}\n")],
    "gas_can_leave": [(re.search(r"  tower: .*\n", PLANTED).group(), "")],
    "quiet-at-power-up": [("outputs: {winch: on, beacon: lit} ", "outputs: {beacon: lit} ")],
    "two-inputs-to-start": [("go_to: again, once: pressed", "go_to: again, once: pressed and key_in and at_pressure and not stop_down")],
    "stop-from-everywhere": [
        ("    everywhere_but: [waking, dumping, rest, waiting, gone, again, stuck]", "    everywhere_but: [dumping, rest, gone, stuck]"),
        ("    because: {waiting: it ends by itself}\n", ""),
    ],
    "no-trapped-gas": [],  # the same tower
    "held-button-does-nothing": [("{go_to: filling, once: not button_up and radio_ok, not_before: 3 s}", "{go_to: filling, once: pressed and radio_ok, not_before: 3 s}")],
    "link-never-resumes": [("{go_to: topping_up, once: radio_ok and pad_shut}", "{go_to: topping_up, once: radio_ok and pad_shut and pressed}")],
    "reset-starts-nothing": [("      - {go_to: filling, once: key_in and pressed and pad_shut and latched and radio_ok}", "      - {go_to: dumping, once: key_in and pressed and pad_shut and latched and radio_ok}")],
    "approach-shown-empty": [("      - {go_to: rest, at_latest: ", "      - {go_to: dumping, at_latest: ")],
}  # fmt: skip
RULES = ("nobody_near_gas", "release_is_meant", "stop_stops", "lets_go", "servo_on_shortly", "armed_is_heard", "pull_is_whole", "no_dead_end", "gas_can_leave")


def repaired(but=""):
    text = PLANTED
    for rule, pairs in REPAIRS.items():
        for old, new in pairs if rule != but else ():
            assert text.count(old) >= 1, (rule, old)
            text = text.replace(old, new)
    return loads(text, "planted.yaml")


def outcomes(pad, *names):
    work = Work(pad, Options(faults=0, replays=False, stories=0), lambda says: None)
    work.explore()
    return {name: judged(work, name, pad.interlocks[name]).outcome for name in names}


def test_every_rule_of_the_file_and_every_house_rule_has_its_mark_and_its_repair():
    marked = set(re.findall(r"PLANTED ([\w-]+)", PLANTED)) - {"with"}
    assert marked == set(REPAIRS) == {*RULES, *(rule.name for rule in house.RULES)}


def test_the_repaired_twin_holds_in_all_its_interlocks_and_house_rules():
    pad = repaired()
    assert {r.name: r.against for r in house.judged(draft_of(pad)) if r.outcome != "holds"} == {}
    assert set(outcomes(pad, *RULES).values()) == {"holds"}


@pytest.mark.parametrize("rule", [r for r in RULES if r != "armed_is_heard"])
def test_one_plant_put_back_breaks_the_interlock_it_is_marked_with(rule):
    assert outcomes(repaired(but=rule), rule)[rule] == "broken"


def test_a_state_that_a_trip_may_leave_at_once_does_not_last():
    text = PLANTED.replace("    lasts: state is armed", "    lasts: state is filling")
    assert outcomes(loads(text, "planted.yaml"), "armed_is_heard")["armed_is_heard"] == "broken"


@pytest.mark.parametrize("rule", [r.name for r in house.RULES if r.name != "no-trapped-gas"])
def test_one_plant_put_back_breaks_the_house_rule_it_is_marked_with(rule):
    found = {r.name: r for r in house.judged(draft_of(repaired(but=rule)))}
    assert found[rule].outcome == "broken" and found[rule].against


def test_a_volume_without_a_way_out_breaks_both_rules_about_it():
    pad = repaired(but="gas_can_leave")
    found = {r.name: r.outcome for r in house.judged(draft_of(pad))}
    assert found["no-trapped-gas"] == "broken" and outcomes(pad, "gas_can_leave")["gas_can_leave"] == "broken"
