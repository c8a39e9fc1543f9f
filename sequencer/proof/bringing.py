"""How hands bring about what a scan is to see: switches put, buttons pressed, a link made silent, gas let out."""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.grounds import LinePart, LinkPart, SupplyPart
from sequencer.proof.bands import volume_of
from sequencer.proof.draft import Draft
from sequencer.proof.gas import valve
from sequencer.simulation import Event
from sequencer.simulation.events import (
    Action,
    At,
    HandValve,
    InState,
    Mend,
    Moment,
    Once,
    Strike,
    Switch,
    Then,
    Wait,
)
from sequencer.table import Kind

APART_MS = 60
"""Added to a contact's own time between two moves of it, so that the box sees both."""


class Bringing:
    """Events in the making: remembers where switches stand, what is open, and how long the box is to stay."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.events: list[Event] = []
        self.stands = {n: False for n, part in draft.pad.inputs.items() if isinstance(part, ContactInput) and n not in draft.tracked}
        self.state, self.after = "", 0
        self.waits = self.started = self.slow = False
        self.over = 0
        self.silent: set[str] = set()
        self.jammed: set[str] = set()
        self.open: set[str] = set()
        self.moved_in: dict[str, str] = {}
        self.note = ""

    # ---- moments ------------------------------------------------------------------------------

    def stand(self, state: str, after: int = 0) -> None:
        """From now on acts happen in this state, so long after its entry."""
        if state != self.state:
            self.moved_in.clear()
        self.state, self.after, self.waits = state, after, bool(state)

    def add(self, action: Action, moment: Moment | None = None, who: str = "") -> None:
        if moment is None:
            moment = InState(self.state, self.after) if self.waits else Then(0) if self.events else At(0)
        self.waits = False
        self.events.append(Event(moment, action, who, note=self.note))

    def wait_for(self, fact: t.Expression) -> None:
        """A pause until a fact is true."""
        if self.waits:
            self.add(Wait())
        self.events.append(Event(Once(fact), Wait(), "", note=self.note))

    # ---- contacts -----------------------------------------------------------------------------

    def _part(self, contact: str) -> ContactInput:
        part = self.draft.pad.inputs[contact]
        assert isinstance(part, ContactInput)
        return part

    def press(self, contact: str) -> None:
        """A hand lets a contact go long enough to be seen, and presses it; it stays pressed."""
        released = self.stands.get(contact, False)
        if released:
            self.stand(self.state, max(self.after, 200))
            self.put(contact, False)
        self.stands[contact] = True
        word = self._part(contact).contact.word
        rest = round(self._part(contact).steady_for.si * 1000) + 260
        if self.silent_for(contact):
            if not self.over:
                # a hand cannot reach the box over a link that is silent; its wire can
                self.add(Strike(contact, "shorted" if self._part(contact).contact.closed_means_word else "wire cut"))
                return
            # nor before the link is back; then what it carries may be there before the next message that says so
            self.add(Switch(contact, word))
            for link in sorted(self.silent):
                self.add(Mend(link), Then(self.over))
            self.silent.clear()
            return
        first = released or not self.state or not self.waits
        self.add(Switch(contact, word), Then(rest) if first else InState(self.state, max(self.after, 300)))

    def silent_for(self, contact: str) -> bool:
        """Whether what carries this contact is silent."""
        return any(p.link in self.silent and contact in p.carries for p in self.draft.pad.parts(LinkPart).values())

    def put(self, contact: str, at_word: bool) -> None:
        """A hand moves a contact, if it does not stand there yet."""
        if self.stands.get(contact) == at_word:
            return
        self.stands[contact] = at_word
        word = self._part(contact).contact.word
        again = self.moved_in.get(contact) == self.state
        self.moved_in[contact] = self.state
        moment = Then(round(self._part(contact).steady_for.si * 1000) + APART_MS) if again and not self.waits else None
        self.add(Switch(contact, word if at_word else f"not {word}"), moment)

    # ---- gas ----------------------------------------------------------------------------------

    def lines_out(self, volume: str) -> dict[str, LinePart]:
        lines = self.draft.pad.parts(LinePart)
        return {n: p for n, p in lines.items() if volume in (p.line.origin, p.line.end) and "air" in (p.line.origin, p.line.end)}

    def leaving(self, volume: str) -> list[str]:
        """Bits of the driven valves that let a volume out."""
        return [valve(p.opened_by) for p in self.lines_out(volume).values() if p.opened_by in self.draft.pad.outputs]

    def vent(self, volume: str) -> None:
        """Somebody opens a hand valve from this volume to air, where there is one."""
        by_hand = next((n for n, p in self.lines_out(volume).items() if p.opened_by == "hand"), None)
        if by_hand is not None and by_hand not in self.open:
            self.open.add(by_hand)
            self.add(HandValve(by_hand, True))

    def shut_vent(self, volume: str) -> None:
        for name in self.lines_out(volume):
            if name in self.open:
                self.open.discard(name)
                self.add(HandValve(name, False), Then(0))

    # ---- conditions ---------------------------------------------------------------------------

    def asked(self, care: int) -> int:
        """These condition bits and those they are made from, as a mask."""
        for i in reversed(range(len(self.draft.table.bits))):
            if care >> i & 1:
                care |= self.draft.table.bits[i].set.care
        return care

    def literals(self, care: int, want: int, presses: list[str] | None) -> None:
        """Bring contacts to where these literals want them; presses are collected."""
        for i in range(len(self.draft.table.bits)):
            if care >> i & 1:
                self.bring(i, bool(want >> i & 1), presses, gas=False)

    def bring(self, i: int, value: bool, presses: list[str] | None, *, gas: bool = True) -> None:
        """Bring a condition to a value, as far as hands can: `gas`: also by letting gas out."""
        table, bit = self.draft.table, self.draft.table.bits[i]
        if bit.kind == Kind.CONTACT:
            contact = table.contacts[bit.source].name
            if contact not in self.draft.tracked:
                closed = bit.wanted == value
                self.put(contact, closed == self._part(contact).contact.closed_means_word)
        elif bit.kind == Kind.PRESS and value and presses is not None:
            presses.append(table.contacts[bit.source].name)
        elif bit.kind == Kind.ALL and not bit.set.invert and value:
            self.literals(bit.set.care, bit.set.want, presses)
        elif bit.kind == Kind.ALL and not bit.set.invert and gas:
            self._spoil(bit.set.care, bit.set.want)
        elif bit.kind == Kind.HEARD:
            link = table.heartbeats[bit.source]
            if value == (link in self.silent):
                self.add(Mend(link) if value else Strike(link, "lost"))
                (self.silent.discard if value else self.silent.add)(link)
                # until silence is noticed; or until what the link carries is seen let go of, before it is pressed
                self.waits = False
                rest = APART_MS * 5 if value else round(bit.on * table.scan_ms) + 3 * table.scan_ms
                self.events.append(Event(Then(rest), Wait(), note=self.note))
        elif gas and bit.kind == Kind.CHANGE and bit.sign > 0 and value and not bit.wanted:
            self._keep_out(table.analogs[bit.source].name)
        elif gas and bit.kind in (Kind.AT_LEAST, Kind.TARGET) and not value or gas and bit.kind == Kind.BELOW and value or gas and bit.kind == Kind.CHANGE and bit.sign < 0 and value == bit.wanted:
            self._let_out(table.analogs[bit.source].name)

    def _let_out(self, reading: str) -> None:
        volume = volume_of(self.draft.pad, reading)
        if volume is not None:
            self.vent(volume)

    def _keep_out(self, reading: str) -> None:
        """Somebody shuts what feeds this volume, where that has a handle; else its gas is let out."""
        volume = volume_of(self.draft.pad, reading)
        lines = [p.line for p in self.draft.pad.parts(LinePart).values() if volume in (p.line.origin, p.line.end)]
        fed = {end for line in lines for end in (line.origin, line.end)}
        shut = [n for n, p in self.draft.pad.parts(SupplyPart).items() if n in fed and p.hand_valve is not None]
        for supply in shut:
            self.add(HandValve(supply, False))
        if not shut:
            self._let_out(reading)

    def _spoil(self, care: int, want: int) -> None:
        """Make one of these literals false: the first that hands can."""
        for i, bit in enumerate(self.draft.table.bits):
            if care >> i & 1 and bit.kind in (Kind.CONTACT, Kind.HEARD, Kind.AT_LEAST, Kind.BELOW, Kind.ALL):
                self.bring(i, not want >> i & 1, None)
                return
