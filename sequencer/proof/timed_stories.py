"""Stories of timed rules: the shortest way to where the rule is put to the test, the fault, the cause, and what fails
to follow; replayed in the exact simulator.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.sequence import Lasts, Must, Reaction
from sequencer.proof import certain, lasting, reacting
from sequencer.proof.judging import Breach
from sequencer.proof.reacting import Cut, Found
from sequencer.proof.replay import events_of
from sequencer.proof.result import Replay, Story, Told
from sequencer.proof.stories import StoryStep, path, told_lines
from sequencer.simulation.events import Action, Event, InState, Moment, Once, Strike, Switch, Then

if TYPE_CHECKING:
    from sequencer.proof.prove import Work

SETTLES = 60
"""Milliseconds in a state before it is put to the test."""
TRIES = 4
"""States that are tried for a story that the simulator confirms."""


def ways_to(work: Work, places: set[int], mask: int = 0, want: int = 0) -> list[StoryStep] | None:
    """The shortest way to a situation at one of these places with these bits; None where there is none."""
    layout = work.system.layout
    inside = np.array(sorted(places), np.uint64)
    for depth, layer in enumerate(work.explored.layers):
        hit = layer[np.isin(layer >> np.uint64(layout.shift), inside) & ((layer & np.uint64(mask)) == np.uint64(want))]
        if len(hit):
            word = int(hit[0])
            return path(work.system, work.explored, Breach(-1, depth, word, None, word), work.engine)
    return None


def soonest(work: Work, inside: set[int]) -> list[StoryStep] | None:
    """The shortest way to a row that leaves these states right after they were entered, that row included."""
    layout, draft = work.system.layout, work.draft
    first = {draft.place(s) for s in inside}
    mine = {p for s in inside for p in draft.regions(s)}
    rows = [(n, r) for n, r in enumerate(work.system.rows) if r.scan and r.to is not None and r.at[0] in first and r.to not in mine]
    free = np.uint64(~work.system.free & (1 << 64) - 1)
    for depth, layer in enumerate(work.explored.layers):
        for number, row in rows:
            care, want = np.uint64(row.guard.care) & free, np.uint64(row.guard.want) & free
            hit = layer[(layer >> np.uint64(layout.shift) == np.uint64(row.at[0])) & ((layer & care) == want)]
            if len(hit):
                word = int(hit[0])
                return path(work.system, work.explored, Breach(-1, depth + 1, word, number, row.image(layout, word)), work.engine)
    return None


def _faults_told(cut: Cut, state: str) -> list[Told]:
    return [Told("part", f"FAULT: {fault.says}", state) for fault in cut]


def _played(work: Work, name: str, steps: list[StoryStep], more: Sequence[Event], longest_ms: int, hurries: bool = False) -> Replay | None:
    """The story in the exact simulator, with these events after it; `hurries`: also with its last hand ahead of time."""
    if not work.options.replays:
        return None
    from sequencer.simulation import simulate

    told = events_of(work.draft, work.system, steps, {})
    readings = [told, *(_hurried(work, told) if hurries else [])]
    says = ""
    for tried, reading in enumerate(readings, 1):
        events = [Event(e.moment, e.action, e.who, i > 0, e.note) for i, e in enumerate([*reading, *more])]
        patience = sum((_wait(e.moment) for e in events), 60_000)
        run = simulate(
            work.pad, events, seed=0, table=work.draft.table, until_ms=min(patience, 20 * 60_000), settle_ms=longest_ms + 1_000, trace=False
        )  # fmt: skip
        for judged in run.judged:
            if judged.name == name and judged.outcome == "broken":
                return Replay(True, tried, f"confirmed in the exact simulator: {judged.says}")
        if run.waiting:
            says = says or f"the simulator never comes to '{run.waiting[0][:120]}'"
    says = says or "the same acts end without the breach in the exact simulator"
    return Replay(False, len(readings), f"not reproduced in {len(readings)} reading{'s' if len(readings) > 1 else ''}: {says}")


def _hurried(work: Work, events: list[Event]) -> list[list[Event]]:
    """The same with the last hand moving so early that the box, whose filter delays it, sees it just after the press
    before it: what nobody does on purpose and two people do one day."""
    hands = [i for i, e in enumerate(events) if isinstance(e.action, Switch)]
    if len(hands) < 2:
        return []
    press, last = events[hands[-2]], events[hands[-1]]
    delays = []
    for event in (press, last):
        assert isinstance(event.action, Switch)
        part = work.pad.inputs[event.action.input]
        if not isinstance(part, ContactInput):
            return []
        delays.append(round(part.steady_for.si * 1000))
    made = []
    for late in (1, 3, 5):
        after = delays[0] - delays[1] + late * work.pad.scan_ms
        pair = [press, replace(last, moment=Then(after))]
        if after < 0:
            pair = [replace(last, moment=press.moment), replace(press, moment=Then(-after))]
        made.append([*events[: hands[-2]], *pair])
    return made


def _wait(moment: Moment) -> int:
    if isinstance(moment, InState):
        return moment.after_ms + 90_000
    return 90_000 if isinstance(moment, Once) else 1_000


def _best(tries: list[Callable[[], Story | None]]) -> Story | None:
    """The first story that the simulator confirms, else the first."""
    best: Story | None = None
    for made in tries[:TRIES]:
        story = made()
        if story is None:
            continue
        if story.replay is None or story.replay.confirmed:
            return story
        best = best or story
    return best


# ---- cause and effect -------------------------------------------------------------------------


def of_reaction(work: Work, rule: Reaction, name: str, cut: Cut, found: Found) -> Story | None:
    """Where the effect is not yet commanded (or, without faults, where nothing brings it about), the cause comes."""
    draft = work.draft
    made = reacting.effects(draft, rule.effect.expression)
    way = dict(next(iter(t.alternatives(rule.cause.expression, True))))
    if made is None:
        return None
    wanted = made[0]
    states = list(found.missing) or [s for s in range(len(draft.table.states)) if not certain.commands(draft, s, {}, wanted)]
    hands = []
    for fact, true in way.items():
        if not isinstance(fact, t.SwitchIs) or not isinstance(part := draft.pad.inputs.get(fact.input), ContactInput):
            continue
        word = part.contact.word if fact.wanted == true else f"not {part.contact.word}"
        hands.append((f"{fact.input} is {word}", Switch(fact.input, word)))

    def one(state: int) -> Story | None:
        steps = ways_to(work, set(draft.regions(state)))
        if steps is None:
            return None
        here = draft.table.states[state].name
        lines = [*told_lines(draft, work.system, steps), *_faults_told(cut, here)]
        lines += [Told("crew", says, here) for says, _ in hands]
        lines.append(Told("box", f"after {rule.within.text} still not: {rule.effect.text}", here))
        first: Moment = InState(here, SETTLES)
        more: list[Event] = []
        actions: list[Action] = [*(Strike(f.part, f.mode) for f in cut), *(act for _, act in hands)]
        for action in actions:
            more.append(Event(Then(20) if more else first, action))
        answer = _played(work, name, steps, more, round(rule.within.si * 1000)) if hands else None
        return Story(tuple(f.name for f in cut), tuple(lines), answer)

    def length(state: int) -> int:
        steps = ways_to(work, set(draft.regions(state)))
        return 1 << 30 if steps is None else len(steps)

    return _best([lambda s=s: one(s) for s in sorted(states, key=length)])  # type: ignore[misc]  # the default binds the loop's value


# ---- must -------------------------------------------------------------------------------------


def of_must(work: Work, rule: Must, name: str, cut: Cut) -> Story | None:
    """The command is given; with the faults the head stays."""
    draft, cause = work.draft, rule.cause.expression
    if not isinstance(cause, t.CommandedTo) or cause.output not in draft.pad.outputs:
        return None
    output = list(draft.pad.outputs).index(cause.output)
    code = draft.pad.output_positions[cause.output].index(cause.position)
    states = [s for s, spec in enumerate(draft.table.states) if spec.outputs[output] == code]
    held = rule.must.expression.items[0] if isinstance(rule.must.expression, t.Or) else rule.must.expression
    bit = draft.layout.mask([f"{held.head} latched"]) if isinstance(held, t.HeadIs) else 0

    def one(state: int) -> Story | None:
        steps = ways_to(work, set(draft.regions(state)), bit, bit)
        if steps is None:
            return None
        here = draft.table.states[state].name
        lines = [*told_lines(draft, work.system, steps), *_faults_told(cut, here)]
        lines.append(Told("part", f"after {rule.within.text} still not: {rule.must.text}", here))
        more = [Event(InState(here, 0), Strike(f.part, f.mode)) for f in cut]
        return Story(tuple(f.name for f in cut), tuple(lines), _played(work, name, steps, more, round(rule.within.si * 1000)))

    return _best([lambda s=s: one(s) for s in states])  # type: ignore[misc]  # the default binds the loop's value


# ---- lasts ------------------------------------------------------------------------------------


def of_lasts(work: Work, rule: Lasts, name: str, cut: Cut, found: lasting.Lasting) -> Story | None:
    """The state that stands longest (or is left soonest)."""
    draft = work.draft
    ends = [(lasting.stay(draft, s), s) for s in sorted(found.inside)]
    order = [s for _, s in sorted(ends, key=lambda e: -(e[0] if e[0] is not None else 1e9))]
    limit = rule.at_most or rule.at_least
    assert limit is not None

    def one(state: int) -> Story | None:
        regions = draft.regions(state)
        if rule.at_least is not None and not cut:
            steps = soonest(work, found.inside)
        else:
            steps = ways_to(work, {regions[-1] if found.long and not cut else regions[0]})
        if steps is None:
            return None
        here = draft.table.states[state].name
        lines = [*told_lines(draft, work.system, steps), *_faults_told(cut, here)]
        lines.append(Told("box", f"{rule.lasts.text} {'longer' if rule.at_most is not None else 'shorter'} than {limit.text}", here))
        more = [Event(InState(here, 0), Strike(f.part, f.mode)) for f in cut]
        return Story(tuple(f.name for f in cut), tuple(lines), _played(work, name, steps, more, round((found.longest or limit.si) * 1000), rule.at_least is not None and not cut))

    return _best([lambda s=s: one(s) for s in order])  # type: ignore[misc]  # the default binds the loop's value
