"""Permissives are read from the sentences of a file; left out, each lets the box do more, and a rule breaks."""

import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tools"))
from mutants.breaking import Sound  # noqa: E402 (the path comes first)
from mutants.permissives import permissives, said, without  # noqa: E402 (the path comes first)
from mutants.weaker import carried, cuts, weaker  # noqa: E402 (the path comes first)

from sequencer.description import loads, terms  # noqa: E402 (the path comes first)
from sequencer.description.language import expression  # noqa: E402 (the path comes first)
from sequencer.proof.prove import Options, Work, judged  # noqa: E402 (the path comes first)
from sequencer.table import Inputs, compile_table, power_up, scan  # noqa: E402 (the path comes first)

CURLEW = Path("configs/curlew.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "joined", "left"),
    [
        ("a and b", terms.And, ["b", "a"]),
        ("a and not b", terms.And, ["not b", "a"]),
        ("a and b or c", terms.And, ["b or c", "a or c", ""]),
        ("a and (b or c)", terms.And, ["b or c", "a"]),
        ("a and (b and c or d)", terms.And, ["b and c or d", "a and (c or d)", "a and (b or d)", "a"]),
        ("not (a or b)", terms.And, ["not b", "not a"]),
        ("a", terms.And, [""]),
        ("a or b and c", terms.Or, ["b and c", "a"]),
        ("a and b", terms.Or, [""]),
    ],
)  # fmt: skip
def test_a_sentence_loses_one_need_at_a_time(text, joined, left):
    assert ["" if one is None else said(one) for _, one in without(expression(text), joined)] == left


def test_every_word_of_curlew_is_left_out_once_and_the_file_still_reads():
    found = permissives(CURLEW)
    assert len({one.text for one in found}) == len(found) >= 70
    whole = loads(CURLEW, "curlew.yaml")
    alone = [row for state in whole.states.values() for row in state.leave if row.once and len(terms.leaves(row.once.expression)) == 1]
    words = [leaf for state in whole.states.values() for row in state.leave if row.once for leaf in terms.leaves(row.once.expression)]
    mixed = [row for state in whole.states.values() for row in state.leave if row.once and isinstance(row.once.expression, terms.Or)]
    assert sum(one.kind == "way out" for one in found) == len(words) - len(alone) - sum(len(terms.leaves(row.once.expression)) for row in mixed)
    for one in found[:: len(found) // 6]:
        assert loads(one.text, "curlew.yaml") != whole


def test_prove_fails_without_a_permissive_and_the_exact_simulator_confirms_its_story():
    one = left_out("rest to armed", "pad_shut")
    work = Work(loads(one.text, "curlew.yaml"), Options(), lambda says: None)
    work.explore()
    result = judged(work, "arming_is_meant", work.pad.interlocks["arming_is_meant"])
    assert result.outcome == "broken" and result.story is not None and result.story.replay is not None
    assert result.story.replay.confirmed and not result.story.replay.besides, result.story.replay.says


@pytest.fixture(scope="module")
def sound():
    return Sound(CURLEW, "curlew.yaml")


# the press comes with a link that is back, whose silence is the story's own; the supply is shut by hand; the load reads
# what is gone, which takes a part that fails, and one alone
TOLD = [
    ("rest to armed", "radio_ok", "arming_is_meant", ()),
    ("no_gas", "lower_flat", "pressure_is_watched", ()),
    ("releasing to flown", "load_off", "gone_is_seen", ("load: frozen",)),
]


@pytest.mark.parametrize(("where", "what", "rule", "besides"), TOLD)
def test_a_story_takes_the_failed_parts_that_the_exact_simulator_cannot_do_without_and_no_others(sound, where, what, rule, besides):
    broken = sound.without(left_out(where, what))
    assert (broken.rule, broken.confirmed, broken.besides) == (rule, True, besides), broken.says


def left_out(where, what):
    return next(one for one in permissives(CURLEW) if (one.where, one.what) == (where, what))


CARRIED = [("stop_down", ("trip stop",)), ("not key_in", ("trip stop",)), ("not pad_shut", ("trip gate",)), ("lower_there", ())]


@pytest.mark.parametrize(("what", "rows"), CARRIED)
def test_an_inhibit_is_carried_where_a_trip_leaves_every_state_that_commands_its_output_in_the_same_scan(what, rows):
    one = left_out("fill_lower stays shut", what)
    table, broken = (compile_table(loads(text, "curlew.yaml")) for text in (CURLEW, one.text))
    assert carried(table, one, "curlew.yaml") == rows
    # the two tables side by side over drawn inputs, in every state: outputs differ only where no row carries it
    draw, apart, warm = random.Random(what), 0, power_up(table)
    good = [int(c.name != "relay_seen") for c in table.contacts]
    for _ in range(100):
        warm, _, _ = scan(table, warm, Inputs(tuple(good), (450,) * len(table.analogs), (1,)))
    memory = warm
    for n in range(40 * len(table.states)):
        if n % 4 == 0:
            memory = warm._replace(state=n // 40, timer=0)
        lower, upper = draw.choice((450, 735, 1500)), draw.randrange(410, 2000)  # 735: 1.6 bar
        levels = tuple(g ^ (draw.random() < 0.05) for g in good)
        inputs = Inputs(levels, (lower, lower, upper, upper, 450), (1,) * len(table.heartbeats))
        for _ in range(draw.choice((1, 3, 15))):
            after, outputs, _ = scan(table, memory, inputs)
            apart += scan(broken, memory, inputs)[1] != outputs
            memory = after
    assert (apart == 0) == bool(rows)


TWO_STEPS = """
title: Two steps
revision: 1
scan: 20 ms
pressures: gauge
inputs:
  arm: {contact: closes when pressed, steady_for: 40 ms}
  relay_seen: {contact: closes when on, steady_for: 40 ms}
outputs:
  heater: {relay: [off, on], rest: off}
  lamp: {lamp: [dark, lit], rest: dark}
conditions:
  arm_pressed: arm becomes pressed
  relay_on: relay_seen is on
states:
  idle:
    says: Nothing is on.
    outputs: {}
    leave: [{go_to: warm, once: arm_pressed and not relay_on, not_before: 2 s}]
    stays: nothing moves until someone asks for it
  warm:
    says: Only the lamp is lit; the heater is for another day.
    outputs: {lamp: lit}
    leave: [{go_to: idle, at_latest: 2 s}]
interlocks:
  begins_cold: {start: idle to warm, needs: not box says relay_on, severity: critical, why: A relay that is on already has not been asked.}
site:
  pole: {follows: heater at on, seen_by: relay_seen}
  battery: {power: battery, voltage: 12 V (11 to 13), feeds: [heater]}
"""


def test_a_permissive_kept_for_a_failed_part_is_told_with_that_part_and_a_confirmed_story():
    one = next(one for one in permissives(TWO_STEPS) if one.what == "not relay_on")
    before = cuts(loads(TWO_STEPS, "two.yaml"), 1)
    assert before == {"begins_cold": []}
    found = weaker(one, "two.yaml", before, 1)
    assert (found.rule, found.faults) == ("begins_cold", ("heater: welded",))
    assert found.confirmed and not found.besides, found.says
