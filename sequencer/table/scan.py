"""The one meaning of a scan, as a pure function on integers.

One scan: sample -> filters -> conditions and memories in file order -> first row of the state whose
literals hold and whose least time is reached -> timer -> outputs of the state -> inhibits -> record.
At most one move per scan. The firmware runtime and the numpy lanes are held equal to this text.
"""

from __future__ import annotations

from typing import NamedTuple

from sequencer.table.table import MAX_SCANS, NO_TARGET, Bit, Kind, Table

NOT_CAPTURED = -1
NEVER_HEARD = 0xFFFF


class Inputs(NamedTuple):
    """One sample of every input: raw contact levels (1 closed), counts, fresh heartbeats."""

    contacts: tuple[int, ...] = ()
    counts: tuple[int, ...] = ()
    heard: tuple[int, ...] = ()


class Move(NamedTuple):
    """One line of the box log: scan number since power-up, from, to, row, bits at the move."""

    scan: int
    origin: int
    to: int
    row: int
    bits: int


class Memory(NamedTuple):
    """All that the controller remembers between scans. Masks hold one bit per contact or condition."""

    scan: int  # scans since power-up
    state: int
    timer: int  # scans in state, saturating
    bits: int  # condition bits of the last scan
    before: int  # bits before their delays (hysteresis lives here)
    delays: tuple[int, ...]  # per bit: delay counter, or expiry counter of a memory
    ages: tuple[int, ...]  # per bit: CHANGE: scans since the rise
    captured: tuple[int, ...]  # per bit: CHANGE: counts at the rise, or NOT_CAPTURED
    stable: int  # per contact: filtered level
    filters: tuple[int, ...]  # per contact: filter counter
    seen_away: int  # per contact: bit 2i raw 0 seen, 2i+1 raw 1 seen, in this state since the filters settled
    settled: bool
    silence: tuple[int, ...]  # per heartbeat: scans since heard
    outputs: tuple[int, ...]  # as written last


def power_up(table: Table) -> Memory:
    """The memory after a reset: first state, nothing settled, nothing heard, outputs at rest."""
    n = len(table.bits)
    return Memory(
        0, 0, 0, 0, 0, (0,) * n, (0,) * n, (NOT_CAPTURED,) * n, 0, (0,) * len(table.contacts), 0, False,
        (NEVER_HEARD,) * len(table.heartbeats), tuple(o.idle if o.rest is None else o.rest for o in table.outputs),
    )  # fmt: skip


def scan(table: Table, memory: Memory, inputs: Inputs) -> tuple[Memory, tuple[int, ...], Move | None]:
    """One scan: (memory, inputs) -> (memory, output codes, the move if one fired)."""
    stable, filters, settled, changed = _filter(table, memory, inputs)
    seen = memory.seen_away
    for i, level in enumerate(inputs.contacts):
        # a level counts as seen in this state only when raw and filter agree on it, and the filters have settled
        if settled and level == (stable >> i) & 1 and not (changed >> i) & 1:
            seen |= 1 << (2 * i + level)
    silence = tuple(
        0 if heard else min(age + 1, NEVER_HEARD) for heard, age in zip(inputs.heard, memory.silence, strict=True)
    )
    bits = before = 0
    delays, ages, captured = list(memory.delays), list(memory.ages), list(memory.captured)
    state, timer, move = memory.state, memory.timer, None
    if settled:
        for i, bit in enumerate(table.bits):
            was = (memory.bits >> i) & 1
            if bit.kind == Kind.MEMORY:
                value, delays[i] = _remember(bit, was, delays[i], bits)
            elif bit.kind == Kind.PRESS:
                away = (seen >> (2 * bit.source + (0 if bit.wanted else 1))) & 1
                value = (changed >> bit.source) & ((stable >> bit.source) ^ (not bit.wanted)) & away & 1
            else:
                raw, valid = _raw(table, memory, inputs, bit, i, bits, stable, silence, ages, captured)
                before |= raw << i
                value, delays[i] = _delay(raw, was if valid else 0, delays[i] if valid else 0, bit.hold, bit.drop)
            bits |= value << i
        spec = table.states[state]
        for index in range(spec.first_row, spec.end_row):
            row = table.rows[index]
            if timer >= row.least and bits & row.care == row.want:
                move = Move(memory.scan, state, row.to, index, bits)
                state, timer, seen = row.to, 0, 0
                before &= ~_targets(table)
                break
        else:
            timer = min(timer + 1, MAX_SCANS + 1)
    outputs = list(table.states[state].outputs)
    for inhibit in table.inhibits:
        if bits & inhibit.care == inhibit.want:
            outputs[inhibit.output] = inhibit.position
    written = tuple(outputs)
    kept = Memory(
        memory.scan + 1, state, timer, bits, before, tuple(delays), tuple(ages), tuple(captured), stable, filters, seen,
        settled, silence, written,
    )  # fmt: skip
    return kept, written, move


def _targets(table: Table) -> int:
    return sum(1 << i for i, bit in enumerate(table.bits) if bit.kind == Kind.TARGET)


def _filter(table: Table, memory: Memory, inputs: Inputs) -> tuple[int, tuple[int, ...], bool, int]:
    """Filtered levels, counters, whether every filter has settled once, and which levels changed now."""
    stable, counters, changed = memory.stable, list(memory.filters), 0
    if memory.settled:
        for i, (spec, level) in enumerate(zip(table.contacts, inputs.contacts, strict=True)):
            old = (stable >> i) & 1
            new, counters[i] = _delay(level, old, counters[i], spec.steady, spec.steady)
            if new != old:
                stable ^= 1 << i
                changed |= 1 << i
        return stable, tuple(counters), True, changed
    settled = True
    for i, (spec, level) in enumerate(zip(table.contacts, inputs.contacts, strict=True)):
        if memory.scan == 0 or level != (stable >> i) & 1:
            stable = stable & ~(1 << i) | level << i
            counters[i] = 0
        elif counters[i] < spec.steady:
            counters[i] += 1
        settled = settled and counters[i] >= spec.steady
    return stable, (0,) * len(counters) if settled else tuple(counters), settled, 0


def _delay(raw: int, was: int, counter: int, hold: int, drop: int) -> tuple[int, int]:
    """On-delay and off-delay: the value follows `raw` at the n-th scan after the one that first saw it."""
    if raw == was:
        return was, 0
    if counter >= (drop if was else hold):
        return raw, 0
    return was, counter + 1


def _remember(bit: Bit, was: int, counter: int, bits: int) -> tuple[int, int]:
    """A memory: clearing wins; setting restarts the expiry."""
    if bit.clear.hold(bits):
        return 0, 0
    if bit.set.hold(bits):
        return 1, 1 if bit.on else 0
    if was and bit.on:
        return (0, 0) if counter >= bit.on else (1, counter + 1)
    return was, 0


def _raw(
    table: Table, memory: Memory, inputs: Inputs, bit: Bit, i: int, bits: int, stable: int,
    silence: tuple[int, ...], ages: list[int], captured: list[int],
) -> tuple[int, bool]:  # fmt: skip
    """The bit before its delays, and False where an invalid reading makes it false at once."""
    kind, source = bit.kind, bit.source
    if kind == Kind.CONTACT:
        return int(((stable >> source) & 1) == bit.wanted), True
    if kind == Kind.HEARD:
        return int(silence[source] <= bit.on and silence[source] != NEVER_HEARD), True
    if kind == Kind.STATE:
        return int((memory.state == source) == bit.wanted), True
    if kind == Kind.COMMAND:
        return int((memory.outputs[source] == bit.on) == bit.wanted), True
    if kind == Kind.ALL:
        return int(bit.set.hold(bits)), True
    counts, spec = inputs.counts[source], table.analogs[source]
    valid = spec.low <= counts <= spec.high
    if kind == Kind.VALID:
        return int(valid == bit.wanted), True
    if kind == Kind.CHANGE:
        return _change(memory, bit, i, bits, counts, valid, ages, captured)
    if not valid:
        return 0, False
    on = (memory.before >> i) & 1
    if kind == Kind.AT_LEAST:
        return int(counts >= (bit.off if on else bit.on)), True
    if kind == Kind.BELOW:
        return int(counts < (bit.off if on else bit.on)), True
    if kind == Kind.TARGET:
        target = table.states[memory.state].targets[source]
        if target == NO_TARGET:
            return 0, False
        return int(counts >= (target - bit.off if on else target)), True
    other, second = inputs.counts[bit.second], table.analogs[bit.second]
    if not second.low <= other <= second.high:
        return 0, False
    difference = abs(spec.gain * counts + spec.offset - second.gain * other - second.offset)
    return int((difference >= bit.on) == bit.wanted), True


def _change(
    memory: Memory, bit: Bit, i: int, bits: int, counts: int, valid: bool, ages: list[int], captured: list[int]
) -> tuple[int, bool]:
    """Rise or fall since the bit `second` rose."""
    now, then = (bits >> bit.second) & 1, (memory.bits >> bit.second) & 1
    if not now:
        captured[i], ages[i] = NOT_CAPTURED, 0
        return 0, False
    if not then:
        captured[i], ages[i] = (counts if valid else NOT_CAPTURED), 0
    elif ages[i] < bit.off:
        ages[i] += 1
    if not valid or captured[i] == NOT_CAPTURED or ages[i] < bit.off:
        return 0, False
    return int((bit.sign * (counts - captured[i]) >= bit.on) == bit.wanted), True
