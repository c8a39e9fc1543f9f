"""The rehearsal as lines of text, for a screen reader or a pipe: everything that happens is one line."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from typing import TextIO

from sequencer.crew.keys import keys
from sequencer.crew.rehearsal import Rehearsal
from sequencer.crew.screen_text import believes, comes_next, heard
from sequencer.errors import SequencerError

TICK_S = 0.1
HELP = "orders: WHO: press, hold, let go, set, walk, read, say; next, skip, fault PART: MODE; status, keys, pause, speed N, end"


class Teller:
    """Tells what is new: what was said, a changed state with its meaning, and the next line once it changed."""

    def __init__(self, rehearsal: Rehearsal, tell: Callable[[str], None]) -> None:
        self.rehearsal, self.tell = rehearsal, tell
        self._said, self._state, self._next = 0, "", -1

    def news(self) -> None:
        rehearsal = self.rehearsal
        for line in heard(rehearsal.said[self._said :]):
            self.tell(line)
        self._said = len(rehearsal.said)
        if rehearsal.state != self._state:
            self._state = rehearsal.state
            self.tell("  box: " + "; ".join(believes(rehearsal.belief())[:4]))
        if (rehearsal.progress.next or 0) != self._next:
            self._next = rehearsal.progress.next or 0
            self.tell("  next: " + "; ".join(line for line in comes_next(rehearsal) if line))


def plain(rehearsal: Rehearsal, source: TextIO, tell: Callable[[str], None], speed: int = 1) -> None:
    """Run until 'end' or the end of `source`; time goes by while nobody types."""
    lines: queue.Queue[str | None] = queue.Queue()

    def read() -> None:
        for line in source:
            lines.put(line)
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    teller, paused, last = Teller(rehearsal, tell), False, time.monotonic()
    tell(HELP)
    while True:
        teller.news()
        try:
            words = lines.get(timeout=TICK_S)
        except queue.Empty:
            words = ""
        now = time.monotonic()
        if not paused:
            rehearsal.advance(int((now - last) * 1000) * speed)
        last = now
        if words is None or words.strip() == "end":
            teller.news()
            return
        words = words.strip()
        if words == "pause":
            paused = not paused
            tell("paused" if paused else "going on")
        elif words.startswith("speed ") and words.removeprefix("speed ").isdigit():
            speed = min(max(int(words.removeprefix("speed ")), 1), 60)
            tell(f"speed {speed}")
        elif words:
            _order(rehearsal, words, tell)


def _order(rehearsal: Rehearsal, words: str, tell: Callable[[str], None]) -> None:
    if words == "status":
        for line in believes(rehearsal.belief()):
            tell("  " + line)
        return
    if words == "keys":
        for key in keys(rehearsal.pad):
            tell(f"  {key.label}: {key.on}" + (f" / {key.off}" if key.off else ""))
        return
    try:
        answer = rehearsal.order(words)
    except SequencerError as error:
        tell(error.message)
        tell(HELP)
        return
    if answer:
        tell(answer)
