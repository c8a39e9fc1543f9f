"""One trial as plain data: who does what when, which faults strike when, which values the pad has.

A plan says no more than a drill of the file can say, so what a campaign finds is kept as a drill.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from sequencer.description.crew import Drill
from sequencer.description.pad import Pad
from sequencer.quantities import Span, parse
from sequencer.simulation.events import (
    Action,
    At,
    Blink,
    Event,
    HandValve,
    Hold,
    InState,
    Latch,
    Mend,
    Moment,
    Pin,
    PowerOff,
    Press,
    Strike,
    Switch,
    Walk,
)

WHO = "someone"
SETTLE_MS = 30_000

Value = tuple[str, str, float]
"""(part of the site, its key, value in SI): one number within the range that the file gives it."""


@dataclass(frozen=True)
class Plan:
    """steps: whether the crew does the day's steps. slips: those done wrong ('skip 3'). seed: of everything drawn.
    settle_ms: how long the pad is watched after the last act. values: numbers other than nominal."""

    events: tuple[Event, ...] = ()
    steps: bool = False
    slips: tuple[str, ...] = ()
    seed: int = 0
    settle_ms: int = SETTLE_MS
    values: tuple[Value, ...] = ()

    @property
    def strikes(self) -> tuple[Event, ...]:
        """Events that are faults."""
        return tuple(e for e in self.events if isinstance(e.action, Strike))

    @property
    def acts(self) -> tuple[Event, ...]:
        """Events that are not faults."""
        return tuple(e for e in self.events if not isinstance(e.action, Strike))

    @property
    def ordered(self) -> tuple[Event, ...]:
        """Faults before acts, as a drill has them; at one moment the order counts."""
        return self.strikes + self.acts


def event(moment: Moment, action: Action) -> Event:
    """An act or a fault of a plan."""
    return Event(moment, action, "" if isinstance(action, Strike) else WHO)


# ---- values within their ranges ---------------------------------------------------------------


def ranges(pad: Pad) -> dict[tuple[str, str], Span]:
    """Every number of the site that the file gives with a range, by (part, key)."""
    found = {}
    for name, part in pad.site.items():
        for key in type(part).model_fields:
            span = getattr(part, key)
            if isinstance(span, Span) and span.low < span.high:
                found[name, key] = span
    return found


def with_values(pad: Pad, values: tuple[Value, ...]) -> Pad:
    """The pad with these numbers as its nominal ones. Raises ValueError for a number outside its range."""
    if not values:
        return pad
    known, site = ranges(pad), dict(pad.site)
    for name, key, value in values:
        span = known.get((name, key))
        if span is None or not span.low <= value <= span.high:
            raise ValueError(f"{name}: {key}: {value:g} is no value within a range that the file gives")
        site[name] = site[name].model_copy(update={key: replace(span, nominal=value)})
    return pad.model_copy(update={"site": site})


# ---- a plan as a drill ------------------------------------------------------------------------


def seconds(ms: int) -> str:
    """12340 -> '12.34 s'; exact to the millisecond."""
    whole, rest = divmod(ms, 1000)
    return f"{whole}{f'.{rest:03d}'.rstrip('0') if rest else ''} s"


def when(moment: Moment) -> str:
    """A moment in a drill's words. Raises ValueError for one that a drill has no words for."""
    if isinstance(moment, At):
        return f"at {seconds(moment.ms)}"
    if isinstance(moment, InState) and moment.visit == 1:
        return f"in {moment.state}" + (f" after {seconds(moment.after_ms)}" if moment.after_ms else "")
    raise ValueError(f"{moment}: a drill cannot say this")


def what(action: Action) -> str:
    """An act in a drill's words. Raises ValueError for one that a drill has no words for."""
    if isinstance(action, Press):
        return f"press {action.input} for {seconds(action.held_ms)}"
    if isinstance(action, Hold) and not action.let_go:
        return f"hold {action.input}"
    if isinstance(action, Switch):
        return f"set {action.input}: {action.word}"
    if isinstance(action, Walk):
        return f"walk {action.role} {action.direction}"
    if isinstance(action, HandValve):
        return f"set {action.name}: {'open' if action.open else 'shut'}"
    if isinstance(action, Latch):
        return f"set {action.head}: latched"
    if isinstance(action, Pin):
        return f"set {action.name}: {'in' if action.inside else 'out'}"
    if isinstance(action, Mend):
        return f"mend {action.part}"
    if isinstance(action, Blink) and action == Blink():
        return "blink power"
    if isinstance(action, PowerOff):
        return "cut power"
    raise ValueError(f"{action}: a drill cannot say this")


def drill_of(plan: Plan, says: str) -> Drill:
    """The plan as a drill. The drill holds neither seed nor values: they go to `with_values` and to the run."""
    return Drill(
        says=says, steps=plan.steps, slips=list(plan.slips),
        faults=[f"{e.action.part}: {e.action.mode} {when(e.moment)}" for e in plan.strikes if isinstance(e.action, Strike)],
        acts=[f"{what(e.action)} {when(e.moment)}" for e in plan.acts],
        seconds=parse(seconds(plan.settle_ms), "time"),
    )  # fmt: skip


def with_drill(pad: Pad, name: str, drill: Drill) -> Pad:
    """The pad with one drill more."""
    return pad.model_copy(update={"drills": {**pad.drills, name: drill}})
