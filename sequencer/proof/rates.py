"""Probabilities of cut sets, where the file gives rates; without them nothing is invented.

rare-event sum, min-cut upper bound and the exact value by conditioning on one event after the other (Shannon
expansion); Fussell-Vesely and Birnbaum importance. Sources: NUREG-0492 (fault tree handbook), from memory. Cut sets
of a written tree are found by MOCUS: an OR gate makes new rows, an AND gate more columns, then supersets are absorbed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

CutSet = frozenset[str]


def absorbed(sets: Iterable[CutSet]) -> list[CutSet]:
    """The sets of which no other is a part, small ones first."""
    kept: list[CutSet] = []
    for one in sorted(set(sets), key=lambda s: (len(s), sorted(s))):
        if not any(old <= one for old in kept):
            kept.append(one)
    return kept


def cut_sets(gates: Mapping[str, tuple[str, list[str]]], top: str) -> list[CutSet]:
    """Minimal cut sets of a tree {gate: ('or' | 'and', inputs)}; a name that is no gate is an event. Raises ValueError
    for a tree that turns in a circle."""
    rows: list[tuple[str, ...]] = [(top,)]
    for _ in range(10_000):
        at = next(((i, name) for i, row in enumerate(rows) for name in row if name in gates), None)
        if at is None:
            return absorbed(frozenset(row) for row in rows)
        i, name = at
        kind, inputs = gates[name]
        rest = tuple(n for n in rows[i] if n != name)
        rows[i : i + 1] = [(*rest, one) for one in inputs] if kind == "or" else [(*rest, *inputs)]
    raise ValueError("the tree does not come to an end: a gate feeds itself")


def rare_event(sets: Iterable[CutSet], q: Mapping[str, float]) -> float:
    """Sum of the cut sets' probabilities (an upper bound)."""
    return math.fsum(math.prod(q[e] for e in s) for s in sets)


def upper_bound(sets: Iterable[CutSet], q: Mapping[str, float]) -> float:
    """Min-cut upper bound 1 - prod(1 - P(cut))."""
    return -math.expm1(math.fsum(math.log1p(-math.prod(q[e] for e in s)) for s in sets))


def exact(sets: Iterable[CutSet], q: Mapping[str, float]) -> float:
    """Probability that some cut set is complete, events independent. Exponential in the worst case; fine to some
    hundred cut sets of order two."""
    known: dict[frozenset[CutSet], float] = {}

    def of(some: frozenset[CutSet]) -> float:
        if frozenset() in some:
            return 1.0
        if not some:
            return 0.0
        if some not in known:
            counts: dict[str, int] = {}
            for one in some:
                for event in one:
                    counts[event] = counts.get(event, 0) + 1
            event = max(sorted(counts), key=lambda e: counts[e])
            failed = frozenset(absorbed(s - {event} for s in some))
            sound = frozenset(s for s in some if event not in s)
            known[some] = q[event] * of(failed) + (1.0 - q[event]) * of(sound)
        return known[some]

    return of(frozenset(absorbed(sets)))


def fussell_vesely(sets: Iterable[CutSet], q: Mapping[str, float]) -> dict[str, float]:
    """Share of the rare-event sum that passes through each event."""
    some = list(sets)
    whole = rare_event(some, q)
    events = sorted({e for s in some for e in s})
    return {e: rare_event([s for s in some if e in s], q) / whole if whole else 0.0 for e in events}


def birnbaum(sets: Iterable[CutSet], q: Mapping[str, float]) -> dict[str, float]:
    """How much the exact value changes between an event certain and excluded."""
    some = list(sets)
    events = sorted({e for s in some for e in s})
    return {e: exact(some, {**q, e: 1.0}) - exact(some, {**q, e: 0.0}) for e in events}


@dataclass(frozen=True)
class TopEvent:
    """Probability that a rule is broken within one hour of exposure, from those cut sets whose events all have rates.
    importance: Fussell-Vesely; birnbaum: change of the exact value between an event certain and excluded."""

    rare: float
    bound: float
    exact: float
    importance: dict[str, float]
    without_rates: int
    """Cut sets left out because an event in them has no rate."""
    birnbaum: dict[str, float] = field(default_factory=dict)


def top_event(sets: Iterable[tuple[str, ...]], per_hour: Mapping[str, float]) -> TopEvent | None:
    """Probabilities from rates per hour (q = 1 - exp(-rate * 1 h)); None where no cut set has all its rates."""
    whole = [frozenset(s) for s in sets]
    some = absorbed(s for s in whole if all(e in per_hour for e in s))
    if not some:
        return None
    q = {e: -math.expm1(-per_hour[e]) for s in some for e in s}
    return TopEvent(rare_event(some, q), upper_bound(some, q), exact(some, q), fussell_vesely(some, q), sum(not all(e in per_hour for e in s) for s in whole), birnbaum(some, q))
