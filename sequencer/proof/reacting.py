"""Cause and effect: the worst case by path over the table, shown by its parts, and the faults that defeat it.

The path takes nothing from inputs other than the cause's own, so a fault of any of those cannot defeat it, however
many there are. What can: the cause's own contacts and readings, the link that carries them, a box that hangs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations, product

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput, RelayOutput
from sequencer.description.faults import Fault, faults
from sequencer.description.grounds import HeadPart, LinePart, LinkPart, PinPart
from sequencer.description.sequence import Reaction
from sequencer.description.thresholds import point
from sequencer.proof import certain
from sequencer.proof.bands import comparison
from sequencer.proof.draft import Draft
from sequencer.proof.durations import WATCHDOG
from sequencer.proof.result import Part
from sequencer.site.assumed import assumed
from sequencer.site.reaction import actuator, link_latency, message_period, sensor_lag
from sequencer.table import Kind

Cut = tuple[Fault, ...]


@dataclass(frozen=True)
class Source:
    """One thing by which the box comes to know of the cause. levels: contact closed or open; seeds: comparison bits.
    parts: what it waits for; fails: the faults by which it may not be known in time."""

    fact: t.Expression
    name: str
    levels: dict[int, bool]
    seeds: dict[int, int]
    parts: tuple[Part, ...]
    fails: tuple[Fault, ...]


@dataclass
class Found:
    """The answer of one rule. parts: of the worst case; missing: {state: what is wrong there}; late: beyond `within`;
    cuts: smallest sets of faults that defeat it; unreached: states in which it would fail but that no situation
    without faults comes to; why_not: why it is not worked out at all."""

    parts: tuple[Part, ...] = ()
    missing: dict[int, str] = field(default_factory=dict)
    late: bool = False
    cuts: list[Cut] = field(default_factory=list)
    unreached: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    why_not: str = ""

    @property
    def seconds(self) -> float:
        return sum(p.seconds for p in self.parts)


def of_part(draft: Draft, name: str, modes: set[str] | None = None) -> list[Fault]:
    """The faults of a part (these modes, else all) that the file does not leave out; slips never."""
    out = {one.fault for one in draft.pad.left_out}
    found = draft.found.setdefault("all faults", faults(draft.pad))
    return [f for f in found if f.part == name and f.kind == "equipment" and f.name not in out and (modes is None or f.mode in modes)]


def levels_of(draft: Draft, contact: str) -> dict[str, bool | None]:
    """{mode: closed or open that a faulty contact shows, None: now this, now that}."""
    return {"wire cut": False, "stuck open": False, "shorted": True, "stuck closed": True, "bounces": None}


def contact_source(draft: Draft, fact: t.Expression, contact: str, at_word: bool) -> Source:
    """A contact standing at (or away from) its word."""
    part = draft.pad.inputs[contact]
    assert isinstance(part, ContactInput)
    number = [c.name for c in draft.table.contacts].index(contact)
    level = at_word == part.contact.closed_means_word
    parts = [Part("contact bounce", assumed("contact.bounce").high)]
    latency = link_latency(draft.pad, contact)[0]
    fails = of_part(draft, contact, {m for m, shown in levels_of(draft, contact).items() if shown is not level})
    if latency is not None:
        parts.append(Part("radio", message_period(draft.pad, contact) + latency.high))
        links = [p.link for p in draft.pad.parts(LinkPart).values() if contact in p.carries]
        fails += [f for link in links for f in of_part(draft, link)]
    parts.append(Part("contact filter", draft.table.contacts[number].steady * draft.durations.scan))
    return Source(fact, contact, {number: level}, {}, tuple(parts), tuple(fails))


def _pressure_sources(draft: Draft, fact: t.PressureIs, at_least: bool) -> Iterator[Source]:
    """The readings of a volume whose comparisons are certain beyond the fact's limit."""
    for name, part in draft.pad.inputs.items():
        if not isinstance(part, AnalogInput) or part.reads != fact.volume or name not in [a.name for a in draft.table.analogs]:
            continue
        seeds = {}
        for i, bit in enumerate(draft.table.bits):
            if bit.kind in (Kind.AT_LEAST, Kind.BELOW) and draft.table.analogs[bit.source].name == name:
                made = comparison(draft.pad, draft.table, bit)
                if made is not None and (made.high <= point(draft.pad, fact.limit) if at_least else made.low >= point(draft.pad, fact.limit)):
                    seeds[i] = int(made.rising == at_least)
        if seeds:
            parts = (Part("sensor to 95 % of a step", 3 * sensor_lag(draft.pad, name)[0].high),)
            yield Source(fact, name, {}, seeds, parts, tuple(of_part(draft, name)))


def sources(draft: Draft, way: dict[t.Expression, bool]) -> list[Source]:
    """What the box can know a cause by; facts that no input senses are left out (it then knows less)."""
    found: list[Source] = []
    for fact, true in way.items():
        if isinstance(fact, t.SwitchIs) and isinstance(draft.pad.inputs.get(fact.input), ContactInput):
            found.append(contact_source(draft, fact, fact.input, fact.wanted == true))
        elif isinstance(fact, t.HeadIs | t.PinIs):
            part = draft.pad.site.get(fact.head if isinstance(fact, t.HeadIs) else fact.pin)
            seen = part.seen_by if isinstance(part, HeadPart | PinPart) else None
            inside = fact.inside if isinstance(fact, t.PinIs) else (fact.what == "latched") == fact.wanted
            if seen is not None:
                found.append(contact_source(draft, fact, seen, inside == true))
        elif isinstance(fact, t.PressureIs):
            found += _pressure_sources(draft, fact, fact.at_least == true)
    return found


def effects(draft: Draft, expression: t.Expression) -> tuple[dict[int, int], list[tuple[str, str]]] | None:
    """({output: code}, [(line, position)] named by its line, so that the valve itself counts); None for another effect."""
    items = expression.items if isinstance(expression, t.And) else (expression,)
    pairs, lines = [], []
    for item in items:
        if isinstance(item, t.CommandedTo) and item.wanted and item.output in draft.pad.outputs:
            pairs.append((item.output, item.position))
            continue
        if isinstance(item, t.LineIs):
            name, position = item.line, "open" if item.open else "shut"
        elif isinstance(item, t.CommandedTo) and item.output in draft.pad.site and item.position in ("open", "shut"):
            name, position = item.output, item.position if item.wanted else {"open": "shut", "shut": "open"}[item.position]
        else:
            return None
        part = draft.pad.site[name]
        if not isinstance(part, LinePart) or part.opened_by not in draft.pad.outputs:
            return None
        pairs.append((part.opened_by, position))
        lines.append((name, position))
    return certain.positions(draft, pairs), lines


def judged(draft: Draft, reached: list[int], rule: Reaction) -> Found:
    """The worst case of a rule over the states that are reached, and what defeats it."""
    made = effects(draft, rule.effect.expression)
    if made is None:
        return Found(why_not="the effect is neither a command nor a driven line")
    wanted, lines = made
    whole = Found()
    for way in t.alternatives(rule.cause.expression, True):
        known = sources(draft, dict(way))
        if not known:
            return Found(why_not="no input of the box senses the cause")
        found = _way(draft, reached, known, wanted, lines, rule)
        if found.seconds > whole.seconds:
            whole.parts = found.parts
        whole.missing |= found.missing
        whole.late |= found.late
        whole.cuts += found.cuts
        whole.unreached += found.unreached
    whole.notes += _beyond(draft, wanted, lines, whole.seconds, rule.within.si)
    return whole


def _way(
    draft: Draft, reached: list[int], known: list[Source], wanted: dict[int, int], lines: list[tuple[str, str]], rule: Reaction
) -> Found:
    found = _with(draft, reached, known, wanted, lines, rule)
    if found.missing or found.late:
        return found
    rest = [s for s in range(len(draft.table.states)) if s not in reached]
    weak = _with(draft, rest, known, wanted, lines, rule)
    found.unreached = [draft.table.states[s].name for s in (rest if weak.late else weak.missing)]
    beaten: list[set[str]] = []
    for order in range(1, len(known) + 1):
        for failed in combinations(known, order):
            names = {s.name for s in failed}
            if any(names >= smaller for smaller in beaten):
                continue
            left = [s for s in known if s not in failed]
            without = _with(draft, reached, left, wanted, lines, rule) if left else None
            if without is None or without.missing or without.late:
                beaten.append(names)
                found.cuts += [cut for cut in product(*(s.fails for s in failed)) if len({f.part for f in cut}) == len(cut)]
    # a hung box keeps its outputs until the watchdog; then they are at rest
    resting = all(draft.unpowered_code(o) == code for o, code in wanted.items())
    moving = max((actuator(draft.pad, _output(draft, line))[0] for line, _ in lines), default=0.0)
    if not resting or WATCHDOG + draft.durations.scan + moving > rule.within.si:
        found.cuts += [(f,) for f in of_part(draft, "box")]
    for line, position in lines:
        found.cuts += [(f,) for f in _of_line(draft, line, position)]
    if not resting:
        found.notes.append("without power the outputs rest elsewhere: only a box that runs brings it about")
    return found


def _output(draft: Draft, line: str) -> str:
    part = draft.pad.site[line]
    assert isinstance(part, LinePart)
    return part.opened_by


def _with(
    draft: Draft, states: list[int], known: list[Source], wanted: dict[int, int], lines: list[tuple[str, str]], rule: Reaction
) -> Found:
    """The worst case when the box knows of the cause by these sources."""
    levels = {n: level for s in known for n, level in s.levels.items()}
    seeds = {n: value for s in known for n, value in s.seeds.items()}
    turned = certain.turned(draft, levels, seeds)
    missing: dict[int, str] = {}
    for scans in sorted({after for _, after in turned.values()} or {0}):
        bits, missing, moves = certain.by(turned, scans), {}, 1
        for state in states:
            got = certain.answer(draft, state, bits, wanted)
            if got.moves is None:
                missing[state] = "nothing brings it about at once"
            elif got.lets_go:
                missing[state] = f"it does not last: the box may go on to {draft.table.states[min(got.lets_go)].name}"
            else:
                moves = max(moves, got.moves)
        if not missing:
            break
    slowest = max(known, key=lambda s: sum(p.seconds for p in s.parts))
    scan = draft.durations.scan
    parts = list(slowest.parts)
    if scans:
        parts.append(Part("condition delay", scans * scan))
    parts.append(Part("two scans" if moves == 1 else f"{moves + 1} scans", (moves + 1) * scan))
    if lines:
        parts.append(Part("valve", max(actuator(draft.pad, _output(draft, line))[0] for line, _ in lines)))
    found = Found(tuple(parts), missing)
    found.late = found.seconds > rule.within.si + 1e-9
    return found


def _of_line(draft: Draft, line: str, position: str) -> list[Fault]:
    """Faults by which a valve does not come to a position in time."""
    return of_part(draft, line, {"stuck shut", "slow", "kinked"} if position == "open" else {"stuck open", "leaks", "slow"})


def _beyond(draft: Draft, wanted: dict[int, int], lines: list[tuple[str, str]], commanded: float, within: float) -> Iterator[str]:
    """What stands behind the commands, which the rule does not speak of: when the parts arrive, what keeps them away."""
    outputs = [draft.table.outputs[o].name for o in wanted if draft.table.outputs[o].name not in [_output(draft, n) for n, _ in lines]]
    if not outputs:
        return
    slowest = max(outputs, key=lambda o: actuator(draft.pad, o)[0])
    end = commanded + actuator(draft.pad, slowest)[0]
    late = f", later than the {within * 1000:.0f} ms asked of the command" if end > within else ""
    yield f"judged by the command; the slowest part behind it ({slowest}) stands there by {end * 1000:.0f} ms{late}"
    stuck = []
    for output, code in wanted.items():
        name = draft.table.outputs[output].name
        if name not in outputs:
            continue
        position = draft.table.outputs[output].positions[code]
        for line in draft.parts_lines(name):
            stuck += _of_line(draft, line, position)
        if isinstance(draft.pad.outputs[name], RelayOutput):
            stuck += of_part(draft, name, {"stuck off"} if code else {"welded"})
    if stuck:
        yield f"the part itself does not follow with {', or '.join(f.name for f in stuck)}"
