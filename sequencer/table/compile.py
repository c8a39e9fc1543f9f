"""From `Pad` to `Table`: names become numbers, durations scans, thresholds counts.

Thresholds round so that a true bit is never a lie: 'at least' up, 'below' down, the way of the
comparison in counts when the sensor's slope is negative. Every rounding is kept and shown.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil, floor

from sequencer.description import terms as t
from sequencer.description import thresholds
from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput
from sequencer.description.pad import Pad
from sequencer.description.sequence import State
from sequencer.description.thresholds import calibration as calibration  # handed on to the rooms above
from sequencer.description.thresholds import down, point, scaled_unit, up
from sequencer.errors import DoesNotFit
from sequencer.quantities import Quantity
from sequencer.table.table import (
    MAX_BITS,
    MAX_DELAY,
    MAX_SCANS,
    NO_TARGET,
    AnalogSpec,
    Bit,
    ContactSpec,
    InhibitSpec,
    Kind,
    Literals,
    OutputSpec,
    Rounding,
    Row,
    StateSpec,
    Table,
)


@dataclass
class _Work:
    pad: Pad
    contacts: list[str] = field(default_factory=list)
    analogs: list[str] = field(default_factory=list)
    hearts: list[str] = field(default_factory=list)
    bits: list[Bit] = field(default_factory=list)
    index: dict[str, int] = field(default_factory=dict)
    roundings: list[Rounding] = field(default_factory=list)

    def line(self, name: str) -> tuple[float, float]:
        """(slope, zero): reading in SI (gauge) = slope * counts + zero."""
        return calibration(self.pad, name)

    def scans(self, quantity: Quantity | None, most: int = MAX_DELAY) -> int:
        count = 0 if quantity is None else self.pad.scans(quantity.si)
        if quantity is not None and count > most:
            raise DoesNotFit(f"{quantity.text} is {count} scans; the field holds at most {most}")
        return count

    def add(self, bit: Bit) -> int:
        if len(self.bits) >= MAX_BITS:
            raise DoesNotFit(f"more than {MAX_BITS} conditions (hidden ones included)")
        self.bits.append(bit)
        self.index[bit.name] = len(self.bits) - 1
        return len(self.bits) - 1


def literals(work_index: dict[str, int], parts: dict[t.Expression, bool]) -> tuple[int, int]:
    """(care, want) of one alternative over condition names."""
    care = want = 0
    for leaf, value in parts.items():
        assert isinstance(leaf, t.Name)
        bit = 1 << work_index[leaf.name]
        care |= bit
        want |= bit if value else 0
    return care, want


def single(work: _Work, expression: t.Expression, where: str) -> Literals:
    """One literal list for a combination or a memory: a conjunction, or a plain 'or' of names."""
    ways = t.alternatives(expression)
    if len(ways) == 1:
        return Literals(*literals(work.index, ways[0]))
    opposite = t.alternatives(expression, False)
    if len(opposite) == 1:
        return Literals(*literals(work.index, opposite[0]), invert=True)
    raise DoesNotFit(f"{where}: 'and' and 'or' are mixed; a bit takes one of them", ())


def compile_table(pad: Pad) -> Table:
    """Compile a checked `Pad`; raises DoesNotFit when a number does not fit its field."""
    work = _Work(pad)
    for name, part in pad.inputs.items():
        kind = {ContactInput: work.contacts, AnalogInput: work.analogs, HeartbeatInput: work.hearts}[type(part)]
        kind.append(name)
    for name, condition in pad.conditions.items():
        _condition(work, name, condition)
    states = list(pad.states)
    rows: list[Row] = []
    specs: list[StateSpec] = []
    for number, (name, state) in enumerate(pad.states.items()):
        first = len(rows)
        _rows(work, states, name, number, state, rows)
        outputs = tuple(pad.output_positions[o].index(pad.commanded(name, o)) for o in pad.outputs)
        targets = tuple(_target(work, state, analog) for analog in work.analogs)
        specs.append(StateSpec(name, outputs, targets, first, len(rows)))
    return Table(
        pad.title, pad.revision, pad.scan_ms,
        tuple(ContactSpec(n, work.scans(_contact(pad, n).steady_for)) for n in work.contacts),
        tuple(_analog(work, n) for n in work.analogs),
        tuple(work.hearts),
        tuple(_output(pad, n) for n in pad.outputs),
        tuple(work.bits), tuple(specs), tuple(rows), tuple(_inhibits(work)), tuple(work.roundings),
    )  # fmt: skip


def _contact(pad: Pad, name: str) -> ContactInput:
    part = pad.inputs[name]
    assert isinstance(part, ContactInput)
    return part


def _output(pad: Pad, name: str) -> OutputSpec:
    names, rest = pad.output_positions[name], pad.outputs[name].rest
    return OutputSpec(name, tuple(names), None if rest == "stays" else names.index(rest), 0 if rest == "stays" else names.index(rest))


def _analog(work: _Work, name: str) -> AnalogSpec:
    part = work.pad.inputs[name]
    assert isinstance(part, AnalogInput)
    slope, zero = work.line(name)
    unit = scaled_unit(work.pad)
    return AnalogSpec(name, part.analog, part.valid.low, part.valid.high, round(slope / unit), round(zero / unit))


def _threshold(work: _Work, name: str, reading: str, asked: Quantity, at_least: bool) -> tuple[int, bool]:
    """(counts, at_least in counts) for the true side of a comparison; a true bit is never a lie."""
    slope, zero = work.line(reading)
    counts, rising = thresholds.counts(work.pad, reading, asked, at_least)
    part = work.pad.inputs[reading]
    assert isinstance(part, AnalogInput)
    if not 0 <= counts <= 2**part.analog:
        raise DoesNotFit(f"{name}: {asked.text} is {counts} counts; {reading} converts 0 to {2**part.analog - 1}")
    work.roundings.append(Rounding(name, point(work.pad, asked), counts, slope * counts + zero, asked.kind))
    return counts, rising


def _condition(work: _Work, name: str, condition: t.Condition) -> None:
    term = condition.term
    hold, drop = work.scans(condition.held), work.scans(condition.lingers)
    index = work.index
    if isinstance(term, t.ContactIs | t.Becomes):
        sense = _contact(work.pad, term.input).contact
        level = (term.word == sense.word) == sense.closed_means_word
        if isinstance(term, t.Becomes):
            work.add(Bit(name, Kind.PRESS, work.contacts.index(term.input), wanted=level))
        else:
            work.add(Bit(name, Kind.CONTACT, work.contacts.index(term.input), wanted=level == term.wanted, hold=hold, drop=drop))
    elif isinstance(term, t.AtLeast | t.Below):
        at_least = isinstance(term, t.AtLeast)
        on, rising = _threshold(work, name, term.reading, term.limit, at_least)
        off = on if term.until is None else _threshold(work, name + " (drop-out)", term.reading, term.until, at_least)[0]
        kind = Kind.AT_LEAST if rising else Kind.BELOW
        work.add(Bit(name, kind, work.analogs.index(term.reading), on=on, off=off, hold=hold, drop=drop))
    elif isinstance(term, t.ReadingValid):
        work.add(Bit(name, Kind.VALID, work.analogs.index(term.reading), wanted=term.wanted, hold=hold, drop=drop))
    elif isinstance(term, t.HeardWithin):
        work.add(Bit(name, Kind.HEARD, work.hearts.index(term.link), on=_whole_down(work, term.within), hold=hold, drop=drop))
    elif isinstance(term, t.Differs):
        work.add(_differs(work, name, term, hold, drop))
    elif isinstance(term, t.Changes):
        work.add(_changes(work, name, term, hold, drop))
    elif isinstance(term, t.ReachesTarget):
        slope, _ = work.line(term.reading)
        if slope < 0:
            raise DoesNotFit(f"{name}: {term.reading} counts down as its reading rises; 'reaches target' needs it to count up")
        sag = 0 if term.drop is None else down(term.drop.si / slope)
        work.add(Bit(name, Kind.TARGET, work.analogs.index(term.reading), off=sag, hold=hold, drop=drop))
    elif isinstance(term, t.StateIs):
        work.add(Bit(name, Kind.STATE, list(work.pad.states).index(term.state), wanted=term.wanted, hold=hold, drop=drop))
    elif isinstance(term, t.CommandIs):
        code = work.pad.output_positions[term.output].index(term.position)
        work.add(Bit(name, Kind.COMMAND, list(work.pad.outputs).index(term.output), on=code, wanted=term.wanted, hold=hold, drop=drop))
    elif isinstance(term, t.Combination):
        work.add(Bit(name, Kind.ALL, set=single(work, term.expression, name), hold=hold, drop=drop))
    else:
        clear = Literals(0, 1) if term.clear is None else single(work, term.clear, name)
        work.add(Bit(name, Kind.MEMORY, on=work.scans(term.at_most), set=single(work, term.set, name), clear=clear))
    assert index[name] == len(work.bits) - 1


def _whole_down(work: _Work, time: Quantity) -> int:
    """A limit on age rounds down, so that 'heard within' is never a lie."""
    scans = down(time.si * 1000 / work.pad.scan_ms)
    if scans > MAX_DELAY:
        raise DoesNotFit(f"{time.text} is {scans} scans; the field holds at most {MAX_DELAY}")
    return scans


def _differs(work: _Work, name: str, term: t.Differs, hold: int, drop: int) -> Bit:
    unit = scaled_unit(work.pad)
    first, second = _analog(work, term.first), _analog(work, term.second)
    # rounding of both gains and offsets, in scaled units, so that a true bit is never a lie
    slack = (2**first.bits + 2**second.bits) / 2 + 1
    limit = term.limit.si / unit
    on = ceil(limit + slack) if term.at_least else floor(limit - slack)
    if on < 0:
        raise DoesNotFit(f"{name}: {term.limit.text} is finer than the two readings resolve")
    a, b = work.analogs.index(term.first), work.analogs.index(term.second)
    work.roundings.append(Rounding(name, term.limit.si, on, on * unit, term.limit.kind))
    return Bit(name, Kind.DIFFERS, a, b, on=on, wanted=term.at_least, hold=hold, drop=drop)


def _changes(work: _Work, name: str, term: t.Changes, hold: int, drop: int) -> Bit:
    slope, _ = work.line(term.reading)
    exact = term.limit.si / abs(slope)
    on = up(exact)  # in whole counts 'at least x' and 'less than x' both turn at the next count up
    if on < 1:
        raise DoesNotFit(f"{name}: {term.limit.text} is less than one count of {term.reading} ({abs(slope):.4g} SI)")
    sign = 1 if (term.direction == "rises") == (slope > 0) else -1
    if term.since not in work.index:
        state = list(work.pad.states).index(term.since)
        work.add(Bit(term.since, Kind.STATE, state, hidden=True))
    work.roundings.append(Rounding(name, term.limit.si, on, on * abs(slope), term.limit.kind))
    return Bit(
        name, Kind.CHANGE, work.analogs.index(term.reading), work.index[term.since], on=on, off=work.scans(term.over),
        wanted=term.at_least, sign=sign, hold=hold, drop=drop,
    )  # fmt: skip


def _target(work: _Work, state: State, analog: str) -> int:
    wanted = state.targets.get(analog)
    if wanted is None:
        return NO_TARGET
    return _threshold(work, f"target of {analog}", analog, wanted, True)[0]


def _rows(work: _Work, states: list[str], name: str, number: int, state: State, rows: list[Row]) -> None:
    for trip_name, trip in work.pad.trips.items():
        if name in trip.everywhere_but:
            continue
        for way in t.alternatives(trip.once.expression):
            least, to = work.scans(trip.not_before, MAX_SCANS), states.index(trip.go_to)
            rows.append(Row(number, *literals(work.index, way), least, to, f"trip {trip_name}", ("trips", trip_name)))
    for position, leave in enumerate(state.leave):
        path = ("states", name, "leave", position)
        origin = f"{name} exit {position + 1}"
        if leave.once is not None:
            for way in t.alternatives(leave.once.expression):
                least = work.scans(leave.not_before, MAX_SCANS)
                rows.append(Row(number, *literals(work.index, way), least, states.index(leave.go_to), origin, path))
        late = leave.at_latest or (leave.not_before if leave.once is None else None)
        if late is not None:
            rows.append(Row(number, 0, 0, work.scans(late, MAX_SCANS), states.index(leave.go_to), origin, path))


def _inhibits(work: _Work) -> list[InhibitSpec]:
    result = []
    for name, inhibit in work.pad.inhibits.items():
        output, _, position = name.partition(" stays ")
        code = work.pad.output_positions[output].index(position)
        for way in t.alternatives(inhibit.once.expression):
            result.append(InhibitSpec(list(work.pad.outputs).index(output), code, *literals(work.index, way), name))
    return result
