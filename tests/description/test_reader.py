"""The reader against the traps of YAML 1.1, look-alike letters and hostile files."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from sequencer.description import load, loads
from sequencer.errors import UnusableFile
from tests.description.small_files import CLUB, CONFIGS, changed, line_of, names, read, refused


@pytest.mark.parametrize("word", ["on", "off", "yes", "no", "y", "n", "null", "true", "On", "OFF"])
def test_words_stay_the_words_written(word: str) -> None:
    text = changed(("servo_power: {relay: [off, on], rest: off,", f"servo_power: {{relay: [{word.lower()}_0, {word.lower()}], rest: {word.lower()}_0,"),
                   ("servo_power: on", f"servo_power: {word.lower()}"))  # fmt: skip
    if word.islower():
        assert read(text).output_positions["servo_power"] == [f"{word}_0", word]
    with pytest.raises(UnusableFile) as caught:
        read(text.replace(f"servo_power: {word.lower()},", f"servo_power: {word.upper()},"))
    assert word.upper() in str(caught.value)
    assert "True" not in str(caught.value) and "False" not in str(caught.value)


def test_a_state_may_be_called_no_and_a_valve_stand_on_and_off() -> None:
    text = CLUB.replace("rest:\n    says", "no:\n    says").replace("go_to: rest", "go_to: no").replace("[dumping, rest", "[dumping, no")
    text = text.replace("during: rest", "during: no").replace("wait_for: rest", "wait_for: no").replace("always_possible: rest", "always_possible: no")
    assert "no" in read(text).states


def test_on_beside_yes_in_one_table_is_an_error_that_names_both_lines() -> None:
    found = refused(changed(("release:  {servo: {locked: 1100 us, pulled: 1900 us}", "release:  {servo: {on: 1100 us, yes: 1900 us}")))
    assert "same-truth" in names(found)
    one = next(f for f in found if f.name == "same-truth")
    assert "'on'" in one.found and "'yes'" in one.found


def test_on_and_yes_are_no_two_positions_of_one_output() -> None:
    found = refused(changed(("servo_power: {relay: [off, on], rest: off", "servo_power: {relay: [yes, on], rest: yes")))
    assert "same-truth" in names(found)
    assert "same-truth" not in names(refused(changed(("servo_power: {relay: [off, on], rest: off", "servo_power: {relay: [no, yes], rest: no"))))


def test_a_key_written_twice_is_an_error_naming_both_lines() -> None:
    found = refused(CLUB + "\ninterlocks:\n  only_one: {always_possible: rest, why: The second block would win.}\n")
    one = next(f for f in found if f.name == "repeated-key")
    assert one.place.line == CLUB.count("\n") + 2
    assert f"line {line_of(CLUB, 'interlocks:')}" in one.found


def test_a_repeated_key_is_found_at_any_depth_and_inside_braces() -> None:
    found = refused(changed(("key:      {contact: closes when turned,", "key:      {contact: opens when turned, contact: closes when turned,")))
    assert names(found) == ["repeated-key"]
    deep = refused(changed(("    people: allowed\n", "    people: allowed\n    people: keep out\n")))
    assert names(deep) == ["repeated-key"]


@pytest.mark.parametrize(
    ("old", "new", "near"),
    [
        ("interlocks:                          #", "Interlocks:                          #", "interlocks"),
        ("rated: 8 bar", "ratted: 8 bar", "rated"),
        ("accuracy: 0.1 bar", "accurracy: 0.1 bar", "accuracy"),
        ("    stays: nothing moves", "    Stays: nothing moves", "stays"),
        ("withstand: {equipment: 0", "widthstand: {equipment: 0", "withstand"),
    ],
)
def test_an_unknown_key_is_refused_with_the_nearest_known_spelling(old: str, new: str, near: str) -> None:
    text = changed((old, new))
    found = [one for one in refused(text) if one.name == "unknown-key"]
    assert len(found) == 1
    assert f"'{near}'" in found[0].mend
    assert found[0].place.line == line_of(text, new)
    assert text.splitlines()[found[0].place.line - 1][found[0].place.column - 1 :].startswith(new.strip().split(":")[0].split("{")[-1].strip())


@pytest.mark.parametrize(
    ("written", "advice"),
    [
        ("60", "add the unit"), ("12:30", "seconds"), ("007 s", "leading zeros"), ("1e3 ms", "write it out"), ("0x10 s", "decimal"),
        ("0o17 s", "decimal"), ("1_000 ms", "without it"), ("60 sec", "'s'"), ("on", "number and a unit"),
        ("6 bar", "use one of"), ("５ s", "again"), ("1.5.2 s", "number and a unit"), ("99999999999999 s", "larger or smaller unit"),
        (".inf", "number and a unit"), ("5. s", "digit after the point"), ("3 to 5 s", "least to most"),
    ],
)  # fmt: skip
def test_a_time_that_is_no_plain_time_is_refused_with_advice(written: str, advice: str) -> None:
    text = changed(("{go_to: dumping, at_latest: 180 s}", f"{{go_to: dumping, at_latest: {written}}}"))
    found = refused(text)
    assert len(found) == 1
    assert found[0].place.line == line_of(text, f"at_latest: {written}}}")
    assert advice in found[0].mend
    assert written in found[0].found


def test_a_decimal_comma_gets_its_advice_inside_and_outside_braces() -> None:
    inside = refused(changed(("{go_to: dumping, at_latest: 180 s}", "{go_to: dumping, at_latest: 1,5 s}")))
    assert any("full stop" in one.mend for one in inside)
    outside = refused(changed(("    accuracy: 0.1 bar", "    accuracy: 0,1 bar")))
    assert len(outside) == 1 and "full stop" in outside[0].mend


@pytest.mark.parametrize(
    ("letter", "code"),
    [("\u200b", "U+200B"), ("\ufeff", "U+FEFF"), ("\u202e", "U+202E"), ("\xa0", "U+00A0"), ("\u2009", "U+2009"), ("\u2028", "U+2028"), ("\x07", "U+0007")],
)
def test_a_character_that_no_screen_shows_is_named_by_its_code_point(letter: str, code: str) -> None:
    text = CLUB.replace("title: Club pad", f"title: Club{letter} pad")
    found = refused(text)
    assert names(found) == ["invisible-character"]
    assert code in found[0].found
    assert (found[0].place.line, found[0].place.column) == (2, len("title: Club") + 1)


def test_a_byte_order_mark_at_the_very_start_changes_nothing() -> None:
    assert load_bytes(b"\xef\xbb\xbf" + CLUB.encode()).title == "Club pad"


def load_bytes(raw: bytes, tmp: Path = Path(os.environ.get("TMPDIR", "/tmp"))) -> object:
    import tempfile

    with tempfile.NamedTemporaryFile(suffix=".yaml", delete=False) as stream:
        stream.write(raw)
    try:
        return load(stream.name)
    finally:
        os.unlink(stream.name)


def test_a_cyrillic_letter_in_a_name_is_named() -> None:
    found = refused(CLUB.replace("  stop_down:    stop is", "  stоp_down:    stop is"))
    one = next(f for f in found if f.name == "look-alike")
    assert "U+043E CYRILLIC SMALL LETTER O" in one.found
    assert one.place.column == 5


def test_letters_of_other_languages_may_stand_in_sentences() -> None:
    assert "Überdruck" in read(CLUB.replace("title: Club pad", "title: Überdruck für Клуб")).title


def test_a_tab_is_refused_at_its_place() -> None:
    found = refused(CLUB.replace("  dumping:\n", "\tdumping:\n"))
    assert any(one.name == "tab" and one.place.column == 1 for one in found)


def test_a_comment_that_cuts_a_sentence_short_is_told() -> None:
    text = changed(("why: Anyone may stop the launch at any moment.", "why: Anyone may stop the launch with key #2 at any moment."))
    found = refused(text)
    assert names(found) == ["cut-short"]
    assert found[0].place.line == line_of(text, "key #2")
    assert text.splitlines()[found[0].place.line - 1][found[0].place.column - 1] == "#"


def test_a_sentence_before_a_comment_after_one_space_is_a_warning_that_check_tells() -> None:
    text = changed(("why: Anyone may stop the launch at any moment.", "why: Anyone may stop the launch by pressing key # 2 at any moment."))
    assert names(read(text).remarks) == ["cut-short"]
    assert [one.severity for one in read(text).remarks] == ["warning"]


def test_a_bare_colon_in_a_sentence_gets_advice_and_the_rest_is_still_read() -> None:
    text = changed(("    why: Anyone may stop", "    why: Stop: anyone may stop"), ("title: Club pad", "tittle: Club pad"))
    found = refused(text)
    assert {"not-yaml", "unknown-key", "missing-key"} == set(names(found))
    one = next(f for f in found if f.name == "not-yaml")
    assert "quotes" in one.mend and one.place.line == line_of(text, "why: Stop: anyone")


def test_several_mistakes_in_different_places_are_all_told_in_one_pass() -> None:
    text = changed(
        ("scan: 20 ms", "scan: 20"), ("rated: 8 bar", "rated: 8 baar"), ("stop_down:    stop is pressed", "stop_down:    stopp is pressed"),
        ("go_to: hung_up", "go_to: hang_up"), ("release: pulled, beacon", "release: pushed, beacon"),
    )  # fmt: skip
    found = refused(text)
    assert sorted(names(found)) == ["not-understood", "not-understood", "unknown-name", "unknown-name", "unknown-position"]
    assert [one.place.line for one in found] == sorted(one.place.line for one in found)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("", "no-description"), ("# only a comment\n", "no-description"), ("- a\n- b\n", "no-description"), ("just words\n", "no-description"),
        ("a: &x {b: *x}\n", "wrong-alias"), ("a: *nothing\n", "wrong-alias"), ("<<: {a: 1}\n", "merge-key"), ("a: !!python/object:os.system x\n", "yaml-tag"),
        ("a: !x {b: 1}\n", "yaml-tag"), ("a: 1\n---\nb: 2\n", "second-document"), ("%YAML 1.1\n---\na: 1\n", "yaml-directive"), ("? [a, b]\n: c\n", "no-word-key"),
        ('"": c\n', "no-key"), ("a: [" * 40, "too-deep"), ("a: " + "[" * 5000, "too-deep"), ("x" * 5000 + ": 1\n", "not-yaml"), ("a: " + "long " * 2000 + "\n", "too-long"),
        ("a: {b: 1\n", "not-yaml"), ("a: \"open\n", "not-yaml"), ("a: @b\n", "not-yaml"), ("a: \"\\U99999999\"\n", "not-yaml"), ("\x00\x01", "not-text"),
    ],
)  # fmt: skip
def test_what_is_no_description_is_refused_by_name(text: str, name: str) -> None:
    found = refused(text)
    assert name in names(found)
    assert all(0 <= one.place.line <= text.count("\n") + 1 for one in found)


def test_an_alias_bomb_is_refused_at_once() -> None:
    bomb = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"{chr(98 + i)}: &{chr(98 + i)} [{', '.join([f'*{chr(97 + i)}'] * 9)}]\n" for i in range(9)
    )
    began = time.process_time()
    found = refused(bomb)
    assert "too-large" in names(found)
    assert time.process_time() - began < 5  # a bound on hostile work, a hundred times what it takes


def test_an_alias_of_a_plain_value_keeps_its_own_place() -> None:
    text = changed(("key:      {contact: closes when turned, steady_for: 40 ms", "key:      {contact: closes when turned, steady_for: &s 40 ms"),
                   ("arm:      {contact: closes when switched up, steady_for: 40 ms", "arm:      {contact: closes when switched up, steady_for: *s "))  # fmt: skip
    pad = read(text)
    assert pad.inputs["arm"].steady_for.text == "40 ms"
    assert pad.place("inputs", "arm", "steady_for").line == line_of(text, "*s")


def test_files_that_are_no_text_files_are_refused(tmp_path: Path) -> None:
    wide = tmp_path / "wide.yaml"
    wide.write_bytes(CLUB.encode("utf-16"))
    latin = tmp_path / "latin.yaml"
    latin.write_bytes(b"title: caf\xe9\n")
    large = tmp_path / "large.yaml"
    large.write_text("# " + "x" * 600_000)
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    cases = [(wide, "not-utf-8"), (latin, "not-utf-8"), (large, "too-large"), (tmp_path, "unreadable-file"), (pipe, "unreadable-file"), (tmp_path / "none.yaml", "unreadable-file")]
    for path, name in cases:
        with pytest.raises(UnusableFile) as caught:
            load(path)
        assert names(caught.value.findings) == [name], path
    assert (latin_place := caught) is not None  # the last case had no place
    with pytest.raises(UnusableFile) as caught:
        load(latin)
    assert (caught.value.findings[0].place.line, caught.value.findings[0].place.column) == (1, 11)
    assert latin_place.value.findings[0].place.line == 0


@pytest.mark.parametrize("ending", ["\r\n", "\r"])
def test_line_endings_of_other_systems_keep_every_place(ending: str) -> None:
    text = changed(("rated: 8 bar", "ratted: 8 bar"))
    one, other = refused(text), refused(text.replace("\n", ending))
    assert [f.place for f in one] == [f.place for f in other]


def test_a_missing_key_points_at_its_parent() -> None:
    text = changed(("    why: Anyone may stop the launch at any moment.\n", ""))
    found = refused(text)
    assert names(found) == ["missing-key"]
    assert found[0].place.line == line_of(text, "  stop_stops:")


@pytest.mark.parametrize("word", ["null", "~", "", "no", "none"])
def test_an_empty_mark_is_no_reason(word: str) -> None:
    found = refused(changed(("stays: nothing moves until the crew arms", f"stays: {word}")))
    assert len(found) == 1


@pytest.mark.parametrize("name", ["club", "curlew", "bench", "planted"])
def test_every_example_is_read_and_every_path_has_its_place(name: str) -> None:
    pad = load(CONFIGS / f"{name}.yaml")
    lines = pad.text.splitlines()
    for state in pad.states:
        place = pad.place("states", state)
        assert lines[place.line - 1][place.column - 1 :].startswith(f"{state}:")


def test_the_column_of_the_very_word_is_told_in_every_kind_of_text() -> None:
    for wrapped in ("pressed and nonsense", '"pressed and nonsense"', "'pressed and nonsense'", ">-\n          pressed and\n          nonsense"):
        text = changed(("      - {go_to: filling, once: pressed, not_before: 3 s}", f"      - go_to: filling\n        once: {wrapped}\n        not_before: 3 s"))
        found = refused(text)
        assert names(found) == ["unknown-name"]
        place = found[0].place
        assert text.splitlines()[place.line - 1][place.column - 1 :].startswith("nonsense")


def test_too_many_findings_are_counted_and_cut() -> None:
    with pytest.raises(UnusableFile) as caught:
        loads(CLUB + "".join(f"key_{i}: 1\n" for i in range(1000)), "pad.yaml")
    assert len(caught.value.findings) == 300
    assert "1000 findings (the first 300 are shown)" in caught.value.message


def test_a_colon_without_its_space_is_told_as_such() -> None:
    found = refused(changed(("at_latest: 180 s", "at_latest:180 s")))
    assert any("write 'at_latest: 180 s'" in one.mend for one in found if one.name == "unknown-key")


def test_a_list_where_a_mapping_is_due_is_told_and_the_rest_still_read() -> None:
    found = refused(changed(("trips:                               #", "trips: []\nxtrips:   #"), ("go_to: hung_up", "go_to: hang_up")))
    assert sorted(names(found)) == ["unknown-key", "unknown-name", "wrong-shape"]
