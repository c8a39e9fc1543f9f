"""Random controllers and random inputs for them, shared by every room's property tests."""

from __future__ import annotations

from hypothesis import strategies as st

from sequencer.table.scan import Inputs
from sequencer.table.table import (
    NO_TARGET,
    AnalogSpec,
    Bit,
    ContactSpec,
    InhibitSpec,
    Kind,
    Literals,
    OutputSpec,
    Row,
    StateSpec,
    Table,
)

FULL = 64  # counts of the random converters: small, so that thresholds are often met exactly


@st.composite
def literals(draw: st.DrawFn, bits: int) -> Literals:
    """A literal list over the first `bits` bits."""
    care = draw(st.integers(0, (1 << bits) - 1))
    return Literals(care, draw(st.integers(0, (1 << bits) - 1)) & care, draw(st.booleans()))


@st.composite
def condition_bits(draw: st.DrawFn, index: int, contacts: int, analogs: int, hearts: int, states: int, outputs: int) -> Bit:
    """One bit of any kind that the inputs allow; it refers to bits above it only."""
    kinds = [Kind.STATE, Kind.COMMAND, Kind.MEMORY, Kind.ALL]
    kinds += [Kind.CONTACT, Kind.PRESS] if contacts else []
    kinds += [Kind.AT_LEAST, Kind.BELOW, Kind.VALID, Kind.TARGET] if analogs else []
    kinds += [Kind.CHANGE] if analogs and index else []
    kinds += [Kind.DIFFERS] if analogs > 1 else []
    kinds += [Kind.HEARD] if hearts else []
    kind = draw(st.sampled_from(kinds))
    small, counts = st.integers(0, 4), st.integers(0, FULL)
    values: dict[str, object] = {"wanted": draw(st.booleans()), "hold": draw(small), "drop": draw(small)}
    if draw(st.booleans()):
        values |= {"hold": 0, "drop": 0}
    if kind in (Kind.CONTACT, Kind.PRESS):
        values["source"] = draw(st.integers(0, contacts - 1))
    elif kind in (Kind.AT_LEAST, Kind.BELOW, Kind.VALID, Kind.TARGET, Kind.CHANGE, Kind.DIFFERS):
        values["source"] = draw(st.integers(0, analogs - 1))
        values["on"] = on = draw(counts)
        gap = draw(st.integers(0, 5))
        values["off"] = {Kind.AT_LEAST: max(0, on - gap), Kind.BELOW: min(FULL, on + gap), Kind.TARGET: gap}.get(kind, draw(small))
        values["sign"] = draw(st.sampled_from([1, -1]))
        if kind == Kind.CHANGE:
            values |= {"second": draw(st.integers(0, index - 1)), "on": draw(st.integers(1, 12))}
        elif kind == Kind.DIFFERS:
            values["second"] = draw(st.integers(0, analogs - 1))
    elif kind == Kind.HEARD:
        values |= {"source": draw(st.integers(0, hearts - 1)), "on": draw(small)}
    elif kind == Kind.STATE:
        values["source"] = draw(st.integers(0, states - 1))
    elif kind == Kind.COMMAND:
        values |= {"source": draw(st.integers(0, outputs - 1)), "on": draw(st.integers(0, 1))}
    elif kind == Kind.ALL:
        values["set"] = draw(literals(index))
    else:
        values |= {"hold": 0, "drop": 0, "on": draw(small), "set": draw(literals(index)), "clear": draw(literals(index))}
    if kind == Kind.PRESS:
        values |= {"hold": 0, "drop": 0}
    return Bit(f"c{index}", kind, **values)


@st.composite
def tables(draw: st.DrawFn) -> Table:
    """A random controller of any kinds of bit, rows, inhibits; always well formed."""
    contacts = tuple(ContactSpec(f"k{i}", draw(st.integers(0, 3))) for i in range(draw(st.integers(0, 3))))
    analogs = []
    for i in range(draw(st.integers(0, 2))):
        low = draw(st.integers(0, 8))
        analogs.append(AnalogSpec(f"p{i}", 6, low, draw(st.integers(low, FULL - 1)), draw(st.integers(1, 3)), draw(st.integers(-9, 9))))
    hearts = tuple(f"h{i}" for i in range(draw(st.integers(0, 2))))
    outputs = tuple(
        OutputSpec(f"o{i}", ("a", "b"), rest, 0 if rest is None else rest)
        for i, rest in enumerate(draw(st.lists(st.sampled_from([0, 1, None]), min_size=1, max_size=3)))
    )
    count = draw(st.integers(1, 5))
    bits = tuple(
        draw(condition_bits(i, len(contacts), len(analogs), len(hearts), count, len(outputs)))
        for i in range(draw(st.integers(1, 8)))
    )
    states, rows = [], []
    for number in range(count):
        first = len(rows)
        for _ in range(draw(st.integers(0, 3))):
            want = draw(literals(len(bits)))
            care = want.care & draw(st.integers(0, (1 << len(bits)) - 1))
            rows.append(Row(number, care, want.want & care, draw(st.integers(0, 6)), draw(st.integers(0, count - 1)), f"s{number} exit"))
        targets = tuple(draw(st.one_of(st.just(NO_TARGET), st.integers(0, FULL))) for _ in analogs)
        codes = tuple(draw(st.integers(0, 1)) for _ in outputs)
        states.append(StateSpec(f"s{number}", codes, targets, first, len(rows)))
    inhibits = []
    for _ in range(draw(st.integers(0, 2))):
        want = draw(literals(len(bits)))
        inhibits.append(InhibitSpec(draw(st.integers(0, len(outputs) - 1)), draw(st.integers(0, 1)), want.care, want.want, "inhibit"))
    return Table("random", 1, 10, contacts, tuple(analogs), hearts, outputs, bits, tuple(states), tuple(rows), tuple(inhibits))


@st.composite
def input_runs(draw: st.DrawFn, table: Table, longest: int = 40) -> list[Inputs]:
    """A run of samples: levels that stand for a while and bounce, counts near the thresholds and out
    of the valid band, heartbeats that come and go."""
    edges = [e for bit in table.bits for e in (bit.on, bit.on - 1, bit.off, bit.off - 1) if 0 <= e <= FULL]
    edges += [t for state in table.states for t in state.targets if t != NO_TARGET]
    edges += [e for spec in table.analogs for e in (spec.low, spec.high, max(0, spec.low - 1), spec.high + 1)]
    counts = st.one_of(st.integers(0, FULL), st.sampled_from(edges or [0]))
    one = st.tuples(
        st.tuples(*(st.integers(0, 1) for _ in table.contacts)),
        st.tuples(*(counts for _ in table.analogs)),
        st.tuples(*(st.integers(0, 1) for _ in table.heartbeats)),
        st.integers(1, 6),
    )
    run: list[Inputs] = []
    for levels, values, heard, times in draw(st.lists(one, min_size=1, max_size=12)):
        run += [Inputs(levels, values, heard)] * times
    return run[:longest]
