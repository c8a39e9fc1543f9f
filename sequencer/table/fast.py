"""The same scan, specialised to one table and quick enough to simulate whole days.

`scan` in scan.py is the meaning; this is a straight-line Python text generated from the table, with
everything the controller remembers in local variables. A property test holds the two equal, memory
included. What it leaves out is only what cannot matter: rows are not looked at again while bits and
state are the same and no least time has come.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sequencer.table.scan import NEVER_HEARD, NOT_CAPTURED, Inputs, Memory, Move, power_up
from sequencer.table.table import MAX_SCANS, NO_TARGET, Bit, Kind, Literals, Table

_ANALOG = (Kind.AT_LEAST, Kind.BELOW, Kind.VALID, Kind.DIFFERS, Kind.CHANGE, Kind.TARGET)
_NEVER = MAX_SCANS + 2  # a timer never gets there


class Controller:
    """One running controller. `step` is one scan; all else is read-only to its user.

    outputs, state, bits: as after the last scan; spent: scans in the state as that scan compared them.
    `send` is `step` for a tight loop: it takes an Inputs and returns (outputs, move, state, bits, spent).
    """

    def __init__(self, table: Table, memory: Memory | None = None) -> None:
        self.table = table
        start = power_up(table) if memory is None else memory
        running = program(table)(start)
        next(running)
        self.send: Callable[[Any], tuple[tuple[int, ...], Move | None, int, int, int]] = running.send
        self.outputs, self.state, self.bits, self.spent = start.outputs, start.state, start.bits, start.timer

    def step(self, inputs: Inputs) -> Move | None:
        """One scan; returns the move if one fired."""
        self.outputs, move, self.state, self.bits, self.spent = self.send(inputs)
        return move

    @property
    def memory(self) -> Memory:
        """All it remembers now, equal to what `scan` would have returned."""
        got: Any = self.send(None)
        assert isinstance(got, Memory)
        return got


_programs: dict[int, tuple[Table, Any]] = {}


def program(table: Table) -> Any:
    """The generator function of a table; generated once per table object."""
    known = _programs.get(id(table))
    if known is None or known[0] is not table:
        if len(_programs) > 64:
            _programs.clear()
        known = _programs[id(table)] = (table, _build(table))
    return known[1]


def _build(table: Table) -> Any:
    rows = [
        tuple((r.care, r.want, r.least, r.to, i) for i, r in list(enumerate(table.rows))[s.first_row : s.end_row])
        for s in table.states
    ]
    names: dict[str, Any] = {
        "ROWS": rows,
        "LEASTS": [sorted({row[2] for row in of_state}) for of_state in rows],
        "STATE_BITS": [_state_bits(table, s) for s in range(len(table.states))],
        "TARGETS": [s.targets for s in table.states],
        "OUTPUTS": _Outputs(table),
        "Memory": Memory,
        "Move": Move,
    }
    exec(compile(text(table), f"<scan of {table.title}>", "exec"), names)
    return names["run"]


class _Outputs(dict[tuple[int, int], tuple[int, ...]]):
    """(state, bits that inhibits look at) -> codes written; filled as they come up."""

    def __init__(self, table: Table) -> None:
        super().__init__()
        self.table = table

    def __missing__(self, key: tuple[int, int]) -> tuple[int, ...]:
        state, bits = key
        codes = list(self.table.states[state].outputs)
        for inhibit in self.table.inhibits:
            if bits & inhibit.care == inhibit.want:
                codes[inhibit.output] = inhibit.position
        self[key] = tuple(codes)
        return self[key]


def _direct(bit: Bit) -> bool:
    return bit.hold == 0 and bit.drop == 0


def _state_bits(table: Table, state: int) -> int:
    """Mask of the undelayed STATE bits that are true in `state`."""
    return sum(
        1 << k
        for k, bit in enumerate(table.bits)
        if bit.kind == Kind.STATE and _direct(bit) and (bit.source == state) == bit.wanted
    )


def _has_before(bit: Bit) -> bool:
    """Whether the raw value must be kept apart from the bit: delays, and targets forgotten at a move."""
    return not _direct(bit) or bit.kind == Kind.TARGET


def _mask(items: list[tuple[int, str]]) -> str:
    """An expression of 0/1 expressions placed at their bits."""
    return " | ".join(f"(({text}) << {place})" for place, text in items) or "0"


def _holds(literals: Literals) -> str:
    return f"bits & {literals.care} {'!=' if literals.invert else '=='} {literals.want}"


def text(table: Table) -> str:
    """The Python text of one table's scan."""
    out: list[str] = []
    contacts, bits = range(len(table.contacts)), list(enumerate(table.bits))
    kept = [k for k, b in bits if b.kind != Kind.PRESS and _has_before(b)]
    changes = [k for k, b in bits if b.kind == Kind.CHANGE]
    hearts = range(len(table.heartbeats))

    def line(depth: int, code: str) -> None:
        out.append("    " * depth + code)

    inhibited = 0
    for inhibit in table.inhibits:
        inhibited |= inhibit.care
    contact_bits = [
        (k, f"stable >> {b.source} & 1" if b.wanted else f"~stable >> {b.source} & 1")
        for k, b in bits
        if b.kind == Kind.CONTACT and _direct(b)
    ]
    command_bits = [
        (k, f"outs[{b.source}] {'==' if b.wanted else '!='} {b.on}")
        for k, b in bits
        if b.kind == Kind.COMMAND and _direct(b)
    ]
    agree = _mask([(2 * i, f"1 << (stable >> {i} & 1)") for i in contacts])
    levels = "(" + "".join(f"stable >> {i} & 1, " for i in contacts) + ")"

    line(0, "def run(memory):")
    line(1, "n, state, timer, bits, before, delays, ages, captured, stable, filters, seen, settled, silence, outs = memory")
    for i in contacts:
        line(1, f"f{i} = filters[{i}]")
    for j in hearts:
        line(1, f"q{j} = silence[{j}]")
    for k, bit in bits:
        line(1, f"d{k} = delays[{k}]; b{k} = bits >> {k} & 1; p{k} = before >> {k} & 1")
        if bit.kind == Kind.CHANGE:
            line(1, f"a{k} = ages[{k}]; z{k} = captured[{k}]")
    line(1, f"levels = {levels}; agree = {agree}; contact_bits = {_mask(contact_bits)}")
    line(1, f"state_bits = STATE_BITS[state]; command_bits = {_mask(command_bits)}")
    line(1, "running = True; wake = 0; fresh = True; result = None")
    line(1, "while True:")
    line(2, "got = yield result")
    line(2, "while got is None:")
    before = _mask(
        [(k, f"p{k}" if k in kept else f"bits >> {k} & 1") for k, b in bits if b.kind not in (Kind.PRESS, Kind.MEMORY)]
    )
    tuples = {
        "delays": [f"d{k}" for k, _ in bits],
        "ages": [f"a{k}" if k in changes else f"ages[{k}]" for k, _ in bits],
        "captured": [f"z{k}" if k in changes else f"captured[{k}]" for k, _ in bits],
        "filters": [f"f{i}" for i in contacts],
        "silence": [f"q{j}" for j in hearts],
    }
    joined = {name: "(" + "".join(f"{item}, " for item in items) + ")" for name, items in tuples.items()}
    line(3, f"got = yield Memory(n, state, timer, bits, {before}, {joined['delays']}, {joined['ages']}, "
            f"{joined['captured']}, stable, {joined['filters']}, seen, settled, {joined['silence']}, outs)")  # fmt: skip
    line(2, "contacts, counts, heard = got")
    line(2, "move = None; changed = 0; old = bits; spent = timer")
    for j in hearts:
        line(2, f"if heard[{j}]: q{j} = 0")
        line(2, f"elif q{j} < {NEVER_HEARD}: q{j} += 1")
    _filters(table, line, contact_bits, agree, levels)
    line(2, "if settled:")
    line(3, "bits = contact_bits | state_bits | command_bits")
    for a in sorted({b.source for _, b in bits if b.kind in _ANALOG} | {b.second for _, b in bits if b.kind == Kind.DIFFERS}):
        spec = table.analogs[a]
        line(3, f"c{a} = counts[{a}]; v{a} = {spec.low} <= c{a} <= {spec.high}")
    for k, bit in bits:
        _bit(table, line, k, bit)
    line(3, "if bits != old or timer >= wake:")
    line(4, "for care, want, least, to, index in ROWS[state]:")
    line(5, "if bits & care == want and timer >= least:")
    line(6, "move = Move(n, state, to, index, bits)")
    line(6, "state = to; timer = 0; seen = 0; wake = 0; state_bits = STATE_BITS[to]")
    for k, bit in bits:
        if bit.kind == Kind.TARGET:
            line(6, f"p{k} = 0")
    line(6, "break")
    line(4, "else:")
    line(5, f"wake = {_NEVER}")
    line(5, "for least in LEASTS[state]:")
    line(6, "if least > timer:")
    line(7, "wake = least")
    line(7, "break")
    line(5, f"if timer <= {MAX_SCANS}: timer += 1")
    line(3, f"elif timer <= {MAX_SCANS}: timer += 1")
    line(2, "if move is not None or bits != old or fresh:")
    line(3, "fresh = False")
    line(3, f"outs = OUTPUTS[state, bits & {inhibited}]")
    line(3, f"command_bits = {_mask(command_bits)}")
    line(2, "n += 1")
    line(2, "result = (outs, move, state, bits, spent)")
    return "\n".join(out) + "\n"


def _filters(table: Table, line: Callable[[int, str], None], contact_bits: list[tuple[int, str]], agree: str, levels: str) -> None:
    """Filtered levels; the quiet case, raw as filtered, is one comparison."""
    counters = " = ".join(f"f{i}" for i in range(len(table.contacts)))
    line(2, "if settled:")
    line(3, "if contacts == levels:")
    line(4, f"if running: running = False; {counters} = 0" if counters else "pass")
    line(4, "seen |= agree")
    line(3, "else:")
    line(4, "running = True")
    for i, spec in enumerate(table.contacts):
        line(4, f"x = contacts[{i}]")
        line(4, f"if x == stable >> {i} & 1: f{i} = 0; seen |= 1 << {2 * i} + x")
        line(4, f"elif f{i} >= {spec.steady}: f{i} = 0; stable ^= {1 << i}; changed |= {1 << i}")
        line(4, f"else: f{i} += 1")
    line(4, "if changed:")
    line(5, f"levels = {levels}; agree = {agree}; contact_bits = {_mask(contact_bits)}")
    line(2, "else:")
    line(3, "settled = True; running = True")
    for i, spec in enumerate(table.contacts):
        line(3, f"x = contacts[{i}]")
        line(3, f"if n == 0 or x != stable >> {i} & 1: stable = stable & {~(1 << i)} | x << {i}; f{i} = 0")
        line(3, f"elif f{i} < {spec.steady}: f{i} += 1")
        line(3, f"if f{i} < {spec.steady}: settled = False")
    if counters:
        line(3, f"if settled: {counters} = 0")
    line(3, f"levels = {levels}; agree = {agree}; contact_bits = {_mask(contact_bits)}")
    line(3, "if settled: seen |= agree")


def _bit(table: Table, line: Callable[[int, str], None], k: int, bit: Bit) -> None:
    """The text that puts one bit into `bits`."""
    kind, source, place = bit.kind, bit.source, 1 << k
    if kind == Kind.PRESS:
        level, away = f"stable >> {source} & 1", 2 * source + (0 if bit.wanted else 1)
        wanted = level if bit.wanted else f"~{level}"
        line(3, f"if changed and changed >> {source} & 1 and {wanted} and seen >> {away} & 1: bits |= {place}")
    elif kind == Kind.MEMORY:
        line(3, f"if {_holds(bit.clear)}: b{k} = d{k} = 0")
        line(3, f"elif {_holds(bit.set)}: b{k} = 1; d{k} = {1 if bit.on else 0}")
        if bit.on:
            line(3, f"elif b{k}:")
            line(4, f"if d{k} >= {bit.on}: b{k} = d{k} = 0")
            line(4, f"else: d{k} += 1")
        line(3, f"if b{k}: bits |= {place}")
    elif kind in (Kind.CONTACT, Kind.STATE, Kind.COMMAND) and _direct(bit):
        pass  # in contact_bits, state_bits, command_bits
    else:
        valid, raw = _raw(table, line, k, bit)
        if _direct(bit):
            if _has_before(bit):
                line(3, f"p{k} = 1 if {f'{valid} and ' if valid else ''}{raw} else 0")
                line(3, f"if p{k}: bits |= {place}")
            else:
                line(3, f"if {f'{valid} and ' if valid else ''}{raw}: bits |= {place}")
            return
        depth = 3
        if valid:
            line(3, f"if {valid}:")
            depth = 4
        line(depth, f"p{k} = 1 if {raw} else 0")
        line(depth, f"if p{k} == b{k}: d{k} = 0")
        line(depth, f"elif d{k} >= ({bit.drop} if b{k} else {bit.hold}): b{k} = p{k}; d{k} = 0")
        line(depth, f"else: d{k} += 1")
        if valid:
            line(3, f"else: p{k} = b{k} = d{k} = 0")
        line(3, f"if b{k}: bits |= {place}")


def _raw(table: Table, line: Callable[[int, str], None], k: int, bit: Bit) -> tuple[str, str]:
    """(validity, raw value) as expressions; '' means always valid. CHANGE writes its own lines first."""
    kind, source = bit.kind, bit.source
    was = f"p{k}" if _has_before(bit) else f"old >> {k} & 1"
    if kind == Kind.CONTACT:
        return "", f"(stable >> {source} & 1) == {int(bit.wanted)}"
    if kind == Kind.STATE:
        return "", f"(state {'==' if bit.wanted else '!='} {source})"
    if kind == Kind.COMMAND:
        return "", f"(outs[{source}] {'==' if bit.wanted else '!='} {bit.on})"
    if kind == Kind.HEARD:
        return "", f"q{source} <= {bit.on}"
    if kind == Kind.ALL:
        return "", _holds(bit.set)
    if kind == Kind.VALID:
        return "", f"v{source}" if bit.wanted else f"(not v{source})"
    if kind == Kind.AT_LEAST:
        on = f"{bit.on}" if bit.on == bit.off else f"({bit.off} if {was} else {bit.on})"
        return f"v{source}", f"c{source} >= {on}"
    if kind == Kind.BELOW:
        on = f"{bit.on}" if bit.on == bit.off else f"({bit.off} if {was} else {bit.on})"
        return f"v{source}", f"c{source} < {on}"
    if kind == Kind.TARGET:
        line(3, f"t = TARGETS[state][{source}]")
        return f"v{source} and t != {NO_TARGET}", f"c{source} >= (t - {bit.off} if p{k} else t)"
    if kind == Kind.CHANGE:
        line(3, f"if bits & {1 << bit.second}:")
        line(4, f"if not old & {1 << bit.second}: z{k} = c{source} if v{source} else {NOT_CAPTURED}; a{k} = 0")
        line(4, f"elif a{k} < {bit.off}: a{k} += 1")
        line(3, f"else: z{k} = {NOT_CAPTURED}; a{k} = 0")
        ready = f"v{source} and bits & {1 << bit.second} and z{k} != {NOT_CAPTURED} and a{k} >= {bit.off}"
        return ready, f"{bit.sign} * (c{source} - z{k}) {'>=' if bit.wanted else '<'} {bit.on}"
    first, second = table.analogs[source], table.analogs[bit.second]
    gap = f"abs({first.gain} * c{source} + {first.offset - second.offset} - {second.gain} * c{bit.second})"
    return f"v{source} and v{bit.second}", f"{gap} {'>=' if bit.wanted else '<'} {bit.on}"
