"""`prove` as a user meets it: exit codes, what is said first, JSON, kept results."""

import json

import numpy as np

from sequencer.cli.main import main
from sequencer.description import load
from sequencer.proof import checking
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.prove import Options


def test_the_club_pad_holds_and_the_answer_opens_with_what_it_is_blind_to(capsys):
    assert main(["prove", "configs/club.yaml", "--faults", "0"]) == 0
    out = capsys.readouterr().out
    assert out.index("certifies nothing") < out.index("Blind to") < out.index("Rests on") < out.index("Interlocks")
    assert "holds in this model" in out
    assert "proved" not in out.lower() and " safe" not in out.lower()
    assert max(map(len, out.splitlines())) <= 80


def test_stories_of_what_a_rule_is_not_asked_to_withstand_are_told_where_they_are_wanted(capsys):
    counts = []
    for more in ([], ["--beyond"]):
        assert main(["prove", "configs/bench.yaml", "--faults", "1", "--no-replay", "--json", *more]) == 0
        rules = json.loads(capsys.readouterr().out)["result"]["interlocks"]
        counts.append(sum(cut["story"] is not None for rule in rules for cut in rule["cuts"]))
    assert counts[0] == 0 < counts[1]


def test_json_carries_every_race_with_both_durations(capsys):
    assert main(["prove", "configs/club.yaml", "--faults", "0", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["command"] == "prove" and answer["verdict"] == "pass"
    races = answer["result"]["races"]
    assert races and all(r["first_most"] < r["second_least"] for r in races if r["second_least"] != 0)


def test_planted_logic_fails_with_stories(capsys):
    assert main(["prove", "configs/planted_logic.yaml", "--faults", "0", "--no-replay"]) == 1
    assert "BROKEN" in capsys.readouterr().out


def test_too_many_situations_are_refused_with_the_number(capsys):
    assert main(["prove", "configs/club.yaml", "--faults", "0", "--budget", "100"]) == 2
    said = capsys.readouterr()
    assert "more than 100 situations" in said.out + said.err
    assert "Traceback" not in said.out + said.err


def test_a_kept_result_answers_again_and_stands_the_plain_check(tmp_path, capsys):
    kept = tmp_path / "kept"
    arguments = ["prove", "configs/club.yaml", "--faults", "0", "--keep", str(kept)]
    assert main(arguments) == 0
    first = capsys.readouterr().out
    assert main(arguments) == 0
    assert capsys.readouterr().out == first
    assert main(["prove", "configs/club.yaml", "--check", str(kept)]) == 0
    capsys.readouterr()
    words = kept / "situations.bin"
    words.write_bytes(words.read_bytes()[:-8])
    assert main(["prove", "configs/club.yaml", "--check", str(kept)]) == 1
    assert "outside the set" in capsys.readouterr().out


def test_a_kept_result_of_other_code_or_another_question_is_not_the_answer(tmp_path, monkeypatch):
    """An answer belongs to file, question, version and the very code: any line of it may have a share in the verdict."""
    for name in ("a.py", "room/b.py"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("one = 1\n")
    before = checking.sources(tmp_path)
    assert checking.sources(tmp_path) == before
    (tmp_path / "room/b.py").write_text("one = 2\n")
    after = checking.sources(tmp_path)
    assert after != before
    checking.keep(tmp_path / "kept", {"stamp": checking.stamp("file", Options())}, "", system_of(draft_of(load("configs/club.yaml"))), np.empty(0), set())
    assert checking.kept_answer(tmp_path / "kept", checking.stamp("file", Options())) is not None
    assert checking.kept_answer(tmp_path / "kept", checking.stamp("file", Options(faults=1))) is None
    monkeypatch.setattr(checking, "sources", lambda: after)
    assert checking.kept_answer(tmp_path / "kept", checking.stamp("file", Options())) is None
