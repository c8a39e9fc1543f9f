"""The proof beside plain Python and a hand-written C explorer on the same system: ratios, memory and growth.

    tools/bench prove [FILE] [--bottles N] [--whole N] [--growth N]

FILE: a pad; without it one is generated with N bottles (default 3). --whole: of how many sets of faults the C explorer
without reductions is timed (default 30; the rest is taken in proportion). --growth: the largest pad of the table of
growth (default 3 bottles; 4 takes minutes; 0: no table).

All look at the very same rows. Situations, steps and verdicts of every run are crossed first; where two differ nothing
is said but that. Times are processor time, of one process on this machine: ratios, not promises. Goals are those that the
design names for a pad of some hundred thousand situations; on a small one calls outweigh the work. The product is numpy
and its kernel in C, where there is a compiler; without faults, numpy alone is shown too. A goal
that is missed is printed as MISSED.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import TypeVar
from unittest import mock

from benchmarks.explorer.model import Answer, Model, compiled, plain
from benchmarks.explorer.stations import text
from sequencer.description import load, loads
from sequencer.description.pad import Pad
from sequencer.firmware.toolchain import Missing
from sequencer.proof import why
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.campaign import Campaign
from sequencer.proof.explore import Explored, explore, forward
from sequencer.proof.prove import Options, Work
from sequencer.proof.stories import path

T = TypeVar("T")


class Differs(Exception):
    """Two explorers do not agree; nothing else is worth saying."""


def same(what: str, *values: object) -> None:
    if any(v != values[0] for v in values):
        raise Differs(f"{what}: {' against '.join(map(str, values))}")


def timed(function: Callable[[], T], turns: int = 3) -> tuple[float, T]:
    """(least processor seconds, result)."""
    best, result = float("inf"), None
    for _ in range(turns):
        begun = time.process_time()
        result = function()
        best = min(best, time.process_time() - begun)
    assert result is not None
    return best, result


def show(what: str, value: float, goal: float | None = None, at_least: bool = False) -> None:
    line = f"  {what:62} {value:8.2f}"
    if goal is not None:
        met = value >= goal if at_least else value <= goal
        line += f"  {'>=' if at_least else '<='} {goal:<4g} {'met' if met else 'MISSED'}"
    print(line, flush=True)


class Bench:
    """One pad, explored by the product."""

    def __init__(self, pad: Pad) -> None:
        begun = time.process_time()
        self.draft = draft_of(pad)
        self.system = system_of(self.draft)
        self.written = time.process_time() - begun
        self.work = Work(pad, Options(seconds=1e9), lambda text: None)
        self.work.explore()
        self.engine = forward(self.system)
        self.judged, self.explored = timed(lambda: explore(self.system))
        self.bare, _ = timed(lambda: explore(self.system, judged=False))
        with mock.patch("sequencer.proof.kernel.library", lambda: None):
            self.alone, alone = timed(lambda: explore(self.system, judged=False))
        same("situations by the kernel and by numpy alone", self.explored.count, alone.count)
        self.broken = {b.rule for b in self.explored.breaches}
        self.holding = set(range(len(self.system.rules))) - self.broken
        self.free = self.system.free.bit_count()

    def campaign(self, most: int) -> tuple[float, Campaign]:
        """(processor seconds, the campaign), in one process as everything here is."""
        one = Campaign(self.draft, self.system, self.explored, self.engine, seconds=1e9)
        begun = time.process_time()
        with mock.patch("sequencer.proof.pairs.able", lambda: False):
            one.run(most, set(self.holding))
        return time.process_time() - begun, one


def without_faults(bench: Bench, folder: Path) -> Answer:
    """Counts crossed, then the ratios of the run without faults."""
    reduced, whole = Model(bench.draft, bench.system), Model(bench.draft, bench.system, whole=True)
    limit, unreduced = compiled(reduced, folder, "fresh"), compiled(whole, folder, "fresh")
    seconds, count = timed(lambda: plain(reduced), 1)
    slow, more = timed(lambda: plain(whole), 1)
    same("situations", bench.explored.count, count, limit.count)
    same("situations with every switch a bit", count << bench.free, more, unreduced.count)
    same("steps", bench.explored.transitions, limit.transitions)
    same("rules broken without faults", bench.broken, limit.broken, unreduced.broken)
    print(f"  rows written in {bench.written:.2f} s; explored in {bench.bare:.3f} s by the product ({bench.judged:.3f} s judged),")
    print(f"  {bench.alone:.3f} s by numpy alone, {limit.seconds:.3f} s by C judged;")
    print(f"  with every switch a bit ({more:,} situations): {slow:.1f} s by plain Python, {unreduced.seconds:.3f} s by C. All counts agree.")
    show("plain Python, sets and dicts, over the product", slow / bench.bare, 40, True)
    show("the same over numpy alone", slow / bench.alone)
    show("plain Python with the same switches left out, over the product", seconds / bench.bare)
    show("the product over C, both with switches left out, judged", bench.judged / limit.seconds, 10)
    return limit


def faults(bench: Bench, folder: Path, some: int) -> None:
    """Verdicts of every single and pair crossed, then the ratios of the campaign."""
    seconds, campaign = bench.campaign(2)
    live = [k for k in campaign.kinds if not k.edit.inert]
    named = [(fault,) for k in live for fault in k.faults[:1]]
    named += [next(((x, y) for x in a.faults for y in b.faults if x.part != y.part), ()) for a, b in combinations(live, 2)]
    named = [n for n in named if n]
    edit_of = {f: k.edit for k in live for f in k.faults}
    edits = [edit_of[n[0]] if len(n) == 1 else edit_of[n[0]] | edit_of[n[1]] for n in named]
    if campaign.unfinished:
        raise Differs(f"{len(campaign.unfinished)} sets of faults were not explored to the end")
    limit = compiled(Model(bench.draft, bench.system, edits), folder, "delta")
    for names, (_, broken) in zip(named, limit.sets, strict=True):
        mine = {r for r in bench.holding if any(set(cut) <= set(names) for cut in campaign.cuts[r])}
        same(f"rules broken by {' with '.join(f.name for f in names)}", mine, set(broken) & bench.holding)
    chosen = edits[:: max(1, len(edits) // some)]
    whole = compiled(Model(bench.draft, bench.system, chosen, whole=True), folder, "delta", 1)
    again = compiled(Model(bench.draft, bench.system, chosen), folder, "again", 1)
    for n, one, other in zip(range(0, len(edits), max(1, len(edits) // some)), whole.sets, again.sets, strict=True):
        same("situations of a set of faults", limit.sets[n][0] << bench.free, one[0], other[0] << bench.free)
        same("verdicts of a set of faults", set(limit.sets[n][1]) & bench.holding, set(one[1]) & bench.holding, set(other[1]) & bench.holding)
    share = len(edits) / len(chosen)
    print(f"  {len(live)} fault kinds, {len(edits)} sets of one and two: {seconds:.2f} s by the product, {limit.sets_seconds:.2f} s by C;")
    print(f"  C with every switch a bit: {whole.sets_seconds * share:.1f} s (from {len(chosen)} of them). All verdicts agree.")
    show("singles and pairs over C, switches left out, by what faults add", seconds / limit.sets_seconds, 5)
    show("C by what faults add, every switch a bit, over the product", whole.sets_seconds * share / seconds, 5, True)
    show("C exploring every set again, switches left out, over the product", again.sets_seconds * share / seconds)
    show("singles and pairs over the run without faults", seconds / bench.judged, 40)
    stories(bench, campaign)
    print(f"  peak memory: product {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB, C {limit.peak / 2**20:.0f} MB")


def stories(bench: Bench, campaign: Campaign, most: int = 6) -> None:
    """A story with its path: the shortest way to a breach under a single fault."""
    cuts = [(rule, cut) for rule in sorted(bench.holding) for cut in campaign.cuts[rule] if len(cut) == 1][:most]
    spent = 0.0
    for rule, cut in cuts:
        begun = time.process_time()
        found = campaign.shortest(cut, rule)
        if found is None:
            raise Differs(f"{cut[0].name} breaks {bench.system.rules[rule].name}, and no story was found")
        layers, breach, engine = found
        path(campaign.whole_system(), Explored(layers, []), breach, engine)
        spent += time.process_time() - begun
    if cuts:
        show(f"a story with its path over the run without faults (mean of {len(cuts)})", spent / len(cuts) / bench.judged, 0.5)


def reasons(bench: Bench) -> None:
    """The why-matrix of the product beside exploring every mutant afresh."""
    with mock.patch("sequencer.proof.pairs.able", lambda: False):
        screened, found = timed(lambda: why.reasons(bench.work, 0), 1)
    spent, needed = 0.0, []
    for mutant in why.mutants(bench.draft.table):
        begun = time.process_time()
        places, rows = why.scans_without(bench.draft, mutant)
        kept = [r for r in bench.system.rows if not (r.scan and r.at[0] in places)]
        again = explore(replace(bench.system, rows=(*kept, *rows)))
        spent += time.process_time() - begun
        needed.append({bench.system.rules[n].name for n in {b.rule for b in again.breaches} - bench.broken})
    same("rules that fail without a permissive, trip or inhibit", [set(w.rules) for w in found], needed)
    print(f"  {len(needed)} permissives, trips and inhibits left out one by one: {screened:.2f} s by the product, {spent:.2f} s afresh; verdicts agree")
    show("the product over fresh runs", screened / spent, 0.2)


def growth(largest: int) -> None:
    """Time against bits, rows and faults."""
    print(f"\ngrowth{'bits':>7}{'rows':>6}{'kinds':>6}{'sets':>6}{'situations':>12}{'steps':>12}{'explored':>10}{'singles':>9}{'pairs too':>10}  s")
    last: tuple[int, float, float] | None = None
    for bottles in range(1, largest + 1):
        bench = Bench(loads(text(bottles), f"{bottles} bottles"))
        singles, _ = bench.campaign(1)
        pairs, campaign = bench.campaign(2)
        kinds = sum(not k.edit.inert for k in campaign.kinds)
        here = (bench.explored.count, bench.judged, pairs)
        print(f"{bottles:6}{len(bench.system.layout.index):7}{len(bench.system.rows):6}{kinds:6}{campaign.sets:6}{here[0]:12,}{bench.explored.transitions:12,}"
              f"{bench.judged:10.3f}{singles:9.2f}{pairs:10.2f}", flush=True)  # fmt: skip
        if last is not None:
            print(f"   a bottle more: situations x {here[0] / last[0]:.1f}, exploring x {here[1] / last[1]:.1f}, singles and pairs x {here[2] / last[2]:.1f}", flush=True)
        last = here


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="tools/bench prove", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", nargs="?")
    parser.add_argument("--bottles", type=int, default=3)
    parser.add_argument("--whole", type=int, default=30)
    parser.add_argument("--growth", type=int, default=3)
    asked = parser.parse_args(arguments)
    pad = load(asked.file) if asked.file else loads(text(asked.bottles), f"{asked.bottles} bottles")
    bench = Bench(pad)
    print(f"{asked.file or pad.title}: {bench.explored.count:,} situations, {bench.explored.transitions:,} steps, depth {len(bench.explored.layers) - 1}, "
          f"{len(bench.system.layout.index)} bits, {len(bench.system.rows)} rows")  # fmt: skip
    try:
        with tempfile.TemporaryDirectory() as folder:
            without_faults(bench, Path(folder))
            faults(bench, Path(folder), asked.whole)
        reasons(bench)
    except Missing as error:
        print(f"cannot measure here: {error.message}", file=sys.stderr)
        return 2
    except Differs as error:
        print(f"two explorers DIFFER, so no ratio is said: {error}", file=sys.stderr)
        return 1
    if asked.growth:
        growth(asked.growth)
    return 0
