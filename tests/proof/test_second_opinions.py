"""The numpy explorer against a plain-Python one, networkx, z3 and the plain checker, on random small systems."""

import networkx as nx
import z3
from hypothesis import given, settings

from sequencer.proof.checking import check_data, system_data
from sequencer.proof.engine import Engine
from sequencer.proof.explore import explore
from sequencer.proof.stories import path
from tests.proof.small import BITS, plain, systems


@given(systems())
@settings(max_examples=150, deadline=None)
def test_the_plain_explorer_finds_the_same_layers_transitions_and_breaches(system):
    mine = explore(system)
    layers, depths, transitions = plain(system)
    assert [set(map(int, layer)) for layer in mine.layers] == layers
    assert mine.transitions == transitions
    first = {}
    for breach in mine.breaches:
        first.setdefault(breach.rule, breach.depth)
    assert first == depths


@given(systems())
@settings(max_examples=60, deadline=None)
def test_a_story_is_as_short_as_networkx_says_and_each_step_is_a_row(system):
    mine = explore(system)
    graph = nx.DiGraph()
    graph.add_nodes_from(map(int, mine.all))
    for word in list(graph):
        for row in system.rows:
            if row.takes(system.layout, word):
                graph.add_edge(word, row.image(system.layout, word))
    for breach in mine.breaches:
        steps = path(system, mine, breach)
        lengths = [nx.shortest_path_length(graph, s, breach.source) for s in set(system.starts) if nx.has_path(graph, s, breach.source)]
        assert len(steps) == min(lengths) + (breach.row is not None)
        assert breach.depth == len(steps)
        for before, step in zip(steps, steps[1:], strict=False):
            assert system.rows[step.row].takes(system.layout, before.word)
            assert system.rows[step.row].image(system.layout, before.word) == step.word


def encoded(system, steps):
    """The system unrolled in z3, one Bool per bit."""
    layout, width = system.layout, BITS
    places = len(system.places)
    bits = [[z3.Bool(f"b{t}_{i}") for i in range(width)] for t in range(steps + 1)]
    place = [[z3.Bool(f"p{t}_{k}") for k in range(places)] for t in range(steps + 1)]

    def holds(cube, t):
        return z3.And([bits[t][i] == bool(cube.want >> i & 1) for i in range(width) if cube.care >> i & 1])

    def same(word, t):
        low = [bits[t][i] == bool(word >> i & 1) for i in range(width)]
        return z3.And(*low, *[place[t][k] == (k == layout.place_of(word)) for k in range(places)])

    solver = z3.Solver()
    solver.set("timeout", 5000)
    solver.add(z3.Or([same(s, 0) for s in system.starts]))
    for t in range(steps):
        ways = []
        for row in system.rows:
            parts = [holds(row.guard, t), z3.Or([place[t][k] for k in row.at]), *[z3.Not(holds(c, t)) for c, _ in row.unless]]
            for i in range(width):
                value = z3.BoolVal(True) if row.set >> i & 1 else z3.BoolVal(False) if row.clear >> i & 1 else bits[t][i]
                parts.append(bits[t + 1][i] == value)
            parts += [place[t + 1][k] == (z3.BoolVal(k == row.to) if row.to is not None else place[t][k]) for k in range(places)]
            ways.append(z3.And(parts))
        solver.add(z3.Or(ways))
    return solver, holds, place


UNKNOWN = []


@given(systems())
@settings(max_examples=25, deadline=None)
def test_z3_finds_a_world_breach_at_the_same_depth_and_none_before(system):
    mine = explore(system)
    depth = min((b.depth for b in mine.breaches if b.rule == 0), default=None)
    bad = system.rules[0].bad[0]
    for steps in range(min(depth, 5) + 1 if depth is not None else 4):
        solver, holds, place = encoded(system, steps)
        solver.add(holds(bad.cube, steps), z3.Or([place[steps][k] for k in bad.places]))
        answer = solver.check()
        if answer == z3.unknown:
            UNKNOWN.append(steps)
            continue
        assert (answer == z3.sat) == (steps == depth)


def test_z3_answered_nearly_always():
    assert len(UNKNOWN) <= 10


@given(systems())
@settings(max_examples=60, deadline=None)
def test_the_plain_checker_accepts_the_reached_set_and_refuses_a_smaller_one(system):
    mine = explore(system)
    holding = {r.name for i, r in enumerate(system.rules) if i not in {b.rule for b in mine.breaches}}
    reached = set(map(int, mine.all))
    assert check_data(system_data(system, holding), reached) == []
    assert check_data(system_data(system, holding), reached - {int(mine.layers[-1][0])}) != []
    for breach in mine.breaches[:1]:
        named = system_data(system, {system.rules[breach.rule].name})
        assert check_data(named, reached) != []


@given(systems())
@settings(max_examples=40, deadline=None)
def test_delta_closure_reaches_what_exploring_everything_again_reaches(system):
    """The rows are split: some are the sound system, the rest a fault."""
    from dataclasses import replace

    import numpy as np

    from sequencer.proof.engine import merged, missing, unique

    half = len(system.rows) // 2
    sound = replace(system, rows=system.rows[:half])
    base, extra = Engine(system, list(enumerate(system.rows[:half]))), Engine(system, list(enumerate(system.rows))[half:])
    whole = explore(sound).all
    new = frontier = missing(unique(extra.images(whole)), whole)
    while len(frontier):
        frontier = missing(missing(unique([*base.images(frontier), *extra.images(frontier)]), whole), new)
        new = merged(new, frontier)
    assert np.array_equal(merged(whole, new), explore(system).all)
