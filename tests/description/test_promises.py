"""Critical reading of written order, of cut wires, and of what crew, cards and rules promise about the states."""

from __future__ import annotations

import pytest

from tests.description.small_files import CLUB, changed, line_of, names, told


def test_time_written_above_a_condition_is_told_and_below_it_is_not() -> None:
    text = changed(
        ("      - {go_to: filling, once: pressed, not_before: 3 s}\n      - {go_to: dumping, at_latest: 120 s}\n", "      - {go_to: dumping, at_latest: 120 s}\n      - {go_to: filling, once: pressed, not_before: 3 s}\n")
    )
    found = told(text)
    assert names(found) == ["time-before-condition"] and found[0].place.line == line_of(text, "at_latest: 120 s")
    assert told(CLUB) == []


def test_a_way_out_that_has_one_scan_only_is_told() -> None:
    def counts(seconds: int) -> str:
        return changed(("once: at_pressure and radio_ok, not_before: 5 s", f"once: at_pressure and radio_ok, not_before: {seconds} s"))

    assert names(told(counts(6))) == ["one-scan-window"]
    assert told(counts(4)) == []


def test_the_bolder_of_two_ways_that_can_hold_at_once_is_told_when_it_stands_first() -> None:
    safe, bold = "      - {go_to: dumping, once: no_rise, says: no gas arrives}\n", "      - {go_to: holding, once: at_pressure}\n"
    found = told(changed((safe + bold, bold + safe)))
    assert names(found) == ["safer-way-below"]


def test_two_ways_that_exclude_each_other_may_stand_in_any_order() -> None:
    safe, bold = "      - {go_to: dumping, once: no_rise, says: no gas arrives}\n", "      - {go_to: holding, once: at_pressure}\n"
    assert told(changed((safe + bold, "      - {go_to: holding, once: at_pressure and not no_rise}\n" + safe))) == []


@pytest.mark.parametrize(
    ("contact", "word"), [("stop:     {contact: opens", "closes"), ("gate:     {contact: closes", "opens"), ("head:     {contact: closes", "opens"), ("button:   {contact: closes", "opens"), ("key:      {contact: closes", "opens")]
)  # fmt: skip
def test_a_contact_whose_cut_wire_permits_is_told(contact: str, word: str) -> None:
    found = told(changed((contact, f"{contact.split('{')[0]}{{contact: {word}")))
    assert names(found) == ["cut-wire-goes-unseen"] and f"'{contact.split(':')[0]}'" in found[0].found


def test_walking_in_where_people_are_kept_out_is_told() -> None:
    assert names(told(changed(("    people: allowed\n", "")))) == ["walks-in-where-kept-out"]


def crewed(takes: str) -> str:
    line = "during: armed, do: Press to fill"
    return changed((line, f"during: armed, takes: {takes}, do: Press to fill"))


def test_lines_that_may_take_longer_than_their_state_lasts_are_told() -> None:
    assert names(told(crewed("121 s"))) == ["state-ends-before-its-steps"]
    assert told(crewed("120 s")) == []


def test_a_card_that_waits_longer_than_the_box_is_told_by_the_least_times_on_the_way() -> None:
    # hung_up 60 s, then dumping 60 s, then people may come
    def waits(seconds: int) -> str:
        return changed(("states: [hung_up], steps: [Nobody moves, Key out, Wait, Watch the dial to zero], wait: 60 s", f"states: [hung_up], steps: [Nobody moves], wait: {seconds} s"))

    assert told(waits(120)) == []
    assert names(told(waits(121))) == ["card-waits-longer"]


def test_a_state_that_gives_up_before_what_must_follow_is_due_is_told() -> None:
    found = told(changed(("      - {go_to: hung_up, at_latest: 1 s}", "      - {go_to: hung_up, at_latest: 500 ms}")))
    assert names(found) == ["gives-up-before-due"] and "600 ms" in found[0].required
    assert told(changed(("      - {go_to: hung_up, at_latest: 1 s}", "      - {go_to: hung_up, at_latest: 600 ms}"))) == []


def test_a_trip_that_leads_to_where_people_may_be_is_told() -> None:
    found = told(changed(("once: too_high or not sensor_ok, go_to: dumping}", "once: too_high or not sensor_ok, go_to: rest}")))
    assert names(found) == ["trip-lets-people-in"]


def test_a_change_judged_by_less_than_twice_the_accuracy_is_told() -> None:
    assert names(told(changed(("rises less than 0.2 bar", "rises less than 0.19 bar")))) == ["change-within-accuracy"]
