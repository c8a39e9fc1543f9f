"""What the exact simulator makes of a story: confirmed, or not and why.

A story says in which order things happen, not when. So it is read in a few ways (`Style`), each played with a seed of
its own; the first in which the simulator's own monitor sees the rule broken confirms it. Nothing else does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sequencer.description.faults import Fault
from sequencer.errors import SequencerError
from sequencer.proof.bringing import Bringing
from sequencer.proof.draft import Draft
from sequencer.proof.result import Replay
from sequencer.proof.script import Style, events_of, late, pressed_before, ways_to_break
from sequencer.proof.standing_in import relays
from sequencer.proof.stories import StoryStep
from sequencer.proof.system import Bad, System
from sequencer.simulation import Event
from sequencer.simulation.events import InState, SetPressure, Strike
from sequencer.simulation.session import Session

PATIENCE_MS = 75_000
"""How long a next act may be waited for beyond its own time."""
SETTLE_MS = 2_000
LONGEST_MS = 20 * 60_000
TRIES = 16


@dataclass(frozen=True)
class Played:
    """One reading played: what the monitor says (None: not broken), how many acts were done, and what came of it."""

    says: str | None
    done: int
    why: str


def styles(bads: int, falls: bool, early: bool, unsettled: bool = False, welds: bool = False, held: bool = False) -> Iterator[Style]:
    """Readings, the likeliest first. `falls`: gas falls in it; `early`: hands first as the story has them;
    `unsettled`: something is to have stood for less than its time; `welds`: a relay is to be seen on that is not asked for;
    `held`: a button that stays down from earlier is to be let go of, or pressed anew."""
    ways = range(max(bads, 1))
    if unsettled:
        yield Style(late=not early, full=True)
    if welds:
        yield Style(late=not early, hangs=True, ahead=True, anew=True)
    for lateness in (not early, early):
        for bad in ways:
            yield Style(late=lateness, bad=bad)
            if bads:
                yield Style(late=lateness, bad=bad, ahead=True)
        for bad in range(bads):
            yield Style(late=lateness, bad=bad, ahead=True, hangs=True)
        for bad in range(bads) if held and lateness != early else ():
            yield Style(late=lateness, bad=bad, hangs=True, sooner=True)
        if bads and lateness != early:
            yield Style(late=lateness, ahead=True, reshut=True)
        if falls:
            for lead in (0.1, 0.3, 0.6, 1.0):
                yield Style(late=lateness, lead=lead)
        yield Style(late=lateness, waits=True)
    for lateness in (not early, early):
        for bad in ways:
            yield Style(late=lateness, bad=bad, hangs=True)
        if falls:
            for lead in (0.1, 0.3, 0.6, 1.0):
                yield Style(late=lateness, lead=lead, hangs=True)
        yield Style(late=lateness, waits=True, hangs=True)


def replay(
    draft: Draft, system: System, steps: list[StoryStep], rule: str, strikes: Mapping[int, tuple[Fault, ...]] | None = None,
    tries: int = TRIES,
) -> Replay:  # fmt: skip
    """Play a story in the exact simulator, in a few readings, and say whether the rule broke there."""
    struck = strikes or {}
    bads = ways_to_break(system, steps, rule)
    falls = any(system.rows[s.row].actor == "gas" and system.rows[s.row].forward and not system.rows[s.row].tag.startswith("up ") for s in steps)
    unsettled = any(_unsettled(draft, bad) for bad in bads)
    tried: list[list[Event]] = []
    best: Played | None = None
    welds, held = any(relays(draft, bad, True) for bad in bads), any(pressed_before(draft, system, steps, bad) for bad in bads)
    for style in styles(len(bads), falls, bool(struck), unsettled, welds, held):
        if len(tried) == tries:
            break
        order = late(draft, system, steps) if style.late and not struck else steps
        bad = bads[style.bad] if style.bad < len(bads) else None
        if style.anew:
            order = steps[max(n for n, s in enumerate(steps) if system.rows[s.row].tag == "boot") :]
        events = events_of(draft, system, order, struck, style, bad)
        if events in tried:
            continue
        tried.append(events)
        played = _played(draft, events, rule, seed=len(tried) - 1)
        if played.says is not None:
            besides = _besides(events, struck)
            there = f", with {' and '.join(besides)} there besides" if besides else ""
            return Replay(True, len(tried), f"confirmed in the exact simulator{there}: {played.says}", besides)
        if best is None or played.done > best.done:
            best = played
    return Replay(False, len(tried), f"not reproduced in {len(tried)} readings: {best.why if best else 'it has no acts'}")


def _unsettled(draft: Draft, bad: Bad) -> bool:
    """Whether a delayed condition is to be false that rests on low pressures: gas has left only just now."""
    for i, bit in enumerate(draft.table.bits):
        name = f"the box says {bit.name}"
        if bit.hold and draft.layout.has(name) and bad.cube.care & ~bad.cube.want & draft.layout.mask([name]):
            asked = Bringing(draft).asked(1 << i)
            return any(asked >> k & 1 and b.kind.name == "BELOW" for k, b in enumerate(draft.table.bits))
    return False


def _besides(events: list[Event], struck: Mapping[int, tuple[Fault, ...]]) -> tuple[str, ...]:
    """Faults and events that stand for what the story leaves open (a link not heard, a head that stays)."""
    own = {f.name for some in struck.values() for f in some}
    names = [f"{e.action.part}: {e.action.mode}" for e in events if isinstance(e.action, Strike)]
    more = list(dict.fromkeys(n for n in names if n not in own))
    for action in (e.action for e in events if isinstance(e.action, SetPressure)):
        at = f"{action.gauge_pa / 1e5:.1f} bar in {action.volume} when the power comes"
        more.append(at if action.gauge_pa else f"{action.volume} bursting")
    return tuple(more)


def _played(draft: Draft, events: list[Event], rule: str, seed: int) -> Played:
    """One run of these events, ended at the breach, or once nothing more can come."""
    try:
        session = Session(draft.pad, events, seed=seed, table=draft.table, record=False)
        watch = next(w for w in session.watches if w.name == rule)
        waiting, since, quiet = session.schedule.waiting, 0, 0
        while session.ms < LONGEST_MS and watch.broken_ms is None:
            session.tick()
            now = session.schedule.waiting
            if len(now) < len(waiting) or session.box.since_ms > since:
                waiting, since = now, session.ms
            if not waiting:
                quiet += draft.pad.scan_ms
                if quiet > SETTLE_MS:
                    break
            elif session.ms - since > PATIENCE_MS + (waiting[0].moment.after_ms if isinstance(waiting[0].moment, InState) else 0):
                break
    except SequencerError as error:
        return Played(None, 0, f"an act cannot be done there: {error}")
    done = len(events) - len(waiting)
    if watch.broken_ms is not None:
        return Played(watch.says, done, "")
    moves = [line for line in session.lines if line.kind == "box" and "->" in line.what]
    last = f"its last move was {moves[-1].what} ({'; '.join(moves[-1].why)[:140]})" if moves else "it never moved"
    stands = f"the box stands in {session.state_name or 'no state'}, {last}"
    if waiting:
        return Played(None, done, f"the simulator never comes to '{waiting[0].note[:120] or 'the next act'}'; {stands}")
    return Played(None, done, f"the same acts end without the breach; {stands}")


__all__ = ["events_of", "replay"]
