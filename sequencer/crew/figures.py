"""Numbers of the checklist: pressure steps with load, energy and dump time; terminals; what the sizing sheet gives.

Every number is worked at its unfavourable end from the same resolved parts as simulation and proof.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isinf
from typing import Protocol

from sequencer.crew.words import if_cut, sensed
from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, LampOutput, RelayOutput, ServoOutput, ValveOutput
from sequencer.description.grounds import HeadPart, LinePart, ReliefPart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.quantities import ATMOSPHERE, Quantity, to_gauge
from sequencer.site import energy, resolve, resolve_head
from sequencer.site.head import separating_force
from sequencer.site.hoses import around, vent_time

EMPTY_FROM = 10_000.0
"""A dump is counted as done at 0.1 bar, gauge Pa."""


@dataclass(frozen=True)
class PressureStep:
    """One volume at the target of one state.

    gauge: Pa. load: N on the release head at its greatest, None where no head holds this volume.
    joules: energy of the gas. dump: seconds to 0.1 bar through its driven dump at the slow end, None without one.
    """

    state: str
    volume: str
    gauge: float
    load: float | None
    joules: float
    dump: float | None


class Sized(Protocol):
    """A line of the sizing sheet, as far as the checklist reads it; the sheet itself is a room above."""

    @property
    def name(self) -> str: ...
    @property
    def source(self) -> str: ...
    @property
    def shown(self) -> str: ...
    @property
    def worst_shown(self) -> str: ...
    @property
    def judgement(self) -> str: ...


@dataclass(frozen=True)
class StandOff:
    """The stand-off of the sizing sheet as text, which rule asks for it, and the energy it is about."""

    distance: str
    source: str
    energy: str


@dataclass(frozen=True)
class Timing:
    """A time or a trapped pressure of the sizing sheet: what, nominal, at worst."""

    what: str
    usual: str
    worst: str


@dataclass(frozen=True)
class Terminal:
    """One line of the wiring table."""

    terminal: str
    name: str
    kind: str
    says: str
    cut: str


def pressure_steps(pad: Pad) -> tuple[PressureStep, ...]:
    """Every pressure that a state fills to: its targets, or the readings it leaves on; in file order."""
    steps = []
    for state, spec in pad.states.items():
        for reading, wanted in spec.targets.items() or _left_on(pad, state):
            part = pad.inputs[reading]
            if isinstance(part, AnalogInput) and part.reads in pad.parts(VolumePart):
                gauge = to_gauge(wanted, pad.pressures)
                steps.append(_step(pad, state, part.reads, gauge))
    return tuple(steps)


def _left_on(pad: Pad, state: str) -> list[tuple[str, Quantity]]:
    """(reading, limit) of every 'at least' on which a filling state is left."""
    supplies = pad.parts(SupplyPart)
    fills = [x for x in pad.parts(LinePart).values() if x.line.origin in supplies and x.opened_by in pad.outputs]
    if not any(pad.commanded(state, line.opened_by) == "open" for line in fills):
        return []
    found: dict[str, Quantity] = {}
    for leave in pad.states[state].leave:
        for leaf in t.leaves(leave.once.expression) if leave.once else []:
            condition = pad.conditions.get(leaf.name) if isinstance(leaf, t.Name) else None
            if condition is not None and isinstance(condition.term, t.AtLeast):
                found.setdefault(condition.term.reading, condition.term.limit)
    return list(found.items())


def _step(pad: Pad, state: str, volume: str, gauge: float) -> PressureStep:
    load = None
    for name, head in pad.parts(HeadPart).items():
        if head.release_head == volume:
            values = resolve_head.head(pad, name)
            load = separating_force(gauge, values.seat.high, values.weight.low)
    joules = energy.pcc2_energy(gauge + ATMOSPHERE, resolve.gas_volume(pad, volume))
    return PressureStep(state, volume, gauge, load, joules, dump_time(pad, volume, gauge))


def dump_time(pad: Pad, volume: str, gauge: float) -> float | None:
    """Seconds from `gauge` to 0.1 bar through the volume's driven way to air, at its slow end, gas only, with every hose full."""
    times = []
    for name, line in pad.parts(LinePart).items():
        if line.line.origin == volume and line.line.end == "air" and line.opened_by in pad.outputs:
            path = resolve.line(pad, name).at("least")
            room = resolve.gas_volume(pad, volume, water=False)
            cold = resolve.air_temperature(pad).low
            times.append(vent_time(room, around(pad, volume), path, gauge + ATMOSPHERE, EMPTY_FROM + ATMOSPHERE, temperature=cold))
    times = [t for t in times if not isinf(t)]
    return min(times) if times else None


def highest(pad: Pad, volume: str) -> tuple[float, str]:
    """(gauge Pa, from what) of the highest pressure that the file lets one expect: relief, or rated pressure."""
    part = pad.site[volume]
    assert isinstance(part, VolumePart)
    settings = [(r.opens_at.high, "its relief valve open") for r in pad.parts(ReliefPart).values() if r.relief == volume]
    return max(settings) if settings else (part.rated.si, "its rated pressure")


def stand_off(sized: Sequence[Sized]) -> StandOff | None:
    """The stand-off of the sizing sheet; None where it has none (or was not asked)."""
    lines = {line.name: line for line in sized}
    line = lines.get("stand-off, all people")
    if line is None:
        return None
    energy_line = lines.get("energy, vessels and hoses")
    return StandOff(line.shown, line.source, energy_line.worst_shown if energy_line is not None else "")


def timings(sized: Sequence[Sized]) -> tuple[Timing, ...]:
    """How long each way to air takes, and what stays shut in, from the sizing sheet."""
    wanted = (" empty in", ": pocket before its valve")
    return tuple(Timing(x.name.replace("_", " "), x.shown, x.worst_shown) for x in sized if x.name.endswith(wanted))


def failing(sized: Sequence[Sized]) -> tuple[str, ...]:
    """Lines of the sizing sheet that fail."""
    return tuple(line.name for line in sized if line.judgement == "fails")


def terminals(pad: Pad) -> tuple[Terminal, ...]:
    """Every input and output with a terminal, in file order; those without one are listed with '-'."""
    rows = [
        Terminal(part.terminal or "-", name, "input", sensed(pad, name), if_cut(pad, name)) for name, part in pad.inputs.items()
    ]
    for name, output in pad.outputs.items():
        rest = "" if output.rest == "stays" else f", rest {output.rest}"
        says = f"{_kind(output)}: {' / '.join(pad.output_positions[name])}{rest}"
        rows.append(Terminal(output.terminal or "-", name, "output", says, if_cut(pad, name)))
    return tuple(rows)


def _kind(output: ValveOutput | RelayOutput | LampOutput | ServoOutput) -> str:
    kinds = {ValveOutput: "valve", RelayOutput: "relay", LampOutput: "lamp or horn", ServoOutput: "servo"}
    return kinds[type(output)]
