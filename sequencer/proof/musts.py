"""`must`: what has to happen in the world after a command. Judged on both sides.

The world's side: scan, servo, catch and head at their unfavourable end. The box's side: how long the command stands,
by its own clock, and what can take it back sooner. Two heads of one vehicle stand for each other: it takes a fault in
each of them to keep it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from sequencer.description import terms as t
from sequencer.description.box import ServoOutput
from sequencer.description.faults import Fault
from sequencer.description.grounds import HeadPart, PinPart, PowerPart, ServoPart, WirePart
from sequencer.description.sequence import Must
from sequencer.proof import certain
from sequencer.proof.draft import Draft
from sequencer.proof.explore import Explored
from sequencer.proof.reacting import Cut, Found, levels_of, of_part
from sequencer.proof.result import Part
from sequencer.table import Kind
from sequencer.table.table import Row


@dataclass
class Chain:
    """From a servo's command to one head free. seconds: at the unfavourable end; keeps: faults that may keep it;
    frees: faults that may let it go unasked."""

    head: str
    output: str = ""
    parts: tuple[Part, ...] = ()
    keeps: list[Fault] = field(default_factory=list)
    frees: list[Fault] = field(default_factory=list)
    why_not: str = ""

    @property
    def seconds(self) -> float:
        return sum(p.seconds for p in self.parts)


def judged(draft: Draft, explored: Explored, rule: Must) -> Found:
    """The answer of a must: its parts are those of the quickest chain."""
    cause, effect = rule.cause.expression, rule.must.expression
    heads = effect.items if isinstance(effect, t.Or) else (effect,)
    lets_go = [h.head for h in heads if isinstance(h, t.HeadIs) and h.what == "let go" and h.wanted]
    if not (isinstance(cause, t.CommandedTo) and cause.wanted and cause.output in draft.pad.outputs) or len(lets_go) < len(heads):
        return Found(why_not="only a command that lets heads go is worked out")
    output = list(draft.pad.outputs).index(cause.output)
    code = draft.pad.output_positions[cause.output].index(cause.position)
    asking = [s for s, spec in enumerate(draft.table.states) if spec.outputs[output] == code]
    chains = [_chain(draft, explored, head, asking, cause) for head in lets_go]
    broken = next((c.why_not for c in chains if c.why_not.startswith("no wire")), "")
    if broken:
        return Found(missing={asking[0] if asking else 0: broken})
    for chain in chains:
        if chain.why_not:
            return Found(why_not=chain.why_not)
    best = min(chains, key=lambda c: c.seconds)
    found = Found(best.parts, late=best.seconds > rule.within.si)
    if found.late:
        return found
    taken, by_faults = _taken_back(draft, asking, best.seconds)
    found.missing = {s: says for s, (says, sure) in taken.items() if sure}
    working = [c for c in chains if c.seconds <= rule.within.si]
    found.cuts = [cut for cut in product(*(c.keeps for c in working)) if _modes_apart(cut)]
    found.cuts = [tuple(dict.fromkeys(cut)) for cut in found.cuts] + [(f,) for f in by_faults]
    asked = sorted({says for says, sure in taken.values() if not sure})
    if asked:
        found.notes.append(f"judged while the command stands; it may be taken back sooner by {'; '.join(asked)}")
    found.notes.append("and while power lasts: a blink in that moment takes the command back")
    frees = [f.name for c in chains for f in c.frees]
    if frees:
        found.notes.append(f"the other side: goes unasked with {', or '.join(dict.fromkeys(frees))}")
    return found


def _modes_apart(cut: Cut) -> bool:
    """Opposite modes of one part are not paired; the same fault in two chains is one fault."""
    faults = set(cut)
    return len({f.part for f in faults}) == len(faults)


def _chain(draft: Draft, explored: Explored, head: str, asking: list[int], cause: t.CommandedTo) -> Chain:
    from sequencer.site import resolve_head
    from sequencer.site.letting_go import highest_load, letting_go_parts

    pad = draft.pad
    wire = next(((n, p) for n, p in pad.parts(WirePart).items() if p.wire.end == head), None)
    if not isinstance(pad.site.get(head), HeadPart) or wire is None:
        return Chain(head, why_not=f"no wire leads from {cause.output} to {head}")
    output = wire[1].wire.origin
    servo = pad.outputs.get(output)
    if not isinstance(servo, ServoOutput):
        return Chain(head, why_not=f"no wire leads from {cause.output} to {head}")
    number, idle = list(pad.outputs).index(output), next(iter(servo.servo))
    if any(draft.table.states[s].outputs[number] == list(servo.servo).index(idle) for s in asking):
        return Chain(head, why_not=f"no wire leads from {cause.output} to {head}")
    described = next((n for n, p in pad.parts(ServoPart).items() if p.servo_data == output), None)
    if described is None:
        return Chain(head, output, why_not=f"the file describes no servo_data for {output}")
    resolved, values = resolve_head.head(pad, head), resolve_head.servo(pad, described)
    pull = resolved.head("least", "most", "most", "least").pull_force(highest_load(pad, head, resolved))
    made = letting_go_parts(pad, resolved, values, pull, slowest=True)
    parts = (Part("scan", draft.durations.scan), *(Part(says, seconds) for says, seconds in made))
    chain = Chain(head, output, parts)
    if not math.isfinite(chain.seconds):
        chain.parts = (Part("scan", draft.durations.scan), Part("never clears the catch at the unfavourable end", math.inf))
    relay = servo.powered_by or ""
    chain.keeps = of_part(draft, head, {"seized", "lets go late"}) + of_part(draft, output, {"jammed", "slow", "limp"})
    chain.keeps += of_part(draft, relay, {"stuck off"}) + of_part(draft, wire[0])
    for name, part in pad.parts(PinPart).items():
        if part.pin == head and _pin_in(draft, explored, name, asking):
            chain.keeps += of_part(draft, name, {"stays in"})
    for name, power in pad.parts(PowerPart).items():
        feeds = {relay, output} & set(power.feeds)
        chain.keeps += of_part(draft, name, {"fails", "sags"} if feeds or len(pad.parts(PowerPart)) == 1 else {"fails"})
    chain.keeps += of_part(draft, "box")
    chain.frees = of_part(draft, head, {"lets go early", "half latched", "latched on dirt"}) + of_part(draft, output, {"twitches"})
    return chain


def _pin_in(draft: Draft, explored: Explored, pin: str, asking: list[int]) -> bool:
    """Whether the pin can be in while the command is given."""
    places = [p for s in asking for p in draft.regions(s)]
    bit, shift = np.uint64(draft.layout.mask([f"{pin} in"])), np.uint64(draft.layout.shift)
    words = explored.all
    return bool((((words & bit) != 0) & np.isin(words >> shift, np.array(places, np.uint64))).any())


def _taken_back(draft: Draft, asking: list[int], seconds: float) -> tuple[dict[int, tuple[str, bool]], list[Fault]]:
    """({number: (what takes the command back before these seconds, whether the clock alone does)}, faults of inputs
    that do it)."""
    found: dict[int, tuple[str, bool]] = {}
    by_faults: list[Fault] = []
    for state in asking:
        spec = draft.table.states[state]
        for number in range(spec.first_row, spec.end_row):
            row = draft.table.rows[number]
            if row.to in asking or row.least * draft.durations.scan >= seconds:
                continue
            if row.care == 0:
                found[state] = (f"the command stands for {row.least * draft.durations.scan:g} s only, less than it takes", True)
                continue
            found[1000 + number] = (f"{row.origin} ({', '.join(draft.table.bits[i].name for i, _ in certain.literal_bits(row))})", False)
            by_faults += [f for f in _makes(draft, row) if f not in by_faults]
    return found, by_faults


def _makes(draft: Draft, row: Row) -> Iterator[Fault]:
    """Faults of inputs that can make this row fire."""
    wanted = dict(certain.literal_bits(row))
    for number, contact in enumerate(draft.table.contacts):
        for mode, level in levels_of(draft, contact.name).items():
            for shown in (True, False) if level is None else (level,):
                bits = certain.by(certain.turned(draft, {number: shown}), 1 << 62)
                if any(bits.get(i) == v for i, v in wanted.items()) and all(bits.get(i, v) == v for i, v in wanted.items()):
                    yield from of_part(draft, contact.name, {mode})
    kinds = (Kind.AT_LEAST, Kind.BELOW, Kind.VALID, Kind.TARGET, Kind.CHANGE, Kind.DIFFERS)
    from sequencer.proof.bits import Reading

    keys = Reading(draft, draft.running[0]).needs(row.care)
    for i, bit in enumerate(draft.table.bits):
        if f"bit {i}" not in keys:
            continue
        if bit.kind in kinds:
            names = {draft.table.analogs[bit.source].name} | ({draft.table.analogs[bit.second].name} if bit.kind == Kind.DIFFERS else set())
            for name in sorted(names):
                yield from of_part(draft, name)
        elif bit.kind == Kind.HEARD:
            yield from of_part(draft, draft.table.heartbeats[bit.source])
