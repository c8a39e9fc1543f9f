"""Trials: a guided campaign beside days drawn blindly, variants beside whole days, lanes beside single launches.

Guided and blind get the same processor time on each demo file, on one process, with the same faults allowed; what counts
is how many of the rules they break within what the file asks, and what share of rows, timeouts and pairs of a fault and a
state they visit. The rows that can fire are counted beside: the proof's search without faults and with each single one
says which rows no behaviour of its model makes fire. Variants are the same plans played on from where they differ and
played from their beginning. Lanes are a spread of many launches beside the same launches one by one. All times are
processor time, which other work on the machine disturbs least.
"""

from __future__ import annotations

import argparse
import os
import random
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median

FILES = ("planted_logic", "club", "bench", "curlew")


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
    """Print the ratios; 0 when on each file guided breaks and visits at least as much by the median, and lanes fit 120 s."""
    parser = argparse.ArgumentParser(prog="tools/bench trials", description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0, help="processor time for each campaign (30)")
    parser.add_argument("--seeds", type=int, default=3, help="campaigns with different seeds (3)")
    parser.add_argument("--files", nargs="+", default=list(FILES), metavar="NAME", help=f"demo files ({' '.join(FILES)})")
    parser.add_argument("--only", choices=("guided", "variants", "lanes"), help="one of the three measurements")
    parser.add_argument("--lanes", type=int, default=2500, help="launches side by side (2500, as `spread` takes them)")
    asked = parser.parse_args(arguments)
    good = True
    if asked.only in (None, "guided"):
        for name in asked.files:
            good = guided(name, asked.seconds, asked.seeds) and good
    if asked.only in (None, "variants"):
        variants()
    if asked.only in (None, "lanes"):
        good = lanes(asked.lanes) and good
    return 0 if good else 1


@dataclass(frozen=True)
class Reached:
    """What one campaign broke and visited."""

    runs: int
    rules: dict[str, float]
    states: int
    rows: int
    sound: int
    timeouts: int
    faults: int
    pairs: int


def guided(name: str, seconds: float, seeds: int) -> bool:
    """Campaigns of each kind on one file; whether by the median the guided ones break and visit at least as much."""
    from sequencer.description import load
    from sequencer.trials.campaign import Bench
    from sequencer.trials.shares import can_fire

    bench = Bench(load(f"configs/{name}.yaml"))
    can = can_fire(bench.pad)
    both: dict[str, list[Reached]] = {"guided": [], "blind": []}
    for seed in range(seeds):
        for kind, done in both.items():
            done.append(one := campaign(bench, kind, seconds, seed, can))
            found = ", ".join(f"{rule} {at:.1f} s" for rule, at in sorted(one.rules.items(), key=lambda item: item[1])) or "none"
            print(f"{name}, seed {seed}, {kind}: {one.runs} trials, {one.rows} of {len(bench.table.rows)} rows, {one.sound} of {len(can or ())} that can with nothing wrong, rules broken: {found}", flush=True)
    counts = {"rules": lambda one: len(one.rules), "states": lambda one: one.states, "rows": lambda one: one.rows, "rows, all sound": lambda one: one.sound, "timeouts": lambda one: one.timeouts,
              "faults": lambda one: one.faults, "faults in states": lambda one: one.pairs}  # fmt: skip
    told, good = [], True
    for what, count in counts.items():
        mine, its = ([count(one) for one in both[kind]] for kind in ("guided", "blind"))
        told.append(f"{what} {median(mine):g} to {median(its):g}" + (f" ({median(a / b for a, b in zip(mine, its, strict=True)):.2f} to 1)" if all(its) else ""))
        good = good and median(mine) >= median(its)
    print(f"{name}: guided beside blind, medians of {seeds} seeds: {', '.join(told)}", flush=True)
    return good


def campaign(bench: object, kind: str, seconds: float, seed: int, can: frozenset[int] | None) -> Reached:
    """One campaign, guided as `shakedown` does or of days drawn blindly."""
    from sequencer.trials.blind import blind
    from sequencer.trials.campaign import Bench, _Work
    from sequencer.trials.shares import NOTHING_WRONG, shares

    assert isinstance(bench, Bench)
    work, rng, number = _Work(bench, max(1, sum(bench.menu.most) + 1)), random.Random(seed), 0
    begun, rules = processor_s(), dict[str, float]()
    if kind == "guided":
        work.begin()
    else:
        work.plain()
    while processor_s() - begun < seconds:
        if kind == "guided":
            work.round(seed, number, 1 << 30, 1)
        else:
            work.take(bench.try_(blind(rng, bench.menu, work.day, work.within if number % 3 else work.faults)))
        number += 1
        for (rule, *_), (_, breach) in work.broken.items():
            if breach.asked:
                rules.setdefault(rule, processor_s() - begun)
    seen = {what: share.visited for what, share in shares(bench.table, bench.menu, work.corpus.known, can).items()}
    return Reached(work.runs, rules, seen["states"], seen["rows"], seen.get(NOTHING_WRONG, 0), seen["timeouts"], seen["faults"], seen["faults in states"])
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
