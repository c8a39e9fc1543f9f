"""Each house rule and interlock kind: a planted violation is found, its repaired twin holds."""

import pytest

from sequencer.description import load, loads
from sequencer.proof import house
from sequencer.proof.build import draft_of
from sequencer.proof.prove import Options, prove

with open("configs/planted_logic.yaml", encoding="utf-8") as _file:
    PLANTED = _file.read()
with open("configs/club.yaml", encoding="utf-8") as _file:
    CLUB = _file.read()


def rules(text):
    return {r.name: r for r in house.judged(draft_of(loads(text, "text")))}


@pytest.fixture(scope="module")
def planted():
    return prove(load("configs/planted_logic.yaml"), Options())


def test_every_marked_violation_is_found(planted):
    marked = {line.split("PLANTED")[1].split()[0].rstrip(":") for line in PLANTED.splitlines() if "PLANTED " in line and ":" in line.split("#")[0] + ":"}
    marked = {m for m in marked if m not in ("with", "violation")}
    found = {r.name for r in (*planted.interlocks, *planted.house) if r.outcome == "broken"}
    assert len(marked) >= 10
    assert marked <= found


def test_the_planted_stories_are_confirmed_by_the_exact_simulator(planted):
    told = {r.name: r.story for r in planted.interlocks if r.story is not None and r.story.replay is not None}
    assert set(told) == {"nobody_near_gas", "release_is_meant", "stop_stops", "lets_go", "servo_on_shortly", "armed_is_heard", "pull_is_whole"}
    assert all(story.replay.confirmed for story in told.values()), {n: s.replay.says for n, s in told.items()}


def test_every_house_rule_holds_for_the_club_pad():
    assert {r.outcome for r in rules(CLUB).values()} == {"holds"}


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("quiet-at-power-up", "fill:     {valve: [shut, open], rest: shut, drive: high", "fill:     {valve: [shut, open], rest: shut, while_booting: open, drive: high"),
        ("two-inputs-to-start", "      - {go_to: dumping, at_latest: 2 s}", "      - {go_to: releasing, at_latest: 2 s}"),
        ("stop-from-everywhere", "[dumping, rest, hung_up, gone], once: stop_down or not key_in", "[dumping, rest, hung_up, gone, holding], once: stop_down or not key_in"),
        ("no-trapped-gas", "  dump_line:  {line", "  pocket:     {volume: 0.1 l, rated: 12 bar}\n  pocket_line: {line: cylinder to pocket, opened_by: hand, bore: 3 mm}\n  dump_line:  {line"),
        ("held-button-does-nothing", "  pressed:      button becomes pressed", "  pressed:      button is pressed"),
        ("link-never-resumes", "    once: not radio_ok\n    go_to: dumping", "    once: not radio_ok\n    go_to: armed"),
        ("reset-starts-nothing", "not_before: 60 s}\n", "not_before: 60 s}\n      - {go_to: filling, once: pressed and key_in, not_before: 60 s}\n"),
        ("approach-shown-empty", "once: empty and sensor_ok and not key_in, not_before: 60 s", "once: sensor_ok and not key_in, not_before: 60 s"),
    ],
)  # fmt: skip
def test_a_planted_violation_of_a_house_rule_is_found(name, old, new):
    assert old in CLUB
    text = CLUB.replace(old, new)
    if name == "link-never-resumes":
        text = text.replace("{go_to: filling, once: pressed, not_before: 3 s}", "{go_to: filling, once: radio_ok, not_before: 3 s}")
    broken = rules(text)[name]
    assert broken.outcome == "broken" and broken.against
    waived = rules(text + f"\nwaived: {{{name}: a reason for the test}}\n")[name]
    assert waived.outcome == "waived" and waived.waived == "a reason for the test"
