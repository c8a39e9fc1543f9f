"""What all faults of a pad bring, said once: every row with what must be wrong for it, and which sets of faults suffice.

A fault is a set of *wrongs*: a row of its own, a reading that lies, a race that no longer holds, a part that no longer
keeps gas back, a switch that the box does not see. A row of a faulted system may be taken under a set of faults when
every wrong it needs is brought by one of them. So a pair of faults needs no rows of its own, and a set of any size can
be looked at without building its system.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations

from sequencer.description.faults import Fault
from sequencer.proof import controller, gas
from sequencer.proof.draft import Draft
from sequencer.proof.faults import Edit, edits
from sequencer.proof.system import Row, System

Set = tuple[int, ...]
"""Numbers of fault kinds, rising."""


@dataclass(frozen=True)
class Kind:
    """Faults that change the same, looked at once."""

    edit: Edit
    faults: tuple[Fault, ...]


def kinds(draft: Draft) -> list[Kind]:
    """Every fault of a pad that the file does not leave out, those that change the same together."""
    found: dict[Edit, list[Fault]] = {}
    for fault, edit in edits(draft).items():
        found.setdefault(edit, []).append(fault)
    return [Kind(edit, tuple(some)) for edit, some in found.items()]


def race(number: int) -> str:
    """The wrong 'this race no longer holds'."""
    return f"race {number}"


def blind(bit: int) -> str:
    """The wrong 'the box does not see this switch'."""
    return f"blind {bit}"


@dataclass
class Brought:
    """The faults of one pad over its sound system. rows: what they add; needs of a row are names of wrongs."""

    draft: Draft
    system: System
    most: int
    kinds: list[Kind] = field(init=False)
    inert: list[Kind] = field(init=False)
    rows: list[Row] = field(default_factory=list)
    wrongs: dict[str, frozenset[int]] = field(default_factory=dict)
    """{wrong: numbers of the kinds that bring it}"""
    barred: dict[str, frozenset[int]] = field(default_factory=dict)
    """{wrong: numbers of the kinds that take it away}; faults take nothing away"""

    def __post_init__(self) -> None:
        every = kinds(self.draft)
        self.kinds = [k for k in every if not k.edit.inert]
        self.inert = [k for k in every if k.edit.inert]
        self.rows = [*self._own(), *self._lying(), *self._rising()]
        self._races()
        self._switches()

    # ---- rows ---------------------------------------------------------------------------------

    def _own(self) -> Iterator[Row]:
        owners: dict[Row, list[int]] = {}
        for number, kind in enumerate(self.kinds):
            for row in kind.edit.rows:
                owners.setdefault(row, []).append(number)
        for row, some in owners.items():
            wrong = "own " + " ".join(map(str, some))
            self.wrongs[wrong] = frozenset(some)
            yield row.but(needs=frozenset({wrong}))

    def _lying(self) -> Iterator[Row]:
        for number, kind in enumerate(self.kinds):
            for name in kind.edit.loose:
                self.wrongs[name] = self.wrongs.get(name, frozenset()) | {number}
        loose = frozenset(n for k in self.kinds for n in k.edit.loose)
        for place in self.draft.running:
            if controller.reads(self.draft, place, loose):
                for row in controller.scan_rows(self.draft, place, loose=loose, most=self.most):
                    if row.needs:
                        yield row

    def _rising(self) -> Iterator[Row]:
        bringers: dict[str, set[int]] = {}
        for number, kind in enumerate(self.kinds):
            for wrong in [f"fails {n}" for n in kind.edit.failures] + [f"leaks {n}" for n in kind.edit.leaking]:
                bringers.setdefault(wrong, set()).add(number)
        self.wrongs |= {wrong: frozenset(some) for wrong, some in bringers.items()}
        seen = {r for r in self.system.rows if r.tag.startswith("up ")}
        for size in range(1, self.most + 1):
            for some in combinations(sorted(bringers), size):
                names = {kind: frozenset(w.removeprefix(kind) for w in some if w.startswith(kind)) for kind in ("fails ", "leaks ")}
                for row in gas.rising(self.draft, names["fails "], names["leaks "]):
                    if row not in seen:
                        seen.add(row)
                        yield row.but(needs=frozenset(some))

    def _races(self) -> None:
        for number, one in enumerate(self.draft.races):
            some = frozenset(k for k, kind in enumerate(self.kinds) if one.parts & kind.edit.relax)
            if some:
                self.wrongs[race(number)] = some

    def _switches(self) -> None:
        for bit in range(self.draft.layout.shift):
            some = frozenset(k for k, kind in enumerate(self.kinds) if kind.edit.blind >> bit & 1)
            if some:
                self.wrongs[blind(bit)] = some

    # ---- sets ---------------------------------------------------------------------------------

    def apart(self, some: Set) -> bool:
        """Whether a set can be of faults of different parts."""
        return bool(self.named(some))

    def named(self, some: Set) -> list[tuple[Fault, ...]]:
        """The sets of faults, all of different parts, that a set of kinds stands for."""
        found: list[tuple[Fault, ...]] = [()]
        for kind in some:
            found = [(*old, f) for old in found for f in self.kinds[kind].faults if all(f.part != o.part for o in old)]
        return found

    def sets(self, size: int) -> list[Set]:
        """Every set of so many kinds of different parts."""
        return [s for s in combinations(range(len(self.kinds)), size) if self.apart(s)]
