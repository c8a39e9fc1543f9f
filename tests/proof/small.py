"""Small random systems for second opinions: a few bits, a few places, random guarded rows and rules."""

from hypothesis import strategies as st

from sequencer.proof.system import Bad, Place, Row, RuleCheck, System
from sequencer.proof.words import Cube, Layout

BITS = 7


@st.composite
def cubes(draw, most=3):
    care = want = 0
    for bit in draw(st.sets(st.integers(0, BITS - 1), max_size=most)):
        care |= 1 << bit
        want |= draw(st.booleans()) << bit
    return Cube(care, want)


@st.composite
def systems(draw):
    places = draw(st.integers(1, 3))
    layout = Layout(places)
    for i in range(BITS):
        layout.new(f"bit {i}")
    rows = []
    for n in range(draw(st.integers(2, 10))):
        at = tuple(sorted(draw(st.sets(st.integers(0, places - 1), min_size=1))))
        clear = draw(st.integers(0, (1 << BITS) - 1)) & draw(st.integers(0, (1 << BITS) - 1))
        put = draw(st.integers(0, (1 << BITS) - 1)) & draw(st.integers(0, (1 << BITS) - 1)) & ~clear
        to = draw(st.none() | st.integers(0, places - 1))
        unless = tuple((draw(cubes()), 0) for _ in range(draw(st.integers(0, 1))))
        unless = tuple((c, n) for c, n in unless if c.care)
        rows.append(Row(f"row {n}", "box", at, draw(cubes()), clear, put, to, unless, scan=draw(st.booleans()), lazy=draw(st.booleans())))
    bad = []
    for after in (False, True):
        inside = frozenset(draw(st.sets(st.integers(0, places - 1), min_size=1)))
        bad.append(RuleCheck(f"rule {after}", (Bad(inside, draw(cubes(BITS)), after),)))
    starts = tuple(layout.at(0, draw(st.integers(0, (1 << BITS) - 1))) for _ in range(2))
    return System(layout, tuple(Place("run", i) for i in range(places)), tuple(rows), starts, (), tuple(bad))


def plain(system):
    """The readable second opinion: layers as sets, rules judged word by word, in plain Python."""
    layout = system.layout
    layers, seen = [set(system.starts)], set(system.starts)
    depth_of = {}

    def judge(word, depth, after, lazy=False):
        for number, rule in enumerate(system.rules):
            for bad in rule.bad:
                judged = bad.after_scan == after and not (after and lazy)
                if judged and layout.place_of(word) in bad.places and bad.cube.holds(word):
                    depth_of.setdefault(number, depth)

    for word in layers[0]:
        judge(word, 0, False)
    transitions = 0
    while layers[-1]:
        fresh = set()
        for word in layers[-1]:
            for row in system.rows:
                if not row.takes(layout, word):
                    continue
                image = row.image(layout, word)
                if row.scan:
                    judge(image, len(layers), True, row.lazy)
                if not row.idle:
                    transitions += 1
                    if image not in seen:
                        fresh.add(image)
        for word in fresh:
            judge(word, len(layers), False)
        seen |= fresh
        layers.append(fresh)
    return [layer for layer in layers if layer], depth_of, transitions
