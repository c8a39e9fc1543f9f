"""The checklist from the file alone: nothing lost, nothing invented, proposals with their reason."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.crew.checklist import Checklist, checklist
from sequencer.crew.figures import pressure_steps
from sequencer.crew.markdown import markdown
from sequencer.crew.proposals import proposals
from sequencer.description import load, loads
from sequencer.description.pad import Pad
from sequencer.sizing.build import numbers_sheet
from sequencer.table.compile import compile_table
from sequencer.table.image import checksum

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture(scope="module")
def curlew() -> Pad:
    return load(CONFIGS / "curlew.yaml")


@pytest.fixture(scope="module")
def sheet(curlew: Pad) -> Checklist:
    return checklist(curlew)


def edited(*changes: tuple[str, str]) -> Pad:
    """The Curlew file with pieces of its text exchanged; every piece must be there."""
    text = (CONFIGS / "curlew.yaml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return loads(text, "curlew.yaml")


def names(pad: Pad) -> set[str]:
    return {proposal.name for proposal in proposals(pad)}


def test_every_step_of_the_file_is_one_line_in_the_same_order(curlew: Pad, sheet: Checklist) -> None:
    lines = [line for phase in sheet.phases for line in phase.lines]
    assert [line.do for line in lines] == [step.do for step in curlew.crew.steps]
    assert [line.number for line in lines] == list(range(1, len(lines) + 1))


def test_every_line_names_who_does_it_and_what_shows_that_it_worked(sheet: Checklist) -> None:
    roles = {role.name for role in sheet.roles}
    for phase in sheet.phases:
        for line in phase.lines:
            assert line.who in roles
            assert line.see


def test_the_checksum_is_that_of_the_table_the_chip_runs(curlew: Pad, sheet: Checklist) -> None:
    assert sheet.checksum == f"{checksum(compile_table(curlew)):08X}"
    assert sheet.checksum in markdown(sheet)


def test_every_state_stands_on_the_lamp_card_with_its_lamps(curlew: Pad, sheet: Checklist) -> None:
    lamps = {lamp.state: lamp for lamp in sheet.lamps}
    assert len(lamps) == len(curlew.states)
    assert lamps["approach"].lamps == "approach lamp lit"
    assert lamps["approach"].people == "allowed"
    assert lamps["dumping"].people == "keep out"
    assert "servo power on" in lamps["releasing"].moved


def test_every_terminal_stands_in_the_wiring_table_with_what_a_cut_wire_does(curlew: Pad, sheet: Checklist) -> None:
    wiring = {wire.name: wire for wire in sheet.wiring}
    assert set(wiring) == set(curlew.inputs) | set(curlew.outputs)
    assert wiring["stop"].cut == "reads pressed"
    assert wiring["key"].cut == "reads not turned"
    assert wiring["dump_lower"].cut == "goes open"


def test_load_at_a_pressure_step_is_pressure_times_seat_area_less_weight(curlew: Pad) -> None:
    # 63 mm at 10 bar gauge: 3117.25 N = 317.87 kgf (statics, p*A); less the 8 kgf least weight of the file
    full = next(step for step in pressure_steps(curlew) if step.state == "full_filling" and step.volume == "lower")
    assert full.load == pytest.approx(3117.25 - 8 * 9.80665, abs=0.01)


def test_energy_at_a_pressure_step_is_that_of_the_standard(curlew: Pad) -> None:
    # ASME PCC-2 Article 501 (II-2): E = 2.5 p V (1 - (101 kPa / p)^0.286), p absolute, 10 l of gas above 4 l of water
    p = 1_000_000 + 101_325
    full = next(step for step in pressure_steps(curlew) if step.state == "full_filling" and step.volume == "lower")
    assert full.joules == pytest.approx(2.5 * p * 0.010 * (1 - (101_000 / p) ** 0.286), rel=1e-9)


def test_a_pad_that_fills_to_a_condition_has_its_pressure_step_too() -> None:
    steps = pressure_steps(load(CONFIGS / "club.yaml"))
    assert [(step.state, step.volume, step.gauge) for step in steps] == [("filling", "bottle", 600_000.0)]


def test_stand_off_and_dump_times_are_those_of_the_sizing_sheet(curlew: Pad) -> None:
    sized = numbers_sheet(curlew)
    sheet = checklist(curlew, sized.lines)
    assert sheet.stand_off is not None
    assert sheet.stand_off.distance == sized.line("stand-off, all people").shown
    worst = sized.line("dump_line: lower empty in").worst_shown
    assert any(time.what == "dump line: lower empty in" and time.worst == worst for time in sheet.timings)
    text = markdown(sheet)
    assert f"at least {sheet.stand_off.distance}" in text and "Blast only" in text and worst in text


def test_a_sizing_sheet_that_fails_is_told_on_the_first_page(curlew: Pad) -> None:
    pad = edited(("rated: 12 bar", "rated: 9 bar"))
    sized = numbers_sheet(pad)
    assert not sized.holds
    sheet = checklist(pad, sized.lines)
    assert sheet.sizing_fails
    assert "Do not launch on it" in markdown(sheet).split("## Roles")[0]


def test_markdown_escapes_what_would_break_a_table(sheet: Checklist) -> None:
    phase = sheet.phases[0]
    odd = replace(phase.lines[0], do="Say a|b\nand wait")
    text = markdown(replace(sheet, phases=(replace(phase, lines=(odd,)),)))
    row = next(line for line in text.splitlines() if "Say a" in line)
    assert "a\\|b and wait" in row
    assert row.replace("\\|", "").count("|") == 7


def test_a_full_file_needs_no_proposed_line(curlew: Pad) -> None:
    assert proposals(curlew) == ()


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("bleed-hose", "Bleed both hoses at the cylinder", "Nod to the director"),
        ("count-out", "Count everyone out", "Nod"),
        ("supply-open", ", set: {cylinder: shut}, because: nobody works beside a charged supply", ""),
        ("supply-left", "do: Shut the cylinder, see: handle across, set: {cylinder: shut}}", "do: Nod, see: nod}"),
        ("key-in", "see: key on its cord, set: {key: not turned}", "see: key on its cord"),
        ("key-left", "see: key on its cord\n      set: {key: not turned}", "see: key on its cord"),
        ("dial-not-read", "read: dial_upper, shows: upper below 0.2 bar}", "}"),
        ("pin-in", ", set: {locking_pin: in}", ""),
        ("hand-valve", ", hand_upper: shut", ""),
        ("no-poll", "poll: [pad_lead, pad_hand, filler, left_observer, right_observer, director]", "wait: 1 s"),
        ("power-on-order", "Switch the box on with the key out", "Nod"),
        ("no-card", "  power_loss:\n    when: Beacon and lamps go dark", "  dark:\n    when: Beacon and lamps go dark"),
        ("wait-longer", "    wait: 2 min\n  hang_up", "    wait: 65 s\n  hang_up"),
    ],
)  # fmt: skip
def test_a_line_that_the_pad_implies_is_proposed_when_it_is_not_written(name: str, old: str, new: str) -> None:
    pad = edited((old, new))
    assert name in names(pad)
    found = [proposal for proposal in proposals(pad) if proposal.name == name]
    assert all(proposal.because and proposal.where for proposal in found)


def test_a_vessel_without_a_dial_is_named(curlew: Pad) -> None:
    pad = edited(
        ("  dial_upper:   {dial: upper, read_by: filler, accuracy: 0.1 bar}\n", ""),
        ("read: dial_upper, shows: upper below 0.2 bar", "wait: 1 s"),
    )  # fmt: skip
    assert "no-dial" in names(pad)
    assert any("upper" in proposal.do for proposal in proposals(pad) if proposal.name == "no-dial")
