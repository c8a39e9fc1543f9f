"""check, schema, meaning and begin as a user meets them: words, places, exit codes, JSON."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import yaml

from sequencer.cli.main import main
from sequencer.description import load, vocabulary
from sequencer.description.findings import READER, READING
from sequencer.description.schema import schema

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
EXAMPLES = ("club", "curlew", "bench", "planted")


@pytest.mark.parametrize("name", ["club", "curlew", "bench"])
def test_check_of_an_example_ends_with_zero(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(CONFIGS / f"{name}.yaml")]) == 0
    said = capsys.readouterr()
    assert "nothing found" in said.out and "Limits:" in said.out and said.err == ""


def test_check_of_the_planted_file_ends_with_one_and_tells_each_mistake_at_its_line(capsys: pytest.CaptureFixture[str]) -> None:
    path = CONFIGS / "planted.yaml"
    assert main(["check", str(path)]) == 1
    said = capsys.readouterr().out
    for name in READING:
        assert f"[{name}]" in said
    places = [int(line.split(":")[1]) for line in said.splitlines() if line.startswith(f"{path}:") and line.endswith("]")]
    assert places == sorted(places) and len(places) >= len(READING)


def test_check_of_an_unusable_file_ends_with_two_and_no_traceback(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text((CONFIGS / "club.yaml").read_text().replace("scan: 20 ms", "scan: 20").replace("go_to: hung_up", "go_to: hang_up"))
    assert main(["check", str(path)]) == 2
    said = capsys.readouterr()
    assert f"{path}:4:7: error: " in said.out and "'hung_up'" in said.out
    assert "2 findings; nothing was done." in said.out and "Traceback" not in said.out + said.err
    assert main(["check", str(path), "--json"]) == 2
    whole = json.loads(capsys.readouterr().out)
    assert (whole["command"], whole["file"], whole["verdict"]) == ("check", str(path), "fail")
    assert [one["line"] for one in whole["result"]["findings"]][0] == 4


def test_the_json_of_check_carries_every_finding_and_every_limit(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(CONFIGS / "planted.yaml"), "--json"]) == 1
    whole = json.loads(capsys.readouterr().out)
    assert whole["verdict"] == "fail"
    assert {one["name"] for one in whole["result"]["findings"]} == set(READING)
    assert set(whole["result"]["findings"][0]) == {"name", "severity", "file", "line", "column", "found", "required", "mend"}
    assert any(one["given"] for one in whole["result"]["limits"]) and any(not one["given"] for one in whole["result"]["limits"])


def test_every_limit_is_listed_as_given_or_assumed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(CONFIGS / "club.yaml"), "--limits"]) == 0
    said = capsys.readouterr().out
    assert "given    line" in said and "too_high: bottle_sensor at least 7.0 bar" in said
    assert "no_dead_end withstand: equipment 0, slips 0" in said and "assumed  line" in said


# schema


def keep_words(node: object) -> object:
    """Data as an editor's parser gives it, its keys as texts."""
    if isinstance(node, dict):
        return {str(key): keep_words(value) for key, value in node.items()}
    if isinstance(node, list):
        return [keep_words(value) for value in node]
    return node


def test_the_schema_is_a_schema_and_documents_every_key(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    whole = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(whole)
    for part in (whole, *whole["$defs"].values()):
        for key, value in part.get("properties", {}).items():
            assert value.get("description"), f"{part['title']}: {key}"
    assert all(word.says for word in vocabulary.words())


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_conforms_to_the_schema_for_both_kinds_of_editor(name: str) -> None:
    text = (CONFIGS / f"{name}.yaml").read_text(encoding="utf-8")
    validator = jsonschema.Draft202012Validator(schema())
    for loader in (yaml.BaseLoader, yaml.SafeLoader):  # words as written; and words as YAML 1.1 types
        data = keep_words(yaml.load(text, Loader=loader))
        assert [error.message for error in validator.iter_errors(data)][:3] == []


def test_the_schema_refuses_an_unknown_key() -> None:
    data = yaml.load((CONFIGS / "club.yaml").read_text(), Loader=yaml.BaseLoader)
    data["site"]["bottle"]["ratted"] = "8 bar"
    assert list(jsonschema.Draft202012Validator(schema()).iter_errors(data))


# meaning


def test_every_finding_and_every_key_has_its_meaning(capsys: pytest.CaptureFixture[str]) -> None:
    for word in [*READING, *READER, *{one.key for one in vocabulary.words()}, "withstand", "drop-out", "bar", "welded", "heard within"]:
        assert main(["meaning", word]) == 0, word
        assert word in capsys.readouterr().out


def test_an_unknown_word_is_answered_with_the_nearest_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meaning", "widthstand"]) == 2
    assert "'withstand'" in capsys.readouterr().err


def test_without_a_word_all_words_are_listed_at_eighty_columns(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meaning"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    text = " ".join(lines)
    assert all(name in text for name in READING)


def test_every_finding_that_the_reader_can_make_is_in_the_registry() -> None:
    import re

    room = Path(__file__).resolve().parents[2] / "sequencer/description"
    made = set()
    for path in [*room.glob("*.py"), *room.glob("resolve/*.py")]:
        source = path.read_text(encoding="utf-8")
        made |= set(re.findall(r"(?:Finding|\.say|_say|unusable)\(\s*(?:result, counts, |file, |name, |str\(path\), )?\"([a-z]+(?:-[a-z0-9]+)*)\"", source))
    made -= {"error"}
    assert len(made) > 40
    assert made <= set(READER) | set(READING)


# begin


def test_begin_writes_a_file_that_check_finds_nothing_in_and_never_overwrites(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["begin"]) == 0
    said = capsys.readouterr().out
    assert "sequencer check pad.yaml" in said
    first = (tmp_path / "pad.yaml").read_bytes()
    assert load(tmp_path / "pad.yaml").title == "Club pad"
    assert main(["check", "pad.yaml"]) == 0
    capsys.readouterr()
    assert main(["begin"]) == 2
    assert "already there" in capsys.readouterr().err
    assert (tmp_path / "pad.yaml").read_bytes() == first
    assert main(["begin", "other.yaml", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["result"]["written"] == "other.yaml"
    assert main(["begin", "no/such/place.yaml"]) == 2


def test_the_first_file_is_the_ten_minute_example_with_a_word_before_it() -> None:
    from sequencer.description.first import first_file

    assert "Stored gas can kill" in first_file()
    assert first_file().endswith((CONFIGS / "club.yaml").read_text(encoding="utf-8"))
