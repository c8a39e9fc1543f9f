"""What the exact simulator makes of a story: confirmed, or not and why.

A story says in which order things happen, not when. So it is read in a few ways (`Style`), each played with a seed of
its own; the first in which the simulator's own monitor sees the rule broken confirms it. Nothing else does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from sequencer.description.box import HeartbeatInput
from sequencer.description.faults import Fault
from sequencer.description.grounds import LinkPart
from sequencer.errors import SequencerError
from sequencer.proof.bringing import Bringing
from sequencer.proof.draft import Draft
from sequencer.proof.gas_told import lost, pressed_by
from sequencer.proof.result import Replay
from sequencer.proof.script import Style, events_of, late, pressed_before, ways_to_break
from sequencer.proof.standing_in import relays, said
from sequencer.proof.stories import StoryStep
from sequencer.proof.system import Bad, System
from sequencer.simulation import Event
from sequencer.simulation.events import InState, SetPressure, Strike, Wait
from sequencer.simulation.session import Session
from sequencer.table import Kind

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


@dataclass(frozen=True)
class Asked:
    """What a story and its ways of breaking ask of its readings. bads: how many ways. falls: gas falls in it, or what the
    box is to say no longer hangs on gas. early: hands first as the story has them. unsettled: something is to have stood
    for less than its time. welds: a relay is to be seen on that is not asked for. held: a button that stays down from
    earlier is to be let go of, or pressed anew. silent: a press is to come while its link is silent. lasts: something is
    to have stood for long."""

    bads: int
    falls: bool = False
    early: bool = False
    unsettled: bool = False
    welds: bool = False
    held: bool = False
    silent: bool = False
    lasts: bool = False


def styles(asked: Asked) -> Iterator[Style]:
    """Readings, the likeliest first."""
    bads, early = asked.bads, asked.early
    ways = range(max(bads, 1))
    if asked.unsettled:
        yield Style(late=not early, full=True)
    if asked.silent:
        for over in (100, 140, 180):
            yield Style(late=not early, over=over, ahead=True)
            yield Style(late=not early, over=over, sooner=True, hangs=True)
    if asked.lasts:
        for bad in ways:
            yield Style(late=not early, bad=bad, slow=True)
    if asked.welds:
        yield Style(late=not early, hangs=True, ahead=True, anew=True)
    for lateness in (not early, early):
        for bad in ways:
            yield Style(late=lateness, bad=bad)
            if bads:
                yield Style(late=lateness, bad=bad, ahead=True)
        if asked.falls:
            for lead in (0.1, 0.3, 0.6, 1.0):
                yield Style(late=lateness, lead=lead)
        for bad in range(bads):
            yield Style(late=lateness, bad=bad, ahead=True, hangs=True)
        for bad in range(bads) if asked.held and lateness != early else ():
            yield Style(late=lateness, bad=bad, hangs=True, sooner=True)
        if bads and lateness != early:
            yield Style(late=lateness, ahead=True, reshut=True)
        yield Style(late=lateness, waits=True)
    for lateness in (not early, early):
        for bad in ways:
            yield Style(late=lateness, bad=bad, hangs=True)
        if asked.falls:
            for lead in (0.1, 0.3, 0.6, 1.0):
                yield Style(late=lateness, lead=lead, hangs=True)
        yield Style(late=lateness, waits=True, hangs=True)


def replay(
    draft: Draft, system: System, steps: list[StoryStep], rule: str, strikes: Mapping[int, tuple[Fault, ...]] | None = None,
    tries: int = TRIES, aimed: list[Bad] | None = None,
) -> Replay:  # fmt: skip
    """Play a story in the exact simulator, in a few readings, and say whether the rule broke there. aimed: the ways of
    breaking it that are brought about at the end; those that fit the last step, unless given."""
    struck = strikes or {}
    bads = ways_to_break(system, steps, rule) if aimed is None else aimed
    tried: list[list[Event]] = []
    best: Played | None = None
    least: Replay | None = None
    for style in styles(_asked(draft, system, steps, bads, bool(struck))):
        if len(tried) >= tries:
            break
        order = late(draft, system, steps) if style.late and not struck else steps
        bad = bads[style.bad] if style.bad < len(bads) else None
        if style.anew:
            order = steps[max(n for n, s in enumerate(steps) if system.rows[s.row].tag == "boot") :]
        events = events_of(draft, system, order, struck, style, bad)
        if events in tried or (least is not None and len(_besides(draft, events, struck)) >= len(least.besides)):
            continue
        tried.append(events)
        seed, patience = len(tried) - 1, _patience(draft, bad)
        played = _played(draft, events, rule, seed, patience)
        if played.says is not None:
            besides = _besides(draft, events, struck)
            for one in list(besides):
                fewer = [replace(e, action=Wait()) if besides.get(n) == besides[one] else e for n, e in enumerate(events)]
                again = _played(draft, fewer, rule, seed, patience)
                if again.says is not None:
                    events, played = fewer, again
                    besides = _besides(draft, events, struck)
            names = tuple(dict.fromkeys(besides.values()))
            there = f", with {' and '.join(names)} there besides" if names else ""
            least = Replay(True, len(tried), f"confirmed in the exact simulator{there}: {played.says}", names)
            if not names:
                break
        elif best is None or played.done > best.done:
            best = played
    return least or Replay(False, len(tried), f"not reproduced in {len(tried)} readings: {best.why if best else 'it has no acts'}")


def _asked(draft: Draft, system: System, steps: list[StoryStep], bads: list[Bad], early: bool) -> Asked:
    rows = [system.rows[s.row] for s in steps]
    falls = any(r.actor == "gas" and r.forward and not r.tag.startswith("up ") for r in rows) or any(lost(draft, bad) for bad in bads)
    presses = pressed_by(draft, rows[-1]) if rows and rows[-1].origin is not None else set()
    links = draft.pad.parts(LinkPart).values()
    unheard = {draft.table.heartbeats[draft.table.bits[i].source] for bad in bads for i, v in said(draft, bad) if not v and draft.table.bits[i].kind == Kind.HEARD}
    return Asked(
        len(bads), falls, early, any(_unsettled(draft, bad) for bad in bads), any(relays(draft, bad, True) for bad in bads),
        any(pressed_before(draft, system, steps, bad) for bad in bads), any(p.link in unheard and presses & set(p.carries) for p in links),
        any(v and draft.table.bits[i].hold * draft.pad.scan_ms > SETTLE_MS for bad in bads for i, v in said(draft, bad)),
    )  # fmt: skip


def _patience(draft: Draft, bad: Bad | None) -> int:
    """How long a next act is waited for, ms: beyond what the box must have seen standing for a time."""
    holds = [draft.table.bits[i].hold for i, value in (said(draft, bad) if bad is not None else ()) if value]
    return PATIENCE_MS + max(holds, default=0) * draft.pad.scan_ms


def _unsettled(draft: Draft, bad: Bad) -> bool:
    """Whether a delayed condition is to be false that rests on low pressures: gas has left only just now."""
    for i, bit in enumerate(draft.table.bits):
        name = f"the box says {bit.name}"
        if bit.hold and draft.layout.has(name) and bad.cube.care & ~bad.cube.want & draft.layout.mask([name]):
            asked = Bringing(draft).asked(1 << i)
            return any(asked >> k & 1 and b.kind.name == "BELOW" for k, b in enumerate(draft.table.bits))
    return False


def _besides(draft: Draft, events: list[Event], struck: Mapping[int, tuple[Fault, ...]]) -> dict[int, str]:
    """{number of an event: what it is} of the faults and bursts that are not the story's own: that a link falls silent is,
    where it is asked for."""
    own = {f.name for some in struck.values() for f in some}
    found: dict[int, str] = {}
    for number, event in enumerate(events):
        action = event.action
        if isinstance(action, Strike):
            name = f"{action.part}: {action.mode}"
            if name not in own and not (action.mode == "lost" and isinstance(draft.pad.inputs.get(action.part), HeartbeatInput)):
                found[number] = name
        elif isinstance(action, SetPressure):
            at = f"{action.gauge_pa / 1e5:.1f} bar in {action.volume} when the power comes"
            found[number] = at if action.gauge_pa else f"{action.volume} bursting"
    return found


def _played(draft: Draft, events: list[Event], rule: str, seed: int, patience: int = PATIENCE_MS) -> Played:
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
            elif session.ms - since > patience + (waiting[0].moment.after_ms if isinstance(waiting[0].moment, InState) else 0):
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
