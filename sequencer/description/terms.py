"""What a sentence of the file means, as plain frozen values.

Three small languages share this vocabulary: a condition ("gate is shut for 1 s", one bit of the
controller), an expression over condition names ("pressed and not stop_down", in `once:`), and a
proposition about the pad itself ("someone on the pad and bottle at least 0.3 bar", in interlocks).
Point pressures are gauge pascal, other quantities SI.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import prod
from typing import Literal

from sequencer.errors import Place
from sequencer.quantities import Quantity

# ---- expressions over names -------------------------------------------------------------------


@dataclass(frozen=True)
class Name:
    """A condition name; `offset` is where it stands in the text."""

    name: str
    offset: int = field(default=0, compare=False)


@dataclass(frozen=True)
class Not:
    item: Expression


@dataclass(frozen=True)
class And:
    items: tuple[Expression, ...]


@dataclass(frozen=True)
class Or:
    items: tuple[Expression, ...]


# ---- conditions: one bit of the controller each -----------------------------------------------


@dataclass(frozen=True)
class ContactIs:
    """The filtered contact stands at its word (or does not)."""

    input: str
    word: str
    wanted: bool = True


@dataclass(frozen=True)
class Becomes:
    """A press: the filtered contact changed to its word in this scan, seen away from it in this state."""

    input: str
    word: str


@dataclass(frozen=True)
class AtLeast:
    """The reading is at least `limit`; once true it stays until below `until`. False when invalid."""

    reading: str
    limit: Quantity
    until: Quantity | None = None


@dataclass(frozen=True)
class Below:
    """The reading is below `limit`; once true it stays until at least `until`. False when invalid."""

    reading: str
    limit: Quantity
    until: Quantity | None = None


@dataclass(frozen=True)
class ReadingValid:
    """The reading lies inside its valid band (or does not)."""

    reading: str
    wanted: bool = True


@dataclass(frozen=True)
class HeardWithin:
    """A fresh valid message came within the last `within` (s)."""

    link: str
    within: Quantity


@dataclass(frozen=True)
class Differs:
    """|first - second| is at least (or less than) `limit`; false when either is invalid."""

    first: str
    second: str
    limit: Quantity
    at_least: bool


@dataclass(frozen=True)
class Changes:
    """From `over` after the bit `since` rose, while it stays: the reading has risen (or fallen)
    by at least / by less than `limit` since that rise. False before, false when invalid."""

    reading: str
    direction: Literal["rises", "falls"]
    limit: Quantity
    at_least: bool
    over: Quantity
    since: str


@dataclass(frozen=True)
class ReachesTarget:
    """The reading is at least the target of the present state; drop-out `until below by`. False in
    a state that gives no target."""

    reading: str
    drop: Quantity | None = None


@dataclass(frozen=True)
class StateIs:
    """The controller stood in this state when the scan began."""

    state: str
    wanted: bool = True


@dataclass(frozen=True)
class CommandIs:
    """The last scan's command for this output was this position."""

    output: str
    position: str
    wanted: bool = True


@dataclass(frozen=True)
class Combination:
    """An expression over bits defined above it."""

    expression: Expression


@dataclass(frozen=True)
class Memory:
    """Set by one expression, cleared by another (clearing wins), expiring after `at_most`; lost at
    power-up."""

    set: Expression
    clear: Expression | None = None
    at_most: Quantity | None = None


Term = (
    ContactIs | Becomes | AtLeast | Below | ReadingValid | HeardWithin | Differs | Changes | ReachesTarget
    | StateIs | CommandIs | Combination | Memory
)  # fmt: skip


@dataclass(frozen=True)
class Condition:
    """One bit: a term, an on-delay `held` and an off-delay `lingers` (IEC 61131-3 TON / TOF; s)."""

    term: Term
    held: Quantity | None = None
    lingers: Quantity | None = None
    text: str = ""


# ---- propositions about the pad ---------------------------------------------------------------


@dataclass(frozen=True)
class Someone:
    """At least one person (counted or not) stands on the pad; `wanted=False`: nobody does."""

    wanted: bool = True


@dataclass(frozen=True)
class PressureIs:
    """The true pressure of a volume is at least (or below) `limit`."""

    volume: str
    at_least: bool
    limit: Quantity


@dataclass(frozen=True)
class CommandedTo:
    """An output is commanded to a position ("fill open")."""

    output: str
    position: str
    wanted: bool = True


@dataclass(frozen=True)
class HeadIs:
    """The release head truly is 'latched' (holds and is seated), or has 'let go'."""

    head: str
    what: Literal["latched", "let go"]
    wanted: bool = True


@dataclass(frozen=True)
class SwitchIs:
    """The thing that an input senses truly stands at its word ("stop is pressed")."""

    input: str
    word: str
    wanted: bool = True


@dataclass(frozen=True)
class LineIs:
    """A line of the site is truly open or shut."""

    line: str
    open: bool


@dataclass(frozen=True)
class PinIs:
    """A locking pin is truly in or out."""

    pin: str
    inside: bool


@dataclass(frozen=True)
class PeopleAllowed:
    """The present state allows people on the pad."""

    wanted: bool = True


@dataclass(frozen=True)
class BoxSays:
    """A condition bit of the controller ("box says empty")."""

    condition: str
    wanted: bool = True


Fact = Someone | PressureIs | CommandedTo | HeadIs | SwitchIs | LineIs | PinIs | PeopleAllowed | StateIs | BoxSays

Expression = Name | Not | And | Or | Fact
"""In `once:` the leaves are `Name`s; in an interlock they are facts."""


@dataclass(frozen=True)
class Written:
    """An expression with the user's text and its place, so that an error can point at the word."""

    expression: Expression
    text: str
    place: Place = Place()


def leaves(expression: Expression) -> list[Expression]:
    """All leaves in written order."""
    if isinstance(expression, Not):
        return leaves(expression.item)
    if isinstance(expression, And | Or):
        return [leaf for item in expression.items for leaf in leaves(item)]
    return [expression]


def alternatives(expression: Expression, wanted: bool = True) -> list[dict[Expression, bool]]:
    """Disjunctive normal form: each alternative maps leaf -> value wanted; contradictory ones drop out."""
    if isinstance(expression, Not):
        return alternatives(expression.item, not wanted)
    if isinstance(expression, And | Or):
        parts = [alternatives(item, wanted) for item in expression.items]
        if isinstance(expression, Or) == wanted:
            return [one for part in parts for one in part]
        result: list[dict[Expression, bool]] = [{}]
        for part in parts:
            merged = []
            for left in result:
                for right in part:
                    if all(left.get(leaf, value) == value for leaf, value in right.items()):
                        merged.append({**left, **right})
            result = merged
        return result
    return [{expression: wanted}]


MOST_WAYS = 200  # alternatives of one sentence; each becomes a row in every state concerned


def ways(expression: Expression, wanted: bool = True) -> int:
    """At most so many alternatives, counted without writing them out (they can be very many)."""
    if isinstance(expression, Not):
        return ways(expression.item, not wanted)
    if isinstance(expression, And | Or):
        numbers = [ways(item, wanted) for item in expression.items]
        if isinstance(expression, Or) == wanted:
            return sum(numbers)
        return prod(numbers)
    return 1
