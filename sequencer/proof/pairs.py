"""Which faults, alone and several at once, break each rule: all of them, in a slice of the system just wide enough.

First the slice is widened until the rule holds in it without faults; then all singles, and all larger sets of those that
do not break the rule, are looked at in it at once, size by size. Where the slice says that a set breaks the rule, that set
is settled, in a slice widened until it decides (`settling`); larger sets around one that needed a wider slice are looked
at in that. A set that holds in a slice holds in the whole system.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import combinations
from multiprocessing import get_context

import numpy as np

from sequencer.proof.aside import PROCESSES, able
from sequencer.proof.brought import Set
from sequencer.proof.closing import Closing
from sequencer.proof.engine import Flags
from sequencer.proof.everything import Everything, Judged
from sequencer.proof.sets import Changes
from sequencer.proof.settling import Way, settle
from sequencer.proof.slices import Slice
from sequencer.proof.sound import Sound
from sequencer.proof.system import RuleCheck, System
from sequencer.proof.words import TooLarge


@dataclass
class Outcome:
    """One rule: a way to its breach for each minimal set that breaks it, and the sets that were not decided."""

    cuts: dict[Set, Way] = field(default_factory=dict)
    open: list[Set] = field(default_factory=list)
    situations: int = 0


@dataclass
class Pairs:
    """All sets of up to `brought.most` fault kinds of one pad. budget: most situations of a slice; seconds: of processor time
    for all rules, beyond which the rest is told as not decided. sound: what is reached without faults."""

    system: System
    brought: Changes
    budget: int
    seconds: float
    sound: Sound | None = None

    def __post_init__(self) -> None:
        self.whole = Everything(self.system, self.brought)
        self.sets = self.whole.sets
        self.until = time.process_time() + self.seconds

    def all(self, rules: dict[int, RuleCheck], together: bool, say: Callable[[str], None]) -> dict[int, Outcome]:
        """Rules by number, all of which hold without faults. together: in two processes, where the machine has them."""
        found: dict[int, Outcome] = {}
        for number, outcome in self._forked(list(rules.items()), say) if together and able() else self._one_by_one(rules, say):
            found[number] = outcome
            say(f"faults against {rules[number].name}: {len(found)} of {len(rules)} rules looked at")
        return {number: found[number] for number in rules}

    def _one_by_one(self, rules: dict[int, RuleCheck], say: Callable[[str], None]) -> Iterator[tuple[int, Outcome]]:
        for number, rule in rules.items():
            yield number, self.of(rule, say)

    def _forked(self, rules: list[tuple[int, RuleCheck]], say: Callable[[str], None]) -> Iterator[tuple[int, Outcome]]:
        """Every rule by whichever of the processes is free; they share what has been made so far and send back answers."""
        say(f"faults against {len(rules)} rules")
        with get_context("fork").Pool(PROCESSES, _begin, (self,)) as pool:
            yield from pool.imap_unordered(_answer, rules)

    def of(self, rule: RuleCheck, say: Callable[[str], None]) -> Outcome:
        """A rule that holds without faults."""
        return _Rule(self, rule, say).work()


PLENTY = 50_000
"""Situations of the sound system beyond which a second process is worth its start."""
_shared: list[Pairs] = []
"""What a process works on, put there when it starts."""


def _begin(pairs: Pairs) -> None:
    pairs.until = time.process_time() + pairs.seconds
    _shared[:] = [pairs]


def _answer(rule: tuple[int, RuleCheck]) -> tuple[int, Outcome]:
    return rule[0], _shared[0].of(rule[1], lambda text: None)


class _Rule:
    def __init__(self, pairs: Pairs, rule: RuleCheck, say: Callable[[str], None]) -> None:
        self.pairs, self.rule, self.say = pairs, rule, say
        self.sets, self.out = pairs.sets, Outcome()
        self.judged = Judged(pairs.whole, rule)
        self.live = np.ones(len(self.sets), np.bool_)
        """Sets in which no smaller one breaks the rule."""
        self.decided = np.zeros(len(self.sets), np.bool_)
        self.decided[0] = True

    def work(self) -> Outcome:
        """The whole answer for one rule."""
        try:
            holds = self._settled([()], self.judged.bits)
            if holds:
                self._levels(holds[()])
        except TooLarge:
            pass
        self.out.open = [self.sets.all[n] for n in np.flatnonzero(self.live & ~self.decided)]
        return self.out

    def _settled(self, some: list[Set], mask: int) -> dict[Set, int]:
        """Settle some sets; those that hold, with the bits of the slice that decided it."""
        found = settle(self.pairs.whole, self.judged, some, mask, self.pairs.budget, self.pairs.sound)
        self.out.situations += found.situations
        for one in (*found.holds, *found.ways):
            self.decided[self.sets.number[one]] = True
        for one, way in found.ways.items():
            self.out.cuts[one] = way
            self.live &= ~self.sets.around(one)
        return found.holds

    def _levels(self, mask: int) -> None:
        """Level by level; sets around one for which the slice is too narrow in a slice of their own."""
        sets, closing = self.sets, self._closing(mask, self.live)
        wider: dict[Set, int] = {}
        """Sets that this slice cannot rule out and that hold, with the bits of a slice in which they do."""
        lost: set[Set] = set()
        for size in range(1, self.pairs.brought.most + 1):
            chosen = self.live & (sets.size == size)
            apart = np.zeros(len(sets), np.bool_)
            for one in (*wider, *lost):
                apart |= sets.around(one)
            self._ruled_out(closing, size, chosen & ~apart, mask, wider, lost)
            groups: dict[int, list[int]] = {}
            for number in np.flatnonzero(chosen & apart):
                parts = [p for less in range(1, size) for p in combinations(sets.all[number], less)]
                # what was not decided is followed nowhere, nor are the sets around it
                if not any(p in lost for p in parts):
                    whole = mask
                    for part in parts:
                        whole |= wider.get(part, 0)
                    groups.setdefault(whole, []).append(int(number))
            for whole, numbers in groups.items():
                if self._late():
                    lost |= {sets.all[n] for n in numbers}
                    continue
                some = np.zeros(len(sets), np.bool_)
                some[numbers] = True
                self._ruled_out(self._around(whole, some), size, some, whole, wider, lost)

    def _late(self) -> bool:
        """Whether the time given is used up."""
        return time.process_time() >= self.pairs.until

    def _around(self, mask: int, chosen: Flags) -> Closing:
        """A slice in which all parts of some sets are followed."""
        closing = self._closing(mask, chosen)
        parts = self.sets.with_parts(chosen)
        for size in range(1, int(self.sets.size[chosen].max())):
            if self._climbed(closing, size, parts):
                raise AssertionError("a set of faults that held in a narrower slice breaks in a wider one")
        return closing

    def _ruled_out(self, closing: Closing, size: int, chosen: Flags, mask: int, wider: dict[Set, int], lost: set[Set]) -> None:
        """One level for some sets, and those of them settled that the slice cannot rule out."""
        if size > 1 and (self._late() or not chosen.any()):
            lost |= {self.sets.all[n] for n in np.flatnonzero(chosen)}
            return
        doubtful = self._climbed(closing, size, chosen)
        wider |= self._settled(doubtful, mask)
        lost |= {one for one in doubtful if not self.decided[self.sets.number[one]]}

    def _closing(self, mask: int, chosen: Flags) -> Closing:
        """Level 0 in a slice with room for some sets."""
        pairs = self.pairs
        can = np.asarray(pairs.whole.enough_for(self.sets)[:, chosen].any(axis=1), np.bool_)
        closing = Closing(Slice(pairs.whole, self.judged, mask, len(self.sets), can), self.sets, pairs.budget)
        if closing.start().breaks:
            raise AssertionError("a slice in which the rule held without faults breaks without faults")
        return closing

    def _climbed(self, closing: Closing, size: int, chosen: Flags) -> list[Set]:
        """One level for some sets; those of them that the slice cannot rule out."""
        before = closing.count
        level = closing.climb(chosen)
        self.out.situations += closing.count - before
        numbers = [n for n in self.sets.level(size) if chosen[n]]
        self.decided[[n for n in numbers if n not in level.breaks]] = True
        doubtful = [self.sets.all[n] for n in numbers if n in level.breaks]
        if doubtful:
            self.say(f"faults against {self.rule.name}: {len(doubtful)} sets of {size} that a slice cannot rule out")
        return doubtful
