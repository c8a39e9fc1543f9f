"""The proof of one pad: build, explore, judge, tell."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from dataclasses import replace

from sequencer.description.pad import Pad
from sequencer.description.sequence import Always, Interlock, Lasts, Must, Never, Reaction, Start
from sequencer.proof import possible
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.draft import Draft
from sequencer.proof.explore import BUDGET, Explored, explore
from sequencer.proof.judging import Breach
from sequencer.proof.replay import replay
from sequencer.proof.result import InterlockResult, Outcome, Proof, Replay, Story, Told
from sequencer.proof.stories import StoryStep, path
from sequencer.proof.system import Row, System

BLIND = (
    "hardware that no input senses and no part of the file describes",
    "strength of parts, ageing, wear, and everything that the file's numbers leave out",
    "what people do beyond the acts and slips named here",
    "the chip and its wiring themselves: only the table and the described parts are looked at",
)


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


def lines(draft: Draft, system: System, steps: list[StoryStep]) -> tuple[Told, ...]:
    """A story in the crew's words: what the box only reads, and scans that change nothing, are left out."""
    shown = []
    for number, step in enumerate(steps):
        row = system.rows[step.row]
        last = number == len(steps) - 1
        if row.actor == "reading" or (row.scan and row.to is None and not last) or row.tag in ("near",):
            continue
        shown.append(Told(step.actor, step.says + _because(draft, row), draft.told(step.place)))
    return tuple(shown)


def _because(draft: Draft, row: Row) -> str:
    """Why a move fired, in the file's words."""
    if row.origin is None:
        return ""
    origin = draft.table.rows[row.origin].origin
    if origin.startswith("trip "):
        return f": {draft.pad.trips[origin.removeprefix('trip ')].once.text}"
    state, _, number = origin.partition(" exit ")
    once = draft.pad.states[state].leave[int(number) - 1].once
    return f": {once.text}" if once is not None else ": its time is up"


def prove(
    pad: Pad, *, faults: int = 0, budget: int = BUDGET, replays: bool = True, progress: Callable[[str], None] | None = None
) -> Proof:
    """Prove a pad's interlocks in its finite abstraction. Raises TooLarge when it does not fit."""
    begun = time.monotonic()
    say = progress or (lambda text: None)
    draft = draft_of(pad)
    system = system_of(draft)
    say(f"{len(system.layout.index)} bits, {len(system.places)} places, {len(system.rows)} rows")
    explored = explore(system, budget=budget, progress=lambda depth, count: say(f"depth {depth}: {count:,} situations"))
    results = [_judged(draft, system, explored, name, rule, replays) for name, rule in pad.interlocks.items()]
    return Proof(
        pad.title, pad.revision, pad.file, hashlib.sha256(pad.text.encode()).hexdigest()[:16], BLIND,
        system.races, tuple(draft.assumed), tuple((one.fault, one.because) for one in pad.left_out),
        0, faults, explored.count, explored.transitions, len(explored.layers) - 1, len(system.layout.index),
        time.monotonic() - begun, tuple(results),
    )  # fmt: skip


def _judged(draft: Draft, system: System, explored: Explored, name: str, rule: Interlock, replays: bool) -> InterlockResult:
    kind, text = told(rule)
    asked = (rule.withstand.equipment, rule.withstand.slips)
    base = InterlockResult(name, kind, text, rule.severity, "holds", "", asked, why=rule.why, waived=rule.waive)
    if isinstance(rule, Never | Start):
        number = next(i for i, check in enumerate(system.rules) if check.name == name)
        breaches = [b for b in explored.breaches if b.rule == number]
        if not breaches:
            return replace(base, level="holds in this model without faults, in every order", withstands=(0, 0))
        story = story_of(draft, system, explored, breaches, name, replays)
        outcome: Outcome = "waived" if rule.waive else "broken"
        return replace(base, outcome=outcome, level="broken without any fault", story=story)
    if isinstance(rule, Always):
        return _possible(draft, system, explored, base, rule)
    return replace(base, outcome="not examined", level="not examined by this version")


def story_of(draft: Draft, system: System, explored: Explored, breaches: list[Breach], rule: str, replays: bool) -> Story:
    """The shortest story, or the first of a few that the simulator confirms."""
    best: Story | None = None
    for breach in breaches[:3]:
        steps = path(system, explored, breach)
        answer: Replay | None = replay(draft, system, steps, rule) if replays else None
        story = Story((), lines(draft, system, steps), answer)
        if best is None or (answer is not None and answer.confirmed):
            best = story
        if answer is None or answer.confirmed:
            break
    assert best is not None
    return best


def _possible(draft: Draft, system: System, explored: Explored, base: InterlockResult, rule: Always) -> InterlockResult:
    rows = possible.sure_rows(draft)
    if rule.always_possible == "gas can leave":
        mask = 0
        for volume, edges in draft.bands.edges.items():
            mask |= draft.layout.mask(draft.bands.name(volume, edge) for edge in edges)
        goal = possible.without(mask)
    else:
        goal = possible.in_state(system, list(draft.pad.states).index(rule.always_possible))
    stuck = possible.cannot(system, rows, explored.all, goal)
    if not len(stuck):
        return replace(base, level="possible from every situation of this model without faults", withstands=(0, 0))
    layer = next(i for i, words in enumerate(explored.layers) if set(map(int, words)) & {int(stuck[0])})
    steps = path(system, explored, Breach(-1, layer, int(stuck[0]), None, int(stuck[0])))
    return replace(
        base, outcome="waived" if rule.waive else "broken", level=f"no way back from {len(stuck):,} situations",
        story=Story((), lines(draft, system, steps)),
    )  # fmt: skip
