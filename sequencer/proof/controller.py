"""The controller's scans as rows: per place, every way a scan can end, with the free inputs chosen and forgotten.

A scan that moves goes to the next state's first region; one that fires nothing may also let the state timer pass its
next threshold, unless a bounded race forbids it. Every entry makes "changed just now" marks stale.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

from sequencer.proof import gas, parts, people
from sequencer.proof.bits import Branch, Reading, distinct, memory
from sequencer.proof.draft import READING, Draft
from sequencer.proof.system import Row
from sequencer.proof.words import Cube
from sequencer.table import Kind


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


def scan_rows(draft: Draft, place: int, *, sure: bool = False, loose: frozenset[str] = frozenset()) -> list[Row]:
    """The scans of one place. `sure`: only what can certainly be brought about; `loose`: readings that show anything."""
    return simplified(list(_scans(draft, place, sure=sure, loose=loose)))


def reads(draft: Draft, place: int, readings: frozenset[str]) -> bool:
    """Whether a scan at this place asks for one of these readings."""
    reading = Reading(draft, place)
    spec = draft.table.states[reading.state]
    care = _kept_bits(draft)
    for index in range(spec.first_row, spec.end_row):
        care |= draft.table.rows[index].care
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


def _scans(draft: Draft, place: int, *, sure: bool = False, loose: frozenset[str] = frozenset()) -> Iterator[Row]:
    """Row by row: the branches in which it fires end there, the others go on; what nothing later asks is forgotten."""
    reading = Reading(draft, place, sure=sure, loose=loose)
    spec, table = draft.table.states[reading.state], draft.table
    rows = [i for i in range(spec.first_row, spec.end_row) if table.rows[i].least <= reading.timer]
    after = _kept_bits(draft)
    for inhibit in table.inhibits:
        after |= inhibit.care
    current = [Branch()]
    for number, index in enumerate(rows):
        rest = after
        for later in rows[number + 1 :]:
            rest |= table.rows[later].care
        live, ends = reading.needs(rest), reading.needs(after)
        fired: list[Branch] = []
        going: list[Branch] = []
        for branch in current:
            for found, holds in reading.all_of(table.rows[index].care, table.rows[index].want, branch):
                (fired if holds else going).append(found.only(ends if holds else live))
        yield from _ends(draft, reading, distinct(fired), index)
        current = distinct(going)
        if not current:
            return
    yield from _ends(draft, reading, current, None)


def _kept(draft: Draft) -> list[tuple[int, str]]:
    """(condition, bit of the word) of everything that a scan leaves in the word."""
    kept = [(i, memory(bit.name)) for i, bit in enumerate(draft.table.bits) if bit.kind == Kind.MEMORY]
    return kept + [(draft.table.bit_index(n), f"the box says {n}") for n in said(draft)]


def _kept_bits(draft: Draft) -> int:
    return sum(1 << i for i, _ in _kept(draft))


def _ends(draft: Draft, reading: Reading, branches: list[Branch], fired: int | None) -> Iterator[Row]:
    """The rows of these ways through the table: what is remembered, inhibited and where the box stands then."""
    state = reading.state if fired is None else draft.table.rows[fired].to
    kept = _kept(draft)
    changes: list[tuple[Branch, dict[str, int]]] = [(b, {}) for b in branches]
    for number, (i, name) in enumerate(kept):
        rest = sum(1 << j for j, _ in kept[number + 1 :])
        for inhibit in draft.table.inhibits:
            rest |= inhibit.care
        live = reading.needs(rest)
        changes = _unique([(a.only(live), {**c, name: v}) for b, c in changes for a, v in reading.values(i, b)])
    held: list[tuple[Branch, dict[str, int], dict[int, int]]] = [(b, c, {}) for b, c in changes]
    for number, inhibit in enumerate(draft.table.inhibits):
        own = draft.table.states[state].outputs[inhibit.output]
        rest = 0
        for later in draft.table.inhibits[number + 1 :]:
            rest |= later.care
        live = reading.needs(rest)
        going: dict[object, tuple[Branch, dict[str, int], dict[int, int]]] = {}
        for branch, change, holds in held:
            ways: list[tuple[Branch, dict[int, int]]] = [(branch, holds)]
            # an inhibit that changes nothing there is not asked
            if holds.get(inhibit.output, own) != inhibit.position:
                ways = [
                    (found, {**holds, inhibit.output: inhibit.position} if value else holds)
                    for found, value in reading.all_of(inhibit.care, inhibit.want, branch)
                ]
            for found, now in ways:
                found = found.only(live)
                key = (found.key, frozenset(change.items()), frozenset(now.items()))
                if key not in going or going[key][0].lazy:
                    going[key] = (found, change, now)
        held = list(going.values())
    for branch, change, holds in held:
        bits = {}
        for output in range(len(draft.table.outputs)):
            own = draft.table.states[state].outputs[output]
            for code in draft.inhibited(output):
                bits[draft.stays(output, code)] = int(holds.get(output, own) == code != own)
        yield from _finish(draft, reading, branch, {**change, **bits}, fired, state)


def _unique(changes: list[tuple[Branch, dict[str, int]]]) -> list[tuple[Branch, dict[str, int]]]:
    found: dict[object, tuple[Branch, dict[str, int]]] = {}
    for branch, change in changes:
        key = (branch.key, frozenset(change.items()))
        if key not in found or found[key][0].lazy:
            found[key] = (branch, change)
    return list(found.values())


def _finish(draft: Draft, reading: Reading, branch: Branch, change: dict[str, int], fired: int | None, state: int) -> Iterator[Row]:
    layout, place = draft.layout, reading.place
    clear = layout.mask(n for n, v in change.items() if not v)
    put = layout.mask(n for n, v in change.items() if v)
    # what is known to be so already needs no rewriting
    clear &= ~(branch.cube.care & ~branch.cube.want)
    put &= ~(branch.cube.care & branch.cube.want)
    # a scan ends the reading; a valve commanded open again has crossed nothing while shutting
    clear |= layout.mask([READING])
    to = place if fired is None else draft.place(state)
    for output in gas.fillers(draft):
        number = list(draft.pad.outputs).index(output)
        code = draft.table.outputs[number].positions.index("open")
        own = draft.state_command(to, number)
        held = [c for c in draft.inhibited(number) if change.get(draft.stays(number, c))]
        if (held[0] if held else own) == code:
            clear |= layout.mask([gas.overshoot(output)])
    if fired is not None:
        clear |= layout.mask(draft.fresh(c) for c in draft.tracked) | people.leaving(draft, to)
        row = draft.table.rows[fired]
        says = f"the box goes from {draft.told(place)} to {draft.told(to)} ({row.origin})"
        yield Row(says, "box", (place,), branch.cube, clear, put, to, scan=True, lazy=branch.lazy, origin=fired)
        return
    yield Row("a scan moves nothing", "box", (place,), branch.cube, clear, put, scan=True, lazy=branch.lazy)
    steps = draft.steps[state]
    if reading.region < len(steps):
        seconds = steps[reading.region] * draft.durations.scan
        yield Row(
            f"{seconds:g} s in {draft.told(place)} are over", "box", (place,), branch.cube, clear, put, place + 1,
            _timer_once(draft, state, place, seconds), scan=True, lazy=branch.lazy,
        )  # fmt: skip


def _timer_once(draft: Draft, state: int, place: int, seconds: float) -> tuple[tuple[Cube, int], ...]:
    key = f"timer {place}"
    if key not in draft.found:
        draft.found[key] = tuple(_timer(draft, state, place, seconds))
    return draft.found[key]  # type: ignore[no-any-return]


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
        key = (row.says, row.at, row.clear, row.set, row.to, row.lazy, row.origin)
        groups.setdefault(key, []).append(row)
    result = []
    for same in groups.values():
        result += [replace(same[0], guard=cube) for cube in joined([row.guard for row in same])]
    return result


def joined(cubes: list[Cube]) -> list[Cube]:
    """The same union with fewer cubes (one-bit joins and absorption until nothing changes)."""
    current = set(cubes)
    while True:
        merged: set[Cube] = set()
        used: set[Cube] = set()
        for cube in current:
            care = cube.care
            while care:
                bit = care & -care
                care &= ~bit
                twin = Cube(cube.care, cube.want ^ bit)
                if twin in current:
                    merged.add(Cube(cube.care & ~bit, cube.want & ~bit))
                    used |= {cube, twin}
        now = (current - used) | merged
        now = {c for c in now if not any(c != d and c.within(d) for d in now)}
        if now == current:
            return sorted(now)
        current = now
