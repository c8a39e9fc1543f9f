"""What defeats a rule, short enough to read: faults by their part, and pairs that share their partners said once."""

from __future__ import annotations

from collections.abc import Iterable

from sequencer.proof.result import CutSet, InterlockResult

MOST = 6  # lines of pairs per rule; a large pad has hundreds of pairs, and --json has them all
Pairs = list[tuple[list[str], list[str]]]


def lines(result: InterlockResult) -> list[str]:
    """What defeats the rule alone, and in pairs; nothing where its answer names all of it already."""
    names = {name for cut in result.cuts for name in cut.faults}
    if all(name in result.level for name in names):
        return []
    by = "no way is shown with one of" if result.kind == "always possible" else "defeated by one of"
    alone = [cut.faults[0] for cut in result.cuts if len(cut.faults) == 1]
    out = [f"{by} {by_part(alone)}"] if alone else []
    groups = pairs(result.cuts)
    out += [f"{by} {by_part(some)} together with one of {by_part(others)}" for some, others in groups[:MOST]]
    if left := sum(len(some) * len(others) for some, others in groups[MOST:]):
        out.append(f"and by {left} more pairs (all with --json)")
    return out


def by_part(faults: Iterable[str]) -> str:
    """'gate (held, shorted), pad (walks in)' of 'gate: held', 'gate: shorted', 'pad: walks in'."""
    modes: dict[str, list[str]] = {}
    for name in faults:
        part, _, mode = name.partition(": ")
        modes.setdefault(part, []).append(mode)
    return ", ".join(f"{part} ({', '.join(some)})" for part, some in modes.items())


def pairs(cuts: Iterable[CutSet]) -> Pairs:
    """The sets of two as products: each fault of the first list with each of the second."""
    partners: dict[str, list[str]] = {}
    for cut in cuts:
        if len(cut.faults) == 2:
            partners.setdefault(cut.faults[0], []).append(cut.faults[1])
    groups: dict[tuple[str, ...], list[str]] = {}
    for first, others in partners.items():
        groups.setdefault(tuple(others), []).append(first)
    return [(firsts, list(others)) for others, firsts in groups.items()]
