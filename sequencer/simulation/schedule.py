"""When events are due: moments watched against time, state and the pad."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sequencer.simulation.events import Action, At, Event, InState, Once, Then

_NEVER = 1 << 62


@dataclass
class _Pending:
    event: Event
    index: int
    visits: int = 0
    true_since: int = -1
    test: Callable[[], bool] | None = None


class Schedule:
    """The events not yet done. `due(ms, state, since_ms)` gives those whose moment has come, in written order."""

    def __init__(self, events: Sequence[Event], test: Callable[[Once], Callable[[], bool]]) -> None:
        self._open = [_Pending(e, i, test=test(e.moment) if isinstance(e.moment, Once) else None) for i, e in enumerate(events)]
        self._done: dict[int, int] = {}  # index -> ms
        self._later: list[tuple[int, int, str, Action]] = []  # (ms, order, who, action): what follows by itself
        self._order = 0
        self._wake = 0
        self._state = ""
        self._since = -1

    def follow(self, ms: int, who: str, action: Action) -> None:
        """Put an action at a time to come, e.g. letting go of a button."""
        self._order += 1
        self._later.append((ms, self._order, who, action))
        self._later.sort(key=lambda item: item[:2])
        self._wake = min(self._wake, ms)

    def cancel(self, action: Action) -> bool:
        """Take back a following action; returns whether it was there."""
        kept = [item for item in self._later if item[3] != action]
        found = len(kept) != len(self._later)
        self._later = kept
        return found

    @property
    def waiting(self) -> list[Event]:
        """Events whose moment has not come."""
        return [pending.event for pending in self._open]

    @property
    def over(self) -> frozenset[int]:
        """Numbers, in the written order, of the events that have happened."""
        return frozenset(self._done)

    def replace(self, events: Sequence[Event], over: set[int]) -> None:
        """Other events from now on, none of them on a statement about the pad; those numbered `over` have happened
        already. What follows by itself stays."""
        self._open = [_Pending(e, i) for i, e in enumerate(events) if i not in over]
        self._done = dict.fromkeys(sorted(over), -1)
        self._wake = 0

    @property
    def next_ms(self) -> int | None:
        """When the next following action is due; None without one."""
        return self._later[0][0] if self._later else None

    @property
    def idle(self) -> bool:
        """Nothing is left to happen."""
        return not self._open and not self._later

    def due(self, ms: int, state: str, since_ms: int) -> list[tuple[str, Action, Event | None]]:
        """(who, action, the event or None for what follows by itself) due at `ms`."""
        if ms < self._wake and state == self._state and since_ms == self._since:
            return []
        if (state, since_ms) != (self._state, self._since):
            for pending in self._open:
                if isinstance(pending.event.moment, InState) and pending.event.moment.state == state and self._ready(pending):
                    pending.visits += 1
            self._state, self._since = state, since_ms
        found: list[tuple[str, Action, Event | None]] = []
        while self._later and self._later[0][0] <= ms:
            _, _, who, action = self._later.pop(0)
            found.append((who, action, None))
        for pending in list(self._open):
            if self._ready(pending) and self._moment(pending, ms) <= ms:
                self._open.remove(pending)
                self._done[pending.index] = ms
                found.append((pending.event.who, pending.event.action, pending.event))
        times = [self._moment(pending, ms) for pending in self._open if self._ready(pending)]
        times += [item[0] for item in self._later[:1]]
        self._wake = min(times, default=_NEVER)
        return found

    def _ready(self, pending: _Pending) -> bool:
        event = pending.event
        return not (event.after_previous or isinstance(event.moment, Then)) or pending.index == 0 or pending.index - 1 in self._done

    def _moment(self, pending: _Pending, ms: int) -> int:
        """The time at which it is due as things stand; `_NEVER` while that cannot be said."""
        moment = pending.event.moment
        if isinstance(moment, At):
            return moment.ms
        if isinstance(moment, Then):
            return self._done.get(pending.index - 1, 0) + moment.ms
        if isinstance(moment, InState):
            if moment.state != self._state:
                return _NEVER
            pending.visits = max(pending.visits, 1)  # already there when it was first looked at
            return self._since + moment.after_ms if pending.visits >= moment.visit else _NEVER
        assert pending.test is not None
        if not pending.test():
            pending.true_since = -1
            return ms + 1
        if pending.true_since < 0:
            pending.true_since = ms
        return max(pending.true_since + moment.after_ms, 0) if ms >= pending.true_since + moment.after_ms else ms + 1
