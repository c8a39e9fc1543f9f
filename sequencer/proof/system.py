"""The guarded bit-rewrite system: rows, rules and starts, as plain frozen data.

A row may be taken from a word at one of its places when its guard holds and none of `unless` does; it clears and
sets bits, and may move the box to another place. World rows may happen in any order at any moment. Scan rows are
one scan of the controller each, with the free inputs already chosen; time passes only through them. An explorer, a
checker and a second opinion need nothing but this.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from sequencer.proof.words import Cube, Layout

Actor = Literal["box", "gas", "part", "crew", "power", "slip", "reading"]


@dataclass(frozen=True)
class Race:
    """An assumption that was used: `first` is over before `second`, by these two durations (s)."""

    first: str
    first_most: float
    second: str
    second_least: float
    source: Literal["file", "physics", "scans"]
    parts: frozenset[str] = frozenset()
    """Parts that must be sound for it: a fault of one of them takes the race away."""

    def __str__(self) -> str:
        return f"{self.first} (at most {self.first_most:.2f} s) is over before {self.second} (at least {self.second_least:.2f} s)"


@dataclass(frozen=True)
class Row:
    """One guarded rewrite.

    at:      place numbers from which it may be taken
    to:      place number afterwards, or None: the place stays
    unless:  (cube, race number) pairs; a word in one of these cubes may not take the row
    scan:    it is a scan of the controller (rules about commands are judged on its image)
    lazy:    a delay of the box was taken as not over although its source holds; not judged where a reaction is allowed
    sure:    it can certainly be brought about (used only for 'always possible')
    origin:  row of the controller's table, or None
    needs:   what must be wrong for it, all of it: readings that lie, races that a fault takes away (names of `Faults`)
    """

    says: str
    actor: Actor
    at: tuple[int, ...]
    guard: Cube
    clear: int = 0
    set: int = 0
    to: int | None = None
    unless: tuple[tuple[Cube, int], ...] = ()
    scan: bool = False
    lazy: bool = False
    sure: bool = True
    origin: int | None = None
    forward: bool = True
    tag: str = ""
    needs: frozenset[str] = frozenset()

    def but(self, **fields: Any) -> Row:
        """The same row with other values of some fields: `replace`, but quick, since there are many."""
        made = object.__new__(Row)
        made.__dict__.update(self.__dict__, **fields)
        return made

    @property
    def idle(self) -> bool:
        """Whether the row changes nothing (its image is still judged)."""
        return self.to is None and not self.clear and not self.set

    def image(self, layout: Layout, word: int) -> int:
        """The word afterwards."""
        result = word & ~self.clear | self.set
        return result if self.to is None else layout.at(self.to, result)

    def takes(self, layout: Layout, word: int) -> bool:
        """Whether the row may be taken from this word."""
        return (
            layout.place_of(word) in self.at
            and self.guard.holds(word)
            and not any(cube.holds(word) for cube, _ in self.unless)
        )


@dataclass(frozen=True)
class Bad:
    """Words (at these places) that break a rule. `after_scan`: judged only on images of scans that are not lazy."""

    places: frozenset[int]
    cube: Cube
    after_scan: bool
    starts: int | None = None  # an output: judged only where its command begins
    sources: tuple[tuple[frozenset[int], Cube], ...] = ()  # where the command was not yet given


@dataclass(frozen=True)
class RuleCheck:
    """One interlock as cubes that must not be reached."""

    name: str
    bad: tuple[Bad, ...]


@dataclass(frozen=True)
class Place:
    """What the box is doing: 'off', 'settling' or 'run' with state number and timer region."""

    kind: Literal["off", "settling", "run"]
    state: int = 0
    region: int = 0


@dataclass(frozen=True)
class System:
    """Everything the exploration needs."""

    layout: Layout
    places: tuple[Place, ...]
    rows: tuple[Row, ...]
    starts: tuple[int, ...]
    races: tuple[Race, ...]
    rules: tuple[RuleCheck, ...]
    free: int = 0
    """Bits that any row may find either way (toggled at will, written by nothing else): they are not kept."""
    spent: int = 0
    """Bits that a scan writes for the rules alone: judged on its image, then forgotten."""
