"""What a proof leaves behind: plain and frozen; the table on the screen and JSON are views of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sequencer.proof.rates import TopEvent
from sequencer.proof.system import Race

Outcome = Literal["holds", "broken", "not shown", "not examined", "waived"]


@dataclass(frozen=True)
class Told:
    """One line of a story: who, what, and what the box was doing then."""

    actor: str
    says: str
    state: str


@dataclass(frozen=True)
class Replay:
    """What the exact simulator made of a story: confirmed, or not, in so many tries and why. besides: faults and events
    that are not the story's, which stood in for what it leaves open (a link not heard, a head that stays)."""

    confirmed: bool
    tries: int
    says: str
    besides: tuple[str, ...] = ()


@dataclass(frozen=True)
class Story:
    """A shortest way to a breach, with the faults it needs."""

    faults: tuple[str, ...]
    lines: tuple[Told, ...]
    replay: Replay | None = None


@dataclass(frozen=True)
class CutSet:
    """A smallest set of faults that breaks a rule, with its story."""

    faults: tuple[str, ...]
    equipment: int
    slips: int
    story: Story | None = None


@dataclass(frozen=True)
class Part:
    """One part of a worst case, in seconds."""

    says: str
    seconds: float


@dataclass(frozen=True)
class InterlockResult:
    """One interlock.

    `level`: the answer in words. `asked` and `withstands`: equipment faults and slips. `parts`: for timed rules the
    worst case by its parts.
    """

    name: str
    kind: str
    text: str
    severity: str
    outcome: Outcome
    level: str
    asked: tuple[int, int] = (0, 0)
    withstands: tuple[int, int] | None = None
    story: Story | None = None
    cuts: tuple[CutSet, ...] = ()
    parts: tuple[Part, ...] = ()
    common: tuple[str, ...] = ()
    """Common causes that complete a cut set."""
    notes: tuple[str, ...] = ()
    """What the verdict does not speak of, and what stands beside it."""
    top: TopEvent | None = None
    why: str = ""
    waived: str | None = None


@dataclass(frozen=True)
class HouseResult:
    """One house rule: what it wants, where it comes from, and what speaks against it in this file."""

    name: str
    says: str
    source: str
    outcome: Outcome
    against: tuple[str, ...] = ()
    waived: str | None = None


@dataclass(frozen=True)
class Why:
    """What one literal, trip or inhibit is for. `verdict`: 'needed' (with the rules that fail without it), 'redundant',
    'equivalent', or 'not shown' where the budget did not suffice."""

    where: str
    what: str
    verdict: Literal["needed", "redundant", "equivalent", "not shown"]
    rules: tuple[str, ...] = ()
    story: Story | None = None


@dataclass(frozen=True)
class Proof:
    """The whole answer, in the order in which it is to be read."""

    title: str
    revision: int
    file: str
    checksum: str
    blind: tuple[str, ...]
    races: tuple[Race, ...]
    assumed: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    kinds: int
    depth: int
    """Faults at once that were looked at."""
    situations: int
    transitions: int
    steps: int
    bits: int
    fault_sets: int
    fault_situations: int
    """New situations of all sets of faults together."""
    unfinished: tuple[tuple[str, ...], ...]
    """Sets of faults that were not explored to the end: nothing is said about them."""
    seconds: float
    interlocks: tuple[InterlockResult, ...]
    house: tuple[HouseResult, ...] = ()
    why: tuple[Why, ...] = ()

    @property
    def holds(self) -> bool:
        outcomes = [r.outcome for r in self.interlocks] + [r.outcome for r in self.house]
        return all(outcome in ("holds", "waived") for outcome in outcomes)
