"""Many launches of one pad with its tolerances drawn: how times, pressures and chances spread, and what drives them.

Every run is a draw of draw.py, flown by the crew's nominal steps: the launch leg, or the whole day. Runs go side by side as
numpy lanes, in chunks over the cores; run number i is the same whatever the number of runs, chunks and cores.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.description.box import AnalogInput
from sequencer.description.grounds import HeadPart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.description.sequence import Must
from sequencer.description.terms import CommandedTo, leaves
from sequencer.quantities import to_gauge
from sequencer.site.head import KGF
from sequencer.table import Table, compile_table
from sequencer.trials.chances import Chance, Percentile, chance, percentile, rank_correlation
from sequencer.trials.course import POWER_ON, Begin, Course, at_phase, launch_phase
from sequencer.trials.draw import Parameter, draw, parameters
from sequencer.trials.lanes import together

CHUNK = 2500
"""Runs side by side in one process: about 200 kB each."""
FEW = 200
"""Below this number of runs a pool of processes costs more than it gives."""
SHARES = (0.01, 0.05, 0.5, 0.95, 0.99)
SHOWN_FROM = 0.1
"""Rank correlations below this, or below four of their standard errors, are not named."""
HUNG_UP_MS = 1_000
"""A head that has not let go for so long after the command hangs, where the file has no `must` on that command."""
BLIND = (
    "These runs do what the crew's nominal steps do, with the file's ranges and the tool's defaults drawn independently and no "
    "faults. They say nothing of what no range describes, of values that go together, or of chances smaller than their bounds."
)


@dataclass(frozen=True)
class Measure:
    """One result over the runs in which it came about: smallest, percentiles, largest, and what drives it (name, rho)."""

    name: str
    unit: str
    count: int
    least: float
    most: float
    percentiles: tuple[Percentile, ...]
    drivers: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Event:
    """Something that happened in some runs: its chance, what drives it, and the first runs in which it happened."""

    name: str
    chance: Chance
    drivers: tuple[tuple[str, float], ...]
    runs: tuple[int, ...]


@dataclass(frozen=True)
class Spread:
    """The result of a trial. `values` and `results` have one row per run; NaN where a result did not come about."""

    title: str
    file: str
    runs: int
    seed: int
    begins: str
    parameters: tuple[Parameter, ...]
    measures: tuple[Measure, ...]
    events: tuple[Event, ...]
    ends: tuple[tuple[str, int], ...]
    blind: str
    value_names: tuple[str, ...]
    values: NDArray[np.float64]
    result_names: tuple[str, ...]
    results: NDArray[np.float64]
    ended_in: tuple[str, ...]


def spread(
    pad: Pad, runs: int, *, seed: int = 0, whole_day: bool = False, phase: str | None = None, cores: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Spread:  # fmt: skip
    """Fly `runs` launches with drawn tolerances. Raises SequencerError for a phase at which a leg cannot begin."""
    table = compile_table(pad)
    begin, says = begins(pad, table, whole_day, phase)
    of = parameters(pad)
    courses = fly(pad, begin, of, seed, range(runs), cores, progress, table)
    values = np.array([draw(pad, of, seed, number).values for number in range(runs)]).reshape(runs, len(of))
    return sum_up(pad, table, courses, of, values, seed, says)


def begins(pad: Pad, table: Table, whole_day: bool, phase: str | None) -> tuple[Begin, str]:
    """Where the runs begin, and the same in words."""
    chosen = None if whole_day else phase or launch_phase(pad, table)
    if not chosen:
        return POWER_ON, "the whole day, from power-on"
    return at_phase(pad, table, chosen), f"the launch leg, from phase '{chosen}' as the nominal day reaches it"


def fly(
    pad: Pad, begin: Begin, of: Sequence[Parameter], seed: int, numbers: Sequence[int], cores: int = 1,
    progress: Callable[[int, int], None] | None = None, table: Table | None = None,
) -> list[Course]:  # fmt: skip
    """The courses of the runs with these numbers, in order."""
    table = table or compile_table(pad)
    size = max(1, min(CHUNK, -(-len(numbers) // cores)))
    chunks = [numbers[i : i + size] for i in range(0, len(numbers), size)]
    found: list[Course] = []
    if cores == 1 or len(numbers) < FEW:
        for chunk in chunks:
            found += _chunk(pad, begin, tuple(of), seed, chunk, table)
            if progress is not None:
                progress(len(found), len(numbers))
        return found
    with ProcessPoolExecutor(cores) as pool:
        for courses in pool.map(_chunk, *zip(*[(pad, begin, tuple(of), seed, chunk, table) for chunk in chunks], strict=True)):
            found += courses
            if progress is not None:
                progress(len(found), len(numbers))
    return found


def _chunk(pad: Pad, begin: Begin, of: tuple[Parameter, ...], seed: int, numbers: Sequence[int], table: Table) -> list[Course]:
    return together([draw(pad, of, seed, number) for number in numbers], begin, table)


def sum_up(
    pad: Pad, table: Table, courses: Sequence[Course], of: tuple[Parameter, ...], values: NDArray[np.float64], seed: int, says: str
) -> Spread:
    """The trial's result from its courses."""
    columns = _columns(pad, table, courses)
    happened = _happened(pad, table, courses)
    measures = tuple(
        _measure(name, unit, row, of, values) for name, (unit, row) in columns.items() if np.isfinite(row).any()
    )
    events = tuple(_event(name, row, of, values) for name, row in happened.items())
    names = [table.states[c.state].name if c.state >= 0 else "no state" for c in courses]
    counted = sorted(((name, names.count(name)) for name in set(names)), key=lambda item: (-item[1], item[0]))
    return Spread(
        pad.title, pad.file, len(courses), seed, says, of, measures, events, tuple(counted), BLIND,
        tuple(p.name for p in of), values, (*columns, *happened),
        np.array([*(row for _, row in columns.values()), *(row.astype(float) for row in happened.values())]).T,
        tuple(names),
    )  # fmt: skip


def _columns(pad: Pad, table: Table, courses: Sequence[Course]) -> dict[str, tuple[str, NDArray[np.float64]]]:
    """Result -> (unit, one value per run)."""
    nan = float("nan")
    found: dict[str, tuple[str, NDArray[np.float64]]] = {}

    def put(name: str, unit: str, row: list[float]) -> None:
        found[name] = unit, np.array(row, dtype=float)

    put("until the head lets go", "s", [nan if c.freed_ms is None else c.freed_ms / 1000 for c in courses])
    for servo in dict.fromkeys(name for c in courses for name in c.asked_ms):
        row = [
            (c.freed_ms - c.asked_ms[servo]) / 1000 if c.freed_ms is not None and servo in c.asked_ms else nan for c in courses
        ]
        put(f"release delay after {servo}", "s", row)
    for i, name in enumerate(pad.parts(HeadPart)):
        put(f"load on {name} at release", "kgf", [c.loads[i] / KGF if c.loads else nan for c in courses])
    for i, name in enumerate(pad.parts(VolumePart) if pad.parts(SupplyPart) else ()):  # without a supply there is no gas
        put(f"{name} at release", "bar", [c.at_asked[i] / 1e5 if c.at_asked else nan for c in courses])
        put(f"{name} highest", "bar", [c.peaks[i] / 1e5 if c.peaks else nan for c in courses])
        aim = _highest_target(pad, name)
        if aim is not None:
            put(f"{name} over its highest target", "bar", [(c.peaks[i] - aim) / 1e5 if c.peaks else nan for c in courses])
    dwells = [_dwells(c) for c in courses]
    for number, state in enumerate(table.states):
        row = [dwell.get(number, nan) for dwell in dwells]
        finite = [value for value in row if value == value]
        if finite and max(finite) - min(finite) > 2.5 * table.scan_ms / 1000:
            put(f"time in {state.name}", "s", row)
    return found


def _dwells(course: Course) -> dict[int, float]:
    """State -> seconds of its first visit that began and ended in the run."""
    found: dict[int, float] = {}
    for one, after in zip(course.passed, course.passed[1:], strict=False):
        found.setdefault(one.to, (after.ms - one.ms) / 1000)
    return found


def _highest_target(pad: Pad, volume: str) -> float | None:
    aims = [
        to_gauge(value, pad.pressures)
        for state in pad.states.values()
        for reading, value in state.targets.items()
        if isinstance(part := pad.inputs.get(reading), AnalogInput) and part.reads == volume
    ]
    return max(aims, default=None)


def _happened(pad: Pad, table: Table, courses: Sequence[Course]) -> dict[str, NDArray[np.bool_]]:
    """What may happen in a run -> in which runs it did."""
    found: dict[str, NDArray[np.bool_]] = {}
    origins = [{table.rows[p.row].origin for p in c.passed} for c in courses]
    for trip in dict.fromkeys(row.origin for row in table.rows if row.origin.startswith("trip ")):
        found[trip] = np.array([trip in own for own in origins])
    limit = _hang_limit(pad)
    found[f"hang-up: not let go within {limit / 1000:g} s"] = np.array([_hung(c, limit) for c in courses])
    found["never asked to let go"] = np.array([not c.asked_ms for c in courses])
    found["the crew stopped"] = np.array([bool(c.stopped) for c in courses])
    return found


def _hang_limit(pad: Pad) -> int:
    """The file's own limit from commanding a servo to the head letting go, ms."""
    for rule in pad.interlocks.values():
        if isinstance(rule, Must) and any(isinstance(leaf, CommandedTo) for leaf in leaves(rule.cause.expression)):
            return round(rule.within.si * 1000)
    return HUNG_UP_MS


def _hung(course: Course, limit: int) -> bool:
    if not course.asked_ms:
        return False
    return course.freed_ms is None or course.freed_ms - min(course.asked_ms.values()) > limit


def _measure(name: str, unit: str, row: NDArray[np.float64], of: Sequence[Parameter], values: NDArray[np.float64]) -> Measure:
    there = np.isfinite(row)
    ordered = np.sort(row[there])
    return Measure(
        name, unit, int(there.sum()), float(ordered[0]), float(ordered[-1]), tuple(percentile(ordered, share) for share in SHARES),
        _drivers(row[there], of, values[there]),
    )  # fmt: skip


def _event(name: str, row: NDArray[np.bool_], of: Sequence[Parameter], values: NDArray[np.float64]) -> Event:
    runs = tuple(int(number) for number in np.flatnonzero(row)[:5])
    drivers = _drivers(row.astype(float), of, values) if row.any() and not row.all() else ()
    return Event(name, chance(int(row.sum()), row.size), drivers, runs)


def _drivers(row: NDArray[Any], of: Sequence[Parameter], values: NDArray[np.float64]) -> tuple[tuple[str, float], ...]:
    """Drawn values that go with a result, strongest first."""
    if row.size < 10:
        return ()
    least = max(SHOWN_FROM, 4.0 / (row.size - 1) ** 0.5)
    found = [(parameter.name, rank_correlation(values[:, k], row)) for k, parameter in enumerate(of)]
    return tuple(sorted((item for item in found if abs(item[1]) >= least), key=lambda item: -abs(item[1])))
