"""What stands in for a thing that a story leaves open: a part that fails in the replay, and is named in its answer.

The abstraction lets a link fall silent, a head stay, a relay be seen on or a load be read at any moment. The exact
simulator needs a cause for each; hands have none.
"""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.description.box import ContactInput
from sequencer.description.faults import faults
from sequencer.description.grounds import HeadPart, LinePart, PinPart, SwitchPlace, WirePart
from sequencer.proof.bands import volume_of
from sequencer.proof.bringing import Bringing
from sequencer.proof.draft import Draft
from sequencer.proof.stories import StoryStep
from sequencer.proof.system import Bad, Row, System
from sequencer.simulation.events import Action, Pin, SetPressure, Strike
from sequencer.table import Kind


def said(draft: Draft, bad: Bad) -> Iterator[tuple[int, bool]]:
    """(condition bit, value) of what the box says where a rule breaks."""
    for i, bit in enumerate(draft.table.bits):
        name = f"the box says {bit.name}"
        if draft.layout.has(name) and bad.cube.care & draft.layout.mask([name]):
            yield i, bool(bad.cube.want & draft.layout.mask([name]))


def shown(draft: Draft, bad: Bad) -> Iterator[tuple[int, bool]]:
    """The same, and what each that is to be true is made of."""
    bits = draft.table.bits
    wanted = dict(said(draft, bad))
    for i in reversed(range(len(bits))):
        if wanted.get(i) and bits[i].kind == Kind.ALL and not bits[i].set.invert:
            for k in range(i):
                if bits[i].set.care >> k & 1:
                    wanted.setdefault(k, bool(bits[i].set.want >> k & 1))
    yield from wanted.items()


def held(draft: Draft, bad: Bad) -> set[str]:
    """Contacts that hands must leave alone, where the box is to say what a pressure has not done since a valve was
    commanded: those that would inhibit the command."""
    found: set[str] = set()
    for i, value in shown(draft, bad):
        bit = draft.table.bits[i]
        since = draft.table.bits[bit.second] if value and bit.kind == Kind.CHANGE else None
        if since is None or since.kind != Kind.COMMAND:
            continue
        for inhibit in draft.table.inhibits:
            if inhibit.output == since.source:
                asked = Bringing(draft).asked(inhibit.care)
                found |= {draft.table.contacts[b.source].name for k, b in enumerate(draft.table.bits) if asked >> k & 1 and b.kind == Kind.CONTACT}
    return found


def relays(draft: Draft, bad: Bad, value: bool) -> list[str]:
    """Relays that are to be seen on (off) by the contact that follows them."""
    follows = {part.seen_by: part.follows.partition(" at ")[0] for part in draft.pad.parts(SwitchPlace).values()}
    found = []
    for i, wanted in shown(draft, bad):
        bit = draft.table.bits[i]
        output = follows.get(draft.table.contacts[bit.source].name) if bit.kind == Kind.CONTACT else None
        if output is not None and wanted == value:
            found.append(output)
    return found


def before(draft: Draft, bad: Bad, place: int) -> list[Action]:
    """Acts before the box comes to where the rule breaks: relays that do not switch on, loads that stay as they read."""
    known = {f.name for f in faults(draft.pad)}
    found = [(o, "stuck off") for o in relays(draft, bad, False) if draft.state_command(place, list(draft.pad.outputs).index(o))]
    for i, value in said(draft, bad):
        bit = draft.table.bits[i]
        if bit.kind in (Kind.BELOW, Kind.AT_LEAST) and value == (bit.kind == Kind.AT_LEAST):
            reading = draft.table.analogs[bit.source].name
            if volume_of(draft.pad, reading) is None:
                found.append((reading, "frozen"))
    return [Strike(part, mode) for part, mode in found if f"{part}: {mode}" in known]


def there(draft: Draft, bad: Bad, row: Row, stays: bool = False, free: bool = False) -> list[Action]:
    """Acts once it is there: relays that weld, vessels that burst where gas or the load must be gone at once, for what
    the box is to say or for the scan `row` itself; heads that open unasked (`free`: one has been let
    go), valves that stay open where pressure is to rise; `stays`: a head cannot open, and its contact says so for it."""
    known = {f.name for f in faults(draft.pad)}
    found: list[Action] = [Strike(o, "welded") for o in relays(draft, bad, True) if f"{o}: welded" in known]
    wanted = list(said(draft, bad))
    if row.origin is not None:
        origin = draft.table.rows[row.origin]
        loads = [i for i, b in enumerate(draft.table.bits) if origin.want >> i & 1 and b.kind == Kind.BELOW]
        wanted += [(i, True) for i in loads if volume_of(draft.pad, draft.table.analogs[draft.table.bits[i].source].name) is None]
    for i, value in wanted:
        asked = Bringing(draft).asked(1 << i)
        kinds = [(b.kind, b) for k, b in enumerate(draft.table.bits) if asked >> k & 1]
        gone = any(k == (Kind.BELOW if value else Kind.AT_LEAST) for k, _ in kinds)
        for part in draft.pad.parts(HeadPart).values() if gone else ():
            found.append(SetPressure(part.release_head, 0.0))
    for head in draft.pad.parts(HeadPart):
        bit_ = draft.layout.mask([f"{head} latched"])
        if not free and not stays and bad.cube.care & ~bad.cube.want & bit_ and f"{head}: lets go early" in known:
            found.append(Strike(head, "lets go early"))
            found += [Pin(n, False) for n, pin in draft.pad.parts(PinPart).items() if pin.pin == head]
    for i, value in shown(draft, bad):
        bit = draft.table.bits[i]
        if value and bit.kind == Kind.CHANGE and bit.wanted and bit.sign > 0:
            volume = volume_of(draft.pad, draft.table.analogs[bit.source].name)
            lines = [n for n, p in draft.pad.parts(LinePart).items() if volume is not None and draft.durations.feeds(n, volume) and volume in (p.line.origin, p.line.end)]
            found += [Strike(n, "stuck open") for n in lines if f"{n}: stuck open" in known]
    for head in draft.pad.parts(HeadPart) if stays and row.origin is not None else ():
        contact = draft.pad.inputs.get(opened(draft, row, head))
        if isinstance(contact, ContactInput):
            found.append(Strike(opened(draft, row, head), "wire cut" if contact.contact.closed_means_word else "shorted"))
    return list(dict.fromkeys(found))


def jammed(draft: Draft, system: System, steps: list[StoryStep], number: int) -> list[str]:
    """Servos to jam before this step commands them: those whose head is not asked to be open by the box's next move."""
    row, found = system.rows[steps[number].row], []
    known = {f.name for f in faults(draft.pad)}
    after = next((r for r in (system.rows[s.row] for s in steps[number + 1 :]) if r.origin is not None), None)
    for part in draft.pad.parts(WirePart).values():
        output = part.wire.origin
        if row.to is None or f"{output}: jammed" not in known or (after is not None and opened(draft, after, part.wire.end)):
            continue
        index = list(draft.pad.outputs).index(output)
        if draft.state_command(row.to, index) != draft.table.outputs[index].idle:
            found.append(output)
    return found


def opened(draft: Draft, row: Row, head: str) -> str:
    """The contact of this head if the scan asks that it be open, else ''."""
    part = draft.pad.site[head]
    assert isinstance(part, HeadPart) and row.origin is not None
    origin = draft.table.rows[row.origin]
    for i, bit in enumerate(draft.table.bits):
        if origin.care >> i & 1 and bit.kind == Kind.CONTACT and draft.table.contacts[bit.source].name == part.seen_by:
            contact = draft.pad.inputs[part.seen_by]
            assert isinstance(contact, ContactInput)
            closed = bit.wanted == bool(origin.want >> i & 1)
            return "" if closed == contact.contact.closed_means_word else part.seen_by
    return ""


__all__ = ["before", "jammed", "relays", "said", "there"]
