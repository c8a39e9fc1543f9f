"""What inputs would make one row fire: its literals true, those of the rows before it broken."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from sequencer.table import Kind, Table
from sequencer.table.table import NO_TARGET, Literals, Row


@dataclass
class Wish:
    """Levels that shall stand for `length` scans, in `state`; presses and changes come at the end."""

    state: int | None = None
    length: int = 0
    contacts: dict[int, int] = field(default_factory=dict)
    heard: dict[int, int] = field(default_factory=dict)
    presses: dict[int, int] = field(default_factory=dict)
    bands: dict[int, tuple[int, int]] = field(default_factory=dict)  # counts allowed, both ends included
    invalid: set[int] = field(default_factory=set)
    apart: dict[tuple[int, int], int] = field(default_factory=dict)  # two readings, least counts between them
    changes: dict[int, int] = field(default_factory=dict)  # counts by which a reading moves at the end

    def narrow(self, table: Table, analog: int, low: int, high: int) -> None:
        """Keep a reading within a band; where that leaves nothing, the later wish wins."""
        spec = table.analogs[analog]
        old = self.bands.get(analog, (spec.low, spec.high))
        both = max(old[0], low), min(old[1], high)
        self.bands[analog] = both if both[0] <= both[1] else (max(low, 0), max(low, high, 0))

    def readings(self, table: Table, random: Random) -> tuple[dict[int, int], dict[int, int]]:
        """(counts to begin with, counts at the end), at the edges of the bands more often than inside."""
        counts: dict[int, int] = {}
        for i, (low, high) in self.bands.items():
            room = [random.randint(low, high), low, high]
            if self.changes.get(i):
                room = [(low + high) // 2]
            counts[i] = min(random.choice(room), 0xFFFF)
        for (a, b), distance in self.apart.items():
            spec = table.analogs[b]
            middle = (spec.low + spec.high) // 2
            near = counts.setdefault(a, middle if not distance else spec.low)
            low, high = self.bands.get(b, (spec.low, spec.high))
            counts[b] = min(max(near + distance if near + distance <= high else near - distance, 0), 0xFFFF)
            if not distance:
                counts[b] = min(max(near, low), high)
        for i in self.invalid:
            counts[i] = random.choice((0, 0xFFFF))
        ends = {i: min(max(counts.get(i, 0) + step, 0), 0xFFFF) for i, step in self.changes.items()}
        return counts, ends


def wishes_for(table: Table, random: Random, index: int, quiet: bool = False) -> list[Wish]:
    """Wishes whose last one should make row `index` fire; those before it set the memories it needs.

    quiet: the later rows of the state are broken too, so that none of them moves the box away meanwhile.
    """
    row = table.rows[index]
    wanted = _literals(row)
    state = table.states[row.state]
    others = [n for n in range(state.first_row, state.end_row if quiet else index) if n != index]
    broken = _broken(table, random, [table.rows[n] for n in others], wanted)
    return _Maker(table, random).achieve({**broken, **wanted}, row.state, 3)


def _literals(rule: Row | Literals) -> dict[int, bool]:
    return {i: bool(rule.want >> i & 1) for i in range(rule.care.bit_length()) if rule.care >> i & 1}


def _broken(table: Table, random: Random, rows: list[Row], wanted: dict[int, bool]) -> dict[int, bool]:
    """Values of bits, one of each row and none of those wanted otherwise, without which these rows do not hold."""
    broken: dict[int, bool] = {}
    for row in rows:
        literals, known = _literals(row), {**broken, **wanted}
        if any(known.get(i, value) != value for i, value in literals.items()):
            continue
        free = [i for i in literals if i not in known]
        if free:
            i = random.choice(free)
            broken[i] = not literals[i]
    return broken


@dataclass
class _Maker:
    table: Table
    random: Random

    def __post_init__(self) -> None:
        self.steady = max([c.steady for c in self.table.contacts], default=0)

    def achieve(self, wanted: dict[int, bool], state: int | None, depth: int) -> list[Wish]:
        wish, before = Wish(state, self.steady + 2), list[Wish]()
        for i, value in wanted.items():
            self.want(i, value, wish, before, depth)
        return [*before, wish]

    def want(self, i: int, value: bool, wish: Wish, before: list[Wish], depth: int) -> None:
        """Add to `wish` what makes bit `i` be `value`; `before` gets what has to be done first."""
        bit, table = self.table.bits[i], self.table
        kind, source = bit.kind, bit.source
        wish.length = max(wish.length, (bit.hold if value else bit.drop) + self.steady + 2)
        if kind == Kind.CONTACT:
            wish.contacts[source] = int(value == bit.wanted)
        elif kind == Kind.PRESS and value:
            wish.presses[source] = int(bit.wanted)
        elif kind == Kind.HEARD:
            wish.heard[source] = int(value)
            wish.length = max(wish.length, 0 if value else bit.on + 2)
        elif kind in (Kind.AT_LEAST, Kind.BELOW):
            up = (kind == Kind.AT_LEAST) == value
            wish.narrow(table, source, max(bit.on, bit.off) if up else 0, 0xFFFF if up else min(bit.on, bit.off) - 1)
        elif kind == Kind.VALID:
            if value == bit.wanted:
                wish.narrow(table, source, 0, 0xFFFF)
            else:
                wish.invalid.add(source)
        elif kind == Kind.TARGET and wish.state is not None:
            target = table.states[wish.state].targets[source]
            if target != NO_TARGET:
                wish.narrow(table, source, target if value else 0, 0xFFFF if value else target - bit.off - 1)
        elif kind == Kind.DIFFERS:
            gain = max(1, abs(table.analogs[source].gain))
            wish.apart[source, bit.second] = -(-bit.on // gain) + self.random.choice((0, 1)) if value == bit.wanted else 0
        elif kind == Kind.CHANGE and value:
            self.want(bit.second, True, wish, before, depth)
            wish.length = max(wish.length, bit.off + self.steady + 3)
            wish.changes[source] = bit.sign * (bit.on if bit.wanted else bit.on - 1)
            wish.narrow(table, source, 0, 0xFFFF)
        elif kind == Kind.STATE and value == bit.wanted and wish.state is None:
            wish.state = source
        elif kind == Kind.COMMAND and value == bit.wanted:
            there = [s for s, state in enumerate(table.states) if state.outputs[source] == bit.on]
            if wish.state is None and there:
                wish.state = self.random.choice(there)
            for item in table.inhibits:  # it is the position after the inhibits that counts
                if item.output == source and item.position != bit.on and item.care:
                    k = self.random.choice([k for k in range(len(table.bits)) if item.care >> k & 1])
                    self.want(k, not item.want >> k & 1, wish, before, depth)
        elif kind == Kind.ALL:
            for k, wanted in self.literals(bit.set, value).items():
                self.want(k, wanted, wish, before, depth)
        elif kind == Kind.MEMORY and depth:
            before.extend(self.remember(i, value, depth - 1))

    def remember(self, i: int, value: bool, depth: int) -> list[Wish]:
        """Wishes that set memory `i`, or clear it; where that takes a state, no row that does not rest on the memory
        moves the box out of it meanwhile."""
        bit, table = self.table.bits[i], self.table
        wanted = self.literals(bit.set if value else bit.clear, True)
        if value and bit.clear.care:
            wanted = {**self.literals(bit.clear, False), **wanted}
        made = self.achieve(wanted, None, depth)
        if (place := made[-1].state) is None:
            return made
        state = table.states[place]
        rows = [row for row in table.rows[state.first_row : state.end_row] if not row.care >> i & 1]
        return self.achieve({**_broken(table, self.random, rows, wanted), **wanted}, place, depth)

    def literals(self, rule: Literals, hold: bool) -> dict[int, bool]:
        """Values of bits that make a list hold, or not: all of them, or one the other way."""
        named = _literals(rule)
        if hold != rule.invert or not named:
            return named
        one = self.random.choice(list(named))
        return {one: not named[one]}
