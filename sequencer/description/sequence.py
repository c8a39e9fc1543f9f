"""The sequence: states, trips, inhibits, and the interlocks that must hold whatever anyone does."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Tag

from sequencer.description.box import Part, by_key
from sequencer.description.values import (
    AnyQuantity,
    Count,
    FactText,
    OnceText,
    PositionText,
    Sentence,
    Time,
    Word,
)

People = Literal["keep out", "allowed"]


class Leave(Part):
    """One way out of a state. Written order decides."""

    go_to: Word = Field(description="the next state")
    once: OnceText | None = Field(None, description="condition names joined by and, or, not")
    not_before: Time | None = Field(None, description="least time in this state")
    at_latest: Time | None = Field(None, description="move after this long whatever the conditions say")
    says: Sentence | None = Field(None, description="why, in a builder's words")


class State(Part):
    """One state of the sequence."""

    says: Sentence = Field(description="what it means, one sentence; stands on lamp card, stories and checklist")
    people: People = Field("keep out", description="'allowed' where people may be on the pad, else 'keep out'")
    outputs: dict[Word, PositionText] = Field(default_factory=dict, description="{output: position}; the others are at rest")
    targets: dict[Word, AnyQuantity] = Field(default_factory=dict, description="{reading: value} for 'reaches target'")
    leave: list[Leave] = Field(default_factory=list, description="ways out, the first that holds wins")
    stays: Sentence | None = Field(None, description="reason why this state has no way out or waits for ever")


class Trip(Part):
    """Forces the safe side from everywhere but the states named."""

    everywhere_but: list[Word] = Field(default_factory=list, description="states in which this trip is not looked at")
    once: OnceText = Field(description="condition names joined by and, or, not")
    go_to: Word = Field(description="the state it forces")
    not_before: Time | None = Field(None, description="least time in a state before it may trip there")
    says: Sentence | None = Field(None, description="why, in a builder's words")
    because: dict[Word, Sentence] = Field(default_factory=dict, description="{state that keeps gas in: why this trip need not be looked at there}")


class Inhibit(Part):
    """A second layer after the state's outputs; its key reads 'OUTPUT stays POSITION'."""

    once: OnceText = Field(description="condition names joined by and, or, not")
    says: Sentence | None = Field(None, description="why, in a builder's words")


class Withstand(Part):
    """How many equipment faults and how many human slips a rule must withstand."""

    equipment: Count = Field(0, description="equipment faults at once")
    slips: Count = Field(0, description="human slips at once")


class Rule(Part):
    """What every interlock has."""

    why: Sentence = Field(description="the reason, one sentence")
    severity: Literal["catastrophic", "critical", "marginal", "negligible"] = Field(
        "catastrophic", description="MIL-STD-882E word for the worst outcome"
    )
    withstand: Withstand = Field(Withstand(), description="{equipment: n, slips: m} at once (default none)")
    waive: Sentence | None = Field(None, description="a written reason why a breach is accepted; printed with proof and run, and on the checklist")


class Never(Rule):
    """This must never be true of the pad (beyond the reaction time, or `longer_than`)."""

    never: FactText = Field(description="a statement about the pad")
    longer_than: Time | None = Field(None, description="allowance; without it the computed reaction time, shown")


class Start(Rule):
    """An output may start moving to a position, or a state be entered (from anywhere, or from one state), only while this is true."""

    start: str = Field(description="'OUTPUT to POSITION', 'state to NAME' or 'STATE to NAME'")
    needs: FactText = Field(description="a statement about the pad, judged at the moment of starting")


class Reaction(Rule):
    """Cause -> effect within a time."""

    cause: FactText = Field(description="what happens")
    effect: FactText = Field(description="what must follow")
    within: Time = Field(description="at the latest after this long")


class Must(Rule):
    """Something that has to happen physically after a cause."""

    cause: FactText = Field(description="what happens, e.g. 'release pulled'")
    must: FactText = Field(description="what has to follow, e.g. 'hold_down lets go'")
    within: Time = Field(description="at the latest after this long")


class Lasts(Rule):
    """Something lasts at least or at most so long."""

    lasts: FactText = Field(description="what lasts")
    at_least: Time | None = Field(None, description="never shorter than this")
    at_most: Time | None = Field(None, description="never longer than this")


class Always(Rule):
    """From everywhere this state can still be reached (or 'gas can leave')."""

    always_possible: str = Field(description="a state, or 'gas can leave'")


Interlock = Annotated[
    Annotated[Never, Tag("never")]
    | Annotated[Start, Tag("start")]
    | Annotated[Must, Tag("must")]
    | Annotated[Reaction, Tag("effect")]
    | Annotated[Lasts, Tag("lasts")]
    | Annotated[Always, Tag("always_possible")],
    by_key("never", "start", "must", "effect", "lasts", "always_possible"),
]
