"""The whole file as one frozen model, and the one way to load it."""

from __future__ import annotations

from functools import cached_property
from typing import Any, Literal, TypeVar

from pydantic import Field, PrivateAttr

from sequencer.description.box import AnyOutput, Input, Part, positions
from sequencer.description.crew import Card, Crew, Drill, Left
from sequencer.description.grounds import SitePart
from sequencer.description.sequence import Inhibit, Interlock, State, Trip
from sequencer.description.values import ConditionText, Count, RateOf, Sentence, Time, Word
from sequencer.errors import Finding, Place

P = TypeVar("P")


class Pad(Part):
    """One description of a pad and of its sequence.

    Raises nothing by itself: `sequencer.description.load` builds it and reports findings.
    """

    title: Sentence = Field(description="name of the pad, on every page")
    revision: Count = Field(description="a whole number that grows with every change")
    scan: Time = Field(description="period of the controller, whole milliseconds")
    pressures: Literal["gauge", "absolute"] = Field(description="what a pressure without 'abs' or 'gauge' means")
    inputs: dict[Word, Input] = Field(description="what the box can sense")
    outputs: dict[Word, AnyOutput] = Field(description="what the box can move")
    conditions: dict[Word, ConditionText] = Field(default_factory=dict, description="one bit each, said once, used everywhere")
    states: dict[Word, State] = Field(min_length=1, description="the first is where power-up lands: people out, gas out")
    trips: dict[Word, Trip] = Field(default_factory=dict, description="always looked at before `leave`, in this order")
    inhibits: dict[str, Inhibit] = Field(default_factory=dict, description="'OUTPUT stays POSITION': a second layer after the outputs")
    interlocks: dict[Word, Interlock] = Field(default_factory=dict, description="what must be true of the pad, whatever anyone does")
    site: dict[Word, SitePart] = Field(default_factory=dict, description="what is really there; physics and proofs come from here")
    crew: Crew = Field(Crew(), description="roles and steps: checklist and nominal run")
    cards: dict[Word, Card] = Field(default_factory=dict, description="emergency cards")
    drills: dict[Word, Drill] = Field(default_factory=dict, description="named stories with faults and expected ends")
    left_out: list[Left] = Field(default_factory=list, description="faults left out of the proof, each with its reason")
    waived: dict[str, Sentence] = Field(default_factory=dict, description="{house rule: written reason}; printed with the proof and on the checklist")
    shared: dict[Word, list[str]] = Field(default_factory=dict, description="common causes: {cause: ['PART: MODE', …]}")
    rates: dict[str, RateOf] = Field(default_factory=dict, description="{'PART: MODE': 'N per h'}; without it nothing is invented")

    _places: dict[tuple[str | int, ...], Place] = PrivateAttr(default_factory=dict)
    _file: str = PrivateAttr(default="")
    _text: str = PrivateAttr(default="")
    _tree: Any = PrivateAttr(default=None)
    _remarks: tuple[Finding, ...] = PrivateAttr(default=())

    @property
    def file(self) -> str:
        """The file as the user named it."""
        return self._file

    @property
    def text(self) -> str:
        """The file's whole text, as it was read."""
        return self._text

    def place(self, *path: str | int) -> Place:
        """Where `path` (e.g. "states", "armed", "leave", 0, "once") stands in the file; the nearest
        parent where the value itself was not written."""
        at = tuple(path)
        while at and at not in self._places:
            at = at[:-1]
        return self._places.get(at, Place(self._file))

    @property
    def remarks(self) -> tuple[Finding, ...]:
        """What the reader found worth a warning; errors never get this far."""
        return self._remarks

    def word_place(self, path: tuple[str | int, ...], value: str, offset: int) -> Place:
        """Where the word at `offset` of the text `value`, written at `path`, stands in the file."""
        place: Place = self._tree.within(path, value, offset) if self._tree else self.place(*path)
        return place

    @property
    def scan_ms(self) -> int:
        """Period of the controller in whole milliseconds."""
        return round(self.scan.si * 1000)

    def scans(self, seconds: float) -> int:
        """A duration in scans, rounded up to the next whole scan."""
        from math import ceil

        return ceil(round(seconds * 1e6 / (self.scan_ms * 1000), 6))

    @property
    def pressures_said(self) -> str:
        """What zero means in the pressures of a result: results are gauge, the file's own words keep its reference."""
        if self.pressures == "gauge":
            return "Pressures are gauge: zero is the air outside."
        return "Pressures in the file's own words are absolute; all others are gauge: zero is the air outside."

    @property
    def waivers(self) -> tuple[tuple[str, str], ...]:
        """(interlock or house rule, written reason) of every rule whose breach is accepted."""
        own = [(name, rule.waive) for name, rule in self.interlocks.items() if rule.waive is not None]
        return (*own, *self.waived.items())

    @property
    def first_state(self) -> str:
        """The state of power-up."""
        return next(iter(self.states))

    def parts(self, kind: type[P]) -> dict[str, P]:
        """The site's parts of one kind, in file order."""
        return {name: part for name, part in self.site.items() if isinstance(part, kind)}

    @cached_property
    def output_positions(self) -> dict[str, list[str]]:
        """{output: its position names in code order}."""
        return {name: positions(output) for name, output in self.outputs.items()}

    def commanded(self, state: str, output: str) -> str:
        """The position a state names for an output, or its rest ('stays': the idle position)."""
        named = self.states[state].outputs.get(output)
        if named is not None:
            return named
        rest = self.outputs[output].rest
        return self.output_positions[output][0] if rest == "stays" else rest
