"""Timed rules against faults: what is on a rule's path defeats it, what is not does not, and the simulator agrees."""

import pytest

from sequencer.description import loads
from sequencer.description.faults import faults
from sequencer.proof import certain, timed_stories
from sequencer.proof.build import draft_of
from sequencer.proof.prove import Options, Work, judged

with open("configs/club.yaml", encoding="utf-8") as _file:
    CLUB = _file.read()
with open("configs/bench.yaml", encoding="utf-8") as _file:
    BENCH = _file.read()


def changed(text, *pairs):
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new)
    return loads(text, "pad.yaml")


def worked(text, *pairs, **options):
    """A proof in progress, explored without faults: timed rules need no more."""
    work = Work(changed(text, *pairs), Options(faults=0), lambda says: None)
    work.explore()
    work.options = Options(**{"faults": 1, "replays": False, **options})
    return work


def proved(text, *pairs, **options):
    work = worked(text, *pairs, **options)
    timed = {n: r for n, r in work.pad.interlocks.items() if not any(hasattr(r, k) for k in ("never", "needs", "always_possible"))}
    return {name: judged(work, name, rule) for name, rule in timed.items()}


def cuts(result):
    return {cut.faults for cut in result.cuts}


def test_one_stop_contact_withstands_no_fault_and_only_its_own_faults_defeat_it():
    result = proved(BENCH)["stop_stops"]
    assert result.outcome == "holds" and result.withstands == (0, 1)
    assert cuts(result) == {("stop: stuck closed",), ("stop: shorted",), ("stop: bounces",), ("box: hangs",)}


@pytest.mark.parametrize(
    ("rule", "fault", "says"),
    [
        ("stop_stops", "stop: stuck closed", "after 250 ms still not"),
        ("stop_stops", "stop: shorted", "after 250 ms still not"),
        ("lets_go", "hold_down: seized", "after 0.5 s still not"),
        ("lets_go", "release: jammed", "after 0.5 s still not"),
        ("lets_go", "stop: wire cut", "after 0.5 s still not"),
    ],
)
def test_a_fault_that_defeats_a_rule_has_a_story_that_the_simulator_confirms(club, rule, fault, says):
    cut = tuple(f for f in faults(club.pad) if f.name == fault)
    tell = timed_stories.of_must if rule == "lets_go" else timed_stories.of_reaction
    more = () if rule == "lets_go" else (timed_stories.Found(),)
    story = tell(club, club.pad.interlocks[rule], rule, cut, *more)
    assert story.lines[-1].says.startswith(says)
    assert any(line.says.startswith("FAULT") for line in story.lines)
    assert story.replay.confirmed, story.replay.says


@pytest.fixture(scope="module")
def club():
    return worked(CLUB, replays=True)


def test_a_rule_that_asks_for_a_fault_that_defeats_it_is_broken():
    within = ("    within: 250 ms\n", "    within: 250 ms\n    withstand: {equipment: 1, slips: 0}\n")
    result = proved(CLUB, within, stories=0)["stop_stops"]
    assert result.outcome == "broken" and "broken by" in result.level


TWO = [
    ("  stop:           {contact", "  stop_too:       {contact: opens when pressed, steady_for: 20 ms, terminal: D11}\n  stop:           {contact"),
    ("  stop_down:       stop is pressed\n", "  stop_one:        stop is pressed\n  stop_two:        stop_too is pressed\n  stop_down:      stop_one or stop_two\n"),
    ("    cause: stop is pressed\n", "    cause: stop is pressed and stop_too is pressed\n"),
]


def test_two_stop_contacts_on_one_button_take_a_fault_in_each():
    """One of them pressed is enough for the box; the rule's cause presses both."""
    result = proved(BENCH, *TWO, faults=2)["stop_stops"]
    found = cuts(result)
    assert ("stop_too: shorted", "stop: shorted") in found or ("stop: shorted", "stop_too: shorted") in found
    assert not any(cut in found for cut in (("stop: shorted",), ("stop_too: stuck closed",)))
    assert result.withstands[0] == 0  # the box itself may still hang


def test_a_declared_common_cause_of_both_contacts_counts_as_one_fault():
    shared = ("revision: 1\n", 'revision: 1\nshared: {plug: ["stop: shorted", "stop_too: shorted"]}\n')
    within = ("    within: 100 ms\n    severity: critical\n    withstand: {equipment: 0, slips: 0}", "    within: 400 ms\n    severity: critical\n    withstand: {equipment: 1, slips: 0}")
    alone = proved(BENCH, *TWO, within, faults=2)["stop_stops"]
    assert alone.outcome == "holds" and alone.withstands == (1, 2)
    result = proved(BENCH, *TWO, within, shared, faults=2)["stop_stops"]
    assert result.outcome == "broken" and "one event, plug" in result.level
    assert result.withstands[0] == 0 and any("plug" in one for one in result.common)


def test_an_effect_named_by_its_line_counts_the_valve_too():
    effect = ("    effect: fill shut and dump open\n", "    effect: fill_line shut and dump_line open\n")
    command = proved(CLUB)["stop_stops"]
    valve = proved(CLUB, effect, ("    within: 250 ms", "    within: 400 ms"))["stop_stops"]
    assert sum(p.seconds for p in valve.parts) > sum(p.seconds for p in command.parts)
    assert ("dump_line: stuck shut",) in cuts(valve) and ("dump_line: stuck shut",) not in cuts(command)
    assert any("dump_line: stuck shut" in note for note in command.notes)


def test_a_slower_condition_that_the_trip_looks_at_counts_not_the_quickest_of_the_contact():
    slow = [("  stop_down:       stop is pressed\n", "  stop_seen:       stop is pressed\n  stop_down:       stop is pressed for 300 ms\n")]
    result = proved(BENCH, *slow)["stop_stops"]
    assert result.outcome == "broken" and "too late" in result.level
    assert any(p.says == "condition delay" and p.seconds == pytest.approx(0.3) for p in result.parts)


def test_an_effect_that_the_box_may_let_go_of_again_is_broken():
    leaves = ("  resting:\n    says: Servo has no power.", "  resting:\n    outputs: {servo_power: off}\n    says: Servo has no power.")
    again = ("latched and steady_load and load_ok and not too_heavy and not stop_down}", "latched and steady_load and load_ok and not too_heavy}")
    warm = ("    everywhere_but: [resting, setting, let_go, stuck]\n", "    everywhere_but: [resting, setting, armed, warming, let_go, stuck]\n    because: {armed: a test, warming: a test}\n")
    inhibit = ("  servo_power stays off: {once: stop_down or not guard_shut}", "  servo_power stays off: {once: not guard_shut}")
    result = proved(BENCH, leaves, again, warm, inhibit)["stop_stops"]
    assert result.outcome == "broken"


def test_a_must_names_its_parts_what_keeps_it_and_what_takes_the_command_back():
    result = proved(CLUB)["lets_go"]
    found = cuts(result)
    assert {("release: jammed",), ("hold_down: seized",), ("wire: off",), ("servo_power: stuck off",), ("stop: wire cut",)} <= found
    assert not {("radio: lost",), ("hold_down: lets go early",), ("dump_line: stuck shut",), ("stop: shorted",)} & found
    assert any("taken back" in note and "trip stop" in note for note in result.notes)
    assert any("goes unasked" in note and "hold_down: lets go early" in note for note in result.notes)


def test_a_release_that_its_own_clock_takes_back_too_soon_is_broken_without_faults():
    result = proved(CLUB, ("      - {go_to: hung_up, at_latest: 1 s}", "      - {go_to: hung_up, at_latest: 100 ms}"))["lets_go"]
    assert result.outcome == "broken" and "less than it takes" in result.level


def test_what_lasts_by_the_clock_withstands_every_input_and_a_hang_only_where_there_is_room():
    """The longest way with the servo's power on is 1.44 s; a hung box holds its outputs for a quarter of a second."""
    rules = "interlocks:\n  wide: {lasts: servo_power on, at_most: 2 s, withstand: {equipment: 2}, why: a test}\n"
    rules += "  tight: {lasts: servo_power on, at_most: 1.5 s, withstand: {equipment: 1}, why: a test}\n  x:\n    {lasts: state is stuck, at_least: 1 s, why: a test} #"
    found = proved(BENCH, ("interlocks:                          #", rules), faults=2)
    assert found["wide"].outcome == "holds" and not found["wide"].cuts and found["wide"].withstands == (2, 2)
    assert found["tight"].outcome == "broken" and cuts(found["tight"]) == {("box: hangs",)}


def test_at_least_is_cut_short_by_a_trip_and_by_nothing_once_only_the_clock_leads_out():
    club = ("interlocks:                          #", "interlocks:\n  stands: {lasts: state is gone, at_least: 2 s, why: a test}\n  shorter: {lasts: state is counting, at_least: 2 s, why: a test}\n  x:\n    {lasts: state is gone, at_most: 3 s, why: a test} #")
    found = proved(CLUB, club)
    assert found["stands"].outcome == "holds" and {("box: hangs",), ("battery: fails",)} <= cuts(found["stands"])
    assert found["shorter"].outcome == "broken"


def test_what_is_not_worked_out_is_said_and_never_holds():
    odd = ("    cause: stop is pressed\n    effect: fill shut and dump open\n", "    cause: box says too_high\n    effect: fill shut and dump open\n")
    result = proved(CLUB, odd)["stop_stops"]
    assert result.outcome == "not examined" and "no input" in result.level


def test_with_nothing_asked_of_other_inputs_the_bits_of_a_contact_follow_its_level():
    draft = draft_of(loads(CLUB, "club.yaml"))
    number = [c.name for c in draft.table.contacts].index("stop")
    pressed = certain.turned(draft, {number: False})
    assert pressed[draft.table.bit_index("stop_down")] == (1, 0)
    assert draft.table.bit_index("key_in") not in pressed
