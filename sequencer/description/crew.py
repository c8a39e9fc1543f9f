"""The crew: roles, the steps of the day (checklist AND nominal run), cards, drills."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from sequencer.description.box import Part
from sequencer.description.values import Count, FactText, Phrase, Sentence, Time, Word, YesNo


class Role(Part):
    """One role of the crew."""

    does: Sentence = Field(description="duty, one sentence")
    holds: Sentence | None = Field(None, description="what this person keeps on them (key, pin flag)")
    never: Sentence | None = Field(None, description="what this person may never do")
    starts: Literal["line", "pad"] = Field("line", description="where this person is when the day's steps begin")


class Step(Part):
    """One line of the checklist, and one move of the nominal run.

    A step may set switches and hand valves, press a button, walk, read a dial, or wait.
    """

    who: Word = Field(description="the role")
    do: Sentence = Field(description="the action as it is read aloud")
    see: Sentence | None = Field(None, description="what shows that it worked")
    limit: Phrase | None = Field(None, description="limit values that must be met, with units")
    during: Word | None = Field(None, description="the state in which this is done")
    set: dict[Word, Phrase] = Field(default_factory=dict, description="{input, hand valve, pin or head: word}")
    press: Word | None = Field(None, description="a contact input pressed and let go")
    held: Time | None = Field(None, description="how long it is pressed (default 300 ms)")
    walk: Literal["in", "out"] | None = Field(None, description="this role walks onto the pad or off it")
    read: Word | None = Field(None, description="a dial read now")
    shows: FactText | None = Field(None, description="what the dial must show, e.g. 'bottle below 0.1 bar'")
    wait: Time | None = Field(None, description="wait this long before the step")
    wait_for: Word | None = Field(None, description="wait until the box is in this state")
    at_most: Time | None = Field(None, description="the longest the wait may last (default 10 min)")
    takes: Time | None = Field(None, description="the longest the crew may take over this line; the state it is done in has to last that long")
    poll: list[Word] = Field(default_factory=list, description="roles that must each answer go")
    phase: Sentence | None = Field(None, description="heading of the phase that starts with this step")
    because: Sentence | None = Field(None, description="why this step is there")


class Card(Part):
    """An emergency card: what to do when something happens."""

    when: Sentence = Field(description="what is seen or heard")
    states: list[Word] = Field(default_factory=list, description="states this card belongs to")
    steps: list[Sentence] = Field(min_length=1, description="what is done, in order")
    wait: Time | None = Field(None, description="least wait before anyone approaches")


class Drill(Part):
    """A named story with faults and slips and its expected end."""

    says: Sentence = Field(description="the story in one sentence")
    steps: YesNo = Field(True, description="no: nobody does the day's steps; only the acts below happen")
    up_to: Count | None = Field(None, description="only the day's lines up to this number are done (default all)")
    faults: list[str] = Field(default_factory=list, description="'PART: MODE at TIME' or 'PART: MODE in STATE'")
    slips: list[str] = Field(default_factory=list, description="'skip N', 'double N', 'early N', 'late N', 'swap N' on numbered steps")
    acts: list[str] = Field(default_factory=list, description="extra crew acts: 'press stop in holding', 'set key: not turned at 90 s'")
    starts: dict[Word, Phrase] = Field(default_factory=dict, description="a different start: {volume: pressure, input: word}")
    ends: list[Word] = Field(default_factory=list, description="the states in which it may end")
    expect: FactText | None = Field(None, description="what must be true of the pad at the end")
    seconds: Time | None = Field(None, description="how long the story is followed after the last act (default 180 s)")


class Crew(Part):
    """Roles, and the steps in order."""

    roles: dict[Word, Role] = Field(default_factory=dict, description="{role: what it does}")
    steps: list[Step] = Field(default_factory=list, description="the day's steps in order")


class Left(Part):
    """A kind of fault left out of the proof, with its written reason."""

    fault: str = Field(description="'PART: MODE'")
    because: Sentence = Field(description="the reason; printed wherever the result is")
