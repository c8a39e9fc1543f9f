"""Every name resolved, every threshold of the right kind, every number inside its field; each at its word."""

from __future__ import annotations

import pytest

from sequencer.description import load
from sequencer.description.faults import faults
from sequencer.description.meanings import meanings
from sequencer.table import compile_table
from tests.description.small_files import CLUB, CONFIGS, changed, line_of, names, read, refused


@pytest.mark.parametrize(
    ("old", "new", "name", "word"),
    [
        ("key is turned", "kei is turned", "unknown-name", "kei"),
        ("key is turned", "key is pressed", "unknown-word", "pressed"),
        ("key is turned", "key_in is turned", "wrong-kind", "key_in"),
        ("head is latched", "bottle_sensor is latched", "wrong-kind", "bottle_sensor"),
        ("radio heard within 500 ms", "key heard within 500 ms", "wrong-kind", "key"),
        ("bottle_sensor at least 7.0 bar", "bottle_sensor at least 7.0 kgf", "wrong-dimension", "7.0 kgf"),
        ("bottle_sensor at least 7.0 bar", "bottle at least 7.0 bar", "unknown-name", "bottle"),
        ("until below 5.2 bar", "until below 6.6 bar", "wrong-drop-out", "6.6 bar"),
        ("until below 5.2 bar", "until below 5.2 bar abs", "mixed-reference", "5.2 bar abs"),
        ("rises less than 0.2 bar in", "rises less than 0.2 bar gauge in", "mixed-reference", "0.2 bar gauge"),
        ("after filling starts", "after fillling starts", "unknown-name", "fillling"),
        ("once: at_pressure}", "once: at_presure}", "unknown-name", "at_presure"),
        ("once: not latched,", "once: not head,", "unknown-name", "head"),
        ("{go_to: gone,", "{go_to: gonne,", "unknown-name", "gonne"),
        ("go_to: hung_up", "go_to: hang_up", "unknown-name", "hang_up"),
        ("outputs: {fill: open,", "outputs: {fil: open,", "unknown-name", "fil"),
        ("outputs: {fill: open,", "outputs: {fill: opened,", "unknown-position", "opened"),
        ("fill stays shut:", "fill stays shutt:", "unknown-position", "fill stays shutt"),
        ("fill stays shut:", "fill shut:", "not-understood", "fill shut"),
        ("never: someone on the pad and bottle at least", "never: someone on the pad and botle at least", "unknown-name", "botle"),
        ("effect: fill shut and dump open", "effect: fill shut and dumb open", "unknown-name", "dumb"),
        ("cause: stop is pressed", "cause: stop is shut", "unknown-word", "shut"),
        ("start: release to pulled", "start: release to pushed", "unknown-position", "pushed"),
        ("always_possible: rest", "always_possible: rust", "unknown-name", "rust"),
        ("line: cylinder to bottle", "line: cylinder to bottel", "unknown-name", "bottel"),
        ("opened_by: dump", "opened_by: dmup", "unknown-name", "dmup"),
        ("seen_by: head", "seen_by: haed", "unknown-name", "haed"),
        ("dial: {dial: bottle", "dial: {dial: botle", "unknown-name", "botle"),
        ("read_by: pad_hand", "read_by: padhand", "unknown-name", "padhand"),
        ("carries: [button, stop, arm]", "carries: [button, stopp, arm]", "unknown-name", "stopp"),
        ("feeds: [servo_power,", "feeds: [servo_pwer,", "unknown-name", "servo_pwer"),
        ("powered_by: servo_power", "powered_by: fill", "wrong-kind", "fill"),
        ("poll: [pad_hand]", "poll: [padhand]", "unknown-name", "padhand"),
        ("read: dial,", "read: dail,", "unknown-name", "dail"),
        ("set: {key: turned}", "set: {key: on}", "unknown-word", "on"),
        ("set: {hold_down: latched}", "set: {hold_dwn: latched}", "unknown-name", "hold_dwn"),
        ("[\"release: jammed in counting\"]", "[\"release: jamed in counting\"]", "unknown-fault", "jamed"),
        ("[\"release: jammed in counting\"]", "[\"relese: jammed in counting\"]", "unknown-fault", "relese"),
        ("[\"release: jammed in counting\"]", "[\"release: jammed in countin\"]", "unknown-name", "countin"),
        ("[\"press stop in filling\"]", "[\"push stop in filling\"]", "not-understood", ""),
        ("everywhere_but: [dumping, rest, hung_up, gone, releasing]", "everywhere_but: [dumping, rset, hung_up, gone, releasing]", "unknown-name", "rset"),
        ("reads: bottle", "reads: botle", "unknown-name", "botle"),
        ("points: {102: 0 bar, 922: 10 bar}", "points: {102: 0 bar}", "calibration", ""),
        ("points: {102: 0 bar, 922: 10 bar}", "points: {102: 0 bar, 2000: 10 bar}", "calibration", "2000"),
        ("points: {102: 0 bar, 922: 10 bar}", "points: {102: 0 bar, 922: 10 bar abs}", "mixed-reference", ""),
        ("rest: open, drive: high, terminal: D9", "rest: shut, drive: high, terminal: D9", "unknown-position", "shut"),
        ("rest: stays,", "rest: locked,", "unknown-position", "locked"),
        ("terminal: D9}", "terminal: D8}", "same-terminal", "D8"),
        ("pulled: 1900 us}", "pulled: 1900 ms}", "pulse", "1900 ms"),
        ("water: 0.7 l", "water: 2.7 l", "wrong-order", "2.7 l"),
    ],
)  # fmt: skip
def test_a_name_or_a_kind_that_does_not_fit_is_refused_at_its_word(old: str, new: str, name: str, word: str) -> None:
    count = CLUB.count(old)
    text = CLUB.replace(old, new, 1) if count > 1 else changed((old.replace("dial: {dial", "dial:       {dial"), new.replace("dial: {dial", "dial:       {dial")))
    found = [one for one in refused(text) if one.name == name]
    assert len(found) == 1, [str(one) for one in refused(text)]
    assert len(refused(text)) == 1
    place = found[0].place
    assert text.splitlines()[place.line - 1][place.column - 1 :].lstrip('"').startswith(word)


def test_a_misspelt_name_is_offered_its_nearest_spelling() -> None:
    found = refused(changed(("go_to: hung_up", "go_to: hang_up")))
    assert "'hung_up'" in found[0].mend


def test_a_condition_uses_only_what_stands_above_it() -> None:
    text = changed(("  key_in:       key is turned\n", "  early: key_in and stop_down\n  key_in:       key is turned\n"))
    found = refused(text)
    assert names(found) == ["written-below", "written-below"]
    assert found[1].place.column == text.splitlines()[found[1].place.line - 1].index("stop_down") + 1


def test_one_name_does_not_mean_two_things() -> None:
    found = refused(CLUB.replace("radio_ok", "filling"))
    assert "same-name" in names(found)


def test_a_wrong_part_hides_no_other_finding_and_is_told_once() -> None:
    text = changed(("steady_for: 40 ms, terminal: D4 pull-up}", "steady_for: 40, terminal: D4 pull-up}"), ("go_to: hung_up", "go_to: hang_up"))
    assert sorted(names(refused(text))) == ["not-understood", "unknown-name"]


def test_a_negated_comparison_is_refused_with_advice() -> None:
    found = refused(changed(("bottle_sensor at least 7.0 bar", "not bottle_sensor at least 7.0 bar")))
    assert names(found) == ["not-understood"]
    assert "below" in found[0].mend


# C14 and the fields of the controller


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ("bottle_sensor below 0.12 bar for 5 s", "bottle_sensor below 0.12 bar for 30 min", "16 bits"),
        ("radio heard within 500 ms", "radio heard within 60 days", "65534"),
        ("at_latest: 180 s", "at_latest: 1000 days", "32 bits"),
        ("bottle_sensor at least 7.0 bar", "bottle_sensor at least 70 bar", "1023"),
        ("rises less than 0.2 bar in 5 s", "rises less than 0.001 bar in 5 s", "counts"),
    ],
)
def test_a_number_beyond_its_field_is_refused_with_the_number_and_the_field(old: str, new: str, part: str) -> None:
    text = changed((old, new))
    found = refused(text)
    assert names(found) == ["beyond-field"]
    assert part in found[0].required
    assert found[0].place.line == line_of(text, new)


def test_seventy_seconds_are_seventy_seconds() -> None:
    pad = read(changed(("at_latest: 180 s", "at_latest: 70 s")))
    table = compile_table(pad)
    row = next(one for one in table.rows if one.path[:4] == ("states", "holding", "leave", 1))
    assert row.least * table.scan_ms == 70_000


@pytest.mark.parametrize("scan", ["0 ms", "1.5 ms", "2 s", "500 us"])
def test_a_scan_that_is_no_whole_number_of_milliseconds_is_refused(scan: str) -> None:
    assert names(refused(changed(("scan: 20 ms", f"scan: {scan}")))) == ["scan"]


def test_more_conditions_than_the_box_holds_are_refused_before_compiling() -> None:
    more = "".join(f"  extra_{i}: key is turned\n" for i in range(120))
    found = refused(changed(("  key_in:       key is turned\n", "  key_in:       key is turned\n" + more)))
    assert names(found) == ["too-many"]
    assert "128" in found[0].required


def test_and_mixed_with_or_in_one_bit_is_refused_with_advice() -> None:
    found = refused(changed(("  key_in:       key is turned\n", "  a: key is turned\n  b: gate is shut\n  c: stop is pressed\n  key_in: a and (b or c)\n")))
    assert names(found) == ["mixed"]


def test_a_sentence_with_thousands_of_ways_is_refused_at_once() -> None:
    long = " and ".join(f"({a} or {b})" for a, b in [("key_in", "latched"), ("arm_up", "pad_shut"), ("empty", "stop_down")] * 5)
    found = refused(changed(("once: at_pressure}", f"once: {long}}}")))
    assert names(found) == ["not-understood"]


def test_brackets_without_end_are_refused_at_once() -> None:
    found = refused(changed(("once: at_pressure}", f"once: {'(' * 900}at_pressure{')' * 900}}}")))
    assert names(found) == ["not-understood"]
    found = refused(changed(("once: at_pressure}", f"once: {'not ' * 900}at_pressure}}")))
    assert names(found) == ["not-understood"]


@pytest.mark.parametrize("name", ["club", "curlew", "bench"])
def test_every_way_of_failing_that_a_result_may_name_has_its_meaning(name: str) -> None:
    unknown = {one.mode for one in faults(load(CONFIGS / f"{name}.yaml")) if not any(m.kind == "way of failing" for m in meanings(one.mode))}
    assert not unknown
