"""A campaign: many trials, guided to what has not been visited yet, each failure made small.

Trials run in rounds. A round is drawn from the corpus as it stands, by seed; its results are taken in by number. So the
same seed and number of runs give the same campaign, however many processes share the work.
"""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

from sequencer.description.pad import Pad
from sequencer.table import Table, compile_table
from sequencer.trials.crowd import answers, jobs_here
from sequencer.trials.menu import Menu, menu
from sequencer.trials.plan import Plan
from sequencer.trials.probe import Breach, Key, Trial, probe
from sequencer.trials.vary import Changer, Parent, seeds_of

ROUND = 24
LONGEST_MS = 20 * 60_000
BLIND = (
    "what no trial came upon: a campaign tries many orders, moments and faults, not all of them, and only what the file "
    "describes; `prove` looks at every order of the model"
)


@dataclass(frozen=True)
class Share:
    """How much of one kind of thing was visited."""

    visited: int
    of: int
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Found:
    """One way in which an interlock broke, made small. faults: what it needs, by name. asked: it counts as a failure.
    seen: trials that broke the rule with these or more faults. trial: the small plan as played."""

    rule: str
    says: str
    faults: tuple[str, ...]
    asked: bool
    seen: int
    plan: Plan
    breach: Breach


@dataclass(frozen=True)
class Campaign:
    """What a campaign did and found. `shares`: states, rows, timeouts, faults, and state-fault pairs visited."""

    title: str
    file: str
    seed: int
    runs: int
    trial_seconds: float
    simulated_seconds: float
    failures: tuple[Found, ...]
    beyond: tuple[Found, ...]
    shares: dict[str, Share]
    watched: tuple[str, ...]
    not_watched: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    blind: str = BLIND


@dataclass(frozen=True)
class Budget:
    """runs or seconds, whichever comes first; one of them must be given."""

    runs: int | None = 2000
    seconds: float | None = None

    def over(self, runs: int, begun: float) -> bool:
        return (self.runs is not None and runs >= self.runs) or (self.seconds is not None and time.monotonic() - begun >= self.seconds)


class Bench:
    """One pad ready for trials; what a worker process holds."""

    def __init__(self, pad: Pad) -> None:
        self.pad = pad
        self.table: Table = compile_table(pad)
        self.menu: Menu = menu(pad, self.table)
        self.longest_ms = LONGEST_MS

    def try_(self, plan: Plan, enough: Callable[[Breach], bool] = lambda b: b.asked) -> Trial:
        return probe(self.pad, self.table, self.menu, plan, self.longest_ms, enough)


@dataclass
class _Corpus:
    """Plans that visited something new. Those seldom chosen and those with much new come first."""

    parents: list[Parent]
    gains: list[int]
    picked: list[int]
    known: set[Key]

    def take(self, trial: Trial) -> int:
        """Keep the trial's plan if it visited something new; returns how much."""
        new = len(trial.keys - self.known)
        if new:
            self.known |= trial.keys
            self.parents.append(Parent(trial.plan, trial.moves, trial.ended_ms))
            self.gains.append(new)
            self.picked.append(0)
        return new

    def pick(self, rng: random.Random) -> Parent:
        weights = [min(gain, 20) / (1 + picked) for gain, picked in zip(self.gains, self.picked, strict=True)]
        chosen = rng.choices(range(len(weights)), weights)[0]
        self.picked[chosen] += 1
        return self.parents[chosen]


def shake(
    pad: Pad, budget: Budget | None = None, *, seed: int = 0, jobs: int | None = None,
    told: Callable[[int, int, int], None] = lambda runs, failures, visited: None, most_faults: int | None = None,
) -> Campaign:  # fmt: skip
    """Run a campaign on a pad. told(runs, rules broken so far, situations visited) after each round.

    most_faults: faults in one trial; by default one more than any rule is asked to withstand, at least one.
    jobs: processes (default: the processors there are). The result does not depend on `jobs`.
    """
    budget, bench = budget or Budget(), Bench(pad)
    faults = most_faults if most_faults is not None else max(1, sum(bench.menu.most) + 1)
    changer = Changer(pad, bench.menu, faults)
    begun, runs, simulated = time.monotonic(), 0, 0.0
    corpus = _Corpus([], [], [], set())
    broken: dict[tuple[str, tuple[str, ...]], tuple[Trial, Breach]] = {}
    count: Counter[tuple[str, tuple[str, ...]]] = Counter()

    def take(trial: Trial) -> Parent:
        nonlocal runs, simulated
        runs, simulated = runs + 1, simulated + trial.ended_ms / 1000
        corpus.take(trial)
        for breach in trial.breaches:
            key = (breach.rule, tuple(sorted(set(breach.faults))))
            count[key] += 1
            if key not in broken or _size(trial) < _size(broken[key][0]):
                broken[key] = (trial, breach)
        return Parent(trial.plan, trial.moves, trial.ended_ms)

    seeds_of(pad, lambda plan: take(bench.try_(plan)))
    number, processes = 0, jobs_here(jobs)
    while not budget.over(runs, begun):
        size = ROUND if budget.runs is None else min(ROUND, budget.runs - runs)
        plans = []
        for index in range(size):
            rng = random.Random(f"{seed}/{number}/{index}")
            parent = corpus.pick(rng)
            plans.append(changer.changed(rng, parent, rng.choice(corpus.parents).plan))
        for trial in answers(bench.try_, plans, processes):
            take(trial)
        number += 1
        told(runs, len({rule for rule, _ in broken}), len(corpus.known))
    spent = time.monotonic() - begun
    failures, beyond = _made_small(bench, broken, count)
    return Campaign(
        pad.title, pad.file, seed, runs, spent, simulated, failures, beyond, shares(bench, corpus.known),
        tuple(n for n, r in pad.interlocks.items() if not hasattr(r, "always_possible") and r.waive is None),
        tuple(n for n, r in pad.interlocks.items() if hasattr(r, "always_possible") or r.waive is not None), bench.menu.left_out,
    )  # fmt: skip


def _size(trial: Trial) -> tuple[int, ...]:
    plan = trial.plan
    return (len(plan.strikes) + len(plan.slips), len(plan.acts), len(plan.values), int(not plan.steps), trial.ended_ms)


def _made_small(
    bench: Bench, broken: dict[tuple[str, tuple[str, ...]], tuple[Trial, Breach]], count: Counter[tuple[str, tuple[str, ...]]]
) -> tuple[tuple[Found, ...], tuple[Found, ...]]:
    """One small story for each rule and each smallest set of faults that broke it; (failures, beyond what is asked)."""
    from sequencer.trials.shrink import shrink

    found: list[Found] = []
    for (rule, faults), (trial, breach) in sorted(broken.items(), key=lambda item: (not item[1][1].asked, len(item[0][1]), item[0])):
        if any(one.rule == rule and set(one.faults) <= set(faults) for one in found):
            continue
        small, last = shrink(bench, trial.plan, breach)
        names = tuple(sorted(set(last.faults)))
        found = [one for one in found if not (one.rule == rule and set(names) <= set(one.faults))]
        found.append(Found(rule, last.says, names, last.asked, 0, small, last))
    counted = [
        replace(one, seen=sum(n for (rule, faults), n in count.items() if rule == one.rule and set(one.faults) <= set(faults)))
        for one in found
    ]  # fmt: skip
    return tuple(f for f in counted if f.asked), tuple(f for f in counted if not f.asked)


def shares(bench: Bench, known: set[Key]) -> dict[str, Share]:
    """What share of states, rows, timeouts, faults and pairs of them the keys hold."""
    table, menu_ = bench.table, bench.menu
    rows = {k[0] for k in known if k[1] == "row"}
    states = {k[0] for k in known if k[1] != "row" and k[0] != -1}
    pairs = {(k[0], k[2]) for k in known if k[1] != "row" and k[2] and k[0] != -1}
    struck = {fault for _, fault in pairs}
    timeouts = [i for i, row in enumerate(table.rows) if row.care == 0 and row.least > 0]

    def share(there: list[tuple[object, str]], visited: set[object]) -> Share:
        missing = tuple(name for key, name in there if key not in visited)
        return Share(len(there) - len(missing), len(there), missing)

    names = {i: f"{table.states[row.state].name}: {row.origin} -> {table.states[row.to].name}" for i, row in enumerate(table.rows)}
    return {
        "states": share([(i, s.name) for i, s in enumerate(table.states)], set(states)),
        "rows": share([(i, names[i]) for i in range(len(table.rows))], set(rows)),
        "timeouts": share([(i, names[i]) for i in timeouts], set(rows)),
        "faults": share([(f.name, f.name) for f in menu_.faults], set(struck)),
        "faults in states": share(
            [((i, f.name), f"{f.name} in {s.name}") for f in menu_.faults for i, s in enumerate(table.states)], set(pairs)
        ),
    }  # fmt: skip
