"""Which pressures matter: the edges of each volume's bands, and what a comparison may say in each band.

Edges are the thresholds that interlocks and the crew's dials name, and for each threshold that a condition reads
the pair threshold -/+ accuracy, between which the bit is free (semantics.md, section 6). A volume's truth is in
thermometer code: one bit "VOLUME at least EDGE" per edge.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput
from sequencer.description.grounds import DialPart, HeadPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.description.sequence import Always, Lasts, Must, Never, Reaction, Start
from sequencer.description.thresholds import point
from sequencer.proof.durations import Durations, error_of
from sequencer.site.assumed import given_or_assumed
from sequencer.table import Kind, Table
from sequencer.table.compile import calibration
from sequencer.table.table import NO_TARGET, Bit

if TYPE_CHECKING:
    from sequencer.proof.draft import Draft

SAME = 100.0
"""Edges closer than this (Pa) are one edge."""


@dataclass(frozen=True)
class Comparison:
    """What a comparison may say: true only from `low` up (below: only under `high`), false only under `high`.

    For 'at least': true is possible when p >= low, false when p < high. For 'below': true is possible when
    p < high, false when p >= low. Between them the bit is free.
    """

    volume: str
    low: float
    high: float
    rising: bool


@dataclass
class Bands:
    """Edges per volume (gauge Pa, rising) with the names of their bits."""

    edges: dict[str, list[float]] = field(default_factory=dict)

    def name(self, volume: str, edge: float) -> str:
        return f"{volume} at least {edge / 1e5:.3f}".rstrip("0").rstrip(".") + " bar"

    def at(self, volume: str, value: float) -> float | None:
        """The edge that stands for this pressure; None where the pressure cannot be reached."""
        for edge in self.edges[volume]:
            if abs(edge - value) < SAME:
                return edge
        return None

    def down(self, volume: str, value: float) -> float | None:
        """The highest edge at or below a pressure; None where there is none."""
        return max((e for e in self.edges[volume] if e <= value + SAME), default=None)

    def up(self, volume: str, value: float) -> float | None:
        """The lowest edge at or above a pressure; None where there is none."""
        return min((e for e in self.edges[volume] if e >= value - SAME), default=None)


def volume_of(pad: Pad, reading: str) -> str | None:
    """The volume an analog input reads, or None where it reads something else."""
    part = pad.inputs[reading]
    return part.reads if isinstance(part, AnalogInput) and isinstance(pad.site.get(part.reads), VolumePart) else None


def comparison(pad: Pad, table: Table, bit: Bit, state: int | None = None, durations: Durations | None = None) -> Comparison | None:
    """The comparison a bit makes (in this state, for a target); None where it compares no pressure."""
    reading = table.analogs[bit.source].name
    volume = volume_of(pad, reading)
    if volume is None:
        return None
    slope, zero = calibration(pad, reading)
    error = error_of(pad, reading, slope)
    if bit.kind == Kind.TARGET:
        assert state is not None
        top = table.states[state].targets[bit.source]
        if top == NO_TARGET:
            return None
        counts, rising = (top - bit.off, top), True
    elif bit.kind == Kind.AT_LEAST:
        counts, rising = (min(bit.on, bit.off), max(bit.on, bit.off)), True
    elif bit.kind == Kind.BELOW:
        counts, rising = (min(bit.on, bit.off), max(bit.on, bit.off)), False
    else:
        return None
    first, second = sorted(slope * c + zero for c in counts)
    if durations is not None:
        first -= durations.lags(reading, volume, first, falling=True)
        second += durations.lags(reading, volume, second)
    return Comparison(volume, first - error, second + error, rising == (slope > 0))


def late(draft: Draft, reading: str, volume: str) -> list[str]:
    """Heads whose vehicle takes the volume along at once, so that a sensor with a lag shows for a while what is gone."""
    part, given = draft.pad.site[volume], draft.pad.inputs[reading]
    if not isinstance(part, VolumePart) or not part.flies or not isinstance(given, AnalogInput) or given.lag is None:
        return []
    return list(draft.pad.parts(HeadPart))


def facts(pad: Pad) -> list[t.Expression]:
    """Every fact that an interlock or a step of the crew names."""
    found: list[t.Expression] = []
    for rule in pad.interlocks.values():
        texts = []
        if isinstance(rule, Never):
            texts = [rule.never]
        elif isinstance(rule, Start):
            texts = [rule.needs]
        elif isinstance(rule, Reaction):
            texts = [rule.cause, rule.effect]
        elif isinstance(rule, Must):
            texts = [rule.cause, rule.must]
        elif isinstance(rule, Lasts):
            texts = [rule.lasts]
        else:
            assert isinstance(rule, Always)
        for text in texts:
            found.extend(t.leaves(text.expression))
    return found


def dial_limits(pad: Pad) -> dict[str, float]:
    """{volume: highest true pressure at which its dial still shows what the crew must see before walking in}."""
    limits: dict[str, float] = {}
    for step in pad.crew.steps:
        dial = pad.site.get(step.read or "")
        if step.shows is None or not isinstance(dial, DialPart):
            continue
        for leaf in t.leaves(step.shows.expression):
            if isinstance(leaf, t.PressureIs) and not leaf.at_least and leaf.volume == dial.dial:
                error = given_or_assumed(dial.accuracy, "dial.accuracy").high
                limits[leaf.volume] = max(limits.get(leaf.volume, 0.0), point(pad, leaf.limit) + error)
    return limits


def upper_limits(pad: Pad, volume: str) -> list[float]:
    """Pressures of a volume that a rule wants it to stay below."""
    found = []
    for rule in pad.interlocks.values():
        if not isinstance(rule, Never | Start):
            continue
        text = rule.never if isinstance(rule, Never) else rule.needs
        for way in t.alternatives(text.expression, isinstance(rule, Never)):
            for fact, value in way.items():
                if isinstance(fact, t.PressureIs) and fact.volume == volume and fact.at_least == value:
                    found.append(point(pad, fact.limit))
    return found


def bands(pad: Pad, table: Table, durations: Durations, *, fine: bool = False) -> Bands:
    """The edges that can be reached: those that rules and dials name, and below each limit that must not be passed
    the nearest threshold that is certain to be seen before it. What a comparison says is rounded outwards to these
    edges (`Bands.down`, `Bands.up`), which only makes more behaviour. `fine` takes every threshold as an edge."""
    found: dict[str, list[float]] = {name: [] for name in pad.parts(VolumePart)}
    for fact in facts(pad):
        if isinstance(fact, t.PressureIs) and fact.volume in found:
            found[fact.volume].append(point(pad, fact.limit))
    for volume, limit in dial_limits(pad).items():
        found[volume].append(limit)
    thresholds: dict[str, list[Comparison]] = {name: [] for name in found}
    for bit in table.bits:
        if bit.kind not in (Kind.AT_LEAST, Kind.BELOW, Kind.TARGET):
            continue
        for state in range(len(table.states)) if bit.kind == Kind.TARGET else (None,):
            made = comparison(pad, table, bit, state, durations)
            if made is not None:
                thresholds[made.volume].append(made)
    for volume, values in found.items():
        if fine:
            values += [edge for made in thresholds[volume] for edge in (made.low, made.high)]
        else:
            for limit in upper_limits(pad, volume):
                seen = [made.high for made in thresholds[volume] if made.rising and made.high < limit]
                if seen and limit <= durations.ceiling(volume, True):
                    values.append(max(seen))
        kept: list[float] = []
        top = durations.ceiling(volume, True)
        for value in sorted(values):
            if 0.0 < value <= top and (not kept or value - kept[-1] >= SAME):
                kept.append(value)
        found[volume] = kept
    return Bands(found)
