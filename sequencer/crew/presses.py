"""Answers to a button that did not do what was hoped: too early, still lacking something, or nobody listens."""

from __future__ import annotations

from sequencer.crew.belief import listens, missing
from sequencer.simulation.session import Session
from sequencer.table.table import Kind

SPARE_SCANS = 3


class Presses:
    """Watches one press at a time until the box must have noticed it."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.judged = ""  # the input of the last answer
        self._input = ""
        self._state = -1
        self._moves = 0
        self._left_ms = self._due_ms = 0

    def pressed(self, input: str) -> None:
        """A contact was pressed now."""
        session = self.session
        steady = next(c.steady for c in session.table.contacts if c.name == input)
        kinds = {bit.kind for bit in session.table.bits if bit.source == self._index(input)}
        if session.box.state < 0 or Kind.PRESS not in kinds:
            return
        self._input, self._state, self._moves = input, session.box.state, len(session.box.log)
        waits = [row.least * session.table.scan_ms for row in listens(session.table, self._state, input)]
        self._left_ms = min(waits, default=0) - (session.ms - session.box.since_ms)
        self._due_ms = session.ms + (steady + SPARE_SCANS) * session.table.scan_ms + self._latency()

    def _index(self, input: str) -> int:
        return [contact.name for contact in self.session.table.contacts].index(input)

    def _latency(self) -> int:
        """A press over the radio arrives later; the longest the link takes."""
        from sequencer.description.grounds import LinkPart
        from sequencer.site.assumed import given_or_assumed

        links = [part for part in self.session.pad.parts(LinkPart).values() if self._input in part.carries]
        return round(max((given_or_assumed(p.latency, "link.latency").high for p in links), default=0.0) * 1000)

    def answer(self) -> str:
        """The answer once it is due, '' before and when the press did something."""
        session = self.session
        if not self._input:
            return ""
        if len(session.box.log) != self._moves or session.box.state != self._state:
            self._input = ""
            return ""
        if session.ms < self._due_ms:
            return ""
        self.judged, self._input = self._input, ""
        name = self.judged.replace("_", " ")
        state = session.table.states[self._state].name.replace("_", " ")
        rows = listens(session.table, self._state, self.judged)
        if not rows:
            return f"{name} does nothing in {state}"
        if self._left_ms > 0:
            return f"{name}: too early, press again"
        lacking = min((missing(session.table, session.pad, row, session.box.bits, Kind.PRESS) for row in rows), key=len)
        return f"{name}: not taken; lacking: {'; '.join(lacking)}" if lacking else f"{name}: not taken; let go and press again"
