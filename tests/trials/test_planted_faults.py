"""A sample of the mutants of a demo file is noticed; a file that promises nothing lets its mutants escape; what is called
the same pad acts the same. `tools/bench mutants` judges them all.
"""

import random
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tools"))
from benchmarks.mutants import chosen  # noqa: E402 (the path comes first)
from mutants.crowd import Kept, judged  # noqa: E402 (the path comes first)
from mutants.judge import NOBODY, SAME, How, Judge, Notice  # noqa: E402 (the path comes first)
from mutants.operators import OPERATORS, mutants, plain, written  # noqa: E402 (the path comes first)
from mutants.same import same  # noqa: E402 (the path comes first)

from sequencer.description import loads  # noqa: E402 (the path comes first)
from sequencer.table import Inputs, compile_table, power_up, scan  # noqa: E402 (the path comes first)

BENCH = (ROOT / "configs" / "bench.yaml").read_text(encoding="utf-8")
CLUB = (ROOT / "configs" / "club.yaml").read_text(encoding="utf-8")
SAMPLE = 20


def looked(text: str, how: How) -> Judge:
    judge = Judge("bench.yaml", text, how)
    judge.look()
    return judge


@pytest.fixture(scope="module")
def judge() -> Judge:
    return looked(written(plain(BENCH)), How(singles=True))


@pytest.fixture(scope="module")
def notices(judge) -> list[Notice]:
    return [judge.notice(text) for _, text in chosen(mutants(BENCH), SAMPLE)]


def test_every_operator_has_its_mutants_and_a_sample_takes_from_most_of_them():
    found = mutants(BENCH)
    kinds = {says.partition(":")[0] for text in (BENCH, CLUB) for says, _ in mutants(text)}
    assert kinds == {one.__name__.replace("_", " ") for one in OPERATORS}
    assert len({says.partition(":")[0] for says, _ in chosen(found, SAMPLE)}) >= 10
    assert len({text for _, text in found}) == len(found) >= 140 and written(plain(BENCH)) not in {text for _, text in found}


def test_no_mutant_of_the_sample_escapes_and_several_stages_have_noticed_some(notices):
    assert len(notices) == SAMPLE and [one for one in notices if one.who == NOBODY] == []
    assert len([one for one in notices if one.who != SAME]) >= SAMPLE - 3
    assert len({one.who for one in notices} - {SAME}) >= 3 and all(one.says for one in notices)


def test_a_file_that_promises_nothing_lets_mutants_escape_that_its_promises_had_noticed(notices):
    data = plain(BENCH)
    for promise in ("interlocks", "drills"):
        data.pop(promise)
    bare = written(data)
    judge = looked(bare, How())
    some = chosen(mutants(BENCH), SAMPLE)
    before = {says: one for (says, _), one in zip(some, notices, strict=True)}
    after = {says: judge.notice(text) for says, text in mutants(bare) if before.get(says) and before[says].who in ("prove", "prove with singles", "drills")}
    assert len(after) >= 4 and sum(one.who == NOBODY for one in after.values()) >= 2


def test_the_original_itself_is_the_same_pad_and_a_changed_time_is_not():
    pad = loads(BENCH, "bench.yaml")
    table = compile_table(pad)
    assert same(pad, table, table)
    times = [text for says, text in mutants(BENCH) if says.startswith("timer changed")]
    assert times and not any(same(pad, table, compile_table(loads(text, "bench.yaml"))) for text in times[:4])


def test_answers_are_kept_and_who_noticed_last_time_only_sets_the_order(judge, tmp_path):
    change, text = next(one for one in mutants(BENCH) if one[0].startswith("left away: trips stop"))
    notice = judge.notice(text)
    assert notice.who not in (NOBODY, SAME)
    Kept(tmp_path, "one program").keep((change, text), notice)
    other = Kept(tmp_path, "another program")
    assert other.older[change] == notice and other.key(text) not in other.known
    assert judge.notice(text, Notice("drills", "no such drill: it said so")) == notice
    nobody_asked = Judge("bench.yaml", "this is never read", How())
    assert judged(nobody_asked, [(change, text)], 1, Kept(tmp_path, "one program")) == [notice]


def _inputs(table, chance, now):
    """Contacts, counts and messages that seldom change, and a fresh message in most scans."""
    return now if now is not None and chance.random() < 0.9 else Inputs(
        tuple(chance.random() < 0.5 for _ in table.contacts), tuple(chance.choice((0, 100, 110, 300, 700, 1000)) for _ in table.analogs),
        tuple(chance.random() < 0.8 for _ in table.heartbeats),
    )  # fmt: skip


def test_what_is_shown_to_be_the_same_pad_moves_and_writes_the_same_in_every_state():
    pad = loads(written(plain(CLUB)), "club")
    table, chance = compile_table(pad), random.Random(5)
    found = []
    for says, made in mutants(CLUB):
        if says.startswith(("and made or", "literal turned round", "permissive dropped", "left away")):
            other = loads(made, "club")
            if same(pad, table, compile_table(other)):
                found.append((says, compile_table(other)))
    assert found
    for says, other in found:
        for state in range(len(table.states)):
            now = _inputs(table, chance, None)
            mine, theirs = power_up(table), power_up(other)
            while not mine.settled:
                (mine, *_), (theirs, *_) = scan(table, mine, now), scan(other, theirs, now)
            mine, theirs = mine._replace(state=state, timer=0), theirs._replace(state=state, timer=0)
            for _ in range(300):
                now = _inputs(table, chance, now)
                mine, written_here, _ = scan(table, mine, now)
                theirs, written_there, _ = scan(other, theirs, now)
                assert (mine.state, written_here) == (theirs.state, written_there), says
