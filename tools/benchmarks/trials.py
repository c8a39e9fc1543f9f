"""Trials: a guided campaign beside days drawn blindly, variants beside whole days, lanes beside single launches.

Guided and blind get the same processor time on the pad of planted logic, on one process; what counts is how many of the
rules they break and how many rows they see fire. Variants are the same plans played on from where they differ and played
from their beginning. Lanes are a spread of many launches beside the same launches one by one. All times are processor
time, which other work on the machine disturbs least.
"""

from __future__ import annotations

import argparse
import os
import random
from collections.abc import Callable
from dataclasses import replace


def processor_s() -> float:
    """Processor time of this process and of those it waited for, s."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def taken(work: Callable[[], object]) -> float:
    """Processor time that `work` takes, s."""
    begun = processor_s()
    work()
    return processor_s() - begun


def main(arguments: list[str]) -> int:
    """Print the ratios; 0 when most guided campaigns break at least as many rules, and 10,000 launches fit 120 s on two cores."""
    parser = argparse.ArgumentParser(prog="tools/bench trials", description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0, help="processor time for each campaign (30)")
    parser.add_argument("--seeds", type=int, default=3, help="campaigns with different seeds (3)")
    parser.add_argument("--lanes", type=int, default=2500, help="launches side by side (2500, as `spread` takes them)")
    asked = parser.parse_args(arguments)
    better = sum(guided(asked.seconds, seed) for seed in range(asked.seeds)) * 2 > asked.seeds
    variants()
    quick = lanes(asked.lanes)
    return 0 if better and quick else 1


def guided(seconds: float, seed: int) -> bool:
    """One campaign of each kind; whether the guided one breaks at least as many rules."""
    from sequencer.description import load
    from sequencer.simulation.events import At, Press
    from sequencer.trials.campaign import Bench, _Work, shares
    from sequencer.trials.menu import HELD_MS
    from sequencer.trials.nominal import recorded
    from sequencer.trials.plan import Plan, event

    pad = load("configs/planted_logic.yaml")
    bench = Bench(pad)
    told = []
    for kind in ("guided", "blind"):
        work, rng, number = _Work(bench, 1), random.Random(seed), 0
        begun = processor_s()
        work.begin()
        day = recorded(pad)
        firsts: dict[str, float] = {}
        while processor_s() - begun < seconds:
            if kind == "guided":
                work.round(seed, number, 1 << 30, 1)
            else:
                acts = [rng.choice(bench.menu.acts) for _ in range(rng.randint(1, 10))]
                acts = [Press(a.input, rng.choice(HELD_MS)) if isinstance(a, Press) else a for a in acts]
                events = tuple(event(At(rng.randrange(0, 240_000, pad.scan_ms)), act) for act in acts)
                base = rng.choice([Plan(), Plan(steps=True), *([day] if day else [])])
                work.take(bench.try_(replace(base, events=(*base.events, *events))))
            number += 1
            for (rule, *_), (_, breach) in work.broken.items():
                if breach.asked:
                    firsts.setdefault(rule, processor_s() - begun)
        rows = shares(bench, work.corpus.known)["rows"]
        told.append((len(firsts), rows.visited))
        found = ", ".join(f"{rule} {at:.1f} s" for rule, at in sorted(firsts.items(), key=lambda one: one[1])) or "none"
        print(f"seed {seed}, {kind}: {work.runs} trials, {rows.visited} of {rows.of} rows, {len(firsts)} rules broken: {found}", flush=True)
    (rules, rows_seen), (others, other_rows) = told
    print(f"seed {seed}: guided beside blind: rules {rules} to {others}, rows {rows_seen / max(other_rows, 1):.1f} to 1", flush=True)
    return rules >= others


def variants() -> None:
    """The same variants of the Curlew day by forks and from the beginning."""
    from sequencer.description import load
    from sequencer.simulation.events import InState, Press
    from sequencer.trials.branch import Group, grow
    from sequencer.trials.campaign import Bench
    from sequencer.trials.plan import Plan, event

    bench = Bench(load("configs/curlew.yaml"))
    states = ("armed", "half_filling", "full_filling", "holding", "counting")
    plans = [Plan((event(InState(state, ms), Press("stop")),), steps=True, settle_ms=2_000) for state in states for ms in (0, 500)]
    never = lambda breach: False  # noqa: E731 (one line, used twice)
    forked = taken(lambda: grow(bench, Group(Plan(steps=True, settle_ms=2_000), tuple((plan, 1 << 60) for plan in plans)), frozenset(), never))
    whole = taken(lambda: [bench.try_(plan, enough=never) for plan in plans])
    print(f"{len(plans)} variants of the Curlew day: {forked:.1f} s from where they differ, {whole:.1f} s from the beginning: {whole / forked:.1f} to 1", flush=True)


def lanes(number: int) -> bool:
    """A spread of the Curlew launch by lanes and one by one; whether 10,000 fit two minutes on two cores."""
    from sequencer.description import load
    from sequencer.table import compile_table
    from sequencer.trials.course import alone
    from sequencer.trials.draw import draw, parameters
    from sequencer.trials.lanes import together
    from sequencer.trials.spread import begins

    pad = load("configs/curlew.yaml")
    table = compile_table(pad)
    begin, _ = begins(pad, table, False, None)
    of = parameters(pad)
    draws = [draw(pad, of, 0, i) for i in range(number)]
    side = taken(lambda: together(draws, begin, table)) / number
    single = taken(lambda: [alone(one, begin, table) for one in draws[:3]]) / 3
    both = 10_000 * side / 2
    print(f"a Curlew launch: {side * 1e3:.2f} ms of {number} lanes, {single * 1e3:.0f} ms by itself: {single / side:.0f} to 1")
    print(f"10,000 launches: {both:.0f} s on two cores at {number} lanes (aim: 120 s)")
    return both < 120


if __name__ == "__main__":
    import sys

    sys.exit(main(sys.argv[1:]))
