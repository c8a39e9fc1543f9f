"""The controller's scans as rows: per place, every way a scan can end, with the free inputs chosen and forgotten.

A scan that moves goes to the next state's first region; one that fires nothing may also let the state timer pass its
next threshold, unless a bounded race forbids it. Every entry makes "changed just now" marks stale.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import product
from typing import NamedTuple

from sequencer.proof import gas, parts, people, relevance
from sequencer.proof.bits import Reading, memory
from sequencer.proof.branches import Branch, distinct
from sequencer.proof.draft import READING, Draft
from sequencer.proof.system import Row
from sequencer.proof.words import Cube
from sequencer.table import Kind
from sequencer.table.table import InhibitSpec


def lay_out(draft: Draft) -> None:
    for bit in draft.table.bits:
        if bit.kind == Kind.MEMORY:
            draft.layout.new(memory(bit.name))
    for name in said(draft):
        draft.layout.new(f"the box says {name}")


def said(draft: Draft) -> list[str]:
    """Conditions that interlocks read and that no bit of the word keeps yet."""
    from sequencer.description import terms as t
    from sequencer.proof.bands import facts

    kinds = {bit.name: bit.kind for bit in draft.table.bits}
    names = [f.condition for f in facts(draft.pad) if isinstance(f, t.BoxSays)]
    return [n for n in dict.fromkeys(names) if kinds.get(n) is not None and kinds[n] != Kind.MEMORY]


def rows(draft: Draft) -> None:
    """Scans of every running place, and power."""
    for place in draft.running:
        draft.rows.extend(simplified(list(_scans(draft, place))))
    _power(draft)


def races(draft: Draft) -> dict[str, str]:
    """The races against state timers alone, as `rows` meets them: {a moment as they say it: the same by its place in
    order}, so that '5 s in counting' is found again when the file's 5 s have become 6 s."""
    moments = {}
    for place in draft.running:
        at = draft.places[place]
        steps = draft.steps[at.state]
        if at.region < len(steps):
            seconds = steps[at.region] * draft.durations.scan
            _timer_once(draft, at.state, place, seconds)
            moments[f"{seconds:g} s in {draft.told(place)}"] = f"time {at.region + 1} of {draft.told(place)}"
    return moments


def scan_rows(draft: Draft, place: int, *, sure: bool = False, loose: frozenset[str] = frozenset(), most: int = 0) -> list[Row]:
    """The scans of one place. `sure`: only what can certainly be brought about. `loose`: readings that may show
    anything, at most `most` of them in one scan; a row's `needs` names those that do."""
    return simplified(list(_scans(draft, place, sure=sure, loose=loose, most=most)))


def reads(draft: Draft, place: int, readings: frozenset[str]) -> bool:
    """Whether a scan at this place asks for one of these readings."""
    reading = Reading(draft, place)
    spec = draft.table.states[reading.state]
    care = _kept_bits(draft, place, None)
    for index in range(spec.first_row, spec.end_row):
        care |= draft.table.rows[index].care | _kept_bits(draft, place, draft.table.rows[index].to)
    for inhibit in draft.table.inhibits:
        care |= inhibit.care
    asked = reading.needs(care)
    kinds = (Kind.AT_LEAST, Kind.BELOW, Kind.TARGET, Kind.VALID, Kind.DIFFERS, Kind.CHANGE)
    if any(f"contact {name}" in asked for name in readings):
        return True
    for i, bit in enumerate(draft.table.bits):
        if f"bit {i}" in asked and bit.kind in kinds:
            names = {draft.table.analogs[bit.source].name}
            if bit.kind == Kind.DIFFERS:
                names.add(draft.table.analogs[bit.second].name)
            if names & readings:
                return True
    return False


def _scans(draft: Draft, place: int, *, sure: bool = False, loose: frozenset[str] = frozenset(), most: int = 0) -> Iterator[Row]:
    """Row by row: the branches in which it fires end there, the others go on; what nothing later asks is forgotten."""
    reading = Reading(draft, place, sure=sure, loose=loose, most=most)
    spec, table = draft.table.states[reading.state], draft.table
    rows = [i for i in range(spec.first_row, spec.end_row) if table.rows[i].least <= reading.timer]
    inhibits = 0
    for inhibit in table.inhibits:
        inhibits |= inhibit.care
    ways: list[int | None] = [None, *(table.rows[i].to for i in rows)]
    kept = {to: _kept_bits(draft, place, to) | inhibits for to in ways}
    rules = {to: relevance.asked(draft, place, to) for to in ways}
    current = [Branch()]
    for number, index in enumerate(rows):
        rest, judged = kept[None], rules[None]
        for later in rows[number + 1 :]:
            to = table.rows[later].to
            rest |= table.rows[later].care | kept[to]
            judged |= rules[to]
        to = table.rows[index].to
        live, ends = reading.live(rest), reading.live(kept[to])
        fired: list[Branch] = []
        going: list[Branch] = []
        for branch in current:
            for found, holds in reading.all_of(table.rows[index].care, table.rows[index].want, branch):
                if holds:
                    fired.append(relevance.only(draft, found, ends, rules[to]))
                else:
                    going.append(relevance.only(draft, found, live, judged))
        yield from _ends(draft, reading, distinct(fired), index)
        current = distinct(going)
        if not current:
            return
    yield from _ends(draft, reading, current, None)


def _kept(draft: Draft, place: int, to: int | None) -> list[tuple[int, str]]:
    """(condition, bit of the word) of everything that a scan from a place to a state (None: it stays) leaves in the
    word: the memories, and what the box says where a rule judges it."""
    kept = [(i, memory(bit.name)) for i, bit in enumerate(draft.table.bits) if bit.kind == Kind.MEMORY]
    rules = relevance.asked(draft, place, to)
    says = {n: f"the box says {n}" for n in said(draft)}
    return kept + [(draft.table.bit_index(n), bit) for n, bit in says.items() if rules & draft.layout.mask([bit])]


def _kept_bits(draft: Draft, place: int, to: int | None) -> int:
    return sum(1 << i for i, _ in _kept(draft, place, to))


def _ends(draft: Draft, reading: Reading, branches: list[Branch], fired: int | None) -> Iterator[Row]:
    """The rows of these ways through the table: what is remembered, inhibited and where the box stands then."""
    state = reading.state if fired is None else draft.table.rows[fired].to
    to = None if fired is None else state
    kept, rules, bits = _kept(draft, reading.place, to), relevance.asked(draft, reading.place, to), draft.layout.index
    asked = [i.care for i in draft.table.inhibits]
    ends = [_End(b) for b in branches]
    for number, (i, name) in enumerate(kept):
        live = reading.live(sum(1 << j for j, _ in kept[number + 1 :]) | _any(asked))
        mask = 1 << bits[name]
        ends = _unlike(
            _End(relevance.only(draft, a, live, rules), e.clear | (0 if v else mask), e.put | (mask if v else 0), e.holds)
            for e in ends for a, v in reading.values(i, e.branch)
        )  # fmt: skip
    ends = [e._replace(holds=draft.table.states[state].outputs) for e in ends]
    for number, inhibit in enumerate(draft.table.inhibits):
        live = reading.live(_any(asked[number + 1 :]))
        ends = _unlike(_inhibited(reading, ends, inhibit, live, rules))
    for end in ends:
        yield from _finish(draft, reading, end, fired, state)


class _End(NamedTuple):
    """A way through the whole scan: bits of the word that it clears and sets, and what every output is held at."""

    branch: Branch
    clear: int = 0
    put: int = 0
    holds: tuple[int, ...] = ()


def _any(masks: list[int]) -> int:
    whole = 0
    for mask in masks:
        whole |= mask
    return whole


def _inhibited(reading: Reading, ends: list[_End], inhibit: InhibitSpec, live: int, rules: int) -> Iterator[_End]:
    for end in ends:
        if end.holds[inhibit.output] == inhibit.position:
            # an inhibit that changes nothing there is not asked
            yield end._replace(branch=relevance.only(reading.draft, end.branch, live, rules))
            continue
        held = (*end.holds[: inhibit.output], inhibit.position, *end.holds[inhibit.output + 1 :])
        for found, value in reading.all_of(inhibit.care, inhibit.want, end.branch):
            yield end._replace(branch=relevance.only(reading.draft, found, live, rules), holds=held if value else end.holds)


def _unlike(ends: Iterable[_End]) -> list[_End]:
    """Each once; one that is not lazy stands for its lazy twin."""
    found: dict[tuple[object, ...], _End] = {}
    for end in ends:
        key = (end.branch.key, end.put, end.holds)
        old = found.get(key)
        if old is None or (old.branch.lazy and not end.branch.lazy):
            found[key] = end
    return list(found.values())


def _finish(draft: Draft, reading: Reading, end: _End, fired: int | None, state: int) -> Iterator[Row]:
    place, branch = reading.place, end.branch
    to = place if fired is None else draft.place(state)
    clear, put = (m | n for m, n in zip((end.clear, end.put), _held(draft, state, end.holds), strict=True))
    # what is known to be so already needs no rewriting
    clear &= ~(branch.care & ~branch.want)
    put &= ~(branch.care & branch.want)
    clear |= _always_cleared(draft, state, end.holds)
    lies = reading.lying(branch)
    if fired is not None:
        clear |= _left_behind(draft, to)
        row = draft.table.rows[fired]
        says = f"the box goes from {draft.told(place)} to {draft.told(to)} ({row.origin})"
        yield Row(says, "box", (place,), branch.cube, clear, put, to, scan=True, lazy=branch.lazy, origin=fired, needs=lies)
        return
    yield Row("a scan moves nothing", "box", (place,), branch.cube, clear, put, scan=True, lazy=branch.lazy, needs=lies)
    steps = draft.steps[state]
    if reading.region < len(steps):
        seconds = steps[reading.region] * draft.durations.scan
        yield Row(
            f"{seconds:g} s in {draft.told(place)} are over", "box", (place,), branch.cube, clear, put, place + 1,
            _timer_once(draft, state, place, seconds), scan=True, lazy=branch.lazy, needs=lies,
        )  # fmt: skip


def _held(draft: Draft, state: int, holds: tuple[int, ...]) -> tuple[int, int]:
    """(clear, set) of the bits 'an inhibit holds this output there'."""
    known: dict[tuple[int, tuple[int, ...]], tuple[int, int]] = draft.found.setdefault("held", {})
    if (state, holds) not in known:
        own = draft.table.states[state].outputs
        bits = {draft.stays(o, c): holds[o] == c != own[o] for o in range(len(holds)) for c in draft.inhibited(o)}
        known[state, holds] = (draft.layout.mask(n for n, v in bits.items() if not v), draft.layout.mask(n for n, v in bits.items() if v))
    return known[state, holds]


def _always_cleared(draft: Draft, state: int, holds: tuple[int, ...]) -> int:
    """A scan ends the reading; a valve commanded open again has crossed nothing while shutting."""
    known: dict[tuple[int, tuple[int, ...]], int] = draft.found.setdefault("always cleared", {})
    if (state, holds) not in known:
        clear = draft.layout.mask([READING])
        for output in gas.fillers(draft):
            number = list(draft.pad.outputs).index(output)
            if holds[number] == draft.table.outputs[number].positions.index("open"):
                clear |= draft.layout.mask([gas.overshoot(output)])
        known[state, holds] = clear
    return known[state, holds]


def _left_behind(draft: Draft, to: int) -> int:
    """Marks that an entry makes stale."""
    known: dict[int, int] = draft.found.setdefault("left behind", {})
    if to not in known:
        known[to] = draft.layout.mask(draft.fresh(c) for c in draft.tracked) | people.leaving(draft, to)
    return known[to]


def _timer_once(draft: Draft, state: int, place: int, seconds: float) -> tuple[tuple[Cube, int], ...]:
    key = f"timer {place}"
    if key not in draft.found:
        draft.found[key] = tuple(_timer(draft, state, place, seconds))
    return draft.found[key]  # type: ignore[no-any-return]  # kept there by this function


def _timer(draft: Draft, state: int, place: int, seconds: float) -> Iterator[tuple[Cube, int]]:
    """Bounded races against the state's timer: what would have happened before it came so far."""
    second = f"{seconds:g} s in {draft.told(place)}"
    yield from parts.races(draft, state, seconds, second)
    for volume in draft.bands.edges:
        yield from gas.must_be_below(draft, volume, place, seconds, second)


def _power(draft: Draft) -> None:
    """Power may go and come back at any moment; the box forgets everything it kept."""
    kept = [memory(b.name) for b in draft.table.bits if b.kind == Kind.MEMORY] + [f"the box says {n}" for n in said(draft)]
    stays = [draft.stays(o, c) for o in range(len(draft.table.outputs)) for c in draft.inhibited(o)]
    lost = dict.fromkeys([*kept, *stays], False)
    # without power nothing is seen: what the box will see is settled when it starts
    lost |= {name: False for c in draft.tracked for name in (draft.seen(c), draft.fresh(c))}
    draft.row("the power goes", "power", {}, lost, draft.everywhere[1:], to=0, sure=False, tag="blink")
    begin = {}
    for output in range(len(draft.table.outputs)):
        own = held = draft.table.states[0].outputs[output]
        for inhibit in draft.table.inhibits:
            if inhibit.output == output and inhibit.want == 0:
                held = inhibit.position
        for code in draft.inhibited(output):
            begin[draft.stays(output, code)] = held == code != own
    draft.row("the power comes and the box starts", "power", {}, begin, (0,), to=1, tag="boot")
    settle = {n: v for n, v in begin.items() if n in stays}
    truths = sorted(set(draft.tracked.values()))
    for values in product((False, True), repeat=len(truths)):
        true = dict(zip(truths, values, strict=True))
        seen = {draft.seen(c): true[bit] for c, bit in draft.tracked.items()}
        draft.row("the box has settled", "box", true, {**seen, **settle}, (1,), to=draft.place(0), tag="settle")
    for place in (0, 1):
        mask = people.leaving(draft, place)
        if mask:
            draft.rows = [_also_clears(r, mask) if r.to == place else r for r in draft.rows]


def _also_clears(row: Row, mask: int) -> Row:
    return replace(row, clear=row.clear | mask, set=row.set & ~mask)


def simplified(rows: list[Row]) -> list[Row]:
    """Fewer rows with the same images: cubes that lie in another drop out, two that differ in one bit join."""
    groups: dict[tuple[object, ...], list[Row]] = {}
    for row in rows:
        key = (row.says, row.at, row.clear, row.set, row.to, row.lazy, row.origin, row.needs)
        groups.setdefault(key, []).append(row)
    result = []
    for same in groups.values():
        result += [replace(same[0], guard=cube) for cube in joined([row.guard for row in same])]
    return result


def joined(cubes: list[Cube]) -> list[Cube]:
    """The same union with fewer cubes (one-bit joins and absorption until nothing changes)."""
    current = {(c.care, c.want) for c in cubes}
    while True:
        merged: set[tuple[int, int]] = set()
        used: set[tuple[int, int]] = set()
        for care, want in current:
            left = care
            while left:
                bit = left & -left
                left ^= bit
                if (care, want ^ bit) in current:
                    merged.add((care ^ bit, want & ~bit))
                    used.add((care, want))
        now = _absorbed((current - used) | merged)
        if now == current:
            return sorted(Cube(*c) for c in now)
        current = now


def _absorbed(cubes: set[tuple[int, int]]) -> set[tuple[int, int]]:
    """The cubes that lie in no other one."""
    kept: list[tuple[int, int]] = []
    for care, want in sorted(cubes, key=lambda c: c[0].bit_count()):
        if not any(c & care == c and want & c == w for c, w in kept):
            kept.append((care, want))
    return set(kept)
