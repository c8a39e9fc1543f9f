"""What the simulator shows of valves, supplies, links and sensors, the proof must not deny; and what it calls broken by
one property of a part must hold in the same file without that property."""

from __future__ import annotations

import pytest

from sequencer.description import loads
from sequencer.proof import parts, people
from sequencer.proof.build import draft_of
from sequencer.proof.faults import edits
from sequencer.proof.prove import Options, prove
from sequencer.simulation import Session
from sequencer.simulation.events import At, HandValve, Latch, Strike, Switch
from sequencer.site.world import World
from sequencer.trials.campaign import Bench
from sequencer.trials.plan import Plan, event
from tests.trials.agreement import unknown

FILE = """\
title: Small pad
revision: 1
scan: 20 ms
pressures: gauge
inputs:
  arm: {{contact: closes when up, steady_for: 40 ms}}
  sensor: {{analog: 10 bit, reads: tank, points: {{102: 0 bar, 922: 10 bar}}, accuracy: 0.1 bar, valid: 51 to 973{lag}}}
{inputs}outputs:
  fill: {{valve: [shut, open], rest: shut}}
  dump: {{valve: [open, shut], rest: open}}
{outputs}conditions:
  armed: arm is up
  low: sensor below 0.4 bar
  full: sensor at least 3 bar
{conditions}states:
  off:
    says: Off.
    outputs: {{fill: shut, dump: open}}
    leave:
      - {{go_to: on, once: {once}, not_before: 1 s}}
    stays: it may
  on:
    says: On.
    outputs: {{fill: {fills}, dump: {dumps}{more}}}
    leave:
      - {{go_to: off, once: not armed or full}}
      - {{go_to: held, at_latest: 3 s}}
  held:
    says: Held.
    outputs: {{fill: {fills}, dump: {dumps}{more}}}
    leave:
      - {{go_to: off, once: not armed or full}}
    stays: it may
interlocks:
  rule: {{{rule}, why: It is asked for.}}
site:
  bottle: {{supply: air, pressure: 10 bar, regulated: 6 bar}}
  tank: {{volume: 2 l, rated: 12 bar{tank}}}
  fill_line: {{line: bottle to tank, opened_by: fill, bore: {bore}}}
  dump_line: {{line: tank to air, opened_by: dump, bore: 4 mm{dump}}}
{site}"""
PLAIN = {
    "lag": "", "inputs": "", "outputs": "", "conditions": "", "once": "armed and low", "fills": "open", "dumps": "shut", "more": "",
    "rule": "never: tank at least 4.5 bar", "bore": "0.5 mm", "dump": "", "site": "", "tank": "",
}  # fmt: skip
FED = "  main: {power: battery, voltage: 6 V}\n  work: {power: battery, voltage: 6 V, feeds: [%s]%s}\n"
RELAY = {
    "inputs": "  seen: {contact: closes when on, steady_for: 40 ms}\n", "outputs": "  pump: {relay: [off, on], rest: off}\n", "more": ", pump: on",
    "fills": "shut", "conditions": "  seen_on: seen is on\n", "rule": "never: state is held and not seen is on",
}  # fmt: skip
POLE = "  pole: {follows: pump at on, seen_by: seen}\n"
THROUGH = {"dumps": "open", "rule": "never: tank at least 0.5 bar"}
KEY = "  key: {contact: closes when turned, steady_for: 40 ms}\n"
SHUT = {"fills": "shut", "rule": "never: state is held and dump_line open"}


def pad(**changed):
    return loads(FILE.format(**{**PLAIN, **changed}), "small.yaml")


def strikes(part, mode, seconds=15):
    return event(At(seconds * 1000), Strike(part, mode))


ARM = event(At(6_000), Switch("arm", "up"))
FAULTS = {
    "a kinked hose does not keep the pressure down": ({**THROUGH, "bore": "1 mm", "dump": ", hose: 1 m of 6 mm"}, (ARM, strikes("dump_line", "kinked", 8))),
    "nor does a check valve that sticks": (
        {**THROUGH, "bore": "0.6 mm", "dump": ", one_way: yes, cracks_at: 0.1 bar"}, (ARM, strikes("dump_line", "traps", 8)),
    ),
    "a check valve that leaks lets the pressure of the other side in": (
        {"fills": "shut", "site": "  big: {supply: air, pressure: 9 bar}\n  other: {volume: 2 l, rated: 12 bar}\n"
                   "  link: {line: tank to other, one_way: yes, cracks_at: 0.1 bar, bore: 1 mm}\n  big_line: {line: big to other, opened_by: hand, bore: 2 mm}\n",
         "rule": "never: tank at least 2 bar", "once": "armed"},
        (event(At(1_000), HandValve("big_line", True)), ARM, strikes("link", "leaks back", 7)),
    ),
    "a valve without its supply goes where it stands without power": ({**SHUT, "site": FED % ("dump", "")}, (ARM, strikes("work", "fails"))),
    "so does a relay": ({**RELAY, "site": POLE + FED % ("pump", "")}, (ARM, strikes("work", "fails"))),
    "another transmitter's messages pass, and nothing that the link carries": (
        {"inputs": "  radio: {heartbeat: every 100 ms}\n  hold: {contact: closes when pressed, steady_for: 20 ms}\n", "once": "armed and not held_back",
         "conditions": "  held_back: hold is pressed\n", "rule": "start: fill to open, needs: not hold is pressed", "site": "  console: {link: radio, carries: [hold]}\n"},
        (strikes("radio", "replayed", 1), event(At(3_000), Switch("hold", "pressed")), ARM),
    ),
}  # fmt: skip
ALONE = {
    "a check valve to the air keeps the pressure it needs": ({**THROUGH, "bore": "0.3 mm"}, {"dump": ", one_way: yes, cracks_at: 0.8 bar"}, (ARM,)),
    "so does a piloted valve": ({**THROUGH, "bore": "0.3 mm"}, {"dump": ", needs_difference: 0.8 bar"}, (ARM,)),
    "a switch before a supply acts before the box": (
        {**SHUT, "inputs": KEY, "site": FED % ("dump", "")}, {"site": FED % ("dump", ", cut_by: key")},
        (event(At(500), Switch("key", "turned")), ARM, event(At(15_000), Switch("key", "not turned"))),
    ),
    "a sensor with a lag sees a limit late": ({"bore": "1 mm"}, {"lag": ", lag: 4 s"}, (ARM,)),
}  # fmt: skip


def agrees(one, acts, faults):
    trial = Bench(one).try_(Plan(acts, settle_ms=20_000), enough=lambda b: False)
    assert {(b.rule, b.faults) for b in trial.breaches} == {("rule", faults)}
    assert unknown(prove(one, Options(faults=len(faults), replays=False, stories=0)), trial.breaches) == []


@pytest.mark.parametrize("name", FAULTS)
def test_a_breach_by_one_fault_is_known_to_the_proof(name):
    """Without the fault the rule holds in both."""
    changed, acts = FAULTS[name]
    one, fault = pad(**changed), next(e.action for e in acts if isinstance(e.action, Strike))
    agrees(one, acts, (f"{fault.part}: {fault.mode}",))
    assert prove(one, Options(replays=False, stories=0)).interlocks[0].outcome == "holds"


@pytest.mark.parametrize("name", ALONE)
def test_a_breach_by_what_a_part_is_like_is_known_to_the_proof(name):
    plain, property_, acts = ALONE[name]
    agrees(pad(**{**plain, **property_}), acts, ())
    assert prove(pad(**plain), Options(replays=False, stories=0)).interlocks[0].outcome == "holds"


def test_of_two_lines_of_one_output_one_may_stick():
    """Nor need they move alike without a fault: each has its own stroke."""
    second = "  second: {line: tank to air, opened_by: dump, bore: 3 mm}\n"
    agrees(pad(rule="never: dump_line open and second shut", site=second), (ARM, strikes("dump_line", "stuck open", 5)), ("dump_line: stuck open",))


def test_a_relay_that_does_not_stay_on_is_told_so():
    """Its second pole says so as well: the rows that do it stand in the fault itself, not in what a contact may show."""
    draft = draft_of(pad(**RELAY, site=POLE))
    edit = next(edit for fault, edit in edits(draft).items() if fault.name == "pump: stuck off")
    mask = draft.layout.mask(["pump truly on"])
    assert edit.rows and all(row.clear & mask for row in edit.rows)


HEAVY = "  head: {release_head: tank, seat: 20 mm, weight: %s, contact_angle: 20 deg, levers: [8 mm to 70 mm]}\n"


@pytest.mark.parametrize(("weight", "held"), [("30 kgf", False), ("1 kgf", True)])
def test_a_vehicle_stays_on_its_seat_by_its_weight(weight, held):
    """p = W / A: 30 kgf on a seat of 20 mm hold 9.4 bar (30 * 9.80665 N / 3.1416e-4 m2), 1 kgf holds 0.3 bar."""
    draft = draft_of(pad(site=HEAVY % weight, tank=", flies: yes", rule="never: tank at least 3.5 bar"))
    latched = draft.layout.mask(["head latched"])
    rising = [r for r in draft.rows if r.tag.startswith("up ") and r.set & draft.layout.mask(["tank at least 3.5 bar"])]
    assert rising and all(bool(r.guard.care & latched) == held for r in rising)
    assert draft.durations.lifts_at("tank") == pytest.approx((30 if not held else 1) * 9.80665 / 3.14159e-4, rel=0.01, abs=7e3)


BOOTING = {
    "outputs": "  rel: {servo: {locked: 1100 us, pulled: 1900 us}, rest: stays%s}\n  lamp: {lamp: [dark, lit], rest: dark%s}\n",
    "site": "  ground: {people: up to 1, walk: at least 20 s}\n",
}


@pytest.mark.parametrize("boots", [False, True])
def test_what_outputs_do_while_the_board_boots_is_followed(boots):
    """A servo that is pulsed meanwhile moves; a lamp that is lit meanwhile looks like the state that is lit."""
    outputs = BOOTING["outputs"] % ((", while_booting: pulled", ", while_booting: lit") if boots else ("", ""))
    text = pad(outputs=outputs, site=BOOTING["site"]).text.replace("    says: Off.\n", "    says: Off.\n    people: allowed\n").replace("dump: open}", "dump: open, lamp: lit}")
    one = loads(text, "small.yaml")
    world = World(one)
    for _ in range(60):
        world.step(None, one.scan_ms / 1000)
    draft = draft_of(one)
    horn = draft.layout.mask(["rel horn drawn"])
    assert (world.servos["rel"].stands_at(1)) == boots == any(0 in r.at and r.set & horn for r in draft.rows)
    assert (0 in people.allowed(draft)) == boots


def test_a_contact_that_follows_a_servo_waits_for_no_race_and_sees_it_drawn_back():
    """A servo without power stays where it is, or is drawn back: on the simulator it still stands at 'pulled' long after it
    was commanded to 'locked'."""
    servo = {
        "inputs": "  seen: {contact: closes when drawn, steady_for: 40 ms}\n", "conditions": "  is_drawn: seen is drawn\n", "more": ", rel: pulled, power: on",
        "outputs": "  rel: {servo: {locked: 1100 us, pulled: 1900 us}, rest: stays, powered_by: power}\n  power: {relay: [off, on], rest: off}\n",
        "site": "  pole: {follows: rel at pulled, seen_by: seen}\n", "rule": "never: state is off and seen is drawn", "fills": "shut", "once": "armed",
    }  # fmt: skip
    one = pad(**servo)
    draft = draft_of(one)
    assert not any(race.first.startswith("rel moves") for race in draft.races)
    trial = Bench(one).try_(Plan((ARM, event(At(14_000), Switch("arm", "not up"))), settle_ms=5_000), enough=lambda b: False)
    assert trial.breaches and unknown(prove(one, Options(replays=False, stories=0)), trial.breaches) == []


def test_a_file_in_absolute_pressures_means_the_same():
    """1.01325 bar is the standard atmosphere."""
    values = ("0 bar", "10 bar", "0.4 bar", "3 bar", "6 bar", "12 bar")
    for limit, outcome in ((2.5, "broken"), (4.5, "holds")):
        gauge = pad(bore="0.5 mm", rule=f"never: tank at least {limit} bar")
        text = gauge.text.replace("pressures: gauge", "pressures: absolute")
        for value in (*values, f"{limit} bar"):
            text = text.replace(f" {value}", f" {float(value.split()[0]) + 1.01325:.5f} bar")
        absolute = loads(text, "small.yaml")
        assert draft_of(absolute).bands.edges["tank"] == pytest.approx(draft_of(gauge).bands.edges["tank"], abs=2.0)
        for one in (gauge, absolute):
            trial = Bench(one).try_(Plan((ARM,), settle_ms=60_000), enough=lambda b: False)
            assert bool(trial.breaches) == (outcome == "broken")
            assert prove(one, Options(replays=False, stories=0)).interlocks[0].outcome == outcome


CATCH = "  head: {release_head: tank, seat: 20 mm, contact_angle: 20 deg, levers: [8 mm to 70 mm], catch: {strength: %s}}\n"


@pytest.mark.parametrize(("strength", "holds"), [("200 N", True), ("1 N", False)])
def test_a_catch_that_is_weaker_than_its_load_lets_go(strength, holds):
    """On the simulator a head with a catch of 1 N lets the vehicle go while it fills; one of 200 N keeps it."""
    one = pad(site=CATCH % strength, tank=", flies: yes", bore="1 mm")
    session = Session(one, (event(At(1_000), Latch("head")), ARM), record=False)
    for _ in range(1_000):
        session.tick()
    assert (session.world.head_state("head") == "latched") == holds
    draft = draft_of(one)
    weak, gives = parts.gives_way_at(draft, "head"), [r for r in draft.rows if "gives way" in r.says]
    assert (weak is None) == holds == (not gives) and (holds or 0.0 < weak < 3e5)


@pytest.mark.parametrize("at", ["dump at shut", "fill at open", "dump at open", "fill at shut"])
def test_a_contact_that_follows_a_valve_at_either_position_is_followed(at):
    """The box goes on to hold the tank once it has seen the valve there; what cannot happen in the proof would hold in it."""
    word = at.split()[-1]
    seen = {
        "inputs": f"  seen: {{contact: closes when {word}, steady_for: 40 ms}}\n", "conditions": f"  there: seen is {word}\n", "bore": "1 mm",
        "site": f"  pole: {{follows: {at}, seen_by: seen}}\n", "rule": "never: state is held and tank at least 0.5 bar",
    }  # fmt: skip
    one = pad(**seen)
    wanted = at in ("dump at shut", "fill at open")
    text = one.text.replace("{go_to: held, at_latest: 3 s}", f"{{go_to: held, once: {'' if wanted else 'not '}there, not_before: 1 s}}")
    one = loads(text, "small.yaml")
    agrees(one, (ARM,), ())


def test_a_fill_that_is_open_while_the_board_boots_passes_more_than_one_edge():
    """No scan sees what the gas does meanwhile: two seconds of an open fill."""
    rules = "never: state is off and tank at least 2.2 bar"
    text = pad(rule=rules, bore="2.5 mm", dump=", stroke: 2 s").text.replace("fill: {valve: [shut, open], rest: shut}", "fill: {valve: [shut, open], rest: shut, while_booting: open}")
    text = text.replace("dump: {valve: [open, shut], rest: open}", "dump: {valve: [open, shut], rest: open, while_booting: shut}")
    text = text.replace("interlocks:\n", "interlocks:\n  other: {never: state is on and tank at least 0.7 bar and arm is up, why: An edge more.}\n")
    draft = draft_of(loads(text, "small.yaml"))
    rising = [r for r in draft.rows if r.tag == "up fill_line" and 0 in r.at]
    assert any(not r.unless and 1 << draft.layout.index["gas passed fill just now"] & r.set == 0 for r in rising)


@pytest.mark.parametrize(("lag", "outcome"), [("", "holds"), (", lag: 3 s", "broken")])
def test_two_sensors_of_which_one_lags_differ_while_the_gas_moves(lag, outcome):
    second = "  other: {analog: 10 bit, reads: tank, points: {102: 0 bar, 922: 10 bar}, accuracy: 0.1 bar, valid: 51 to 973%s}\n" % lag  # noqa: UP031 (braces)
    one = pad(inputs=second, conditions="  apart: sensor differs from other by at least 0.5 bar\n", rule="never: fill open and box says apart", bore="1 mm")
    trial = Bench(one).try_(Plan((ARM,), settle_ms=10_000), enough=lambda b: False)
    assert bool(trial.breaches) == (outcome == "broken")
    assert prove(one, Options(replays=False, stories=0)).interlocks[0].outcome == outcome
