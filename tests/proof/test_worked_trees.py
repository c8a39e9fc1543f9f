"""Worked fault trees entered as files and as systems: the proof finds the cut sets that the books give.

The trees are those of test_rates.py (a handbook's pressure tank, a repeated event, a bridge, two of three, an inadvertent
release), each in its own file of tests/proof/trees. In the files a basic event is one sensor that lies.
"""

from itertools import combinations

import pytest

from sequencer.description import loads
from sequencer.description.faults import faults
from sequencer.proof.brought import race
from sequencer.proof.everything import Everything
from sequencer.proof.pairs import Pairs
from sequencer.proof.prove import Options, prove
from sequencer.proof.system import Bad, Place, Race, Row, RuleCheck, System
from sequencer.proof.words import Cube, Layout
from tests.proof.faulted import brought, kind, minimal, way_of
from tests.proof.small_pads import SITE
from tests.proof.test_rates import TREES, read

PLENTY = 1_000_000


def system_of(gates, events, most=2):
    """Gates as rows that set their bit, events as faults that set theirs; the rule: top never comes."""
    layout = Layout(1)
    for name in (*events, *gates):
        layout.new(name)
    rows = []
    for name, (how, inputs) in gates.items():
        for some in [inputs] if how == "and" else [[one] for one in inputs]:
            rows.append(Row(name, "gas", (0,), layout.cube(dict.fromkeys(some, True)), set=layout.mask([name])))
    rule = RuleCheck("top", (Bad(frozenset({0}), layout.cube({"top": True}), False),))
    system = System(layout, (Place("run"),), tuple(rows), (0,), (), (rule,))
    added = [Row(e, "part", (0,), Cube(), set=layout.mask([e]), needs=frozenset({e})) for e in events]
    return system, brought(system, [kind(e) for e in events], added, {e: frozenset({n}) for n, e in enumerate(events)}, most)


@pytest.mark.parametrize("path", TREES, ids=lambda p: p.stem)
def test_slices_find_a_trees_cut_sets(path):
    gates, q, cuts, _ = read(path)
    events = list(q)
    system, said = system_of(gates, events)

    def named(sets):
        return {frozenset(events[k] for k in some) for some in sets}

    found = Pairs(system, said, PLENTY, 1e9).of(system.rules[0], lambda text: None)
    assert named(found.cuts) == {c for c in cuts if len(c) <= 2} and not found.open
    system, said = system_of(gates, events, most=3)
    whole, rule = Everything(system, said), system.rules[0]
    every = {s for size in (1, 2, 3) for s in combinations(range(len(events)), size) if way_of(whole, rule, s) is not None}
    assert named(minimal(every)) == cuts


HEAD = """\
title: Tree
revision: 1
scan: 20 ms
pressures: gauge
outputs:
  fill:   {valve: [shut, open], rest: shut}
  dump:   {valve: [open, shut], rest: open}
"""
STATES = """\
states:
  dumping:
    says: Letting gas out.
    leave:
      - {go_to: rest, once: top}
    stays: it waits
  rest:
    says: At rest.
    people: allowed
    leave:
      - {go_to: filling, once: not top}
    stays: it waits
  filling:
    says: Filling.
    outputs: {fill: open, dump: shut}
    leave:
      - {go_to: dumping, at_latest: 60 s}
interlocks:
  empty_at_rest:
    never: people allowed and bottle at least 1 bar
    why: People act on the state.
"""


def file_of(gates, events):
    """A pad that lets people in once its sensors, combined as the tree combines its events, show the bottle empty."""
    lines = [HEAD + "inputs:"]
    lines += [f"  s_{e.lower()}: {{analog: 10 bit, reads: bottle, points: {{102: 0 bar, 922: 10 bar}}, accuracy: 0.1 bar, valid: 51 to 973}}" for e in events]
    lines.append("conditions:")
    lines += [f"  {e.lower()}: s_{e.lower()} below 0.12 bar" for e in events]
    lines += [f"  {name.lower()}: {f' {how} '.join(i.lower() for i in inputs)}" for name, (how, inputs) in reversed(gates.items())]
    text = "\n".join(lines) + "\n" + STATES + SITE
    left = [f.name for f in faults(loads(text, "tree.yaml")) if not f.name.endswith(": offset")]
    text += "left_out:\n" + "".join(f"  - {{fault: '{name}', because: not looked at here}}\n" for name in left)
    return loads(text, "tree.yaml")


@pytest.mark.parametrize("path", TREES, ids=lambda p: p.stem)
def test_a_file_whose_sensors_stand_for_the_events_has_the_trees_cut_sets(path):
    """Cut sets of three are beyond two faults at once: the answer must not know them, and must not claim them either."""
    gates, q, cuts, _ = read(path)
    proof = prove(file_of(gates, list(q)), Options(faults=2, stories=0, replays=False))
    rule = proof.interlocks[0]
    wanted = {frozenset(f"s_{e.lower()}: offset" for e in cut) for cut in cuts if len(cut) <= 2}
    assert {frozenset(c.faults) for c in rule.cuts} == wanted
    assert rule.withstands == (min(min(map(len, cuts)), 3) - 1, 2)
    assert rule.outcome == "holds" and not proof.unfinished


def with_only(text, kept):
    left = [f.name for f in faults(loads(text, "tree.yaml")) if f.name not in kept]
    text += "left_out:\n" + "".join(f"  - {{fault: '{name}', because: not looked at here}}\n" for name in left)
    return loads(text, "tree.yaml")


def test_a_high_pressure_needs_both_regulator_and_relief_to_fail():
    """By hand: above the regulated 8 bar only a failed regulator brings it, above 8.5 bar only past a stuck relief."""
    text = file_of({"top": ("or", ["a"])}, ["A"]).text.partition("left_out:")[0]
    text = text.replace("never: people allowed and bottle at least 1 bar", "never: bottle at least 9.5 bar")
    text += "  relief: {relief: bottle, opens_at: 8.5 bar, bore: 6 mm}\n"
    kept = ["cylinder: creeps", "cylinder: fails open", "relief: stuck", "relief: set low", "s_a: offset", "fill_line: leaks"]
    rule = prove(with_only(text, kept), Options(faults=2, stories=0, replays=False)).interlocks[0]
    assert {frozenset(c.faults) for c in rule.cuts} == {frozenset({f"cylinder: {m}", "relief: stuck"}) for m in ("creeps", "fails open")}
    assert rule.withstands == (1, 2)


def test_a_row_held_back_by_two_races_is_free_once_two_faults_have_taken_both_away():
    """By hand: neither fault alone frees it, and a third fault that takes away nothing does not help."""
    layout = Layout(1)
    for name in ("held", "also held", "top"):
        layout.new(name)
    held = tuple((layout.cube({name: True}), n) for n, name in enumerate(("held", "also held")))
    row = Row("", "gas", (0,), Cube(), set=layout.mask(["top"]), unless=held)
    races = tuple(Race(f"{n}", 1.0, f"not {n}", 2.0, "file") for n in range(2))
    rule = RuleCheck("top", (Bad(frozenset({0}), layout.cube({"top": True}), False),))
    system = System(layout, (Place("run"),), (row,), (layout.mask(["held", "also held"]),), races, (rule,))
    said = brought(system, [kind(p) for p in "abc"], [], {race(0): frozenset({0}), race(1): frozenset({1})})
    found = Pairs(system, said, PLENTY, 1e9).of(rule, lambda text: None)
    assert set(found.cuts) == {(0, 1)} and not found.open


def test_a_word_that_is_full_leaves_pairs_open_instead_of_failing():
    """60 kept bits and the numbers of the sets do not fit one word together: said as not decided, never as holding."""
    layout = Layout(1)
    for n in range(60):
        layout.new(f"bit {n}")
    system = System(
        layout, (Place("run"),), tuple(Row(f"{n}", "gas", (0,), Cube(1 << n, 1 << n), set=2 << n) for n in range(59)), (0,), (),
        (RuleCheck("all", (Bad(frozenset({0}), Cube((1 << 60) - 1, (1 << 60) - 1), False),)),),
    )  # fmt: skip
    said = brought(system, [kind(f"p{n}") for n in range(8)], [Row("", "part", (0,), Cube(), set=1 << 30, needs=frozenset({"own"}))], {"own": frozenset({0})})
    found = Pairs(system, said, PLENTY, 1e9).of(system.rules[0], lambda text: None)
    assert found.cuts == {} and len(found.open) == 8 + 28


def test_two_switches_that_the_box_does_not_see_break_together_what_neither_breaks_alone():
    """By hand: the club's box stops when the key is out and when stop is pressed; each alone hides one of the two."""
    with open("configs/club.yaml", encoding="utf-8") as file:
        text = file.read()
    both = "  asked:\n    never: fill open and key is not turned and stop is pressed\n    why: It is asked for.\n"
    pad = with_only(text.partition("interlocks:")[0] + "interlocks:\n" + both + "site:" + text.partition("\nsite:")[2], ["key: shorted", "stop: wire cut", "release: jammed"])
    rule = prove(pad, Options(faults=2, stories=0, replays=False)).interlocks[0]
    assert [set(c.faults) for c in rule.cuts] == [{"key: shorted", "stop: wire cut"}]
    assert rule.withstands == (1, 2)
