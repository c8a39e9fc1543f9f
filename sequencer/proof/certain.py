"""What the table surely does once some inputs stand as a cause puts them, whatever every other input shows.

Nothing is taken from the other inputs, so what is found here holds however many of them have failed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from sequencer.proof.draft import Draft
from sequencer.table import Kind
from sequencer.table.table import Literals, Row

Known = dict[int, tuple[int, int]]
"""{condition bit: (its value, scans after which it has it)}."""


def turned(draft: Draft, levels: Mapping[int, bool], seeds: Mapping[int, int] | None = None) -> Known:
    """The bits that contacts standing at these closed/open levels bring about ({contact number: closed}), and those
    that follow from them. `seeds`: raw values of comparison bits that the cause brings about."""
    known: Known = {}
    for i, bit in enumerate(draft.table.bits):
        raw: tuple[int, int] | None = None
        if bit.kind == Kind.CONTACT and bit.source in levels:
            raw = (int(levels[bit.source] == bit.wanted), 0)
        elif seeds and i in seeds:
            raw = (seeds[i], 0)
        elif bit.kind == Kind.ALL:
            raw = _literals(bit.set, known)
        elif bit.kind == Kind.MEMORY:
            cleared = _literals(bit.clear, known)
            raw = (0, cleared[1]) if cleared is not None and cleared[0] else None
            if raw is not None:
                known[i] = raw
            continue
        if raw is not None:
            known[i] = (raw[0], raw[1] + (bit.hold if raw[0] else bit.drop))
    return known


def _literals(literals: Literals, known: Known) -> tuple[int, int] | None:
    """(value, scans) of a literal list, None where it rests on more than is known."""
    care = [j for j in range(literals.care.bit_length()) if literals.care >> j & 1]
    wrong = [known[j][1] for j in care if j in known and known[j][0] != (literals.want >> j & 1)]
    if wrong:
        return int(literals.invert), min(wrong)
    if all(j in known for j in care):
        return int(not literals.invert), max((known[j][1] for j in care), default=0)
    return None


def by(known: Known, scans: int) -> dict[int, int]:
    """The bits that are surely there after so many scans."""
    return {i: value for i, (value, after) in known.items() if after <= scans}


def ways(draft: Draft, state: int, bits: Mapping[int, int]) -> tuple[list[Row], bool]:
    """(rows of a state that may fire with these bits, whether one of them surely does at once)."""
    spec, found = draft.table.states[state], []
    for row in draft.table.rows[spec.first_row : spec.end_row]:
        literals = {i: row.want >> i & 1 for i in range(row.care.bit_length()) if row.care >> i & 1}
        if any(bits.get(i, v) != v for i, v in literals.items()):
            continue
        found.append(row)
        if row.least == 0 and all(i in bits for i in literals):
            return found, True
    return found, False


def commands(draft: Draft, state: int, bits: Mapping[int, int], wanted: Mapping[int, int]) -> bool:
    """Whether a state surely commands these positions ({output: code}), inhibits counted: those that surely hold, and
    none that only may."""
    for output, code in wanted.items():
        held: set[int] = {draft.table.states[state].outputs[output]}
        for inhibit in draft.table.inhibits:
            if inhibit.output != output:
                continue
            literals = {j: inhibit.want >> j & 1 for j in range(inhibit.care.bit_length()) if inhibit.care >> j & 1}
            if any(bits.get(j, v) != v for j, v in literals.items()):
                continue
            sure = all(j in bits for j in literals)
            held = {inhibit.position} if sure else held | {inhibit.position}
        if held != {code}:
            return False
    return True


@dataclass(frozen=True)
class Answer:
    """What comes of the bits in one state. moves: most moves until the effect is commanded, None when it may never
    be. lets_go: states to which it may go on without the effect afterwards."""

    moves: int | None
    lets_go: frozenset[int] = frozenset()


def answer(draft: Draft, state: int, bits: Mapping[int, int], wanted: Mapping[int, int]) -> Answer:
    """The most moves from a state to one that commands the effect, by whatever rows may fire first, and whether the
    effect stays as long as the bits do."""
    good = {s for s in range(len(draft.table.states)) if commands(draft, s, bits, wanted)}
    moves = _moves(draft, state, bits, good, ())
    if moves is None:
        return Answer(None)
    todo, seen, gone = [state], {state}, set[int]()
    while todo:
        here = todo.pop()
        for row in ways(draft, here, bits)[0]:
            if here in good and row.to not in good:
                gone.add(row.to)
            if row.to not in seen:
                seen.add(row.to)
                todo.append(row.to)
    return Answer(moves, frozenset(gone))


def _moves(draft: Draft, state: int, bits: Mapping[int, int], good: set[int], seen: tuple[int, ...]) -> int | None:
    if state in good:
        return 0
    found, sure = ways(draft, state, bits)
    if not sure or state in seen:
        return None
    most = 0
    for row in found:
        further = _moves(draft, row.to, bits, good, (*seen, state))
        if further is None:
            return None
        most = max(most, further)
    return most + 1


def positions(draft: Draft, effects: Iterable[tuple[str, str]]) -> dict[int, int]:
    """{output: code} of (output, position) pairs; names that are no outputs are left out."""
    names = [o.name for o in draft.table.outputs]
    return {names.index(o): draft.table.outputs[names.index(o)].positions.index(p) for o, p in effects if o in names}


def literal_bits(row: Row) -> Iterator[tuple[int, int]]:
    """(bit, value wanted) of a row's literals."""
    return ((i, row.want >> i & 1) for i in range(row.care.bit_length()) if row.care >> i & 1)
