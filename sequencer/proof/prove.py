"""The proof of one pad: build, explore, judge, set faults against it, tell."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from sequencer.description.faults import Fault
from sequencer.description.pad import Pad
from sequencer.description.sequence import Always, Interlock, Lasts, Must, Never, Reaction, Start
from sequencer.proof import house, kernel, levels, possible, timed, warming, why
from sequencer.proof.aside import Aside
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.campaign import Campaign
from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine
from sequencer.proof.explore import BUDGET, Explored, explore, forward
from sequencer.proof.judging import Breach
from sequencer.proof.pairs import PLENTY
from sequencer.proof.plainly import plain_story
from sequencer.proof.replay import replay
from sequencer.proof.result import CutSet, InterlockResult, Proof, Replay, Story, Why
from sequencer.proof.stories import path, told_lines
from sequencer.proof.system import System

BLIND = (
    "hardware that no input senses and no part of the file describes",
    "strength of parts, ageing, wear, and everything that the file's numbers leave out",
    "what people do beyond the acts and slips named here",
    "what the box commands or shows without power or while it starts: a rule about that is judged while the box runs",
    "the chip and its wiring themselves: only the table and the described parts are looked at",
)


@dataclass(frozen=True)
class Options:
    """How far to look. faults: at once. budget: most situations without faults, of one set beyond them `set_budget`.
    seconds: most for several faults at once. stories: most cut sets per rule that get a story, beyond: also of those that
    the rule is not asked to withstand; replays: play them in the simulator."""

    faults: int = 0
    budget: int = BUDGET
    set_budget: int = 5_000_000
    seconds: float = 60.0
    stories: int = 1
    beyond: bool = False
    replays: bool = True
    why: bool = False


@dataclass
class Work:
    """A proof in progress."""

    pad: Pad
    options: Options
    say: Callable[[str], None]
    draft: Draft = field(init=False)
    system: System = field(init=False)
    engine: Engine = field(init=False)
    explored: Explored = field(init=False)
    campaign: Campaign | None = None
    reasons: Aside[tuple[Why, ...]] | None = None
    others: Aside[dict[str, InterlockResult]] | None = None
    """Rules that are not settled by what is reached: judged while faults are set against those that are."""

    def explore(self, judging: bool = False) -> None:
        """Build the system, explore it, set faults against it. judging: rules of other kinds are judged besides."""
        self.say("inner loops of the proof (compiled when they are first used)")
        kernel.library()
        self.draft = draft_of(self.pad)
        self.system = system_of(self.draft)
        self.say(f"{len(self.system.layout.index)} bits, {len(self.system.places)} places, {len(self.system.rows)} rows")
        self.engine = forward(self.system)
        self.explored = explore(
            self.system, budget=self.options.budget,
            progress=lambda depth, count: self.say(f"depth {depth}: {count:,} situations"),
        )  # fmt: skip
        together = self.options.faults > 0 and self.explored.count > PLENTY
        if self.options.why:
            self.reasons = Aside(lambda: why.reasons(self, self.options.stories), together)
        if self.options.faults:
            self.campaign = Campaign(
                self.draft, self.system, self.explored, self.engine, self.options.set_budget, self.options.seconds
            )
        if judging:
            rules = {name: rule for name, rule in self.pad.interlocks.items() if not isinstance(rule, Never | Start)}
            self.others = Aside(lambda: {name: judged(self, name, rule) for name, rule in rules.items()}, together)
        if self.campaign:
            broken = {b.rule for b in self.explored.breaches}
            self.campaign.run(self.options.faults, set(range(len(self.system.rules))) - broken, self.say)


def prove(pad: Pad, options: Options | None = None, progress: Callable[[str], None] | None = None) -> Proof:
    """Prove a pad's interlocks in its finite abstraction. Raises TooLarge when it does not fit."""
    return worked(Work(pad, options or Options(), progress or (lambda text: None)))


def worked(work: Work) -> Proof:
    """The whole proof of a `Work`, which keeps system and reached set for those who want to look at them."""
    begun, pad = time.monotonic(), work.pad
    work.explore(judging=True)
    reached = {name: judged(work, name, rule) for name, rule in pad.interlocks.items() if isinstance(rule, Never | Start)}
    every = reached | (work.others.get() if work.others else {})
    results = tuple(every[name] for name in pad.interlocks)
    campaign, system = work.campaign, work.system
    unfinished = tuple(tuple(f.name for f in some) for some in campaign.unfinished) if campaign else ()
    return Proof(
        pad.title, pad.revision, pad.file, hashlib.sha256(pad.text.encode()).hexdigest()[:16], (*BLIND, *warming.told(work.draft)),
        tuple(work.draft.races), tuple(work.draft.assumed), tuple((one.fault, one.because) for one in pad.left_out),
        sum(len(k.faults) for k in campaign.kinds) if campaign else 0, work.options.faults, work.explored.count,
        work.explored.transitions, len(work.explored.layers) - 1, len(system.layout.index), campaign.sets if campaign else 0,
        campaign.situations if campaign else 0, unfinished, time.monotonic() - begun, results, house.judged(work.draft), _reasons(work),
    )  # fmt: skip


def _reasons(work: Work) -> tuple[Why, ...]:
    return work.reasons.get() if work.reasons else ()


def told(rule: Interlock) -> tuple[str, str]:
    """(kind, text) of a rule."""
    if isinstance(rule, Never):
        return "never", rule.never.text
    if isinstance(rule, Start):
        return "start", f"{rule.start} needs {rule.needs.text}"
    if isinstance(rule, Reaction):
        return "cause and effect", f"{rule.cause.text} -> {rule.effect.text} within {rule.within.text}"
    if isinstance(rule, Must):
        return "must", f"{rule.cause.text} -> {rule.must.text} within {rule.within.text}"
    if isinstance(rule, Lasts):
        ends = [f"at {w} {q.text}" for w, q in (("least", rule.at_least), ("most", rule.at_most)) if q is not None]
        return "lasts", f"{rule.lasts.text} {' and '.join(ends)}"
    assert isinstance(rule, Always)
    return "always possible", rule.always_possible


def judged(work: Work, name: str, rule: Interlock) -> InterlockResult:
    """The verdict of one interlock of an explored pad."""
    kind, text = told(rule)
    asked = (rule.withstand.equipment, rule.withstand.slips)
    base = InterlockResult(name, kind, text, rule.severity, "holds", "", asked, why=rule.why, waived=rule.waive)
    if isinstance(rule, Never | Start):
        result = _reached(work, base, name)
    elif isinstance(rule, Always):
        result = possible.judged(work, base, rule)
    else:
        result = timed.judged(work, base, rule)
    return replace(result, outcome="waived") if rule.waive and result.outcome == "broken" else result


def _reached(work: Work, base: InterlockResult, name: str) -> InterlockResult:
    number = next(i for i, check in enumerate(work.system.rules) if check.name == name)
    breaches = [b for b in work.explored.breaches if b.rule == number]
    if breaches:
        return replace(base, outcome="broken", level="broken without any fault", story=_story(work, breaches, name))
    if work.campaign is None:
        return replace(base, level="holds in this model without faults, in every order", withstands=(0, 0))
    cuts = levels.minimal(work.campaign.cuts[number])
    result = levels.against(base, cuts, work.campaign, work.options.faults, work.campaign.open[number])
    shown = levels.worth_telling(cuts, base.asked, work.options)
    told_cuts = tuple(cut_told(work, cut, number, name, cut in shown) for cut in cuts)
    return levels.with_common(replace(result, cuts=told_cuts, top=levels.top_of(work.pad, cuts)), work.pad, cuts)


def cut_told(work: Work, cut: tuple[Fault, ...], number: int, name: str, story: bool) -> CutSet:
    """A cut set of a rule (by number and name), with its story where one is asked for."""
    made = CutSet(tuple(f.name for f in cut), sum(f.kind == "equipment" for f in cut), sum(f.kind == "slip" for f in cut))
    if not story or work.campaign is None:
        return made
    work.say(f"story: {' and '.join(made.faults)} against {name}")
    found = work.campaign.shortest(cut, number)
    if found is None:
        return made
    layers, breach, engine = found
    system = work.campaign.whole_system()
    steps = path(system, Explored(layers, []), breach, engine)
    strikes: dict[int, tuple[Fault, ...]] = {}
    for fault in cut:
        own = work.campaign.own_rows(fault)
        at = next((i for i, step in enumerate(steps) if step.row in own), None)
        if at is None:
            at = next((i for i, step in enumerate(steps) if step.row >= len(work.system.rows)), len(steps) - 1)
        strikes[at] = (*strikes.get(at, ()), fault)
    answer = replay(work.draft, system, steps, name, strikes) if work.options.replays else None
    return replace(made, story=Story(made.faults, told_lines(work.draft, system, steps, strikes), answer))


def _story(work: Work, breaches: list[Breach], rule: str) -> Story:
    """The shortest story, or the first of a few that the simulator confirms, the last of them along the crew's own day."""
    best: Story | None = None
    # the plainest first: where the box runs, then where power has gone; short before long
    kinds = {b: work.draft.places[work.system.layout.place_of(b.word)].kind for b in breaches}
    for breach in sorted(breaches, key=lambda b: (kinds[b] != "run", b.depth))[:4]:
        steps = path(work.system, work.explored, breach, work.engine)
        answer: Replay | None = replay(work.draft, work.system, steps, rule) if work.options.replays else None
        story = Story((), told_lines(work.draft, work.system, steps), answer)
        if best is None or (answer is not None and answer.confirmed):
            best = story
        if answer is None or answer.confirmed:
            break
    assert best is not None
    if best.replay is None or best.replay.confirmed:
        return best
    # a simulator whose gas obeys its lines cannot follow every shortest story: one along the crew's own day, then
    plain = plain_story(work.draft, work.system, rule)
    if plain is not None:
        answer = replay(work.draft, work.system, plain, rule)
        if answer.confirmed:
            return Story((), told_lines(work.draft, work.system, plain), answer)
    return best
