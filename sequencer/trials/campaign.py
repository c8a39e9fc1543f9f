"""A campaign: many trials, guided to what has not been visited yet, each failure made small.

Trials run in rounds. A round is drawn from the corpus as it stands, by seed; its results are taken in by number. So the
same seed and number of runs give the same campaign, however many processes share the work.
"""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from sequencer.description.pad import Pad
from sequencer.table import Table, compile_table
from sequencer.trials.blind import blind
from sequencer.trials.branch import Group, grow
from sequencer.trials.crowd import answers, jobs_here
from sequencer.trials.frontier import Frontier, Parent
from sequencer.trials.menu import Menu, menu
from sequencer.trials.nominal import in_states, of_drills, seeds_of
from sequencer.trials.plan import Plan
from sequencer.trials.probe import NEVER, Breach, Key, Trial, probe
from sequencer.trials.shares import Share, can_fire, row_names, shares
from sequencer.trials.vary import Changer, Made

GROUPS = 4
LEAST, MOST, SHARED_MS = 12, 48, 5_000
"""A round: so many plans, each with at least and at most so many variants, one for each so much of its pad time."""
DRILL_MS = 20_000
"""How long a drill is followed after the last new thing."""
BLIND_SHARE = 0.15
"""Of the pad time: days drawn blindly."""
IDLE = 50
"""Rounds without a single trial after which there is nothing left to try."""
LONGEST_MS = 20 * 60_000
BLIND = (
    "what no trial came upon: a campaign tries many orders, moments and faults, not all of them, and only what the file "
    "describes; `prove` looks at every order of the model"
)


Way = tuple[str, tuple[str, ...], bool]
"""A rule, the faults by which it broke, and whether the box had no power then."""


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
    """What a campaign did and found. `shares`: states, rows, timeouts, faults, and state-fault pairs visited. denied: rows
    that fired with nothing wrong though no behaviour of the proof's model makes them fire; one of the two is wrong then."""

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
    denied: tuple[str, ...] = ()
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
    """Plans that visited something new. Those seldom chosen, with much new, with ways not gone yet and without faults
    come first: a rule has to withstand few."""

    frontier: Frontier
    parents: list[Parent] = field(default_factory=list)
    gains: list[int] = field(default_factory=list)
    picked: list[int] = field(default_factory=list)
    known: set[Key] = field(default_factory=set)

    def take(self, trial: Trial, keep: bool = False) -> int:
        """Keep the trial's plan if it visited something new, or is to be kept; returns how much was new."""
        fresh = trial.keys - self.known
        if fresh or keep:
            self.known |= fresh
            self.frontier.learn(fresh)
            self.parents.append(Parent(trial.plan, trial.moves, trial.ended_ms, trial.wrong))
            self.gains.append(20 if keep else min(len(fresh), 20))
            self.picked.append(0)
        return len(fresh)

    def pick(self, rng: random.Random, most: int) -> Parent:
        """One of the plans in which at most so much went wrong."""
        ways = {name: min(self.frontier.hopes(name), 5.0) for name in self.frontier.names}
        weights = []
        for parent, gain, picked in zip(self.parents, self.gains, self.picked, strict=True):
            way = sum(ways[state] for state in {state for _, state in parent.moves})
            fits = 1.0 if parent.wrong <= most else 0.0
            weights.append(fits * (gain + way) / ((1 + picked) * (1 + 3 * parent.wrong) * (1 + parent.ended_ms / 600_000)))
        chosen = rng.choices(range(len(weights)), weights)[0]
        self.picked[chosen] += 1
        return self.parents[chosen]


class _Work:
    """One campaign under way."""

    def __init__(self, bench: Bench, faults: int) -> None:
        self.bench = bench
        self.frontier = Frontier(bench.table, bench.menu.faults)
        self.corpus = _Corpus(self.frontier)
        self.changer = Changer(bench.pad, bench.table, bench.menu, self.frontier)
        self.faults, self.within = faults, min(faults, sum(bench.menu.most))
        self.runs, self.simulated, self.blind_ms = 0, 0.0, 0
        self.day: Plan | None = None
        self.broken: dict[Way, tuple[Trial, Breach]] = {}
        self.count: Counter[Way] = Counter()
        self.failed: frozenset[str] = frozenset()

    def enough(self, breach: Breach) -> bool:
        """A failure ends a trial; once its rule is known to fail, trials go on beyond it."""
        return breach.asked and breach.rule not in self.failed

    def take(self, trial: Trial, keep: bool = False) -> int:
        """Note what became of a trial; returns how much was new."""
        self.runs, self.simulated = self.runs + 1, self.simulated + (trial.ended_ms - trial.from_ms) / 1000
        for breach in trial.breaches:
            key = (breach.rule, tuple(sorted(set(breach.faults))), breach.unpowered)
            self.count[key] += 1
            if key not in self.broken or _size(trial) < _size(self.broken[key][0]):
                self.broken[key] = (trial, breach)
        return self.corpus.take(trial, keep)

    def plain(self) -> None:
        """The day itself, and nobody there."""
        plans = seeds_of(self.bench.pad)
        self.day = plans[-1] if len(plans) > 1 else None
        for plan in plans:
            trial = self.bench.try_(plan, enough=lambda breach: False)
            self.take(trial, keep=True)
            if plan.events:
                self.take(self.bench.try_(in_states(plan, trial.moves), enough=lambda breach: False), keep=True)

    def begin(self, processes: int = 1) -> None:
        """The days that a campaign starts from: the day itself, then the file's own drills as changes of it."""
        self.plain()
        drills = [plan for plan in of_drills(self.bench.pad) if len(plan.strikes) + len(plan.slips) <= self.faults]
        groups = [
            Group(Plan(steps=steps), tuple((plan, DRILL_MS) for plan in drills[share::GROUPS] if plan.steps == steps))
            for steps in (True, False) for share in range(GROUPS)
        ]  # fmt: skip
        known, bench, enough = self.corpus.known, self.bench, self.enough
        for group, trials in zip(groups, answers(lambda group: grow(bench, group, known, enough), groups, processes), strict=True):
            for told in trials:
                self._learned(group, told)

    def _learned(self, group: Group, trial: Trial | None) -> int:
        """Take in a variant's trial; returns how much was new."""
        if trial is None:
            return 0
        self.changer.recipes.learn(list((Counter(trial.plan.events) - Counter(group.plan.events)).elements()), trial)
        return self.take(trial)

    def drawn(self, seed: int, number: int, most: int) -> list[tuple[Group, list[Made]]]:
        """The groups of one round, with what was drawn. One without is a day drawn blindly."""
        made: list[tuple[Group, list[Made]]] = []
        blindly = random.Random(f"{seed}/{number}/blind")
        if most > 0 and self.blind_ms < BLIND_SHARE * self.simulated * 1000:
            made.append((Group(blind(blindly, self.bench.menu, self.day, self.within if number % 3 else self.faults), (), True), []))
        for index in range(GROUPS):
            rng = random.Random(f"{seed}/{number}/{index}")
            limit = self.within if index % 3 else self.faults  # two of three within what some rule is to withstand
            parent = self.corpus.pick(rng, limit)
            left = most - sum(len(group.variants) + group.whole for group, _ in made)
            size = min(left, max(LEAST, min(MOST, parent.ended_ms // SHARED_MS)))
            if size <= 0:
                break
            whole = rng.random() < 0.12
            if whole:
                parent = replace(parent, plan=self.changer.reseeded(rng, parent.plan))
            some = [self.changer.changed(rng, parent, rng.choice(self.corpus.parents).plan, limit) for _ in range(size - whole)]
            variants = tuple((one.plan, one.patience_ms) for one in some)
            made.append((Group(parent.plan, variants, whole), some))
        return made

    def round(self, seed: int, number: int, most: int, processes: int) -> None:
        """One round: drawn, played, taken in."""
        drawn = self.drawn(seed, number, most)
        known, bench, enough = self.corpus.known, self.bench, self.enough
        told = answers(lambda group: grow(bench, group, known, enough), [group for group, _ in drawn], processes)
        for (group, some), trials in zip(drawn, told, strict=True):
            for one, trial in zip(some, trials, strict=False):
                fired = {key[0] for key in trial.keys if key[1] == "row"} if trial else set()
                self.changer.told(one, self._learned(group, trial), fired)  # type: ignore[arg-type]  # a row's key begins with its number
            own = trials[-1] if group.whole else None
            if own is not None:
                self.take(own)
                self.blind_ms += 0 if group.variants else own.ended_ms
        self.failed = frozenset(rule for (rule, *_), (_, breach) in self.broken.items() if breach.asked)


def shake(
    pad: Pad, budget: Budget | None = None, *, seed: int = 0, jobs: int | None = None,
    told: Callable[[int, int, int], None] = lambda runs, failures, visited: None, most_faults: int | None = None, beside_proof: bool = False,
) -> Campaign:  # fmt: skip
    """Run a campaign on a pad. told(runs, rules broken so far, situations visited) after each round.

    most_faults: faults in one trial; by default one more than any rule is asked to withstand, at least one.
    beside_proof: count the rows that fired with nothing wrong beside those that the proof's search lets fire so.
    jobs: processes (default: the processors there are). The result does not depend on `jobs`.
    """
    budget, bench = budget or Budget(), Bench(pad)
    work = _Work(bench, most_faults if most_faults is not None else max(1, sum(bench.menu.most) + 1))
    begun, number, idle, processes = time.monotonic(), 0, 0, jobs_here(jobs)
    work.begin(processes)
    while not budget.over(work.runs, begun) and idle < IDLE:
        before = work.runs
        work.round(seed, number, NEVER if budget.runs is None else budget.runs - work.runs, processes)
        number, idle = number + 1, idle + 1 if work.runs == before else 0
        told(work.runs, len({rule for rule, *_ in work.broken}), len(work.corpus.known))
    spent = time.monotonic() - begun
    failures, beyond = _made_small(bench, work.broken, work.count)
    can = can_fire(pad) if beside_proof else None
    return Campaign(
        pad.title, pad.file, seed, work.runs, spent, work.simulated, failures, beyond, shares(bench.table, bench.menu, work.corpus.known, can),
        tuple(n for n, r in pad.interlocks.items() if not hasattr(r, "always_possible") and r.waive is None),
        tuple(n for n, r in pad.interlocks.items() if hasattr(r, "always_possible") or r.waive is not None), bench.menu.left_out,
        tuple(name for i, name in row_names(bench.table).items() if can is not None and i in work.frontier.rows - can),
    )  # fmt: skip


def _size(trial: Trial) -> tuple[int, ...]:
    plan = trial.plan
    return (len(plan.strikes) + len(plan.slips), len(plan.acts), len(plan.values), int(not plan.steps), trial.ended_ms)


def _made_small(
    bench: Bench, broken: dict[Way, tuple[Trial, Breach]], count: Counter[Way]
) -> tuple[tuple[Found, ...], tuple[Found, ...]]:
    """One small story for each rule and each smallest set of faults that broke it; (failures, beyond what is asked)."""
    from sequencer.trials.shrink import shrink

    found: list[Found] = []
    for (rule, faults, off), (trial, breach) in sorted(broken.items(), key=lambda item: (not item[1][1].asked, len(item[0][1]), item[0])):
        if any(one.rule == rule and one.breach.unpowered == off and set(one.faults) <= set(faults) for one in found):
            continue
        small, last = shrink(bench, trial.plan, breach)
        names = tuple(sorted(set(last.faults)))
        found = [one for one in found if not (one.rule == rule and one.breach.unpowered == last.unpowered and set(names) <= set(one.faults))]
        found.append(Found(rule, last.says, names, last.asked, 0, small, last))
    counted = [
        replace(one, seen=sum(
            n for (rule, faults, off), n in count.items() if (rule, off) == (one.rule, one.breach.unpowered) and set(one.faults) <= set(faults)
        ))
        for one in found
    ]  # fmt: skip
    return tuple(f for f in counted if f.asked), tuple(f for f in counted if not f.asked)
