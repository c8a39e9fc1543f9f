"""Whole runs: the nominal day, a drill, a fault, or a list of events to replay."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from sequencer.description.crew import Drill
from sequencer.description.pad import Pad
from sequencer.description.sequence import Interlock
from sequencer.errors import SequencerError
from sequencer.simulation.events import At, Event, InState, in_words
from sequencer.simulation.orders import drill_events
from sequencer.simulation.result import Judged, Run
from sequencer.simulation.session import Session
from sequencer.simulation.steps import slipped
from sequencer.table import Table

LONGEST_MS = 90 * 60_000
AFTER_MS = {"nominal": 2_000, "fault": 60_000, "drill": 180_000}
BLIND = (
    "One run shows what happened once, in this model: not what else may happen, nor what no sensor or part of the file describes."
)


def simulate(
    pad: Pad, events: Sequence[Event] = (), *, seed: int = 0, crew: bool = False, drill: str | None = None,
    table: Table | None = None, until_ms: int | None = None, settle_ms: int | None = None, trace: bool = True,
    make_world: Callable[..., Any] | None = None,
) -> Run:  # fmt: skip
    """Run until everybody is done and `settle_ms` have passed, or until `until_ms`.

    crew: the file's steps drive the run. drill: a named story of the file (its faults, acts, slips, starts and
    the crew's steps). Same pad, events and seed: the same run. Raises SequencerError for a name that is not there.
    """
    story, steps = None, list(pad.crew.steps) if crew or drill else None
    events = list(events)
    if drill is not None:
        story = named_drill(pad, drill)
        events += drill_events(pad, story)
        steps = (steps or [])[: story.up_to] if story.steps else []
        for slip in story.slips:
            steps = slipped(steps, slip)
    session = Session(pad, events, seed=seed, steps=steps, table=table, make_world=make_world, record=trace)
    session.struck[1] += len(story.slips) if story else 0
    kind = "drill" if story else "fault" if events else "nominal"
    after = AFTER_MS[kind] if settle_ms is None else settle_ms
    if story is not None and story.seconds is not None:
        after = round(story.seconds.si * 1000)
    end = LONGEST_MS if until_ms is None else until_ms
    latest = max((e.moment.ms for e in events if isinstance(e.moment, At)), default=0)
    while session.ms < end:
        session.tick()
        if until_ms is None and session.driver.idle and session.ms >= max(latest, session.last_act_ms) + after and not _coming(session):
            break
    return _result(session, drill or kind, story)


def _coming(session: Session) -> bool:
    """Whether an event is due later in the state in which the box stands."""
    moments = (event.moment for event in session.schedule.waiting)
    here, since = session.state_name, session.box.since_ms
    return any(isinstance(one, InState) and one.state == here and since + one.after_ms >= session.ms for one in moments)


def named_drill(pad: Pad, name: str) -> Drill:
    """The drill of this name; raises SequencerError with the nearest spelling."""
    if name in pad.drills:
        return pad.drills[name]
    import difflib

    near = difflib.get_close_matches(name, list(pad.drills), n=1)
    hint = f"; did you mean '{near[0]}'?" if near else f"; it has {', '.join(pad.drills) or 'none'}"
    raise SequencerError(f"{pad.file}: there is no drill '{name}'{hint}")


def _result(session: Session, name: str, story: Drill | None) -> Run:
    pad, box = session.pad, session.box
    found = judged(session)
    state = box.state_name
    return Run(
        title=pad.title, file=pad.file, story_name=name, seed=session.seed, scan_ms=pad.scan_ms, ended_ms=session.ms,
        state_at_end=state, people_allowed=bool(state) and pad.states[state].people == "allowed",
        lines=tuple(session.lines), log=tuple(box.log), log_ms=tuple(box.log_ms), judged=found, faults=tuple(session.faults),
        waiting=tuple(in_words(event) for event in session.schedule.waiting), first_out=box.first_out,
        crew_finished=session.driver.finished, against=tuple(_against(session, found, state, story)), blind=BLIND, pressures=pad.pressures_said,
        checksum=box.checksum, bit_names=tuple(bit.name for bit in session.table.bits),
        trace=session.recorder.trace() if session.recorder else None,
    )  # fmt: skip


def judged(session: Session) -> tuple[Judged, ...]:
    """What became of every interlock up to now, in file order; the watches are closed by it."""
    for watch in session.watches:
        watch.finish(session.ms)
    return tuple(watch.result(_asked(watch.rule, session.struck)) for watch in session.watches)


def _asked(rule: Interlock, struck: list[int]) -> bool:
    """Whether the rule is asked to withstand as many equipment faults and slips as this run had."""
    return struck[0] <= rule.withstand.equipment and struck[1] <= rule.withstand.slips


def _against(session: Session, found: Sequence[Judged], state: str, story: Drill | None) -> list[str]:
    """What speaks against the run, in words; empty for a pass."""
    against = [f"interlock {j.name} broken at {j.ms / 1000:.2f} s: {j.says}" for j in found if j.outcome == "broken" and (j.asked or story is None) and j.ms is not None]
    if session.driver.stopped and story is None and not session.faults:
        against.append(session.driver.stopped)
    if story is None and not session.faults and session.driver.steps and session.driver.finished:
        against += [f"{head} never let go, so there was no release" for head in session.heads if head not in session.released]
    against += [f"never came about: {in_words(event)}" for event in session.schedule.waiting]
    if story is not None and story.ends and state not in story.ends:
        against.append(f"it ended in {state or 'no state, the box is off'}; the drill wants {' or '.join(story.ends)}")
    if story is not None and story.expect is not None and not session.true(story.expect.expression):
        against.append(f"at the end it is not so: {story.expect.text}")
    return against
