"""Critical reading: the planted file, and every kind of mistake in a file of its own."""

from __future__ import annotations

import re

import pytest

from sequencer.description import load
from sequencer.description.findings import READER, READING
from sequencer.description.reading import read_critically
from tests.description.small_files import CONFIGS, changed, line_of, names, refused, told


def test_what_is_told_of_the_planted_file_is_exactly_what_its_comments_say() -> None:
    text = (CONFIGS / "planted.yaml").read_text(encoding="utf-8")
    planted = set()
    for number, line in enumerate(text.splitlines(), 1):
        found = re.search(r"  # planted: (.+)$", line)
        if found:
            planted |= {(number, name.strip()) for name in found[1].split(",")}
    assert planted
    said = {(one.place.line, one.name) for one in read_critically(load(CONFIGS / "planted.yaml"))}
    assert said == planted


def test_every_finding_of_critical_reading_is_planted_and_has_its_sentence() -> None:
    said = {one.name for one in read_critically(load(CONFIGS / "planted.yaml"))}
    assert said == set(READING)
    assert not set(READING) & set(READER)
    assert all(len(sentence) > 20 for _, sentence in READING.values())


@pytest.mark.parametrize("name", ["club", "curlew", "bench"])
def test_nothing_is_told_of_the_other_examples(name: str) -> None:
    assert [str(one) for one in read_critically(load(CONFIGS / f"{name}.yaml"))] == []


def test_every_finding_says_what_is_required_and_how_to_mend_it() -> None:
    told_of = read_critically(load(CONFIGS / "planted.yaml"))
    assert len(told_of) > 50
    for one in told_of:
        assert one.found and one.required and one.mend, one


# C06: a broad rule written first hides the special one


def test_a_rule_hidden_by_a_broad_trip_is_told_with_the_trip_named() -> None:
    text = changed(("      - {go_to: holding, once: at_pressure}\n", "      - {go_to: holding, once: at_pressure}\n      - {go_to: gone, once: stop_down and latched}\n"))
    found = told(text)
    assert names(found) == ["rule-never-fires"]
    assert "trip 'stop'" in found[0].found and found[0].place.line == line_of(text, "once: stop_down and latched")


def test_a_rule_covered_only_by_several_earlier_ones_together_is_told() -> None:
    # latched or not latched: between them nothing is left over
    text = changed(("      - {go_to: gone, once: not latched, not_before: 200 ms}\n",
                    "      - {go_to: gone, once: not latched}\n      - {go_to: hung_up, once: latched and at_pressure}\n      - {go_to: hung_up, once: latched and not at_pressure}\n      - {go_to: gone, once: key_in}\n"))  # fmt: skip
    found = told(text)
    assert "rule-never-fires" in names(found)
    assert any("hung_up" in one.found and one.place.line == line_of(text, "once: key_in}") for one in found)


def test_the_order_of_lines_decides_only_where_the_written_order_rules() -> None:
    broad = "      - {go_to: dumping, once: pressed}\n"
    special = "      - {go_to: gone, once: pressed and at_pressure}\n"
    at = "      - {go_to: dumping, at_latest: 180 s}\n"
    assert "rule-never-fires" in names(told(changed(("      - {go_to: counting, once: pressed and at_pressure and radio_ok}\n" + at, broad + special + at))))
    assert "rule-never-fires" not in names(told(changed(("      - {go_to: counting, once: pressed and at_pressure and radio_ok}\n" + at, special + broad + at))))


def test_a_state_added_at_the_end_is_covered_by_every_trip() -> None:
    text = changed(("trips:   ", "  release_stuck:\n    says: Stuck.\n    outputs: {dump: shut}\n    leave:\n      - {go_to: dumping, at_latest: 5 s}\n\ntrips:   "), ("go_to: hung_up,", "go_to: release_stuck,"))
    assert "trip-leaves-out-state" not in names(told(text))
    text = text.replace("everywhere_but: [dumping, rest, hung_up, gone], once: stop_down", "everywhere_but: [dumping, rest, hung_up, gone, release_stuck], once: stop_down")
    found = [one for one in told(text) if one.name == "trip-leaves-out-state"]
    assert len(found) == 1 and "release_stuck" in found[0].found


def test_the_reason_of_one_state_left_out_of_a_trip_is_no_reason_for_another() -> None:
    more = told(changed(("[dumping, rest, hung_up, gone, releasing]", "[dumping, rest, hung_up, gone, releasing, counting]")))
    found = [one for one in more if one.name == "trip-leaves-out-state"]
    assert len(found) == 1 and "'counting'" in found[0].found and "'releasing'" not in found[0].found
    named = changed(("[dumping, rest, hung_up, gone, releasing]", "[dumping, rest, hung_up, gone, releasing, counting]"), ("because: {releasing", "because: {counting: it is short, releasing"))
    assert "trip-leaves-out-state" not in names(told(named))
    assert [one.name for one in refused(named.replace("{counting: it", "{countin: it"))] == ["unknown-name"]


def test_a_button_held_for_longer_than_its_state_lasts_is_told() -> None:
    whole = (CONFIGS / "curlew.yaml").read_text(encoding="utf-8")
    short = whole.replace("at_latest: 2 min, says: half pressure", "at_latest: 1 min, says: half pressure")
    assert short != whole and "state-ends-before-its-steps" not in names(told(whole))
    found = [one for one in told(short) if one.name == "state-ends-before-its-steps"]
    assert len(found) == 1 and "70 s" in found[0].found and "'half_filling'" in found[0].found


def test_two_sensors_of_one_vessel_asked_together_for_different_limits_are_told() -> None:
    whole = (CONFIGS / "curlew.yaml").read_text(encoding="utf-8")
    other = whole.replace("upper_b at least 9.0 bar", "upper_b at least 9.2 bar")  # asked with another vessel's: nothing is told
    assert other != whole and "twins-differ" not in names(told(other))
    for old, new in (("lower_b at least 8.0 bar", "lower_b at least 7.0 bar"), ("upper_b below 0.10 bar", "upper_b below 0.05 bar")):
        text = whole.replace(old, new)
        assert text != whole and "twins-differ" in names(told(text))


# C08: five separate findings


def test_a_fault_state_with_gas_in_and_no_way_out_is_told() -> None:
    text = changed(("trips:   ", "  broken:\n    says: Broken.\n    outputs: {dump: shut}\n\ntrips:   "), ("{go_to: dumping, once: no_rise, says: no gas arrives}", "{go_to: broken, once: no_rise}"))
    found = [one for one in told(text) if one.name == "no-way-out"]
    assert len(found) == 1 and found[0].place.line == line_of(text, "  broken:")


def test_a_longer_timed_exit_behind_a_shorter_one_is_told_in_either_order() -> None:
    short, long = "      - {go_to: dumping, at_latest: 5 s}\n", "      - {go_to: releasing, at_latest: 8 s}\n"
    place = "      - {go_to: dumping, at_latest: 180 s}\n"
    for both in (short + long, long + short):
        text = changed((place, both))
        found = [one for one in told(text) if one.name == "overtaken-exit"]
        assert len(found) == 1 and found[0].place.line == line_of(text, "at_latest: 8 s")


def test_a_guard_against_what_another_part_of_it_requires_is_told() -> None:
    text = changed(("  latched:      head", "  armed_by_key: key_in and pad_shut\n  latched:      head"), ("once: pressed, not_before: 3 s", "once: armed_by_key and not key_in, not_before: 3 s"))
    found = [one for one in told(text) if one.name == "guards-cannot-hold-together"]
    assert len(found) == 1 and "key" in found[0].found


def test_a_pressure_over_five_and_under_four_is_told() -> None:
    text = changed(("  too_high:", "  over_five: bottle_sensor at least 5 bar\n  under_four: bottle_sensor below 4 bar\n  too_high:"),
                   ("once: pressed, not_before: 3 s", "once: over_five and under_four, not_before: 3 s"))  # fmt: skip
    found = [one for one in told(text) if one.name == "guards-cannot-hold-together"]
    assert len(found) == 1 and "5 bar" in found[0].found and "4 bar" in found[0].found


def test_a_pressure_that_may_lag_behind_by_a_delay_is_not_called_impossible() -> None:
    text = changed(("  too_high:", "  over_five: bottle_sensor at least 5 bar lingers 2 s\n  under_four: bottle_sensor below 4 bar\n  too_high:"),
                   ("once: pressed, not_before: 3 s", "once: pressed and over_five and under_four, not_before: 3 s"))  # fmt: skip
    assert "guards-cannot-hold-together" not in names(told(text))


def test_two_times_that_are_the_same_scan_are_told() -> None:
    text = changed(("scan: 20 ms", "scan: 50 ms"), ("once: not latched, not_before: 200 ms}", "once: not latched, not_before: 960 ms}"))
    found = names(told(text))
    assert "same-scan" in found and "not-whole-scans" in found


# C05: gauge and absolute


@pytest.mark.parametrize(
    ("old", "new", "name"),
    [
        ("bottle_sensor below 0.12 bar", "bottle_sensor below 0.2 bar abs", "never-below-air"),
        ("bottle_sensor below 0.12 bar", "bottle_sensor below 1.1 bar", "approach-under-pressure"),
        ("bottle_sensor below 0.12 bar", "bottle_sensor below 0.1 bar", "below-what-it-reads"),
        ("bottle_sensor below 0.12 bar", "bottle_sensor below 0.11 bar", "below-what-it-reads"),  # 0.1 bar and a count of 10 bar / 820
        ("points: {102: 0 bar, 922: 10 bar}", "points: {102: 0 bar, 922: 7.5 bar}", "sensor-span"),
        ("opens_at: 7.5 bar", "opens_at: 9 bar", "relief-order"),
        ("opens_at: 7.5 bar", "opens_at: 5.5 bar", "relief-order"),
        ("rated: 8 bar", "rated: 60 bar", "implausible-pressure"),
        ("pressure: 12 bar, regulated: 8 bar", "pressure: 6 bar, regulated: 8 bar", "implausible-pressure"),
        ("never: someone on the pad and bottle at least 0.3 bar", "never: someone on the pad and bottle at least 3 bar", "approach-under-pressure"),
        ("never: someone on the pad and bottle at least 0.3 bar", "never: someone on the pad and bottle at least 0.3 bar abs", "never-below-air"),
        ("bottle_sensor at least 7.0 bar", "bottle_sensor at least 9.0 bar", "implausible-pressure"),
    ],
)
def test_a_pressure_on_the_wrong_scale_is_told(old: str, new: str, name: str) -> None:
    text = changed((old, new))
    found = [one for one in told(text) if one.name == name]
    assert found and found[0].place.line in (line_of(text, new), line_of(text, "  bottle_sensor:\n"))


def test_what_a_dial_may_show_counts_where_people_are_on_the_pad_only() -> None:
    """A megapascal meant as a bar lets someone go on with the bottle full; the same limit at the line hurts nobody."""
    near = changed(("read: dial, shows: bottle below 0.1 bar}", "read: dial, shows: bottle below 0.1 MPa}"))
    found = [one for one in told(near) if one.name == "approach-under-pressure"]
    assert len(found) == 1 and "Read the dial" in found[0].found and found[0].place.line == line_of(near, "0.1 MPa")
    away = near.replace("during: rest, do: Read the dial", "during: dumping, do: Read the dial").replace("do: Walk in, see: dial at zero from the gate, walk: in", "do: Look on")
    assert "approach-under-pressure" not in names(told(away))


def test_a_lower_rule_for_the_same_people_answers_the_finding_about_a_high_one() -> None:
    rule = "  nobody_near_much_gas:\n    never: someone on the pad and bottle at least 3 bar\n    why: x\n"
    text = changed(("interlocks:  ", "interlocks:  #\n" + rule + "#"))
    assert "approach-under-pressure" not in names(told(text))


# C10, C12, C18, C21, C23 as far as the file alone shows them


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ([("pressed:      button becomes pressed", "pressed:      button is pressed")], "command-on-level"),
        ([("stop_down:    stop is pressed", "stop_down:    stop becomes pressed")], "stop-on-edge"),
        ([("rest: stays, powered_by: servo_power,", "rest: stays,")], "servo-always-powered"),
        ([("rest: stays, powered_by: servo_power,", "rest: stays, while_booting: pulled,")], "boots-released"),
        ([("rest: shut, drive: high,", "rest: shut, drive: low,")], "active-low-boot"),
        ([("rest: shut, drive: high,", "rest: shut, while_booting: open,")], "boots-released"),
        ([("    says: Letting gas out. Treat", "    people: allowed\n    says: Letting gas out. Treat"), ("    says: Letting gas out. Treat the bottle as full.\n    people: keep out\n", "    says: Letting gas out. Treat the bottle as full.\n")], "power-up-lets-people-in"),
        ([("dump:     {valve: [open, shut], rest: open", "dump:     {valve: [shut, open], rest: shut")], "rest-traps-gas"),
        ([("radio heard within 500 ms", "radio heard within 200 ms")], "impatient-link"),
        ([("at least 6.0 bar until below 5.2 bar", "at least 6.0 bar until below 5.9 bar"), ("{go_to: dumping, at_latest: 180 s}", "{go_to: dumping, once: not at_pressure}")], "cooling-looks-like-a-leak"),
        ([("{go_to: dumping, at_latest: 180 s}", "{go_to: filling, once: not at_pressure, not_before: 60 s}")], "endless-top-up"),
        ([("  latched:      head is latched\n", "  latched:      head is latched\n  shut_too:     gate is shut for 2 s\n"), ("once: arm_up and key_in and pad_shut and latched", "once: arm_up and key_in and pad_shut and shut_too and latched")], "same-input-twice"),
        ([("outputs: {fill: open, dump: shut, beacon: lit}", "people: allowed\n    outputs: {fill: open, dump: shut, beacon: lit}")], "people-where-gas-enters"),
        ([("once: no_rise, says", "once: no_rise and pressed and armed_now, says"), ("  latched:      head", "  armed_now: arm becomes switched up\n  latched:      head")], "two-presses-at-once"),
    ],
)  # fmt: skip
def test_a_mistake_of_that_kind_is_told(changes: list[tuple[str, str]], name: str) -> None:
    found = [one for one in told(changed(*changes)) if one.name == name]
    assert len(found) == 1, names(told(changed(*changes)))


def test_a_settling_time_answers_the_finding_about_cooling() -> None:
    text = changed(("at least 6.0 bar until below 5.2 bar", "at least 6.0 bar until below 5.9 bar"), ("{go_to: dumping, at_latest: 180 s}", "{go_to: dumping, once: not at_pressure, not_before: 30 s}"))
    assert "cooling-looks-like-a-leak" not in names(told(text))


def test_a_memory_that_limits_it_answers_the_finding_about_topping_up() -> None:
    text = changed(("{go_to: dumping, at_latest: 180 s}", "{go_to: filling, once: not at_pressure and not used_once, not_before: 60 s}"),
                   ("  too_high:", "  falling_again: state is filling\n  used_once: remembers falling_again until not key_in\n  too_high:"))  # fmt: skip
    assert "endless-top-up" not in names(told(text))


def test_a_dangerous_threshold_hidden_in_a_combination_is_still_told() -> None:
    text = changed(("bottle_sensor below 0.12 bar for 5 s", "bottle_sensor below 1.1 bar for 5 s"), ("  too_high:", "  all_clear: empty and sensor_there\n  too_high:"),
                   ("  empty:   ", "  sensor_there: bottle_sensor is valid\n  empty:   "), ("once: empty and sensor_ok and not key_in", "once: all_clear and sensor_ok and not key_in"))  # fmt: skip
    assert "approach-under-pressure" in names(told(text))


def test_a_button_held_behind_a_combination_is_still_told() -> None:
    text = changed(("  latched:      head is latched\n", "  latched:      head is latched\n  held: button is pressed\n  fill_asked: held and pad_shut\n"), ("once: pressed, not_before: 3 s", "once: fill_asked, not_before: 3 s"))
    assert "command-on-level" in names(told(text))


def test_a_change_judged_in_the_scan_of_a_later_timed_exit_still_fires() -> None:
    same = changed(("{go_to: dumping, at_latest: 60 s}\n  holding:", "{go_to: dumping, at_latest: 5 s}\n  holding:"))
    assert "rule-never-fires" not in names(told(same))
    shorter = changed(("{go_to: dumping, at_latest: 60 s}\n  holding:", "{go_to: dumping, at_latest: 4 s}\n  holding:"))
    assert "rule-never-fires" in names(told(shorter))


def test_a_level_that_lingers_does_not_exclude_the_press_that_ends_it() -> None:
    text = changed(("  latched:      head is latched\n", "  latched:      head is latched\n  was_up: button is not pressed for 1 s lingers 2 s\n"), ("once: pressed, not_before: 3 s", "once: pressed and was_up, not_before: 3 s"))
    assert "guards-cannot-hold-together" not in names(told(text))
    sure = text.replace(" lingers 2 s", "")
    assert "guards-cannot-hold-together" in names(told(sure))


def test_a_volume_that_no_state_vents_is_told_once_not_in_every_state() -> None:
    text = changed(("  fill_line:  {line: cylinder to bottle,", "  tank:       {volume: 1 l, rated: 8 bar}\n  cross:      {line: bottle to tank, opened_by: hand, from_place: line, bore: 3 mm}\n  fill_line:  {line: cylinder to bottle,"))
    found = [one for one in told(text) if one.name == "no-way-out"]
    assert len(found) == 1 and "'tank'" in found[0].found and found[0].place.line == line_of(text, "  tank:  ")
