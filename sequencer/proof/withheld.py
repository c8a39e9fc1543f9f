"""What a fault withholds: the rows that can still be brought about for certain while a part has failed.

A reading that has failed becomes constant bits of the table. Where its fault holds one value (a cut wire, a full-scale
converter) those values are taken; where it may hold any value, each of them in turn must leave a way; where it may
change at will, there must be a way on whatever it shows in each scan.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product

from sequencer.description.box import (
    ContactInput,
    HeartbeatInput,
    LampOutput,
    RelayOutput,
    ServoOutput,
)
from sequencer.description.faults import Fault
from sequencer.description.grounds import (
    HeadPart,
    LinePart,
    LinkPart,
    PinPart,
    PowerPart,
    ReliefPart,
    SupplyPart,
    WirePart,
)
from sequencer.proof import controller, feeding, gas
from sequencer.proof.draft import Draft
from sequencer.proof.faults import _outruns
from sequencer.proof.parts import driven, horn
from sequencer.proof.reacting import levels_of
from sequencer.proof.system import Row
from sequencer.table import Kind
from sequencer.table.table import NO_TARGET, Bit, Literals

Values = dict[int, int]
"""{condition bit: the constant it has become}."""
Scenario = tuple[list[Row], list[list[Row]]]
"""Rows that are certain, and the scans under each value of a reading that changes at will (or under its one value)."""
Keeps = Callable[[Row], bool]
OF_BITS = ("needs", "live", "hands", "said", "worth keeping", "kept", "ends", "constant drafts", "constant scans", "sure scans")
"""Answers kept with a draft that rest on its condition bits; all others stay true when bits become constant."""
COMPARE = (Kind.AT_LEAST, Kind.BELOW, Kind.TARGET, Kind.VALID, Kind.DIFFERS, Kind.CHANGE)


def scenarios(draft: Draft, fault: Fault, world: list[Row], scans: dict[int, list[Row]]) -> Iterator[Scenario]:
    """The rows that are left, once for each value at which the part may hold for good: from every situation there
    must be a way in each of them. `world`, `scans`: the certain rows of the sound pad."""
    keeps = _keeps(draft, fault)
    left = [r for r in world if keeps(r)]
    if fault.part in draft.pad.inputs:
        for rest, classes in _mutated(draft, fault, scans):
            yield left + rest, classes
        return
    powers = draft.pad.parts(PowerPart)
    feeds_box = next((n for n, p in powers.items() if p.cut_by is None), next(iter(powers), None))
    if fault.mode == "fails" and fault.part == feeds_box:
        # without it nothing is ever reached again
        yield [], []
        return
    yield left + [r for rows in scans.values() for r in rows], []


# ---- readings ---------------------------------------------------------------------------------


def _mutated(draft: Draft, fault: Fault, scans: dict[int, list[Row]]) -> Iterator[Scenario]:
    part = draft.pad.inputs[fault.part]
    asked = [p for p in draft.running if _asks(draft, fault.part, p)]
    rest = [r for p, rows in scans.items() if p not in asked for r in rows]
    if isinstance(part, ContactInput):
        level = part.contact.closed_means_word if fault.mode == "held" else levels_of(draft, fault.part)[fault.mode]
        ways = [[_contact(draft, fault.part, v, press) for v in (True, False) for press in (0, 1)]] if level is None else [[_contact(draft, fault.part, level, 0)]]
        for same in ways:
            yield rest, _classes(draft, asked, lambda _, g=same: g)  # type: ignore[misc]  # the default binds the loop's value
    elif isinstance(part, HeartbeatInput):
        heard = [i for i, b in enumerate(draft.table.bits) if b.kind == Kind.HEARD and draft.table.heartbeats[b.source] == fault.part]
        constant = {"lost": (0,), "replayed": (1,)}.get(fault.mode, (0, 1))
        for frozen in _carried(draft, fault):
            yield rest, _classes(draft, asked, lambda _, f=frozen: [dict.fromkeys(heard, v) | f for v in constant])  # type: ignore[misc]  # the default binds the loop's value
    else:
        counts = _counts(draft, fault.part)
        spec = next((a for a in draft.table.analogs if a.name == fault.part), None)
        if spec is None:
            yield rest + [r for p in asked for r in scans[p]], []
            return
        full = (1 << spec.bits) - 1
        fixed = {"open": [full if spec.high < full else 0], "shorted": [0], "saturated": [full]}.get(fault.mode)
        if fixed is not None:
            counts = fixed
        at_will = fault.mode not in ("open", "shorted", "saturated", "frozen")
        groups = [[c] for c in counts] if not at_will else [counts]
        seen = set()
        for group in groups:
            key = tuple(tuple(sorted(v.items())) for c in group for s in range(len(draft.table.states)) for v in _shown(draft, fault.part, c, s))
            if key in seen:
                continue
            seen.add(key)
            yield rest, _classes(draft, asked, lambda s, g=group: [v for c in g for v in _shown(draft, fault.part, c, s)])  # type: ignore[misc]  # the default binds the loop's value


def _carried(draft: Draft, fault: Fault) -> list[Values]:
    """What the contacts that a link carries may show for good once it passes nothing of ours (one that comes and goes
    still does): each as it was heard last, in every combination."""
    names = [c for p in draft.pad.parts(LinkPart).values() if p.link == fault.part for c in p.carries]
    contacts = [c for c in names if isinstance(draft.pad.inputs.get(c), ContactInput)] if fault.mode in ("lost", "replayed") else []
    return [{i: v for c, level in zip(contacts, levels, strict=True) for i, v in _contact(draft, c, level, 0).items()}
            for levels in product((False, True), repeat=len(contacts))]  # fmt: skip


def _asks(draft: Draft, name: str, place: int) -> bool:
    """Whether a scan at this place rests on an input at all (analogs and contacts as the proof asks; heartbeats too)."""
    known: dict[tuple[str, int], bool] = draft.found.setdefault("asks", {})
    if (name, place) not in known:
        part = draft.pad.inputs[name]
        known[name, place] = isinstance(part, HeartbeatInput | ContactInput) or controller.reads(draft, place, frozenset({name}))
    return known[name, place]


def _contact(draft: Draft, name: str, closed: bool, press: int) -> Values:
    values: Values = {}
    for i, bit in enumerate(draft.table.bits):
        if bit.kind in (Kind.CONTACT, Kind.PRESS) and draft.table.contacts[bit.source].name == name:
            values[i] = press if bit.kind == Kind.PRESS else int(closed == bit.wanted)
    return values


def _counts(draft: Draft, name: str) -> list[int]:
    """Counts on both sides of every threshold of a reading, and its ends."""
    found: set[int] = {0}
    for number, spec in enumerate(draft.table.analogs):
        if spec.name != name:
            continue
        edges = {spec.low, spec.high + 1, (1 << spec.bits) - 1}
        for bit in draft.table.bits:
            if bit.source == number and bit.kind in (Kind.AT_LEAST, Kind.BELOW):
                edges |= {bit.on, bit.off}
            elif bit.source == number and bit.kind == Kind.TARGET:
                tops = {s.targets[number] for s in draft.table.states} - {NO_TARGET}
                edges |= tops | {top - bit.off for top in tops}
        found |= {c for e in edges for c in (e - 1, e) if 0 <= c < 1 << spec.bits}
    return sorted(found)


def _shown(draft: Draft, name: str, counts: int, state: int) -> list[Values]:
    """What the bits of a reading may be in a state while it stands at these counts."""
    ways: dict[int, tuple[int, ...]] = {}
    for i, bit in enumerate(draft.table.bits):
        if bit.kind not in COMPARE:
            continue
        spec = draft.table.analogs[bit.source]
        second = bit.kind == Kind.DIFFERS and draft.table.analogs[bit.second].name == name
        if spec.name == name or second:
            valid = spec.low <= counts <= spec.high
            ways[i] = _value(draft, bit, counts, state, valid)
    return [dict(zip(ways, values, strict=True)) for values in product(*ways.values())]


def _value(draft: Draft, bit: Bit, counts: int, state: int, valid: bool) -> tuple[int, ...]:
    if bit.kind == Kind.VALID:
        return (int(valid == bit.wanted),)
    if bit.kind == Kind.DIFFERS:
        return (0, 1)
    if not valid:
        return (0,)
    if bit.kind == Kind.CHANGE:
        # a reading that stands still never rises or falls by so much; that it changed by less is true only after a time
        return (0,) if bit.wanted else (0, 1)
    if bit.kind == Kind.TARGET:
        top = draft.table.states[state].targets[bit.source]
        if top == NO_TARGET:
            return (0,)
        low, high, above = top - bit.off, top, True
    else:
        low, high, above = min(bit.on, bit.off), max(bit.on, bit.off), bit.kind == Kind.AT_LEAST
    if counts >= high:
        return (int(above),)
    if counts < low:
        return (int(not above),)
    return (0, 1)


def _classes(draft: Draft, places: list[int], values: Callable[[int], list[Values]]) -> list[list[Row]]:
    """The certain scans of these places, one list for each value (given per state; where a place has fewer, its
    last stands for the rest)."""
    per: list[list[list[Row]]] = []
    for place in places:
        distinct = {tuple(sorted(v.items())): v for v in values(draft.places[place].state)}
        rows = list({tuple(r): list(r) for r in (_scans(draft, place, v) for v in distinct.values())}.values())
        per.append(rows)
    most = max((len(rows) for rows in per), default=0)
    return [[r for rows in per for r in rows[min(k, len(rows) - 1)]] for k in range(most)]


def _scans(draft: Draft, place: int, values: Values) -> list[Row]:
    """The certain scans of a place with these bits constant, worked out once."""
    key = tuple(sorted(values.items()))
    drafts: dict[object, Draft] = draft.found.setdefault("constant drafts", {})
    if key not in drafts:
        bits = tuple(
            replace(b, kind=Kind.ALL, set=Literals(invert=not values[i]), hold=0, drop=0) if i in values else b
            for i, b in enumerate(draft.table.bits)
        )
        drafts[key] = copy.copy(draft)
        drafts[key].table = replace(draft.table, bits=bits)
        drafts[key].found = {k: v for k, v in draft.found.items() if k not in OF_BITS and not k.startswith("loose")}
    known: dict[object, list[Row]] = draft.found.setdefault("constant scans", {})
    if (place, key) not in known:
        known[place, key] = [replace(r, unless=()) for r in controller.scan_rows(drafts[key], place, sure=True)]
    return known[place, key]


# ---- parts ------------------------------------------------------------------------------------


def _keeps(draft: Draft, fault: Fault) -> Keeps:
    """Whether a row of the world can still be brought about with certainty."""
    name, mode, layout = fault.part, fault.mode, draft.layout
    part = draft.pad.site.get(name) or draft.pad.outputs.get(name)

    def without(bits: list[str], sets: bool, clears: bool) -> Keeps:
        mask = layout.mask(b for b in bits if layout.has(b))
        return lambda r: not (sets and r.set & mask or clears and r.clear & mask)

    def untagged(*tags: str) -> Keeps:
        return lambda r: r.tag not in tags

    if isinstance(part, LinePart):
        if part.opened_by in draft.pad.outputs and mode in ("stuck open", "stuck shut"):
            return without([gas.valve(part.opened_by)], mode == "stuck shut", mode == "stuck open")
        if mode == "slow":
            return lambda r: True
        if mode == "leaks":
            into = [v for v in draft.bands.edges if draft.durations.feeds(name, v) and v in (part.line.origin, part.line.end)]
            dumps = [d for v in into for d in gas.dumps(draft, v)]
            vents = [f"vent {d}" for d in dumps] if into and _outruns(draft, into, name) else []
            return untagged(*vents, *map(gas.against, dumps))
        back = gas.dumps(draft, part.line.origin) if mode == "leaks back" and part.line.origin in draft.bands.edges else []
        return untagged(f"vent {name}", f"up {name}", gas.against(name), *(tag for d in back for tag in (f"vent {d}", gas.against(d))))
    if isinstance(part, SupplyPart) and mode in ("creeps", "fails open"):
        return untagged(*map(gas.against, draft.pad.parts(LinePart)))
    if isinstance(part, SupplyPart) and mode == "runs down":
        return untagged(*(f"up {n}" for n, p in draft.pad.parts(LinePart).items() if name in (p.line.origin, p.line.end)))
    if isinstance(part, ReliefPart) and mode == "set low":
        return untagged(*(f"up {n}" for n in draft.durations.around(part.relief)))
    if isinstance(part, HeadPart):
        return without([f"{name} latched"], True, True)
    if isinstance(part, PinPart):
        return without([f"{name} in"], mode == "falls out", mode == "stays in")
    if isinstance(part, WirePart):
        return without([f"{part.wire.end} latched"], False, True)
    if isinstance(part, ServoOutput):
        return without([horn(name)], True, True)
    if isinstance(part, RelayOutput):
        servos = [horn(n) for n, o in draft.pad.outputs.items() if isinstance(o, ServoOutput) and o.powered_by == name]
        bit = driven(draft)[name][1] if name in driven(draft) else ""
        if mode == "welded":
            return without([bit], False, True)
        own, other = without(servos, True, True), without([bit], True, False)
        return lambda r: own(r) and other(r)
    if isinstance(part, LampOutput):
        return untagged("walk in")
    if isinstance(part, PowerPart):
        fed = {driven(draft)[o][1]: feeding.unpowered(draft, o) for o in feeding.fed(draft, name)} if mode == "fails" else {}
        still = without([horn(n) for n, o in draft.pad.outputs.items() if isinstance(o, ServoOutput)], True, True)
        opens, shuts = (without([b for b, value in fed.items() if value != way], way, not way) for way in (True, False))
        return lambda r: still(r) and opens(r) and shuts(r)
    return lambda r: True


__all__ = ["scenarios"]
