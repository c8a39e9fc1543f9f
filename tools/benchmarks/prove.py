"""The proof's explorer beside plain Python, and faults by delta closure beside exploring everything again.

tools/bench prove [FILE] [--faults N]     FILE: default configs/club.yaml; N faults explored again in full (default 6)

All on the same system, taken in turns on this machine. Goals are those the design names; what is missed is printed
as missed. A hand-written C explorer, the limit of what a machine can do, is not part of this measurement.
"""

import sys
import time


def plain(system):
    """Breadth-first search with ints, a set and a loop over rows."""
    layout, free = system.layout, system.free
    all_bits = (1 << 64) - 1
    by_place = {}
    for row in system.rows:
        if row.forward:
            keep = ~row.clear & all_bits & ~free
            entry = (row.guard.care & ~free, row.guard.want & ~free, keep, row.set, row.to, [(c.care, c.want) for c, _ in row.unless])
            for place in row.at:
                by_place.setdefault(place, []).append(entry)
    seen = {s & ~free for s in system.starts}
    frontier = list(seen)
    kept = ~system.spent & all_bits
    while frontier:
        fresh = []
        for word in frontier:
            for care, want, keep, put, to, unless in by_place.get(word >> layout.shift, ()):
                if word & care != want or any(word & c == w for c, w in unless):
                    continue
                image = (word & keep | put) & kept
                if to is not None:
                    image = image & layout.low | to << layout.shift
                if image not in seen:
                    seen.add(image)
                    fresh.append(image)
        frontier = fresh
    return len(seen)


def timed(function, *arguments, turns=3):
    """(best seconds, result)."""
    best, result = float("inf"), None
    for _ in range(turns):
        begun = time.perf_counter()
        result = function(*arguments)
        best = min(best, time.perf_counter() - begun)
    return best, result


def show(what, value, goal, at_least):
    met = value >= goal if at_least else value <= goal
    print(f"  {what:58} {value:8.2f}   goal {'>=' if at_least else '<='} {goal:g}  {'met' if met else 'MISSED'}")


def main(arguments):
    if "--help" in arguments or "-h" in arguments:
        print(__doc__)
        return 0
    from dataclasses import replace

    from sequencer.description import load
    from sequencer.proof.build import draft_of, system_of
    from sequencer.proof.campaign import Campaign
    from sequencer.proof.explore import explore, forward
    from sequencer.proof.faults import changed
    from sequencer.proof.stories import path

    again = int(arguments[arguments.index("--faults") + 1]) if "--faults" in arguments else 6
    files = [a for a in arguments if a.endswith(".yaml")] or ["configs/club.yaml"]
    pad = load(files[0])
    built, draft = timed(draft_of, pad, turns=1)
    system = system_of(draft)
    engine = forward(system)
    fast, explored = timed(lambda: explore(system, engine=engine, judged=False))
    judged, _ = timed(lambda: explore(system, engine=engine))
    slow, count = timed(plain, system, turns=1)
    if count != explored.count:
        print(f"plain Python reached {count} situations, numpy {explored.count}", file=sys.stderr)
        return 1
    print(f"{files[0]}: {count:,} situations, {explored.transitions:,} steps, {len(system.layout.index)} bits, {len(system.rows)} rows")
    print(f"  rows written in {built:.2f} s; explored in {fast:.3f} s by numpy ({judged:.3f} s judged), {slow:.2f} s by plain Python")
    show("numpy is faster than plain Python, times", slow / fast, 40, True)
    campaign = Campaign(draft, system, explored, engine)
    begun = time.perf_counter()
    campaign.run(1, set(range(len(system.rules))))
    singles = time.perf_counter() - begun
    live = list(campaign.singles.values())[:again]
    begun = time.perf_counter()
    for delta in live:
        whole = replace(system, rows=(*system.rows, *changed(draft, system, delta.kind.edit)))
        explore(whole, judged=False)
    fresh = time.perf_counter() - begun
    begun = time.perf_counter()
    for delta in live:
        campaign.single(delta.kind)
    closed = time.perf_counter() - begun
    print(f"  {len(campaign.kinds)} fault kinds one by one in {singles:.2f} s, {campaign.situations:,} new situations")
    show(f"{len(live)} faults: exploring again over delta closure, times", fresh / closed, 5, True)
    show("all single faults over the fault-free run, times", singles / fast, 40, False)
    deepest = explored.layers[-1]
    from sequencer.proof.judging import Breach

    told, _ = timed(lambda: path(system, explored, Breach(0, 0, int(deepest[0]), None, int(deepest[0])), engine))
    show("the longest story's path over the fault-free run", told / fast, 0.5, False)
    return 0
