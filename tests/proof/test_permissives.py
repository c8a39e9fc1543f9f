"""Permissives are read from the sentences of a file; left out, each lets the box do more, and a rule breaks."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tools"))
from mutants.permissives import permissives, said, without  # noqa: E402 (the path comes first)

from sequencer.description import loads, terms  # noqa: E402 (the path comes first)
from sequencer.description.language import expression  # noqa: E402 (the path comes first)
from sequencer.proof.prove import Options, Work, judged  # noqa: E402 (the path comes first)

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


SAMPLE = [
    ("rest to armed", "pad_shut", "arming_is_meant"),
    ("rest to approach", "not key_in", "approach_is_meant"),
    ("link_lost to half_filling", "leak_ok", "half_filling_is_meant"),
]


@pytest.mark.parametrize(("where", "what", "rule"), SAMPLE)
def test_prove_fails_without_a_permissive_and_the_exact_simulator_confirms_its_story(where, what, rule):
    one = next(one for one in permissives(CURLEW) if (one.where, one.what) == (where, what))
    work = Work(loads(one.text, "curlew.yaml"), Options(), lambda says: None)
    work.explore()
    result = judged(work, rule, work.pad.interlocks[rule])
    assert result.outcome == "broken" and result.story is not None and result.story.replay is not None
    assert result.story.replay.confirmed, result.story.replay.says
