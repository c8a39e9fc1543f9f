"""The contract read literally: a controller that keeps the whole history and reads the file's own terms.

Written from the text of DEVELOPERS.md ("The meaning"), not from the table or the scan: every value is looked up
in the past, readings are exact fractions of their unit, and nothing is compiled. Slow and plain on purpose.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from sequencer.description import Pad
from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput
from sequencer.table import Inputs


def exact(number: float) -> Fraction:
    """A number of the file as it was written, not as a float holds it."""
    return Fraction(number).limit_denominator(10**7)


class Naive:
    """One box. `step` is one scan; `state`, `outputs`, `bits` (by name) and `moved` tell what it did."""

    def __init__(self, pad: Pad) -> None:
        self.pad = pad
        kinds = {ContactInput: [], AnalogInput: [], HeartbeatInput: []}
        for name, part in pad.inputs.items():
            kinds[type(part)].append(name)
        self.contacts, self.analogs, self.hearts = kinds[ContactInput], kinds[AnalogInput], kinds[HeartbeatInput]
        self.raw: dict[str, list[int]] = {name: [] for name in pad.inputs}
        self.level: dict[str, list[int]] = {name: [] for name in self.contacts}
        self.value: dict[str, list[bool]] = {name: [] for name in pad.conditions}
        self.before: dict[str, list[bool | None]] = {name: [] for name in pad.conditions}
        self.states: list[str] = []  # the state in which each scan began
        self.commands: list[dict[str, str]] = []
        self.settled_at: int | None = None
        self.entered = -1  # the scan whose move entered the present state
        self.state = pad.first_state
        self.moved: tuple[str, str] | None = None

    # ---- inputs -----------------------------------------------------------------------------

    def scans(self, quantity: Any) -> int:
        """A duration in scans, up to the next whole one."""
        return 0 if quantity is None else -(-exact(quantity.si * 1000) // self.pad.scan_ms)

    def reading(self, name: str, at: int) -> Fraction | None:
        """The reading at a scan in its unit's SI, None when invalid."""
        part = self.pad.inputs[name]
        assert isinstance(part, AnalogInput)
        counts = self.raw[name][at]
        if not part.valid.low <= counts <= part.valid.high:
            return None
        (c1, q1), (c2, q2) = ((int(c), exact(q.si)) for c, q in part.points.items())
        return q1 + (q2 - q1) * Fraction(counts - c1, c2 - c1)

    def filtered(self, name: str) -> int:
        """The filtered level: it follows at the n-th scan after the one that first saw the change."""
        n, raw, level = self.scans(self.pad.inputs[name].steady_for), self.raw[name], self.level[name]
        window = raw[-n - 1 :]
        assert self.settled_at is not None
        if len(level) - self.settled_at >= n and all(r != level[-1] for r in window):
            return raw[-1]
        return level[-1]

    def settle(self) -> bool:
        """Whether in this scan every contact has stood for its own steady time."""
        for name in self.contacts:
            n = self.scans(self.pad.inputs[name].steady_for)
            window = self.raw[name][-n - 1 :]
            if len(window) < n + 1 or len(set(window)) > 1:
                return False
        return True

    # ---- one scan ---------------------------------------------------------------------------

    def step(self, inputs: Inputs) -> None:
        """Sample, filter, conditions in file order, the first row that holds, outputs, inhibits."""
        now = len(self.states)
        self.states.append(self.state)
        for names, values in ((self.contacts, inputs.contacts), (self.analogs, inputs.counts), (self.hearts, inputs.heard)):
            for name, value in zip(names, values, strict=True):
                self.raw[name].append(value)
        fresh = self.settled_at is None and self.settle()
        if fresh:
            self.settled_at = now
        for name in self.contacts:
            if self.settled_at is None or fresh:
                self.level[name].append(self.raw[name][-1])
            else:
                self.level[name].append(self.filtered(name))
        self.bits: dict[str, bool] = {}
        for name, condition in self.pad.conditions.items():
            before = self.term(name, condition.term, now) if self.settled_at is not None else False
            self.before[name].append(before)
            self.bits[name] = self.delayed(name, condition) if self.settled_at is not None else False
            self.value[name].append(self.bits[name])
        self.moved = self.row(now) if self.settled_at is not None else None
        if self.moved is not None:
            self.state, self.entered = self.moved[1], now
        self.outputs = {name: self.pad.commanded(self.state, name) for name in self.pad.outputs}
        for key, inhibit in self.pad.inhibits.items():
            if self.holds(inhibit.once.expression):
                output, _, position = key.partition(" stays ")
                self.outputs[output] = position
        self.commands.append(self.outputs)

    def row(self, now: int) -> tuple[str, str] | None:
        """(origin, next state) of the first row that holds, trips first."""
        assert self.settled_at is not None
        timer = now - self.settled_at if self.entered < 0 else now - self.entered - 1
        for name, trip in self.pad.trips.items():
            if self.state not in trip.everywhere_but and timer >= self.scans(trip.not_before) and self.holds(trip.once.expression):
                return f"trip {name}", trip.go_to
        for number, leave in enumerate(self.pad.states[self.state].leave, 1):
            origin = f"{self.state} exit {number}"
            if leave.once is not None and timer >= self.scans(leave.not_before) and self.holds(leave.once.expression):
                return origin, leave.go_to
            late = leave.at_latest or (leave.not_before if leave.once is None else None)
            if late is not None and timer >= self.scans(late):
                return origin, leave.go_to
        return None

    def holds(self, expression: t.Expression) -> bool:
        """An expression over the bits of this scan."""
        if isinstance(expression, t.Not):
            return not self.holds(expression.item)
        if isinstance(expression, t.And):
            return all(self.holds(item) for item in expression.items)
        if isinstance(expression, t.Or):
            return any(self.holds(item) for item in expression.items)
        assert isinstance(expression, t.Name)
        return self.bits[expression.name]

    # ---- conditions -------------------------------------------------------------------------

    def delayed(self, name: str, condition: t.Condition) -> bool:
        """On-delay and off-delay by looking back; an invalid reading is false at once."""
        if isinstance(condition.term, t.Becomes | t.Memory):
            return bool(self.before[name][-1])
        assert self.settled_at is not None
        was = bool(self.value[name] and self.value[name][-1])
        seen = self.before[name][self.settled_at :]
        if seen[-1] is None:
            return False
        n = self.scans(condition.lingers if was else condition.held)
        window = seen[-n - 1 :]
        if len(window) == n + 1 and all(b is not None and b != was for b in window):
            return not was
        return was

    def term(self, name: str, term: t.Term, now: int) -> bool | None:
        """The condition before its delays; None where an invalid reading or a missing target makes it false at once."""
        if isinstance(term, t.ContactIs):
            return (self.at_word(term.input, term.word, now) == 1) == term.wanted
        if isinstance(term, t.Becomes):
            return self.press(term, now)
        if isinstance(term, t.ReadingValid):
            return (self.reading(term.reading, now) is not None) == term.wanted
        if isinstance(term, t.HeardWithin):
            back = exact(term.within.si * 1000) // self.pad.scan_ms
            return any(self.raw[term.link][max(0, now - back) : now + 1])
        if isinstance(term, t.StateIs):
            return (self.states[now] == term.state) == term.wanted
        if isinstance(term, t.CommandIs):
            last = self.commands[-1][term.output] if self.commands else self.at_reset(term.output)
            return (last == term.position) == term.wanted
        if isinstance(term, t.Combination):
            return self.holds(term.expression)
        if isinstance(term, t.Memory):
            return self.memory(name, term)
        return self.analog(name, term, now)

    def analog(self, name: str, term: Any, now: int) -> bool | None:
        reading = self.reading(getattr(term, "reading", None) or term.first, now)
        if reading is None:
            return None
        on = bool(self.before[name] and self.before[name][-1])
        if isinstance(term, t.AtLeast):
            return reading >= exact((term.until if on and term.until else term.limit).si)
        if isinstance(term, t.Below):
            return reading < exact((term.until if on and term.until else term.limit).si)
        if isinstance(term, t.ReachesTarget):
            target = self.pad.states[self.states[now]].targets.get(term.reading)
            if target is None:
                return None
            kept = on and self.entered != now - 1 and term.drop is not None
            return reading >= exact(target.si) - (exact(term.drop.si) if kept and term.drop else 0)
        if isinstance(term, t.Differs):
            other = self.reading(term.second, now)
            return None if other is None else (abs(reading - other) >= exact(term.limit.si)) == term.at_least
        assert isinstance(term, t.Changes)
        rose = self.rose(term.since, now)
        if rose is None or now - rose < self.scans(term.over):
            return None
        then = self.reading(term.reading, rose)
        if then is None:
            return None
        change = reading - then if term.direction == "rises" else then - reading
        return (change >= exact(term.limit.si)) == term.at_least

    def rose(self, name: str, now: int) -> int | None:
        """The scan in which the bit (or the state) rose, None while it is false."""
        assert self.settled_at is not None
        if name in self.pad.conditions:
            past = [*self.value[name][:now], self.bits[name]]
        else:
            past = [k >= self.settled_at and s == name for k, s in enumerate(self.states)]
        if not past[now]:
            return None
        at = now
        while at > 0 and past[at - 1]:
            at -= 1
        return at

    def at_word(self, name: str, word: str, at: int) -> int:
        sense = self.pad.inputs[name].contact
        level = self.level[name][at]
        at_word = level == 1 if sense.closed_means_word else level == 0
        return int(at_word if word == sense.word else not at_word)

    def press(self, term: t.Becomes, now: int) -> bool:
        """It changed to its word in this scan, and in this state raw and filter stood away from it before,
        in a scan in which the filter did not change, at the earliest when it settled."""
        level, raw = self.level[term.input], self.raw[term.input]
        if now == self.settled_at or level[now] == level[now - 1] or not self.at_word(term.input, term.word, now):
            return False
        return any(
            raw[j] == level[j] != level[now] and (j == self.settled_at or level[j] == level[j - 1])
            for j in range(max(self.entered + 1, self.settled_at), now)
        )

    def memory(self, name: str, term: t.Memory) -> bool:
        """Set by X until cleared by Y (clearing wins), for at most T from the last setting."""
        sets, clears = self._marks(name)
        sets.append(self.holds(term.set))
        clears.append(term.clear is not None and self.holds(term.clear))
        n = self.scans(term.at_most)
        for back, (was_set, was_cleared) in enumerate(zip(reversed(sets), reversed(clears), strict=True)):
            if was_cleared:
                return False
            if was_set:
                return n == 0 or back < n
        return False

    def _marks(self, name: str) -> tuple[list[bool], list[bool]]:
        marks: dict[str, tuple[list[bool], list[bool]]] = self.__dict__.setdefault("marks", {})
        return marks.setdefault(name, ([], []))

    def at_reset(self, output: str) -> str:
        rest = self.pad.outputs[output].rest
        return self.pad.output_positions[output][0] if rest == "stays" else rest
