"""People and the gate. They act on what they believe: the lamps, the dials, the head-count. Never on the truth.

Without slips: someone walks in only while the lamps show a state that allows people and every dial that the crew's
steps read shows what the steps want to see; the gate stays open while anyone is on the pad or on the way; and the
role that carries an input's key (`holds`) keeps it away from its word meanwhile.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

from sequencer.description.box import ContactInput, LampOutput
from sequencer.description.grounds import LinePart, PadPart
from sequencer.proof.bands import dial_limits
from sequencer.proof.draft import Draft
from sequencer.proof.durations import FACTOR, WATCHDOG
from sequencer.proof.emptying import empties
from sequencer.proof.gas import valve
from sequencer.proof.parts import driven, moves
from sequencer.proof.system import Race
from sequencer.proof.words import EVERYTHING, Cube
from sequencer.table import Kind

ON_PAD = "someone is on the pad"
STRANGER = "someone uncounted is on the pad"
WALKING = "someone is walking in"
NEAR = "someone is well on the way in"
FIRST = 0.1
"""Share of a walk after which the box has seen the gate open and from which a vent is timed."""


@dataclass(frozen=True)
class Emptied:
    """A volume that places let out by themselves faster than anyone walks in: those places, the band bit that is
    gone by then, the most seconds it takes, and whether it is timed from well on the way (else from the start, at
    the pressure that the dial let pass)."""

    places: tuple[int, ...]
    bit: str
    most: float
    staged: bool
    parts: frozenset[str]


def pad_of(draft: Draft) -> PadPart | None:
    return next(iter(draft.pad.parts(PadPart).values()), None)


def lay_out(draft: Draft) -> None:
    if pad_of(draft) is None:
        return
    draft.layout.new(ON_PAD)
    draft.layout.new(WALKING)
    draft.layout.new(NEAR)
    draft.layout.new(STRANGER)
    for volume in emptied(draft):
        draft.layout.new(since(volume))


def since(volume: str) -> str:
    """Name of the bit 'this volume has been let out ever since the walk began'."""
    return f"{volume} let out since the walk began"


def emptied(draft: Draft) -> dict[str, Emptied]:
    """As `_emptied`, worked out once."""
    if "emptied" not in draft.found:
        draft.found["emptied"] = _emptied(draft)
    return draft.found["emptied"]  # type: ignore[no-any-return]  # kept there by this function


def _emptied(draft: Draft) -> dict[str, Emptied]:
    """{volume: (places that let it out, [(band bit, most seconds)] that the walk cannot outrun)}."""
    part = pad_of(draft)
    found: dict[str, Emptied] = {}
    if part is None:
        return found
    limits = dial_limits(draft.pad)
    for volume, edges in draft.bands.edges.items():
        for edge in edges:
            for staged in (True, False):
                start = None if staged else limits.get(volume)
                timed = {p: empties(draft, volume, edge, p, start) for p in draft.everywhere}
                places = tuple(p for p, some in timed.items() if some is not None)
                most = max((m[0] for m in timed.values() if m is not None), default=None)
                parts = frozenset().union(*(m[1] for m in timed.values() if m is not None))
                least = part.walk.si * (1 - FIRST if staged else 1)
                if volume not in found and most is not None and FACTOR * most <= least:
                    found[volume] = Emptied(places, draft.bands.name(volume, edge), most, staged, parts)
    return found


def carried(draft: Draft) -> list[str]:
    """Contacts whose key a role carries onto the pad (a race: the box sees it gone in the first part of a walk)."""
    ground = pad_of(draft)
    if ground is None:
        return []
    walkers = {s.who for s in draft.pad.crew.steps if s.walk}
    found = []
    for role, part in draft.pad.crew.roles.items():
        if role not in walkers or not part.holds:
            continue
        words = set(part.holds.replace("the ", "").split())
        for name, one in draft.pad.inputs.items():
            if isinstance(one, ContactInput) and name in words and draft.durations.follows(name) < FIRST * ground.walk.si:
                draft.race(
                    Race(f"the box sees {name} away from '{one.contact.word}'", draft.durations.follows(name), "the first part of a walk", FIRST * ground.walk.si, "file")
                )
                found.append(name)
    return found


def since_allowed(draft: Draft) -> list[float]:
    """Least scans from a place where a walk may begin to each state: every move takes a scan and its least time, a
    press the filter's time besides; power may go and come back at once (shortest paths, Dijkstra 1959)."""
    if "since allowed" in draft.found:
        return draft.found["since allowed"]  # type: ignore[no-any-return]  # kept there by this function
    table = draft.table
    best = [math.inf] * len(table.states)
    for place in allowed(draft):
        best[draft.places[place].state] = 0.0
    if any(draft.places[p].kind != "run" for p in allowed(draft)):
        best[0] = 0.0
    todo = set(range(len(best)))
    while todo:
        state = min(todo, key=lambda s: best[s])
        todo.remove(state)
        spec = table.states[state]
        ways = [(0, 1.0)]
        for row in table.rows[spec.first_row : spec.end_row]:
            pressed = [b for i, b in enumerate(table.bits) if (row.care & row.want) >> i & 1 and b.kind == Kind.PRESS]
            ways.append((row.to, max([row.least, 1, *(1 + table.contacts[b.source].steady for b in pressed)])))
        for to, scans in ways:
            best[to] = min(best[to], best[state] + scans)
    draft.found["since allowed"] = best
    return best


def allowed(draft: Draft, dead: frozenset[int] = frozenset()) -> tuple[int, ...]:
    """Places whose lamps look like those of a state that allows people (with some lamps dead: they stay at code 0)."""
    lamps = [i for i, o in enumerate(draft.pad.outputs.values()) if isinstance(o, LampOutput)]
    names = list(draft.pad.states.values())

    def shown(place: int, dead: frozenset[int] = frozenset()) -> set[tuple[int, ...]]:
        boots = [draft.booting(lamp) if draft.places[place].kind == "off" else None for lamp in lamps]
        own = [draft.state_command(place, lamp) for lamp in lamps]
        ways = [{0} if lamp in dead else {one, one if other is None else other} for lamp, one, other in zip(lamps, own, boots, strict=True)]
        return set(product(*ways))

    inside = [p for p in draft.running if names[draft.places[p].state].people == "allowed"]
    if not lamps:
        return tuple(inside)
    looks = {look for p in inside for look in shown(p)}
    return tuple(p for p in draft.everywhere if shown(p, dead) & looks)


def rows(draft: Draft) -> None:
    part = pad_of(draft)
    if part is None:
        return
    gate = draft.tracked.get(part.gate or "")
    open_gate: dict[str, bool | int] = {gate: False} if gate else {}
    empty = emptied(draft)
    walks(draft, allowed(draft))
    _on_the_way(draft, part, gate, empty)
    _arrival(draft, part, empty)
    gone = {since(v): False for v in empty}
    draft.row("someone on the way in turns back", "crew", {WALKING: True}, {WALKING: False, NEAR: False, **gone})
    draft.row("everyone has walked out", "crew", {ON_PAD: True} | open_gate, {ON_PAD: False}, tag="walk out")
    if gate:
        word = gate.split(" truly ")[1]
        moves(draft, "the gate is opened", "crew", gate, False)
        moves(draft, f"the gate is {word}", "crew", gate, True, draft.layout.cube({ON_PAD: False, WALKING: False}), tag="gate shuts")


def walks(draft: Draft, places: tuple[int, ...], *, dials: bool = True) -> None:
    """Someone starts to walk in at these places; without `dials` whatever the dials show."""
    part = pad_of(draft)
    if part is None:
        return
    empty = emptied(draft)
    start: dict[str, bool | int] = {WALKING: False, ON_PAD: False}
    if part.gate in draft.tracked:
        start[draft.tracked[part.gate]] = False
    for volume, limit in dial_limits(draft.pad).items() if dials else ():
        edge = draft.bands.up(volume, limit)
        if edge is not None:
            start[draft.bands.name(volume, edge)] = False
    for place in places:
        # a vent timed from what the dial let pass says nothing once the dial was not read
        marks = {since(v): place in e.places and dials for v, e in empty.items() if not e.staged}
        draft.row("someone walks in", "crew", start, {WALKING: True, **marks}, (place,), tag="walk in")


def _on_the_way(draft: Draft, part: PadPart, gate: str | None, empty: dict[str, Emptied]) -> None:
    """The first part of the walk: long enough that the box has seen the gate open."""
    seconds = FIRST * part.walk.si
    seen: list[tuple[Cube, int]] = []
    if gate and part.gate and draft.durations.follows(part.gate) < seconds:
        outlasts = draft.durations.follows(part.gate) + WATCHDOG < seconds
        sound = frozenset({part.gate} if outlasts else {part.gate, "box"})
        race = Race("the box sees the gate open", draft.durations.follows(part.gate), "the first part of a walk", seconds, "file", sound)
        seen = [(draft.layout.cube({draft.seen(part.gate): True}), draft.race(race))]
    groups: dict[tuple[tuple[tuple[str, bool], ...], bool], list[int]] = {}
    for place in draft.everywhere:
        marks = tuple((since(v), place in e.places) for v, e in empty.items() if e.staged)
        groups.setdefault((marks, place in draft.running), []).append(place)
    for (marks, running), places in groups.items():
        draft.row(
            "someone is well on the way in", "crew", {WALKING: True, NEAR: False}, {NEAR: True, **dict(marks)}, places,
            unless=seen if running else (), tag="near",
        )  # fmt: skip


def _arrival(draft: Draft, part: PadPart, empty: dict[str, Emptied]) -> None:
    unless: list[tuple[Cube, int]] = []
    for volume, e in empty.items():
        seconds = part.walk.si * (1 - FIRST if e.staged else 1)
        walk = "the rest of a walk onto the pad" if e.staged else "a walk onto the pad"
        for output in _inflow(draft, volume):
            race = Race(f"{output} shuts", draft.durations.stroke(output), walk, seconds, "file", frozenset({output}))
            unless.append((draft.layout.cube({since(volume): True, valve(output): True}), draft.race(race)))
        for output in sorted(e.parts & set(driven(draft)) - set(_inflow(draft, volume))):
            race = Race(f"{output} opens", draft.durations.stroke(output), walk, seconds, "file", frozenset({output}))
            unless.append((draft.layout.cube({since(volume): True, valve(output): False}), draft.race(race)))
        shown = "its highest pressure" if e.staged else "what its dial let pass"
        race = Race(f"{volume} vents from {shown} to below {e.bit.split('least ')[1]}", e.most, walk, seconds, "physics", e.parts)
        unless.append((draft.layout.cube({since(volume): True, e.bit: True}), draft.race(race)))
    change = {WALKING: False, NEAR: False, ON_PAD: True, **{since(v): False for v in empty}}
    draft.row("someone arrives on the pad", "crew", {WALKING: True, NEAR: True}, change, unless=unless, tag="arrive")


def _inflow(draft: Draft, volume: str) -> list[str]:
    """Driven valves that let gas into a volume."""
    found = []
    for line in draft.durations.around(volume):
        part = draft.pad.site[line]
        assert isinstance(part, LinePart)
        if draft.durations.feeds(line, volume) and part.opened_by in draft.pad.outputs:
            found.append(part.opened_by)
    return found


def leaving(draft: Draft, place: int) -> int:
    """Mask of the 'since' bits that end when the box comes to this place."""
    return draft.layout.mask(since(v) for v, e in emptied(draft).items() if place not in e.places)


__all__ = ["EVERYTHING", "ON_PAD", "WALKING", "allowed", "carried", "lay_out", "leaving", "rows"]
