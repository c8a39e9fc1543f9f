"""Slices against exploring everything: a plain-Python reader, delta closure, networkx and z3 on random small systems.

Which sets of up to two faults break a rule, and how much they reach, must be the same whichever way it is found.
"""

from dataclasses import replace

import networkx as nx
import numpy as np
import z3
from hypothesis import Phase, given, settings

from sequencer.proof.closing import Closing
from sequencer.proof.engine import Engine, merged, missing, unique
from sequencer.proof.everything import Everything, Judged
from sequencer.proof.explore import explore
from sequencer.proof.judging import Court
from sequencer.proof.pairs import Pairs
from sequencer.proof.slices import Slice
from sequencer.proof.sound import Sound
from sequencer.proof.words import Cube
from tests.proof.faulted import KEPT, MOST, SAID, STANDS, SWITCH, Reader, cases, cut_sets, minimal, way_of

PLENTY = 1_000_000
KEPT_BITS = (1 << KEPT) - 1


def paired(case, rule):
    """Minimal sets that break a rule, as the product finds them: without faults first, then all up to pairs in slices."""
    check = case.system.rules[rule]
    if way_of(Everything(case.system, case.brought), check, ()) is not None:
        return {()}
    out = Pairs(case.system, case.brought, PLENTY, 1e9, Sound(case.system, explore(case.system, judged=False))).of(check, lambda text: None)
    assert not out.open
    assert set(out.cuts) == minimal(set(out.cuts))
    return set(out.cuts)


@given(cases())
@settings(max_examples=35)
def test_pairs_in_slices_have_the_plain_readers_cut_sets(case):
    for rule in range(len(case.system.rules)):
        assert paired(case, rule) == cut_sets(case, rule)


@given(cases(3))
@settings(max_examples=30)
def test_three_faults_at_once_in_slices_have_the_plain_readers_cut_sets(case):
    for rule in range(len(case.system.rules)):
        assert paired(case, rule) == cut_sets(case, rule)


def test_some_rules_take_three_faults_at_once_to_break():
    sizes = set()

    @given(cases(3))
    @settings(max_examples=60, database=None, phases=[Phase.generate])
    def look(case):
        sizes.update(len(cut) for rule in range(len(case.system.rules)) for cut in paired(case, rule))

    look()
    assert 3 in sizes


def under(case, some):
    """(rows of the sound system, rows that a set brings or changes) as (number, row), and the switches it hides."""
    reader = Reader(case, some)
    sound = list(enumerate(case.system.rows))
    changed = [r for r in reader.rows if r not in case.system.rows]
    return sound, [(len(sound) + n, r) for n, r in enumerate(changed)], reader.blind


@given(cases())
@settings(max_examples=35)
def test_pairs_in_slices_have_the_cut_sets_of_delta_closure_over_the_whole_system(case):
    system = case.system
    whole = explore(system, judged=False).all
    base = Engine(system, list(enumerate(system.rows)))
    breaking = {rule: set() for rule in range(len(system.rules))}
    for some in case.sets:
        sound, changed, blind = under(case, some)
        engine = Engine(system, changed)
        court = Court(system, dict(sound + changed), blind=blind)
        court.words(whole)
        base.images(whole, court.images)
        new = frontier = court.words(missing(unique(engine.images(whole, court.images)), whole))
        while len(frontier):
            pieces = [p for e in (base, engine) for p in e.images(frontier, court.images)]
            frontier = court.words(missing(missing(unique(pieces), whole), new))
            new = merged(new, frontier)
        assert set(map(int, merged(whole, new))) == Reader(case, some).words
        for rule in court.broken:
            breaking[rule].add(some)
    for rule, sets in breaking.items():
        assert paired(case, rule) == minimal(sets)


@given(cases())
@settings(max_examples=18)
def test_one_set_is_settled_as_the_reader_says_with_a_way_that_can_be_walked(case):
    whole = Everything(case.system, case.brought)
    layout = case.system.layout
    for some in case.sets:
        reader = Reader(case, some)
        for number, rule in enumerate(case.system.rules):
            way = way_of(whole, rule, some)
            assert (way is not None) == (number in reader.broken)
            words = {s & ~SWITCH for s in case.system.starts}
            for place, (row, after) in enumerate(way or ()):
                row = whole.rows[row]
                assert row.needs <= reader.there
                held = tuple(u for u in row.unless if f"race {u[1]}" not in reader.there)
                free = replace(row, guard=Cube(row.guard.care & ~SWITCH, row.guard.want & ~SWITCH), unless=held)
                last = place == len(way) - 1
                kept = layout.low & ~KEPT_BITS if not last else SWITCH | SAID
                assert any(free.takes(layout, w) and free.image(layout, w) & ~kept == after & ~kept for w in words)
                words = {after}


@given(cases())
@settings(max_examples=18)
def test_a_slice_that_keeps_every_bit_reaches_exactly_what_the_reader_reaches(case):
    """Level by level: what a set reaches is what its level holds for it and for its parts; a narrower slice reaches
    at least the same, as far as it sees."""
    nothing = replace(case.system.rules[0], bad=())
    whole = Everything(case.system, case.brought)
    for mask in (KEPT_BITS, 0b10101):
        sets = whole.sets
        view = Slice(whole, Judged(whole, nothing), mask, len(sets))
        closing = Closing(view, sets, PLENTY)
        closing.start()
        for _ in range(MOST):
            closing.climb(np.ones(len(sets), np.bool_))
        assert closing.count == sum(len(level.whole) for level in closing.levels)
        reached = {some: set() for some in sets.all}
        for level in closing.levels:
            for word in map(int, level.whole):
                number = (word & int(view.tags)) >> int(view.tag)
                reached[sets.all[number]].add((word >> int(view.shift), word & int(view.bits)))
        for some in sets.all:
            parts = [own for part, own in reached.items() if set(part) < set(some)]
            assert not reached[some] & set().union(*parts)  # what a part reaches is not looked at again
            mine = set().union(*(own for part, own in reached.items() if set(part) <= set(some)))
            seen = {(w >> case.system.layout.shift, packed(w, mask)) for w in Reader(case, some).words}
            assert mine == seen if mask == KEPT_BITS else mine >= seen


def packed(word, mask):
    """The bits of a mask moved together."""
    kept = [b for b in range(KEPT) if mask >> b & 1]
    return sum((word >> bit & 1) << i for i, bit in enumerate(kept))


@given(cases())
@settings(max_examples=12)
def test_networkx_reaches_the_same_words_and_breaks_the_same_rules_about_the_world(case):
    for some in case.sets:
        reader = Reader(case, some)
        graph = nx.DiGraph()
        graph.add_edges_from((at | low, image & ~SAID) for at, low in all_words(case) for _, image in reader.following(at | low))
        reached = {s | switch for s in case.system.starts for switch in STANDS}
        reached |= {d for s in set(reached) for d in nx.descendants(graph, s)}
        assert {w & ~SWITCH for w in reached} == reader.words
        world = {rule for word in reached for rule in reader.bad(word)}
        found = {0} if way_of(Everything(case.system, case.brought), case.system.rules[0], some) is not None else set()
        assert found == world


def all_words(case):
    layout = case.system.layout
    return [(layout.at(p, 0), low) for p in range(len(case.system.places)) for low in range(SAID)]


@given(cases())
@settings(max_examples=12)
def test_z3_walks_to_each_breach_in_as_many_steps_and_to_none_that_was_not_found(case):
    """Rule 0 speaks of the world alone: a bounded search by z3 finds the breach within the steps of the way."""
    whole = Everything(case.system, case.brought)
    for some in case.sets:
        way = way_of(whole, case.system.rules[0], some)
        depth = None if way is None else len(way)
        for steps in (0, 2, 4) if depth is None else {min(depth, 6)}:
            answer = bounded(case, some, steps)
            assert answer != z3.unknown
            assert answer == z3.unsat if depth is None else answer == z3.sat or depth > 6


def bounded(case, some, steps):
    """Whether rule 0 can be broken in so many rows or fewer (a hand at the switch aside, which no rule of the world sees)."""
    solver, layout, reader = z3.SolverFor("QF_BV"), case.system.layout, Reader(case, some)
    words = [z3.BitVec(f"w{t}", KEPT) for t in range(steps + 1)]
    places = [z3.BitVec(f"p{t}", 3) for t in range(steps + 1)]

    def within(cube, t):
        return words[t] & (cube.care & KEPT_BITS) == cube.want & KEPT_BITS

    solver.add(z3.Or([z3.And(words[0] == s & KEPT_BITS, places[0] == layout.place_of(s)) for s in case.system.starts]))
    for t in range(steps):
        ways = [z3.And(words[t + 1] == words[t], places[t + 1] == places[t])]
        for row in reader.rows:
            to = places[t] if row.to is None else z3.BitVecVal(row.to, 3)
            image = words[t] & (~row.clear & KEPT_BITS) | row.set & KEPT_BITS
            kept = [z3.Not(within(cube, t)) for cube, _ in row.unless]
            at = z3.Or([places[t] == p for p in row.at])
            ways.append(z3.And(within(row.guard, t), at, *kept, words[t + 1] == image, places[t + 1] == to))
        solver.add(z3.Or(ways))
    bads = [z3.And(within(b.cube, steps), z3.Or([places[steps] == p for p in b.places])) for b in case.system.rules[0].bad]
    solver.add(z3.Or(bads))
    return solver.check()
