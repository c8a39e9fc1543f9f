"""A readable explorer of a pad's system under any set of faults: ints, dicts and loops, every set from the start."""

from dataclasses import dataclass
from itertools import combinations

from sequencer.proof.faults import Edit, changed, edits


@dataclass
class Seen:
    """What a set of faults reaches: every situation with its depth, and per broken rule the depth of its first breach."""

    depths: dict[int, int]
    breaches: dict[int, int]


def explored(draft, system, faults=()):
    """Everything that can be reached under these faults, breadth first."""
    edit = Edit()
    for fault in faults:
        edit |= edits(draft)[fault]
    own = changed(draft, system, edit) if faults else []
    rows_at = {}
    for row in (*(r for r in system.rows if r.forward), *own):
        care = row.guard.care & ~system.free
        entry = (care, row.guard.want & care, [(c.care, c.want) for c, _ in row.unless], row, list(judged_on(system, row, edit.blind)))
        for place in row.at:
            rows_at.setdefault(place, []).append(entry)
    free, spent, layout, shift = system.free, ~system.spent, system.layout, system.layout.shift
    frontier = sorted({s & ~free for s in system.starts})
    depths, breaches, depth = dict.fromkeys(frontier, 0), {}, 0
    world = [(n, b.places, b.cube.care & ~free, b.cube.want & ~free) for n, r in enumerate(system.rules) for b in r.bad if not b.after_scan]

    def judge(word):
        for number, places, care, want in world:
            if word & care == want and word >> shift in places:
                breaches.setdefault(number, depth)

    for word in frontier:
        judge(word)
    while frontier:
        fresh, depth = [], depth + 1
        for word in frontier:
            for care, want, unless, row, bads in rows_at.get(word >> shift, ()):
                if word & care != want or (unless and any(word & c == w for c, w in unless)):
                    continue
                image = row.image(layout, word) & ~free
                for number, bad in bads:
                    if image >> shift in bad.places and not (image ^ bad.cube.want) & bad.cube.care & ~free and begins(layout, bad, word):
                        breaches.setdefault(number, depth)
                after = image & spent
                if after not in depths and not row.idle:
                    depths[after] = depth
                    fresh.append(after)
                    judge(after)
        frontier = fresh
    return Seen(depths, breaches)


def judged_on(system, row, blind):
    """(rule, bad cube) that a row's image is judged on. A switch stands as the scan found it, if the box sees it at all."""
    known = row.guard.care & system.free & ~blind
    for number, rule in enumerate(system.rules):
        for bad in rule.bad:
            scanned = row.scan or row.tag in ("settle", "boot")
            if bad.after_scan and scanned and not (row.lazy and bad.starts is None) and not (row.guard.want ^ bad.cube.want) & bad.cube.care & known:
                yield number, bad


def begins(layout, bad, word):
    """Whether a command that the rule is about was not yet given in the word before (or the rule is about no command)."""
    return bad.starts is None or any(layout.place_of(word) in p and c.holds(word) for p, c in bad.sources)


def sets_of(draft, most):
    """Every set of up to `most` faults of different parts that the file does not leave out."""
    every = list(edits(draft))
    for size in range(most + 1):
        for some in combinations(every, size):
            if len({f.part for f in some}) == size:
                yield some


def cut_sets(draft, system, most=2):
    """{rule: (broken without faults, minimal sets of fault names that break it)} by exploring every set from the start."""
    found = {number: [] for number in range(len(system.rules))}
    for some in sets_of(draft, most):
        for rule in explored(draft, system, some).breaches:
            names = frozenset(f.name for f in some)
            if not any(old <= names for old in found[rule]):
                found[rule].append(names)
    return {system.rules[number].name: set(sets) for number, sets in found.items()}
