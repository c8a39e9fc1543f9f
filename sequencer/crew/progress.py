"""Where the crew is on its checklist: which lines are done, out of order, skipped, and which calls were made."""

from __future__ import annotations

from dataclasses import dataclass, field

from sequencer.description.crew import Step
from sequencer.description.pad import Pad


@dataclass
class Progress:
    """Lines are numbered from 1. `at` maps a done line to when; `skipped` to when; `extra` are acts on no line."""

    pad: Pad
    at: dict[int, int] = field(default_factory=dict)
    by: dict[int, str] = field(default_factory=dict)
    skipped: dict[int, int] = field(default_factory=dict)
    disordered: list[int] = field(default_factory=list)
    extra: list[tuple[int, str, str]] = field(default_factory=list)
    calls: list[tuple[int, str, str]] = field(default_factory=list)
    asked: dict[int, int] = field(default_factory=dict)
    _partly: dict[int, set[str]] = field(default_factory=dict)

    @property
    def next(self) -> int | None:
        """The first line neither done nor skipped."""
        for number in range(1, len(self.pad.crew.steps) + 1):
            if number not in self.at and number not in self.skipped:
                return number
        return None

    def done(self, number: int, ms: int, who: str) -> None:
        """A line is done."""
        if self.next is not None and number > self.next:
            self.disordered.append(number)
        self.at[number], self.by[number] = ms, who

    def skip(self, ms: int) -> int:
        """Leave the next line out; returns its number, 0 when none is left."""
        number = self.next
        if number is None:
            return 0
        self.skipped[number] = ms
        return number

    def ask(self, number: int, ms: int) -> None:
        """The question of a poll was put."""
        self.asked.setdefault(number, ms)

    def silent(self) -> tuple[str, ...]:
        """Roles that have not answered the poll that is open now; empty when none is."""
        number = self.next
        if number is None or number not in self.asked:
            return ()
        answered = {role for at, role, said in self.calls if said.strip().lower() == "go" and at >= self.asked[number]}
        return tuple(role for role in self.pad.crew.steps[number - 1].poll if role not in answered)

    def call(self, who: str, what: str, ms: int) -> None:
        """Something was said by a role."""
        self.calls.append((ms, who, what))
        number = self.next
        if number is None:
            return
        step = self.pad.crew.steps[number - 1]
        if number in self.asked and not self.silent():
            self.done(number, ms, step.who)
        elif who == step.who and not acts(step) and what.strip().lower() in ("done", "seen", "counted"):
            self.done(number, ms, who)

    def undo(self, key: str) -> None:
        """What was done last by this key did not take: its line is open again."""
        lines = [number for number in self.at if key in acts(self.pad.crew.steps[number - 1])]
        if lines:
            number = max(lines, key=lambda n: (self.at[n], n))
            del self.at[number], self.by[number]
            self._partly.pop(number, None)
            self.disordered = [n for n in self.disordered if n != number]

    def act(self, who: str, verb: str, name: str, word: str, ms: int, state: str) -> None:
        """Something was done; the first open line that asks for it is fulfilled when all it asks for was done.

        A line further on is meant only where the box shows its state: what is done on an emergency card is no line.
        """
        first = self.next
        key = f"{verb} {name} {word}".strip()
        if first is None:
            self.extra.append((ms, who, key))
            return
        for number in range(first, len(self.pad.crew.steps) + 1):
            step = self.pad.crew.steps[number - 1]
            if number in self.at or number in self.skipped or key not in acts(step):
                continue
            if verb == "walk" and step.who != who:
                continue
            if number > first + 3 or (number > first and step.during not in (None, state)):
                break  # no line done early but an act of its own
            partly = self._partly.setdefault(number, set())
            partly.add(key)
            if partly >= acts(step):
                self.done(number, ms, who)
            return
        self.extra.append((ms, who, key))


def acts(step: Step) -> set[str]:
    """What a line asks to be done, as keys; empty for one that is only looked at or said."""
    asked = {f"set {name} {word}" for name, word in step.set.items()}
    if step.press:
        asked.add(f"press {step.press}")
    if step.walk:
        asked.add(f"walk {step.walk}")
    if step.read:
        asked.add(f"read {step.read}")
    return asked
