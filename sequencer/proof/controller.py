"""The controller's scans as rows: per place, every way a scan can end, with the free inputs chosen and forgotten.

A scan that moves goes to the next state's first region; one that fires nothing may also let the state timer pass its
next threshold, unless a bounded race forbids it. Every entry makes "changed just now" marks stale.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import product

import numpy as np

from sequencer.proof import emptying, gas, parts, people, relevance
from sequencer.proof.bits import Reading, memory
from sequencer.proof.branches import CARE, CLEAR, HOLDS, LAZY, LIES, ONE, PUT, WANT, Branches, together
from sequencer.proof.cubes import joined_all
from sequencer.proof.draft import READING, Draft
from sequencer.proof.system import Row
from sequencer.proof.words import EVERYTHING, Cube
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
    if "said" not in draft.found:
        draft.found["said"] = _said(draft)
    return draft.found["said"]  # type: ignore[no-any-return]  # kept there by this function


def _said(draft: Draft) -> list[str]:
    from sequencer.description import terms as t
    from sequencer.proof.bands import facts

    kinds = {bit.name: bit.kind for bit in draft.table.bits}
    names = [f.condition for f in facts(draft.pad) if isinstance(f, t.BoxSays)]
    return [n for n in dict.fromkeys(names) if kinds.get(n) is not None and kinds[n] != Kind.MEMORY]


def rows(draft: Draft) -> None:
    """Scans of every running place, and power."""
    for place in draft.running:
        draft.rows.extend(_scans(draft, place))
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
    return list(_scans(draft, place, sure=sure, loose=loose, most=most))


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
    ways: list[int | None] = [None, *(table.rows[i].to for i in rows)]
    kept = {to: _kept_bits(draft, place, to) | _any(i.care for i in _telling(draft, reading.state if to is None else to)) for to in ways}
    rules = {to: relevance.asked(draft, place, to) for to in ways}
    going = reading.choices.none()
    for number, index in enumerate(rows):
        rest, judged = kept[None], rules[None]
        for later in rows[number + 1 :]:
            to = table.rows[later].to
            rest |= table.rows[later].care | kept[to]
            judged |= rules[to]
        to = table.rows[index].to
        going, fired = reading.all_of(table.rows[index].care, table.rows[index].want, going)
        yield from _ended(draft, reading, relevance.only(draft, reading, fired, kept[to], rules[to]), index)
        going = relevance.only(draft, reading, going, rest, judged)
        if not going.shape[1]:
            return
    yield from _ended(draft, reading, going, None)


def _ended(draft: Draft, reading: Reading, branches: Branches, fired: int | None) -> Iterable[Row]:
    """The same as `_ends`; of sound readings it is kept, since many mutants of a table (see `why`) share most of it."""
    if reading.loose or reading.sure:
        return _ends(draft, reading, branches, fired)
    known: dict[tuple[object, ...], tuple[Row, ...]] = draft.found.setdefault("ends", {})
    inhibits = _telling(draft, reading.state if fired is None else draft.table.rows[fired].to)
    key = (reading.place, fired, reading.kept, tuple(inhibits), branches.tobytes())
    if key not in known:
        known[key] = tuple(_ends(draft, reading, branches, fired))
    return known[key]


def _kept(draft: Draft, place: int, to: int | None) -> list[tuple[int, str]]:
    """(condition, bit of the word) of everything that a scan from a place to a state (None: it stays) leaves in the
    word: the memories, and what the box says where a rule judges it."""
    known: dict[tuple[int, int | None], list[tuple[int, str]]] = draft.found.setdefault("worth keeping", {})
    if (place, to) not in known:
        known[place, to] = _worth_keeping(draft, place, to)
    return known[place, to]


def _worth_keeping(draft: Draft, place: int, to: int | None) -> list[tuple[int, str]]:
    kept = [(i, memory(bit.name)) for i, bit in enumerate(draft.table.bits) if bit.kind == Kind.MEMORY]
    rules = relevance.asked(draft, place, to)
    says = {n: f"the box says {n}" for n in said(draft)}
    return kept + [(draft.table.bit_index(n), bit) for n, bit in says.items() if rules & draft.layout.mask([bit])]


def _kept_bits(draft: Draft, place: int, to: int | None) -> int:
    return sum(1 << i for i, _ in _kept(draft, place, to))


def _ends(draft: Draft, reading: Reading, branches: Branches, fired: int | None) -> Iterator[Row]:
    """The rows of these ways through the table: what is remembered, inhibited and where the box stands then."""
    if not branches.shape[1]:
        return
    state = reading.state if fired is None else draft.table.rows[fired].to
    to = None if fired is None else state
    kept, rules, bits = _kept(draft, reading.place, to), relevance.asked(draft, reading.place, to), draft.layout.index
    inhibits = _telling(draft, state)
    asked = [i.care for i in inhibits]
    for number, (i, name) in enumerate(kept):
        mask, split = ONE << np.uint64(bits[name]), []
        for line, part in zip((CLEAR, PUT), reading.values(i, branches), strict=True):
            made = part.copy()
            made[line] |= mask
            split.append(made)
        later = _any(1 << j for j, _ in kept[number + 1 :]) | _any(asked)
        branches = relevance.only(draft, reading, together(split), later, rules)
    holds = [draft.table.states[state].outputs]
    for number, inhibit in enumerate(inhibits):
        branches = _inhibited(reading, branches, holds, inhibit)
        branches = relevance.only(draft, reading, branches, _any(asked[number + 1 :]), rules)
    yield from _finish(draft, reading, branches, holds, fired, state)


def _telling(draft: Draft, state: int) -> list[InhibitSpec]:
    """The inhibits that can change what a state commands, or what another one has made of it."""
    own, inhibits = draft.table.states[state].outputs, draft.table.inhibits
    changed = {i.output for i in inhibits if i.position != own[i.output]}
    return [i for i in inhibits if i.output in changed]


def _any(masks: Iterable[int]) -> int:
    whole = 0
    for mask in masks:
        whole |= mask
    return whole


def _inhibited(reading: Reading, branches: Branches, holds: list[tuple[int, ...]], inhibit: InhibitSpec) -> Branches:
    """The branches after one inhibit; `holds` are the tuples of positions by number, and grow."""
    same = np.array([h[inhibit.output] == inhibit.position for h in holds])[branches[HOLDS].astype(np.int64)]
    # an inhibit that changes nothing there is not asked
    free, held = reading.all_of(inhibit.care, inhibit.want, branches[:, ~same])
    if held.shape[1]:
        held, numbers = held.copy(), np.zeros(len(holds), np.uint64)
        for number in np.unique(held[HOLDS]).tolist():
            old = holds[number]
            new = (*old[: inhibit.output], inhibit.position, *old[inhibit.output + 1 :])
            if new not in holds:
                holds.append(new)
            numbers[number] = holds.index(new)
        held[HOLDS] = numbers[held[HOLDS].astype(np.int64)]
    return together([branches[:, same], free, held])


def _finish(
    draft: Draft, reading: Reading, branches: Branches, holds: list[tuple[int, ...]], fired: int | None, state: int
) -> Iterator[Row]:
    place = reading.place
    to = place if fired is None else draft.place(state)
    position = branches[HOLDS].astype(np.int64)
    held = np.array([(*_held(draft, state, h), _always_cleared(draft, state, h)) for h in holds], np.uint64)
    clear, put = branches[CLEAR] | held[position, 0], branches[PUT] | held[position, 1]
    # what is known to be so already needs no rewriting
    clear &= ~(branches[CARE] & ~branches[WANT])
    put &= ~(branches[CARE] & branches[WANT])
    clear |= held[position, 2] | np.uint64(_left_behind(draft, to) if fired is not None else 0)
    effects = np.stack([branches[LIES], clear, put, branches[LAZY]])
    for (lies, clears, puts, lazy), cubes in _by_effect(effects, branches[CARE], branches[WANT]):
        stays = Row("a scan moves nothing", "box", (place,), EVERYTHING, clears, puts, scan=True, lazy=bool(lazy), needs=reading.lying(lies))
        if fired is not None:
            says = f"the box goes from {draft.told(place)} to {draft.told(to)} ({draft.table.rows[fired].origin})"
            made = [stays.but(says=says, to=to, origin=fired)]
        else:
            made = [stays]
            steps = draft.steps[state]
            if reading.region < len(steps):
                seconds = steps[reading.region] * draft.durations.scan
                says = f"{seconds:g} s in {draft.told(place)} are over"
                made.append(stays.but(says=says, to=place + 1, unless=_timer_once(draft, state, place, seconds)))
        for one in made:
            yield from (one.but(guard=cube) for cube in cubes)


def _by_effect(effects: Branches, care: Branches, want: Branches) -> Iterator[tuple[tuple[int, ...], list[Cube]]]:
    """Branches of the same effect together, their cubes joined as far as they go."""
    order = np.lexsort([want, care, *effects[::-1]])
    ordered = effects[:, order]
    ends = np.append(np.flatnonzero((ordered[:, 1:] != ordered[:, :-1]).any(axis=0)) + 1, len(order))
    groups = joined_all(care[order], want[order], ends)
    return zip(map(tuple, ordered[:, ends - 1].T.tolist()), groups, strict=True)


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
        yield from emptying.must_be_below(draft, volume, place, seconds, second)


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
