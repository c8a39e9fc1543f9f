"""What every line of every sheet keeps to, and how margins move."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.description import Pad, loads
from sequencer.site.assumed import assumptions
from sequencer.sizing import Line, Sheet, sizing_sheet
from sequencer.sizing.show import WIDTH, show_sheet
from tests.sizing import pads

EXAMPLES = ("club", "curlew", "bench")


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_line_names_its_formula_and_every_assumption_is_listed(sheets: dict[str, Sheet], name: str) -> None:
    sheet = sheets[name]
    listed = {key for key, _, _ in sheet.assumed}
    assert sheet.lines
    for line in sheet.lines:
        assert line.source and line.shown, line.name
        assert set(line.assumed) <= listed <= set(assumptions())
        if line.margin is not None:
            assert line.against and line.judgement in ("holds", "thin", "fails"), line.name


@pytest.mark.parametrize("name", EXAMPLES)
def test_no_two_lines_share_a_name(sheets: dict[str, Sheet], name: str) -> None:
    names = [line.name for section in sheets[name].sections if not section.name.startswith("If this wire") for line in section.lines]
    assert sorted(names) == sorted(set(names))


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_text_fits_eighty_columns_and_opens_with_what_it_is_blind_to(sheets: dict[str, Sheet], name: str) -> None:
    lines = list(show_sheet(sheets[name]))
    assert max(map(len, lines)) <= WIDTH
    whole = "\n".join(lines)
    assert whole.index("Blind to") < whole.index("FAILS") if "FAILS" in whole else whole.index("Blind to") > 0
    assert re.search(r"\b(safe|proved)\b", whole) is None
    for line in lines:
        if line.startswith("stand-off, all people"):
            assert "blast only; fragments, hoses and the vehicle go further" in whole[whole.index(line) :][:200]


def test_what_keeps_people_away_stands_on_the_first_screen_at_its_bad_end(sheets: dict[str, Sheet]) -> None:
    for name in ("club", "curlew"):
        first = "\n".join(list(show_sheet(sheets[name]))[:30])
        for line in sheets[name].lines:
            if line.name.endswith("empty in") or line.name.startswith("card misfire") or "force at 'vented'" in line.name:
                assert line.worst_shown in first, line.name
        assert sheets[name].line("stand-off, all people").shown in first


def test_assumed_stands_beside_a_value_nobody_gave_and_not_beside_a_given_one(sheets: dict[str, Sheet]) -> None:
    rows = {line.split("  ")[0]: line for line in show_sheet(sheets["curlew"])}
    assert rows["hold_down: after lever 1"].endswith("assumed")  # nobody gave pin friction
    assert not rows["hold_down: opens when dirty"].endswith("assumed")  # the contact's friction is in the file


def test_a_failing_line_is_told_first_with_its_place(sheets: dict[str, Sheet]) -> None:
    sheet = sizing_sheet(pads.tank(wait="15 s"))
    head = "\n".join(show_sheet(sheet)).split("Stored energy")[0]
    assert "FAILS: " in head and "dump_line: tank empty in" in head and "tank.yaml:" in head


@given(st.floats(0.02, 0.6), st.floats(0.0, 0.3))
@settings(max_examples=40)
def test_more_friction_never_makes_the_head_open_more_readily(friction: float, more: float) -> None:
    less, dirtier = (
        sizing_sheet(pads.tank(more=pads.head(friction=f"{f:.4f}"))).line("hold_down: opens when dirty").margin for f in (friction, friction + more)
    )  # fmt: skip
    assert less is not None and dirtier is not None and dirtier <= less * (1 + 1e-6)


@given(st.floats(20.0, 90.0), st.floats(1.0, 30.0))
@settings(max_examples=40)
def test_a_wider_seat_never_widens_the_load_window_margin(seat: float, more: float) -> None:
    narrow, wide = (
        sizing_sheet(pads.tank(more=pads.head(seat=f"{s:.3f} mm"))).line("hold_down: lets go on command").margin for s in (seat, seat + more)
    )  # fmt: skip
    assert narrow is not None and wide is not None and wide <= narrow * (1 + 1e-6)


@given(st.floats(5.0, 400.0), st.floats(0.0, 100.0))
@settings(max_examples=40)
def test_a_longer_wait_never_lowers_its_margin(wait: float, more: float) -> None:
    short, long = (sizing_sheet(pads.tank(wait=f"{w:.3f} s")).line("dump_line: tank empty in").margin for w in (wait, wait + more))
    assert short is not None and long is not None and long >= short * (1 - 1e-6)


def test_a_vessel_without_relief_or_vent_fails() -> None:
    text = pads.tank().text
    bare = "\n".join(line for line in text.splitlines() if not line.startswith(("  relief:", "  dump_line:")))
    sheet = sizing_sheet(_loads(bare))
    assert sheet.line("tank: relief").judgement == "fails"
    assert sheet.line("tank: way to air").judgement == "fails"
    assert not sheet.holds


def _loads(text: str) -> Pad:
    return loads(text, "bare.yaml")


def test_people_allowed_beside_a_shut_in_vessel_fails() -> None:
    # case: power loss or abort that leaves a volume without a way to air
    shut = pads.tank().text.replace("    people: allowed\n", "    people: allowed\n    outputs: {dump: shut}\n")
    sheet = sizing_sheet(loads(shut, "shut.yaml"))
    line = sheet.line("shut in: tank")
    assert line.judgement == "fails" and "people are allowed in resting" in line.warning


def test_a_hose_before_a_shut_valve_is_named_as_charged() -> None:
    # case: source - valve - hose - valve - vessel; the sensor reads 0 and the hose stays at pressure
    sheet = sizing_sheet(pads.tank())
    line = sheet.line("fill_line: pocket before its valve")
    assert line.value == pytest.approx(11.98675e5) and "bleed it" in line.note


def test_a_drop_out_that_cooling_crosses_is_told_and_one_below_it_is_not() -> None:
    # case: fill to 5 bar, it cools below 4.9 without any leak
    def margin(floor: str) -> str:
        text = pads.tank(full="5.0 bar").text.replace("  too_high:", f"  at_least_so: tank_sensor at least {floor}\n  too_high:")
        text = text.replace("  filling:\n    says: Filling.\n", "  filling:\n    says: Filling.\n", 1)
        text = text.replace("go_to: venting, once: full", "go_to: holding, once: full")
        text = text.replace("trips:\n", "  holding:\n    says: Holding.\n    outputs: {dump: shut}\n"
                            "    leave: [{go_to: resting, once: at_least_so}, {go_to: venting, at_latest: 60 s}]\ntrips:\n")  # fmt: skip
        return sizing_sheet(loads(text, "cool.yaml")).line("at_least_so: after cooling").judgement

    assert margin("4.9 bar") == "fails"
    assert margin("2.6 bar") == "holds"


def test_a_trip_on_falling_pressure_that_normal_cooling_makes_is_told_as_a_nuisance_abort() -> None:
    # case: fill to 5.0 bar, abort if below 4.9 bar; cooling from 30 to 20 degC alone makes 5.0 into 4.8 bar
    def line(limit: str) -> Line:
        text = pads.tank(full="5.0 bar").text.replace("  too_high:", f"  sinking: tank_sensor below {limit}\n  too_high:")
        text = text.replace("go_to: venting, once: full", "go_to: holding, once: full")
        text = text.replace("trips:\n", "  holding:\n    says: Holding.\n    outputs: {dump: shut}\n    leave: [{go_to: venting, at_latest: 60 s}]\n"
                            "trips:\n  sank: {everywhere_but: [resting, venting, filling], once: sinking, go_to: venting}\n")  # fmt: skip
        return sizing_sheet(loads(text, "cool.yaml")).line("sinking: after cooling")

    assert line("4.9 bar").judgement == "fails" and "nuisance abort" in line("4.9 bar").warning
    assert line("3.3 bar").judgement in ("thin", "holds") and not line("3.3 bar").warning


def test_a_vessel_fed_and_vented_through_a_manifold_is_worked_out_through_it() -> None:
    text = pads.tank().text
    text = text.replace("line: source to tank", "line: source to manifold").replace("line: tank to air", "line: manifold to air")
    more = "  manifold: {volume: 1 ml, rated: 13 bar}\n  join: {line: manifold to tank, conductance: 0.5 l/s/bar, critical_ratio: 0.3}\n"
    through = sizing_sheet(loads(text.replace("  relief: {relief", more + "  relief: {relief"), "manifold.yaml"))
    direct = sizing_sheet(pads.tank())
    # ISO 6358 series: two equal conductances in line pass about 0.757 of one (1.514431 for 2 and 2, worked)
    assert through.line("filling: tank").value == pytest.approx(direct.line("filling: tank").value / 0.757, rel=0.05)
    assert through.line("dump_line: tank empty in").value > 2.0 * direct.line("dump_line: tank empty in").value
