"""Random small systems with faults, and a reader of them who knows no quotient, no slice and no delta.

The reader is plain Python on purpose: ints, sets and loops. It walks whole words in which switches are kept and toggled
at will, once for every set of faults, with the rows that the set brings.
"""

import random
from dataclasses import dataclass, replace
from itertools import combinations

from hypothesis import strategies as st

from sequencer.description.faults import Fault
from sequencer.proof.brought import Brought, Kind, blind, race
from sequencer.proof.everything import Judged
from sequencer.proof.faults import Edit
from sequencer.proof.settling import settle
from sequencer.proof.system import Bad, Place, Race, Row, RuleCheck, System
from sequencer.proof.words import Cube, Layout

KEPT, SWITCHES, SAID = 5, (1 << 5, 1 << 6), 1 << 7
"""Bits 0 to 4 are kept; 5 and 6 are switches that any scan may find either way; bit 7 is said by a scan and forgotten."""
SWITCH = sum(SWITCHES)
STANDS = (0, SWITCHES[0], SWITCHES[1], SWITCH)
MOST = 2


@dataclass(frozen=True)
class Case:
    """A system without faults, what its faults bring, and how many faults at once are looked at."""

    system: System
    brought: Brought

    @property
    def sets(self):
        """Every set of up to `brought.most` kinds of different parts, small ones first."""
        kinds = self.brought.kinds
        apart = [s for n in range(self.brought.most + 1) for s in combinations(range(len(kinds)), n)]
        return [s for s in apart if len({p for k in s for p in {f.part for f in kinds[k].faults}}) == sum(len({f.part for f in kinds[k].faults}) for k in s)]

    def there(self, some):
        """The wrongs that a set of kinds brings."""
        return {wrong for wrong, bringers in self.brought.wrongs.items() if bringers & set(some)}


def brought(system, kinds, rows, wrongs, most=MOST):
    """What faults bring, said by hand instead of derived from a pad's parts."""
    made = object.__new__(Brought)
    made.__dict__.update(draft=None, system=system, most=most, kinds=kinds, inert=[], rows=rows, wrongs=wrongs, barred={})
    return made


def way_of(whole, rule, some, budget=1_000_000):
    """A way to the breach of a rule under one set of faults, or None; asked of the narrowest slice first."""
    found = settle(whole, Judged(whole, rule), [some], 0, budget)
    assert (some in found.ways) != (some in found.holds)
    return found.ways.get(some)


def kind(part, edit=None, mode="fails"):
    return Kind(edit or Edit(), (Fault(part, mode, "equipment", f"{part}: {mode}"),))


def cube(chance, bits, most, least=0, mostly=0.5):
    """A random cube over some bits; `mostly`: how often a bit is wanted to be 1."""
    care = want = 0
    for bit in chance.sample(list(bits), chance.randint(least, most)):
        care |= 1 << bit
        want |= (chance.random() < mostly) << bit
    return Cube(care, want)


def mask(chance, bits, least, most):
    return sum(1 << b for b in chance.sample(list(bits), chance.randint(least, most)))


def row(chance, number, places, races, bits):
    """A random row that writes some of `bits`."""
    scan = chance.random() < 0.5
    put, clear = mask(chance, bits, 0, 2), mask(chance, range(KEPT), 0, 1)
    said = SAID if scan and chance.random() < 0.5 else 0
    guard = cube(chance, range(KEPT), 2)
    for bit in SWITCHES if scan else ():
        if chance.random() < 0.4:
            guard = Cube(guard.care | bit, guard.want | chance.choice([0, bit]))
    unless = tuple((cube(chance, range(KEPT), 2, 1), n) for n in range(races) if chance.random() < 0.4)
    to = chance.choice([None, *range(places)])
    at = tuple(sorted(chance.sample(range(places), chance.randint(1, places))))
    lazy = scan and chance.random() < 0.2
    return Row(f"row {number}", "box" if scan else "gas", at, guard, clear & ~put, put | said, to, unless, scan=scan, lazy=lazy)


def rule(chance, number, places, after):
    bads = []
    for _ in range(chance.randint(1, 2)):
        inside = frozenset(chance.sample(range(places), chance.randint(1, places)))
        starts = 0 if after and chance.random() < 0.4 else None
        sources = ((frozenset(range(places)), cube(chance, range(KEPT), 1)),) if starts is not None else ()
        bad = cube(chance, range(KEPT), 4, 2, 0.8)
        for bit in (*SWITCHES, SAID) if after else ():
            if chance.random() < 0.4:
                bad = Cube(bad.care | bit, bad.want | chance.choice([0, bit]))
        bads.append(Bad(inside, bad, after, starts, sources))
    return RuleCheck(f"rule {number}", tuple(bads))


def case(chance, most=MOST):
    """A random case. Sound rows write three of the bits only, so that many rules need a fault, or two, to break."""
    places, races = chance.randint(1, 3), chance.randint(0, 3)
    layout = Layout(places)
    for name in ("a", "b", "c", "d", "e", "switch", "other switch", "said"):
        layout.new(name)
    plain = chance.sample(range(KEPT), 3)
    sound = tuple(row(chance, n, places, races, plain) for n in range(chance.randint(3, 8)))
    starts = tuple(layout.at(0, mask(chance, range(KEPT), 0, 1)) for _ in range(chance.randint(1, 2)))
    system = System(
        layout, tuple(Place("run", i) for i in range(places)), sound, starts,
        tuple(Race(f"race {n}", 1.0, f"not {n}", 2.0, "file") for n in range(races)),
        tuple(rule(chance, n, places, after) for n, after in enumerate((False, True, True))), free=SWITCH, spent=SAID,
    )  # fmt: skip
    many = chance.randint(most, most + 2)
    unseen = dict(zip(SWITCHES[: chance.randint(0, 2)], chance.sample(range(many), 2), strict=False))
    shared = chance.random() < 0.3
    kinds = [
        kind("part 0" if shared and n == 1 else f"part {n}", Edit(blind=sum(bit for bit, hides in unseen.items() if hides == n)), f"mode {n}") for n in range(many)
    ]
    wrongs = {f"own {n}": frozenset({n}) for n in range(many)}
    wrongs["lies"] = frozenset(chance.sample(range(many), chance.randint(1, 2)))
    wrongs |= {race(n): frozenset(chance.sample(range(many), chance.randint(1, 2))) for n in range(races) if chance.random() < 0.7}
    rowed = [w for w in wrongs if w.startswith(("own", "lies"))]
    wrongs |= {blind(bit.bit_length() - 1): frozenset({hides}) for bit, hides in unseen.items()}
    added = []
    for n in range(chance.randint(2, 9)):
        needs = frozenset(chance.sample(rowed, chance.choice([1, 1, *range(2, most + 1)])))
        added.append(replace(row(chance, 100 + n, places, races, range(KEPT)), needs=needs))
    return Case(system, brought(system, kinds, added, wrongs, most))


def cases(most=MOST):
    """Cases by the thousand; the seed in a failure's report makes the case again. most: faults at once."""
    return st.integers(0, 1 << 32).map(lambda seed: case(random.Random(seed), most))


class Reader:
    """What a set of faults reaches and breaks, found without any of the engine's shortcuts."""

    def __init__(self, case, some):
        self.case, self.system = case, case.system
        self.there, system = case.there(some), case.system
        self.blind = sum(case.brought.kinds[k].edit.blind for k in some)
        allowed = [r for r in (*system.rows, *case.brought.rows) if r.needs <= self.there and r.forward]
        self.rows = [replace(r, unless=tuple(u for u in r.unless if race(u[1]) not in self.there)) for r in allowed]
        self.reached, self.broken, self.steps = self.walk()

    def sees(self, row):
        """The row as the box takes it: a switch that it does not see, it cannot ask for."""
        care = row.guard.care & ~self.blind
        return replace(row, guard=Cube(care, row.guard.want & care))

    def following(self, word):
        """(row or None for a hand at the switch, image) of everything that may happen."""
        layout = self.system.layout
        yield from ((None, word ^ switch) for switch in SWITCHES)
        for row in self.rows:
            if self.sees(row).takes(layout, word):
                yield row, row.image(layout, word)

    def bad(self, word, source=None, row=None):
        """Rules that a word (row None) or the image of a scan breaks."""
        layout = self.system.layout
        for number, rule in enumerate(self.system.rules):
            for bad in rule.bad:
                if bad.after_scan != (row is not None) or layout.place_of(word) not in bad.places or not bad.cube.holds(word):
                    continue
                if row is not None and bad.starts is None and row.lazy:
                    continue
                if bad.starts is not None and not any(layout.place_of(source) in p and c.holds(source) for p, c in bad.sources):
                    continue
                yield number

    def walk(self):
        todo = [s | switch for s in self.system.starts for switch in STANDS]
        seen, broken, steps = set(todo), set(), []
        while todo:
            word = todo.pop()
            broken |= set(self.bad(word))
            for row, image in self.following(word):
                if row is not None and row.scan:
                    broken |= set(self.bad(image, word, row))
                image &= ~SAID
                steps.append((word, image))
                if image not in seen:
                    seen.add(image)
                    todo.append(image)
        return seen, broken, steps

    @property
    def words(self):
        """The reached words without the switch."""
        return {w & ~SWITCH for w in self.reached}


def minimal(sets):
    """The sets of which no other is a part."""
    return {s for s in sets if not any(set(o) < set(s) for o in sets)}


def cut_sets(case, rule):
    """The minimal sets of kinds that break a rule, by the reader."""
    return minimal({s for s in case.sets if rule in Reader(case, s).broken})
