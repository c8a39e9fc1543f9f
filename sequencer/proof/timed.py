"""Timed rules: cause and effect, must, lasts. Worst cases by path over the table, against faults too, with stories.

What is not worked out is told as "not examined" with the reason, never as holding.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from sequencer.description.sequence import Lasts, Must, Reaction
from sequencer.proof import lasting, levels, musts, reacting, timed_stories
from sequencer.proof.draft import Draft
from sequencer.proof.explore import Explored
from sequencer.proof.reacting import Cut, Found
from sequencer.proof.result import CutSet, InterlockResult, Part, Story

if TYPE_CHECKING:
    from sequencer.proof.prove import Work

Tell = Callable[[Cut], Story | None]


def judged(work: Work, base: InterlockResult, rule: Reaction | Must | Lasts) -> InterlockResult:
    """The verdict of a timed rule, with cut sets as far as faults were asked for."""
    if isinstance(rule, Lasts):
        return _lasts(work, base, rule)
    return _reaction(work, base, rule) if isinstance(rule, Reaction) else _must(work, base, rule)


def reached(draft: Draft, explored: Explored) -> list[int]:
    """States that are reached without faults."""
    shift = np.uint64(draft.layout.shift)
    places = {int(p) for layer in explored.layers for p in np.unique(layer >> shift)}
    return sorted({draft.places[p].state for p in places if draft.places[p].kind == "run"})


def by_parts(parts: tuple[Part, ...]) -> str:
    """'66 ms (6 ms contact bounce + ...)'."""
    return f"{_ms(sum(p.seconds for p in parts))} ({' + '.join(f'{_ms(p.seconds)} {p.says}' for p in parts)})"


def _ms(seconds: float) -> str:
    return f"{seconds * 1000:.0f} ms" if seconds < 1e6 else "for ever"


# ---- cause and effect, must -------------------------------------------------------------------


def _reaction(work: Work, base: InterlockResult, rule: Reaction) -> InterlockResult:
    draft = work.draft
    found = reacting.judged(draft, reached(draft, work.explored), rule)
    if found.why_not:
        return replace(base, outcome="not examined", level=f"not examined: {found.why_not}")
    base = replace(base, parts=found.parts, notes=tuple(found.notes))
    tell = lambda cut: timed_stories.of_reaction(work, rule, base.name, cut, found)  # noqa: E731 (one line, used once)
    if found.missing:
        groups: dict[str, list[str]] = {}
        for state, says in found.missing.items():
            groups.setdefault(says, []).append(draft.table.states[state].name)
        where = "; ".join(f"in {', '.join(states)} {says}" for says, states in groups.items())
        return replace(base, outcome="broken", level=f"broken without any fault: {where}", story=_told(work, tell))
    level = f"at the latest {by_parts(found.parts)} from every state that is reached"
    if found.late:
        return replace(base, outcome="broken", level=f"too late without any fault: {level}", story=_told(work, tell))
    return _against(work, base, found, level, tell)


def _must(work: Work, base: InterlockResult, rule: Must) -> InterlockResult:
    found = musts.judged(work.draft, work.explored, rule)
    if found.why_not:
        return replace(base, outcome="not examined", level=f"not examined: {found.why_not}")
    base = replace(base, parts=found.parts, notes=tuple(found.notes))
    tell = lambda cut: timed_stories.of_must(work, rule, base.name, cut)  # noqa: E731 (one line, used once)
    if found.missing:
        return replace(base, outcome="broken", level=f"broken without any fault: {next(iter(found.missing.values()))}", story=_told(work, tell))
    level = f"{by_parts(found.parts)} at the unfavourable end"
    if found.late:
        return replace(base, outcome="broken", level=f"too late without any fault: {level}", story=_told(work, tell))
    return _against(work, base, found, level, tell)


def _told(work: Work, tell: Tell) -> Story | None:
    return tell(()) if work.options.stories else None


def _against(work: Work, base: InterlockResult, found: Found, level: str, tell: Tell) -> InterlockResult:
    """A rule that holds without faults, held against its cut sets."""
    most = work.options.faults
    if not most:
        return replace(base, level=f"{level}; without faults", withstands=(0, 0))
    cuts = levels.minimal(found.cuts)  # complete at every order: nothing off the path can matter
    reach = levels.withstands(cuts, max(most, *base.asked))
    told = levels.told_reach(reach, base.asked)
    red = [c for c in cuts if levels.within(c, base.asked)]
    shown = levels.worth_telling(cuts, base.asked, work.options)
    made = [CutSet(tuple(f.name for f in c), len(c), 0, tell(c) if c in shown else None) for c in cuts]
    base = replace(base, cuts=tuple(made), withstands=reach, top=levels.top_of(work.pad, cuts))
    if red:
        return replace(base, outcome="broken", level=f"{level}; broken by {levels.names(red)}; {told}")
    if found.unreached and base.asked != (0, 0):
        where = ", ".join(found.unreached)
        return replace(base, outcome="not shown", level=f"{level}; not shown for faults that lead to {where}, where it would fail")
    by = f"; defeated by {levels.names(cuts)}" if cuts else "; no fault of another part is on its path"
    return levels.with_common(replace(base, level=f"{level}; {told}{by}"), work.pad, cuts)


# ---- lasts ------------------------------------------------------------------------------------


def _lasts(work: Work, base: InterlockResult, rule: Lasts) -> InterlockResult:
    found = lasting.judged(work.draft, rule)
    if found.why_not:
        return replace(base, outcome="not examined", level=f"not examined: {found.why_not}")
    texts = []
    if rule.at_most is not None:
        texts.append("may last for ever" if found.longest is None else f"lasts at most {found.longest:.2f} s")
    if rule.at_least is not None:
        texts.append(f"lasts at least {found.shortest:.2f} s")
    level = " and ".join(texts) + " by the table's own times, whatever the inputs say"
    base = replace(base, notes=tuple(found.notes))
    tell = lambda cut: timed_stories.of_lasts(work, rule, base.name, cut, found)  # noqa: E731 (one line, used once)
    if found.long or found.short:
        return replace(base, outcome="broken", level=level, story=_told(work, tell))
    return _against(work, base, Found(cuts=found.cuts), level, tell)
