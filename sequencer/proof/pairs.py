"""Which pairs of faults break each rule: every pair, in a slice of the system that is just wide enough for the rule.

First the slice is widened until the rule holds in it without faults; then all singles and all pairs are looked at in it
at once. Where the slice says that a set breaks the rule, that set is settled on its own, in a slice widened until it
decides (`settling`). A set that holds in a slice holds in the whole system.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from sequencer.proof.brought import Brought, Set
from sequencer.proof.closing import Closing, Sets
from sequencer.proof.settling import settle
from sequencer.proof.slices import Everything, Flags, Judged, Slice
from sequencer.proof.system import RuleCheck, System
from sequencer.proof.words import TooLarge


@dataclass
class Outcome:
    """One rule: the sets that break it, minimal ones only, and those that were not decided."""

    cuts: list[Set] = field(default_factory=list)
    open: list[Set] = field(default_factory=list)
    situations: int = 0


@dataclass
class Pairs:
    """All sets of up to two fault kinds of one pad. budget: most situations of a slice; seconds: of processor time
    for all rules, beyond which the rest is told as not decided."""

    system: System
    brought: Brought
    budget: int
    seconds: float

    def __post_init__(self) -> None:
        self.whole = Everything(self.system, self.brought)
        self.sets = Sets(self.brought, 2)
        self.until = time.process_time() + self.seconds

    def of(self, rule: RuleCheck, singles: set[Set], say: Callable[[str], None]) -> Outcome:
        """A rule that holds without faults; `singles`: the sets of one that are known to break it."""
        return _Rule(self, rule, singles, say).work()


class _Rule:
    def __init__(self, pairs: Pairs, rule: RuleCheck, singles: set[Set], say: Callable[[str], None]) -> None:
        self.pairs, self.rule, self.say = pairs, rule, say
        self.sets, self.out = pairs.sets, Outcome()
        self.live = np.ones(len(self.sets), np.bool_)
        self.decided = np.zeros(len(self.sets), np.bool_)
        self.decided[0] = True
        for number in self.sets.level(1):
            self.decided[number] = True
            if self.sets.all[number] in singles:
                self._cut(number)

    def work(self) -> Outcome:
        """The whole answer for one rule."""
        try:
            judged = Judged(self.pairs.whole, self.rule)
            settled = settle(self.pairs.whole, self.rule, (), judged.bits, self.pairs.budget)
            self.out.situations += settled.situations
            mask: int | None = settled.mask
            while mask is not None:
                mask = self._round(judged, mask)
        except TooLarge:
            pass
        self.out.open = [self.sets.all[n] for n in np.flatnonzero(self.live & ~self.decided)]
        return self.out

    def _cut(self, number: int) -> None:
        self.out.cuts.append(self.sets.all[number])
        self.live[number] = False
        for other in self.sets.level(2):
            if set(self.sets.all[number]) <= set(self.sets.all[other]):
                self.live[other] = False

    def _wanted(self) -> Flags:
        """The sets still to be decided, and their parts."""
        need = np.zeros(len(self.sets), np.bool_)
        for number in np.flatnonzero(self.live & ~self.decided):
            whole = self.sets.all[number]
            for size in range(len(whole) + 1):
                need[[self.sets.number[p] for p in combinations(whole, size) if p in self.sets.number]] = True
        return need & self.live

    def _round(self, judged: Judged, mask: int) -> int | None:
        """Everything in one slice; a wider mask where the slice was too narrow for a single fault, else None."""
        pairs, wanted = self.pairs, self._wanted()
        if not wanted[self.sets.first[1] :].any():
            return None
        closing = Closing(Slice(pairs.whole, judged, mask, len(self.sets)), self.sets, pairs.budget)
        if closing.start().breaks:
            raise AssertionError("a slice in which the rule held without faults breaks without faults")
        level = closing.climb(wanted)
        wider = mask
        for number in level.breaks:
            # known to hold: the slice is too narrow, and pairs with it would be followed no further
            settled = settle(pairs.whole, self.rule, self.sets.all[number], wider, pairs.budget)
            self.out.situations += settled.situations
            if settled.way is not None:
                self._cut(number)
            else:
                wider |= settled.mask
        if wider != mask:
            self.out.situations += closing.count
            return wider
        level = closing.climb(self._wanted())
        self.out.situations += closing.count
        for number in self.sets.level(2):
            if wanted[number] and number not in level.breaks:
                self.decided[number] = True
        for n, number in enumerate(level.breaks):
            if time.process_time() > pairs.until:
                return None
            if n % 20 == 0:
                self.say(f"pairs against {self.rule.name}: {n + 1} of {len(level.breaks)} that a slice cannot rule out")
            settled = settle(pairs.whole, self.rule, self.sets.all[number], wider, pairs.budget)
            self.out.situations += settled.situations
            self.decided[number] = True
            if settled.way is not None:
                self._cut(number)
            else:
                wider |= settled.mask
        return None
