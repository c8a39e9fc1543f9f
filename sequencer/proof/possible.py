"""Always possible: from every reached situation a state can still be brought about, without a power blink.

The forward exploration takes more behaviour than there is, so a way found in it might be no way at all. Backwards
only rows count that can certainly be brought about: what hands do, valves that stroke, gas that leaves through an
open path, time that passes, readings on the certain side of their thresholds. With a fault, only those that it
leaves (withheld.py), from every situation that it can lead to. What is said to be possible is; a situation without
a way here may still have one that is not counted, such as a hand on the cylinder.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from sequencer.description.faults import Fault, faults
from sequencer.description.grounds import LinePart
from sequencer.description.sequence import Always
from sequencer.proof import compiled, controller, emptying, kernel, levels, withheld
from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine, Words
from sequencer.proof.judging import Breach
from sequencer.proof.result import CutSet, InterlockResult, Story, Told
from sequencer.proof.stories import path, told_lines
from sequencer.proof.system import Row, System

if TYPE_CHECKING:
    from sequencer.proof.prove import Work

Mask = npt.NDArray[np.bool_]
Cut = tuple[Fault, ...]
LARGE = 100_000
"""Situations beyond which faults are looked at only where a rule asks for one."""


# ---- the search -------------------------------------------------------------------------------


def sure_world(draft: Draft) -> list[Row]:
    """The rows of the world that can certainly be brought about, the box's start among them."""
    world = [r for r in draft.rows if not r.scan and r.sure and r.actor != "power"]
    return world + [r for r in draft.rows if r.tag == "boot"]


def sure_scans(draft: Draft) -> dict[int, list[Row]]:
    """{place: its scans that can certainly be brought about}."""
    if "sure scans" not in draft.found:
        draft.found["sure scans"] = {p: [replace(r, unless=()) for r in controller.scan_rows(draft, p, sure=True)] for p in draft.running}
    return draft.found["sure scans"]  # type: ignore[no-any-return]  # kept there by this function


def sure_rows(draft: Draft) -> list[Row]:
    """The rows that can certainly be brought about."""
    return sure_world(draft) + [r for rows in sure_scans(draft).values() for r in rows]


def cannot(
    system: System, rows: list[Row], words: Words, goal: Callable[[Words], Mask], classes: Sequence[list[Row]] = ()
) -> Words:
    """The words of a closed sorted set from which no word of the goal can be brought about. `classes`: scans under
    each value of something that may change at will; only a word with a way on under every one of them counts."""
    made = kernel.library()
    if made and not classes:
        return words[~compiled.ways(made, system, rows, words, goal(words))]
    spent = np.uint64(~system.spent & (1 << 64) - 1)

    def edges(some: list[Row]) -> list[npt.NDArray[np.int32]]:
        sources: list[npt.NDArray[np.int32]] = [np.empty(0, np.int32)]
        targets: list[npt.NDArray[np.int32]] = [np.empty(0, np.int32)]

        def note(at: Words, images: Words, _: npt.NDArray[np.intp]) -> None:
            images = images & spent
            index = np.searchsorted(words, images)
            index[index == len(words)] = 0
            here = words[index] == images
            sources.append(np.searchsorted(words, at[here]).astype(np.int32))
            targets.append(index[here].astype(np.int32))

        moving = [(i, r) for i, r in enumerate(some) if not r.idle]
        if moving:
            engine = Engine(system, moving)
            engine.judged[:] = True
            engine.images(words, note)
        return [np.concatenate(sources), np.concatenate(targets)]

    free, bound = edges(rows), [edges(some) for some in classes]
    good = goal(words)
    while True:
        before = int(good.sum())
        for one in (free, *bound):
            open_ = ~good[one[0]]
            one[0], one[1] = one[0][open_], one[1][open_]
        every = np.ones(len(words), np.bool_) if bound else np.zeros(len(words), np.bool_)
        for one in bound:
            some_way = np.zeros(len(words), np.bool_)
            some_way[one[0][good[one[1]]]] = True
            every &= some_way
        good[free[0][good[free[1]]]] = True
        good |= every
        if int(good.sum()) == before:
            return words[~good]


def in_state(system: System, state: int) -> Callable[[Words], Mask]:
    """Goal: the box stands in a state."""
    places = np.array([p.kind == "run" and p.state == state for p in system.places])
    table = np.zeros(1 << (64 - system.layout.shift), np.bool_)
    table[: len(places)] = places
    shift = np.uint64(system.layout.shift)
    return lambda words: table[words >> shift]


def without(mask: int) -> Callable[[Words], Mask]:
    """Goal: none of these bits is set."""
    return lambda words: (words & np.uint64(mask)) == 0


# ---- the rule ---------------------------------------------------------------------------------


@dataclass
class Held:
    """What single faults do: cuts with the situations they leave without a way, and what was not looked at."""

    cuts: dict[Cut, Words] = field(default_factory=dict)
    looked: int = 0
    unseen: list[str] = field(default_factory=list)


def judged(work: Work, base: InterlockResult, rule: Always) -> InterlockResult:
    """The verdict of an 'always possible'."""
    draft, system, explored = work.draft, work.system, work.explored
    vents = rule.always_possible == "gas can leave"
    if vents:
        mask = 0
        for volume, edges in draft.bands.edges.items():
            mask |= draft.layout.mask(draft.bands.name(volume, edge) for edge in edges)
        goal = without(mask)
    else:
        goal = in_state(system, list(draft.pad.states).index(rule.always_possible))
    world, scans = sure_world(draft), sure_scans(draft)
    stuck = cannot(system, world + [r for rows in scans.values() for r in rows], explored.all, goal)
    if len(stuck):
        level = f"no way to it from {len(stuck):,} situations without any fault"
        return replace(base, outcome="broken", level=level, story=_story(work, stuck, (), rule))
    level = "possible from every situation of this model without faults"
    if vents:
        return _vents(work, base, level)
    if not work.options.faults:
        return replace(base, level=level, withstands=(0, 0))
    if base.asked == (0, 0) and explored.count > LARGE:
        level += f"; with faults not examined: none is asked for, and this model has more than {LARGE:,} situations"
        return replace(base, level=level, withstands=(0, 0))
    return _against(work, base, level, _held(work, world, scans, goal), rule)


def _held(work: Work, world: list[Row], scans: dict[int, list[Row]], goal: Callable[[Words], Mask]) -> Held:
    """Every single fault: whether each situation that it can lead to keeps a way."""
    campaign, system, held = work.campaign, work.system, Held()
    assert campaign is not None
    known: dict[object, Words] = {}
    for kind in campaign.kinds:
        delta = None if kind.edit.inert else campaign.single(kind)
        words = work.explored.all if delta is None else np.sort(np.concatenate([work.explored.all, delta.new]))
        for fault in kind.faults:
            if delta is not None and not delta.finished:
                held.unseen.append(fault.name)
                continue
            work.say(f"{fault}: is there still a way")
            held.looked += 1
            for rows, classes in withheld.scenarios(work.draft, fault, world, scans):
                key = (id(delta), frozenset(rows), tuple(frozenset(some) for some in classes))
                if key not in known:
                    known[key] = cannot(system, rows, words, goal, classes)
                if len(known[key]):
                    held.cuts[(fault,)] = known[key]
                    break
    return held


def _against(work: Work, base: InterlockResult, level: str, held: Held, rule: Always) -> InterlockResult:
    cuts = levels.minimal(list(held.cuts))
    reach = levels.withstands(cuts, 1)
    red = [c for c in cuts if levels.within(c, base.asked)]
    shown = levels.worth_telling(cuts, base.asked, work.options)
    made = []
    for cut in cuts:
        equipment, slips = levels.counts(cut)
        story = _story(work, held.cuts[cut], cut, rule) if cut in shown else None
        made.append(CutSet(tuple(f.name for f in cut), equipment, slips, story))
    base = replace(base, cuts=tuple(made), withstands=reach, top=levels.top_of(work.pad, cuts))
    level += f" and with {held.looked - len(cuts)} of {held.looked} single faults; {levels.told_reach(reach, base.asked)}"
    if red:
        return replace(base, outcome="broken", level=f"{level}; no way is shown with {levels.names(red)}")
    if cuts:
        level += f"; no way is shown with {levels.names(cuts)}"
    stuck = {f.part for cut in cuts for f in cut if f.mode in ("stuck open", "leaks", "slow")}
    level += "".join(f"; {reason}" for line in sorted(stuck & set(work.pad.parts(LinePart))) for reason in emptying.held_up(work.draft, line))
    if held.unseen and base.asked != (0, 0):
        return replace(base, outcome="not shown", level=f"{level}; not shown: {len(held.unseen)} faults were not explored to the end")
    if sum(base.asked) > 1:
        return replace(base, outcome="not shown", level=f"{level}; not shown: several faults at once are not examined for this kind of rule")
    return replace(base, level=level)


def _story(work: Work, stuck: Words, cut: Cut, rule: Always) -> Story | None:
    """The shortest way to a situation without a way on; None where only a fault leads there."""
    for depth, layer in enumerate(work.explored.layers):
        hit = layer[np.isin(layer, stuck)]
        if not len(hit):
            continue
        word = int(hit[0])
        steps = path(work.system, work.explored, Breach(-1, depth, word, None, word), work.engine)
        here = work.draft.told(work.system.layout.place_of(word))
        lines = [*told_lines(work.draft, work.system, steps), *(Told("part", f"FAULT: {f.says}", here) for f in cut)]
        lines.append(Told("box", f"from here no way is shown to {rule.always_possible} (no single run could show that)", here))
        return Story(tuple(f.name for f in cut), tuple(lines))
    return None


# ---- gas can leave ----------------------------------------------------------------------------


def ways_out(draft: Draft, volume: str) -> list[str]:
    """Lines from a volume to air that open without power or by a hand that need not go near it."""
    found = []
    for name in draft.durations.around(volume):
        part = draft.pad.site[name]
        assert isinstance(part, LinePart)
        if draft.durations.other(name, volume) != "air" or part.one_way and part.line.end == volume:
            continue
        if part.opened_by in draft.pad.outputs:
            number = list(draft.pad.outputs).index(part.opened_by)
            code = draft.unpowered_code(number)
            if code is not None and draft.table.outputs[number].positions[code] == "open":
                found.append(name)
        elif part.opened_by != "hand" or part.from_place not in (None, "pad"):
            found.append(name)
    return found


def _vents(work: Work, base: InterlockResult, level: str) -> InterlockResult:
    """Each way out is shut by a fault of its own: a volume is shut in when all its ways are."""
    draft = work.draft
    ways = {v: ways_out(draft, v) for v in draft.bands.edges}
    told_ways = "; ".join(f"{v} by {', '.join(w) or 'nothing'}" for v, w in ways.items())
    out = {one.fault for one in draft.pad.left_out}
    cuts: list[Cut] = []
    for lines in ways.values():
        blocks = [[f for f in faults(draft.pad) if f.part == n and f.mode in ("stuck shut", "kinked") and f.name not in out] for n in lines]
        cuts += [tuple(cut) for cut in product(*blocks)] if lines else []
    shut = [v for v, w in ways.items() if not w]
    if shut:
        return replace(base, outcome="broken", level=f"no way to air that needs neither power nor someone on the pad: {', '.join(shut)}; {told_ways}")
    cuts = levels.minimal(cuts)
    reach = (min((len(c) for c in cuts), default=1 + sum(base.asked)) - 1, sum(base.asked))
    red = [c for c in cuts if levels.within(c, base.asked)]
    level += f"; ways to air, each enough: {told_ways}; withstands {reach[0]} equipment fault{'s' if reach[0] != 1 else ''}, asked {base.asked[0]}"
    if cuts:
        level += f"; shut in by {levels.names(cuts)}"
    made = tuple(CutSet(tuple(f.name for f in c), len(c), 0) for c in cuts)
    result = replace(base, outcome="broken" if red else "holds", level=level, withstands=reach, cuts=made, top=levels.top_of(work.pad, cuts))
    return levels.with_common(result, work.pad, cuts)
