"""A rule that holds breaks when what it rests on is taken out by hand; what else still carries it is told as well."""

import pytest

from sequencer.description import loads
from sequencer.proof.prove import Options, prove
from tests.quick_club import quick_club

with open("configs/club.yaml", encoding="utf-8") as _file:
    CLUB = _file.read()
TO_REST = "once: empty and sensor_ok and not key_in, not_before: 60 s"
TO_RELEASE = "{go_to: releasing, once: at_pressure and radio_ok, not_before: 5 s}"


def changed(*pairs, text=CLUB):
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return loads(text, "club.yaml")


def outcomes(pad, **options):
    return {r.name: r for r in prove(pad, Options(**options)).interlocks}


def test_the_club_pad_holds_without_faults():
    for name in ("nobody_near_gas", "release_is_meant", "no_dead_end"):
        assert outcomes(loads(CLUB, "club.yaml"), replays=False)[name].outcome == "holds"


@pytest.mark.parametrize(
    ("pairs", "rule"),
    [
        ([(TO_RELEASE, "{go_to: releasing, once: radio_ok, not_before: 5 s}")], "release_is_meant"),
        ([(TO_REST, "once: sensor_ok and not key_in")], "approach_means_empty"),
        ([("says: Filling. Keep out.", "says: Filling. Keep out.\n    people: allowed"), ("{fill: open, dump: shut, beacon: lit}", "{fill: open, dump: shut}")], "nobody_near_gas"),
        ([("      - {go_to: dumping, at_latest: 2 s}", "      - {go_to: gone, at_latest: 2 s}")], "no_dead_end"),
        ([("    people: allowed\n    leave:", "    people: allowed\n    outputs: {fill: open, dump: shut}\n    leave:")], "nobody_near_gas"),
        ([("      - {go_to: filling, once: pressed, not_before: 3 s}", "      - {go_to: releasing, once: pressed, not_before: 3 s}")], "release_is_meant"),
    ],
)  # fmt: skip
def test_a_permissive_taken_out_breaks_its_rule_with_a_story(pairs, rule):
    result = outcomes(changed(*pairs), replays=False)[rule]
    assert result.outcome == "broken"
    assert result.story is not None and len(result.story.lines) > 3


@pytest.mark.parametrize(
    ("pairs", "rule"),
    [
        ([(TO_RELEASE, "{go_to: releasing, once: radio_ok, not_before: 5 s}")], "release_is_meant"),
        ([("      - {go_to: filling, once: pressed, not_before: 3 s}", "      - {go_to: releasing, once: pressed, not_before: 3 s}")], "release_is_meant"),
    ],
)  # fmt: skip
def test_the_exact_simulator_confirms_the_story(pairs, rule):
    """A quick fill sags below 5 bar within the hold; no cooling takes the club's own slow one below its 4 bar."""
    result = outcomes(changed(*pairs, ("and bottle at least 4.0 bar", "and bottle at least 5.0 bar"), ("until below 4.2 bar", "until below 5.2 bar"), text=quick_club()))[rule]
    assert result.story is not None and result.story.replay is not None
    assert result.story.replay.confirmed, result.story.replay.says


def test_one_of_two_protections_may_go_as_long_as_the_other_stands():
    """The gate's trip and the fill inhibit both watch the gate; time and reading both guard the way to rest."""
    for pairs in ([(TO_REST, TO_REST.replace("empty and ", ""))], [("  gate:     {everywhere_but: [dumping, rest, hung_up, gone], once: not pad_shut, go_to: dumping}\n", "")]):
        assert outcomes(changed(*pairs), replays=False)["nobody_near_gas"].outcome == "holds"


def test_a_single_sensor_fault_can_release_at_low_pressure_and_the_simulator_confirms_it():
    pad = changed(("needs: nobody on the pad and bottle at least 4.0 bar\n", "needs: nobody on the pad and bottle at least 4.0 bar\n    withstand: {equipment: 1, slips: 0}\n"))
    result = outcomes(pad, faults=1, stories=1)["release_is_meant"]
    assert result.outcome == "broken"
    assert ("bottle_sensor: offset",) in [cut.faults for cut in result.cuts]
    assert result.withstands is not None and result.withstands[0] == 0
