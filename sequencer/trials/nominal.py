"""Where a campaign begins: the day of the file as written, and as acts of anyone, at times of day or in states."""

from __future__ import annotations

from sequencer.description.pad import Pad
from sequencer.simulation.events import Action, At, Hold, InState, Press
from sequencer.simulation.orders import drill_events
from sequencer.simulation.session import Session
from sequencer.trials.plan import Plan, drill_of, event


def recorded(pad: Pad) -> Plan | None:
    """The nominal day as acts at times; None for a file without steps."""
    if not pad.crew.steps:
        return None
    done: list[tuple[int, Action]] = []

    class Recorder(Session):
        def act(self, who: str, action: Action) -> None:
            done.append((self.ms, action))
            super().act(who, action)

    day = Recorder(pad, steps=list(pad.crew.steps), record=False)
    while not day.driver.idle and day.ms < 3_600_000:
        day.tick()
    events = []
    for ms, action in done:
        if isinstance(action, Hold):
            if not action.let_go:
                later = (m for m, a in done if m > ms and isinstance(a, Hold) and a.input == action.input and a.let_go)
                events.append(event(At(ms), Press(action.input, next(later, ms + 300) - ms)))
            continue
        events.append(event(At(ms), action))
    return Plan(tuple(events))


def in_states(day: Plan, moves: tuple[tuple[int, str], ...]) -> Plan:
    """The same acts told by the state in which they are done, where that is its first visit: what delays the box then
    delays the acts as well."""
    told = []
    for one in day.events:
        assert isinstance(one.moment, At)
        before = [(ms, state) for ms, state in moves if ms <= one.moment.ms]
        last = before[-1] if before else None
        if last is None or [state for _, state in before].count(last[1]) > 1:
            told.append(one)
        else:
            told.append(event(InState(last[1], one.moment.ms - last[0]), one.action))
    return Plan(tuple(told), settle_ms=day.settle_ms)


def of_drills(pad: Pad) -> list[Plan]:
    """The file's own drills, each as far as a plan can say it: played with all of the day's steps."""
    found = []
    for drill in pad.drills.values():
        plan = Plan(tuple(event(e.moment, e.action) for e in drill_events(pad, drill)), drill.steps, tuple(drill.slips))
        try:
            drill_of(plan, drill.says)
        except ValueError:  # something that only a drill can say
            continue
        if plan.events or plan.slips:
            found.append(plan)
    return found


def seeds_of(pad: Pad) -> list[Plan]:
    """Nobody does anything, the day as written, and the day as acts of anyone at their times."""
    day = recorded(pad)
    return [Plan()] if day is None else [Plan(), Plan(steps=True), day]
