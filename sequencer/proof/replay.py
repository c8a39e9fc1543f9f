"""A story of the abstraction as events for the exact simulator, and what the simulator makes of it."""

from __future__ import annotations

from collections.abc import Mapping

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.faults import Fault
from sequencer.description.grounds import HeadPart, LinePart, PadPart
from sequencer.proof.draft import Draft
from sequencer.proof.gas import valve
from sequencer.proof.people import ON_PAD
from sequencer.proof.result import Replay
from sequencer.proof.stories import StoryStep
from sequencer.proof.system import Row, System
from sequencer.quantities import Quantity
from sequencer.simulation import Event, simulate, story
from sequencer.simulation.events import (
    Action,
    At,
    HandValve,
    InState,
    Latch,
    Mend,
    Moment,
    Once,
    Pin,
    PowerOff,
    PowerOn,
    Strike,
    Switch,
    Then,
    Walk,
)
from sequencer.table import Kind
from sequencer.table.table import Bit

LONGEST_MS = 20 * 60_000
TRIES = 3


class Script:
    """Events in the making: remembers where switches stand and how long the box is to stay where it is."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.events: list[Event] = []
        self.stands: dict[str, bool] = {}
        self.state = ""
        self.after = 0
        self.waits = False
        self.started = False
        self.silent = False

    def stand(self, state: str, after: int = 0) -> None:
        """From now on acts happen in this state, so long after its entry."""
        self.state, self.after, self.waits = state, after, bool(state)

    def add(self, action: Action, moment: Moment | None = None, who: str = "") -> None:
        if moment is None:
            moment = InState(self.state, self.after) if self.waits else Then(0) if self.events else At(0)
        self.waits = False
        self.events.append(Event(moment, action, who))

    def press(self, contact: str) -> None:
        """A hand lets a contact go long enough to be seen, and presses it; it stays pressed."""
        part = self.draft.pad.inputs[contact]
        assert isinstance(part, ContactInput)
        released = self.stands.get(contact, False)
        if released:
            self.stand(self.state, max(self.after, 200))
            self.put(contact, False)
        self.stands[contact] = True
        word = part.contact.word
        self.add(Switch(contact, word), Then(300) if released or not self.state else InState(self.state, max(self.after, 300)))

    def put(self, contact: str, at_word: bool) -> None:
        """A hand moves a contact, if it does not stand there yet."""
        if self.stands.get(contact) == at_word:
            return
        self.stands[contact] = at_word
        part = self.draft.pad.inputs[contact]
        assert isinstance(part, ContactInput)
        self.add(Switch(contact, part.contact.word if at_word else f"not {part.contact.word}"))

    def wait_for(self, fact: t.Expression) -> None:
        """A pause until a fact is true: carried by the next event; here a harmless act marks it."""
        self.events.append(Event(Once(fact), Mend(next(iter(self.draft.pad.inputs))), "", note="wait"))


def events_of(draft: Draft, system: System, steps: list[StoryStep], strikes: Mapping[int, tuple[Fault, ...]]) -> list[Event]:
    """The events that should make the simulator tell the same story; `strikes`: faults before a step's number."""
    script = Script(draft)
    for name, part in draft.pad.inputs.items():
        if isinstance(part, ContactInput) and name not in draft.tracked:
            script.stands[name] = False
    roles = list(draft.pad.crew.roles)
    walker = next((s.who for s in draft.pad.crew.steps if s.walk), roles[0] if roles else "")
    if draft.layout.has(ON_PAD) and steps and not steps[0].word & draft.layout.mask([ON_PAD]):
        for role, person in draft.pad.crew.roles.items():
            if person.starts == "pad" and system.rows[steps[0].row].tag != "walk out":
                script.add(Walk(role, "out"), At(0), role)
    for number, step in enumerate(steps):
        row = system.rows[step.row]
        before = steps[number - 1].word if number else None
        tag = row.tag
        for fault in strikes.get(number, ()):
            script.add(Strike(fault.part, fault.mode))
        if tag == "boot":
            if script.started:
                script.add(PowerOn(), Then(200))
            script.started = True
            script.stand("")
        elif tag == "settle":
            script.stand(draft.pad.first_state)
        elif tag == "blink":
            script.add(PowerOff())
            script.stand("")
        elif row.scan:
            _scan(script, draft, system, step, row.origin, before)
        elif tag == "walk in":
            script.add(Walk(walker, "in"), who=walker)
        elif tag == "walk out":
            script.add(Walk(walker, "out"), who=walker)
        elif tag == "arrive":
            script.wait_for(t.Someone())
        elif tag.startswith("up ") or (row.actor == "gas" and row.forward):
            if row.tag.startswith("up "):
                _pressure(script, draft, row.set, True)
            else:
                _falls(script, draft, row.clear, step)
        elif tag.startswith("stroke "):
            _let_open(script, draft, tag.removeprefix("stroke "), step)
        elif tag.startswith("lets go "):
            script.wait_for(t.HeadIs(tag.removeprefix("lets go "), "let go"))
        elif row.actor == "crew":
            _hands(script, draft, row.set, row.clear)
    return list(story(*script.events))


def _hands(script: Script, draft: Draft, put: int, clear: int) -> None:
    """Hands on head, pin or gate."""
    layout = draft.layout
    for name, part in draft.pad.site.items():
        if isinstance(part, HeadPart) and put & layout.mask([f"{name} latched"]):
            script.add(Latch(name))
        if layout.has(f"{name} in"):
            bit = layout.mask([f"{name} in"])
            if (put | clear) & bit:
                script.add(Pin(name, bool(put & bit)))
        if isinstance(part, PadPart) and part.gate and part.gate in draft.tracked:
            bit = layout.mask([draft.tracked[part.gate]])
            if (put | clear) & bit:
                script.put(part.gate, bool(put & bit))


def _pressure(script: Script, draft: Draft, mask: int, up: bool) -> None:
    for volume, edges in draft.bands.edges.items():
        for edge in edges:
            if mask & draft.layout.mask([draft.bands.name(volume, edge)]):
                script.wait_for(t.PressureIs(volume, up, Quantity(edge, "pressure", f"{edge / 1e5:g} bar", "bar", "gauge")))


def _falls(script: Script, draft: Draft, mask: int, step: StoryStep) -> None:
    """Pressure falls: by itself where the box lets gas out, else somebody opens a hand valve for it."""
    volume = next(v for v, edges in draft.bands.edges.items() for e in edges if mask & draft.layout.mask([draft.bands.name(v, e)]))
    lines = {n: p for n, p in draft.pad.parts(LinePart).items() if volume in (p.line.origin, p.line.end) and "air" in (p.line.origin, p.line.end)}
    opened = [valve(p.opened_by) for p in lines.values() if p.opened_by in draft.pad.outputs]
    leaves = any(step.word & draft.layout.mask([bit]) for bit in opened)
    by_hand = next((n for n, p in lines.items() if p.opened_by == "hand"), None)
    if not leaves and by_hand is not None:
        script.add(HandValve(by_hand, True))
    _pressure(script, draft, mask, False)
    if not leaves and by_hand is not None:
        script.add(HandValve(by_hand, False), Then(0))


def _let_open(script: Script, draft: Draft, output: str, step: StoryStep) -> None:
    """A valve opens: hands release what would inhibit it."""
    number = list(draft.pad.outputs).index(output)
    opened = draft.layout.mask([f"{output} truly open"]) if draft.layout.has(f"{output} truly open") else 0
    if not step.word & opened:
        return
    for inhibit in draft.table.inhibits:
        if inhibit.output == number:
            _literals(script, draft, inhibit.care, ~inhibit.want, None)


def _literals(script: Script, draft: Draft, care: int, want: int, presses: list[str] | None) -> None:
    """Bring contacts to where these literals want them; presses are collected."""
    for i, bit in enumerate(draft.table.bits):
        if care >> i & 1:
            _bit(script, draft, bit, bool(want >> i & 1), presses)


def _bit(script: Script, draft: Draft, bit: Bit, value: bool, presses: list[str] | None) -> None:
    table = draft.table
    if bit.kind == Kind.CONTACT:
        contact = table.contacts[bit.source].name
        if contact not in draft.tracked:
            script.put(contact, _word(draft, contact, bit.wanted == value))
    elif bit.kind == Kind.PRESS and value and presses is not None:
        presses.append(table.contacts[bit.source].name)
    elif bit.kind == Kind.ALL and value and not bit.set.invert:
        _literals(script, draft, bit.set.care, bit.set.want, presses)
    elif bit.kind == Kind.HEARD:
        link = table.heartbeats[bit.source]
        if value == script.silent:
            script.add(Mend(link) if value else Strike(link, "lost"))
            script.silent = not value


def _word(draft: Draft, contact: str, closed: bool) -> bool:
    part = draft.pad.inputs[contact]
    assert isinstance(part, ContactInput)
    return closed == part.contact.closed_means_word


def _scan(script: Script, draft: Draft, system: System, step: StoryStep, origin: int | None, before: int | None) -> None:
    row = system.rows[step.row]
    for contact, name in draft.by_hand.items():
        bit = draft.layout.mask([name])
        if row.guard.care & bit:
            script.put(contact, bool(row.guard.want & bit))
    if origin is None:
        if row.to is not None:
            place = draft.places[row.to]
            seconds = draft.steps[place.state][place.region - 1] * draft.pad.scan_ms
            script.stand(script.state, seconds)
        return
    table_row = draft.table.rows[origin]
    presses: list[str] = []
    _literals(script, draft, table_row.care, table_row.want, presses)
    if presses:
        # what has to have stood for a time is given that time before the button goes down
        delays = [b.hold for i, b in enumerate(draft.table.bits) if _asked(draft, table_row.care) >> i & 1]
        script.stand(script.state, max(script.after, max(delays, default=0) * draft.pad.scan_ms + 300))
    for contact in dict.fromkeys(presses):
        script.press(contact)
    script.stand(draft.table.states[table_row.to].name)


def _asked(draft: Draft, care: int) -> int:
    """These condition bits and those they are made from, as a mask."""
    for i in reversed(range(len(draft.table.bits))):
        if care >> i & 1:
            care |= draft.table.bits[i].set.care
    return care


def _late(draft: Draft, system: System, steps: list[StoryStep]) -> list[StoryStep]:
    """The steps with hands on gate and pin as late as they may be: the box's filters leave them little time."""
    moved = list(steps)
    for contact, truth in draft.tracked.items():
        bit = draft.layout.mask([truth])
        for at in reversed(range(len(moved))):
            row = system.rows[moved[at].row]
            if row.actor != "crew" or not (row.set | row.clear) & bit:
                continue
            to = at
            while to + 1 < len(moved) and not _needs(system.rows[moved[to + 1].row], contact, bit):
                to += 1
            moved.insert(to, moved.pop(at))
    return moved


def _needs(row: Row, contact: str, bit: int) -> bool:
    """Whether a step may not come before a hand's move on this contact."""
    touched = (row.guard.care | row.set | row.clear) & bit
    return bool(touched) or row.tag in (f"follow {contact}", "blink", "boot", "settle", "walk in", "walk out", "arrive")


def replay(
    draft: Draft, system: System, steps: list[StoryStep], rule: str, strikes: Mapping[int, tuple[Fault, ...]] | None = None
) -> Replay:
    """Play a story in the exact simulator, a few seeds, and say whether the rule broke there."""
    events = events_of(draft, system, steps if strikes else _late(draft, system, steps), strikes or {})
    longest = 60_000 + sum(_patience(e.moment) for e in events)
    waiting: tuple[str, ...] = ()
    for seed in range(TRIES):
        run = simulate(draft.pad, events, seed=seed, table=draft.table, until_ms=min(longest, LONGEST_MS), settle_ms=2_000, trace=False)
        for judged in run.judged:
            if judged.name == rule and judged.outcome == "broken":
                return Replay(True, seed + 1, f"confirmed in the exact simulator: {judged.says}")
        waiting = run.waiting
        if waiting:
            return Replay(False, seed + 1, f"not reproduced: the simulator never comes to '{waiting[0][:120]}'")
    return Replay(False, TRIES, f"not reproduced in {TRIES} tries: the same acts end without the breach in the exact simulator")


def _patience(moment: Moment) -> int:
    """How long an event may be waited for, ms."""
    if isinstance(moment, InState):
        return moment.after_ms + 90_000
    return 90_000 if isinstance(moment, Once) else 1_000


__all__ = ["events_of", "replay"]
