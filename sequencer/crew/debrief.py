"""After a rehearsal: played again from its record with the truth uncovered, then measured.

Nothing is taken from the record but the orders; the simulation is deterministic, and the box log that comes out must be
the one that was recorded, else the debrief says so and fails.
Targets are common practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median

from sequencer.crew.record import Record
from sequencer.crew.rehearsal import Rehearsal
from sequencer.crew.words import spoken
from sequencer.description.grounds import LinePart, PadPart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.simulation.result import Judged, Line
from sequencer.simulation.run import judged
from sequencer.table.boxlog import Entry

STOP_MS = 2_000
"""From the call of stop to fill shut."""
LINE_MS = 30_000
"""From a line being open (box ready, line before done) to its being done."""
POLL_MS = 60_000
EMPTY_PA = 10_000.0
BLIND = "A rehearsal shows how this crew did in this model on this evening; it says nothing of the hardware, and little of another day."


@dataclass(frozen=True)
class Span:
    """A stretch of time, ms, and what was wrong or measured in it."""

    begin_ms: int
    end_ms: int
    says: str


@dataclass(frozen=True)
class RoleTimes:
    """How quickly one role did its lines: number of lines, median and slowest in ms, and how many were over target."""

    role: str
    lines: int
    median_ms: int
    slowest_ms: int
    slowest_line: int
    over: int


@dataclass(frozen=True)
class Stop:
    """One stop: called (or pressed) at, fill shut and dump open after so many ms (None: not within the record)."""

    at_ms: int
    how: str
    shut_ms: int | None


@dataclass(frozen=True)
class Debrief:
    """What is told afterwards. `against` are the reasons of a failed verdict."""

    title: str
    date: str
    drill: str
    truth: tuple[str, ...]
    ended_ms: int
    state_at_end: str
    lines_done: int
    lines_all: int
    skipped: tuple[int, ...]
    disordered: tuple[int, ...]
    wrong_state: tuple[int, ...]
    too_early: tuple[str, ...]
    extra: tuple[tuple[int, str, str], ...]
    silent: tuple[tuple[int, tuple[str, ...]], ...]
    roles: tuple[RoleTimes, ...]
    stops: tuple[Stop, ...]
    at_pressure_ms: int
    people: tuple[Span, ...]
    trips: tuple[tuple[int, str, bool], ...]
    broken: tuple[Judged, ...]
    story: tuple[Line, ...]
    log: tuple[Entry, ...]
    against: tuple[str, ...]
    torn: bool
    blind: str = BLIND

    @property
    def passed(self) -> bool:
        return not self.against


@dataclass
class _Truth:
    """What is watched scan by scan while the evening is played again."""

    pad: Pad
    at_pressure_ms: int = 0
    people: list[Span] = field(default_factory=list)
    shut_since: int | None = 0
    shut: list[tuple[int, int]] = field(default_factory=list)
    states: list[tuple[int, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        pad = self.pad
        self.volumes = list(pad.parts(VolumePart))
        supplies = pad.parts(SupplyPart)
        driven = {n: x for n, x in pad.parts(LinePart).items() if x.opened_by in pad.outputs}
        self.fills = [n for n, x in driven.items() if x.line.origin in supplies]
        self.dumps = [n for n, x in driven.items() if x.line.end == "air"]

    def look(self, rehearsal: Rehearsal) -> None:
        world, ms, step = rehearsal.session.world, rehearsal.ms, rehearsal.session.table.scan_ms
        state = rehearsal.state
        if not self.states or self.states[-1][1] != state:
            self.states.append((ms, state))
        gas = max((world.pressure(v) for v in self.volumes), default=0.0) >= EMPTY_PA
        if gas:
            self.at_pressure_ms += step
        allowed = bool(state) and self.pad.states[state].people == "allowed"
        wrong = "on the pad with gas in" if gas else "on the pad while the box says keep out"
        if world.someone_on_pad and (gas or not allowed):
            self._span(ms, step, wrong)
        if not any(world.line_open(n) for n in self.fills) and all(world.line_open(n) for n in self.dumps):
            self.shut_since = ms if self.shut_since is None else self.shut_since
        elif self.shut_since is not None:
            self.shut.append((self.shut_since, ms))
            self.shut_since = None

    def _span(self, ms: int, step: int, says: str) -> None:
        last = self.people[-1] if self.people else None
        if last is not None and last.says == says and last.end_ms >= ms - step:
            self.people[-1] = Span(last.begin_ms, ms, says)
        else:
            self.people.append(Span(ms, ms, says))

    def shut_after(self, at: int) -> int | None:
        """When fill was truly shut and dump truly open from `at` on."""
        spans = [*self.shut, *([(self.shut_since, 1 << 62)] if self.shut_since is not None else [])]
        return next((max(begin, at) for begin, end in spans if end > at), None)


def debrief(pad: Pad, record: Record) -> Debrief:
    """Play a record again and measure it. Raises SequencerError when the file's table is not the one rehearsed."""
    rehearsal = Rehearsal(pad, seed=record.seed, drill=record.drill, events=record.events)
    checksum = rehearsal.session.box.checksum
    if checksum != record.checksum:
        raise SequencerError(
            f"{record.path} was rehearsed with table {record.checksum:08X} (revision {record.revision}); "
            f"{pad.file} now compiles to {checksum:08X}. Debrief it with the file of that evening."
        )
    truth = _Truth(pad)
    rehearsal.observe = truth.look
    for act in record.acts:
        rehearsal.advance(max(0, act.ms - rehearsal.ms))
        rehearsal.order(act.order)
    rehearsal.advance(max(0, record.ended_ms - rehearsal.ms))
    return _measured(pad, record, rehearsal, truth)


def _measured(pad: Pad, record: Record, rehearsal: Rehearsal, truth: _Truth) -> Debrief:
    session, progress = rehearsal.session, rehearsal.progress
    broken = tuple(one for one in judged(session) if one.outcome == "broken")
    stops = tuple(_stops(rehearsal, truth))
    faults = tuple(f"{line.ms / 1000:.1f} s: {line.who} {line.what}" for line in session.lines if line.kind == "fault")
    first_fault = min((line.ms for line in session.lines if line.kind == "fault"), default=1 << 62)
    trips = tuple((ms, name, ms < first_fault) for ms, name in _trips(rehearsal))
    silent = tuple((number, who) for number in sorted(progress.asked) if (who := _silent(rehearsal, number)))
    against = [f"interlock {j.name} broken at {(j.ms or 0) / 1000:.1f} s: {j.says}" for j in broken if j.asked]
    against += [f"someone was {span.says}, {span.begin_ms / 1000:.1f} s to {span.end_ms / 1000:.1f} s" for span in truth.people]
    against += [_too_slow(stop) for stop in stops if stop.shut_ms is None or stop.shut_ms > STOP_MS]
    against += [f"line {number}: no answer from {', '.join(map(spoken, who))}" for number, who in silent]
    if _box_lines(rehearsal)[: len(record.box)] != list(record.box):
        against.append("played again, the box did something else than was recorded: program or file differ from that evening's")
    return Debrief(
        title=pad.title, date=record.date, drill=record.drill, truth=faults, ended_ms=session.ms, state_at_end=rehearsal.state,
        lines_done=len(progress.at), lines_all=len(pad.crew.steps), skipped=tuple(sorted(progress.skipped)),
        disordered=tuple(progress.disordered), wrong_state=_wrong_state(pad, rehearsal, truth),
        too_early=tuple(rehearsal.answers), extra=tuple(progress.extra), silent=silent, roles=_roles(pad, rehearsal, truth), stops=stops,
        at_pressure_ms=truth.at_pressure_ms, people=tuple(truth.people), trips=trips, broken=broken,
        story=_story(rehearsal), log=tuple(session.box.log), against=tuple(against), torn=record.torn,
    )  # fmt: skip


def _box_lines(rehearsal: Rehearsal) -> list[tuple[int, str, str, str]]:
    box = rehearsal.session.box
    return [(ms, e.kind, e.origin, e.to) for e, ms in zip(box.log, box.log_ms, strict=True)]


def _too_slow(stop: Stop) -> str:
    took = "never" if stop.shut_ms is None else f"{stop.shut_ms / 1000:.1f} s after"
    return f"stop {stop.how} at {stop.at_ms / 1000:.1f} s: fill shut and dump open {took}; target {STOP_MS / 1000:g} s"


def _stops(rehearsal: Rehearsal, truth: _Truth) -> list[Stop]:
    """Every call of stop, and every stop press that no call went before within ten seconds."""
    calls = [(ms, f"called by {spoken(who) or 'someone'}") for ms, who, said in rehearsal.progress.calls if said.strip().lower() == "stop"]
    presses = [
        (line.ms, "pressed") for line in rehearsal.session.lines
        if line.kind == "act" and "stop" in line.what and "let go" not in line.what and ": not" not in line.what
    ]  # fmt: skip
    found = list(calls)
    found += [press for press in presses if not any(0 <= press[0] - ms <= 10_000 for ms, _ in calls)]
    stops = []
    for ms, how in sorted(found):
        shut = truth.shut_after(ms)
        stops.append(Stop(ms, how, None if shut is None else shut - ms))
    return stops


def _trips(rehearsal: Rehearsal) -> list[tuple[int, str]]:
    box, table = rehearsal.session.box, rehearsal.session.table
    rows = [(ms, table.rows[e.row].origin) for e, ms in zip(box.log, box.log_ms, strict=True) if e.kind == "move"]
    return [(ms, origin.removeprefix("trip ")) for ms, origin in rows if origin.startswith("trip ")]


def _silent(rehearsal: Rehearsal, number: int) -> tuple[str, ...]:
    """Roles that never answered the poll of a line."""
    progress = rehearsal.progress
    said = {who for ms, who, what in progress.calls if what.strip().lower() == "go" and ms >= progress.asked[number]}
    return tuple(role for role in rehearsal.pad.crew.steps[number - 1].poll if role not in said)


def _shown(truth: _Truth, ms: int) -> str:
    """The state that stood at `ms`, before what happened in that scan."""
    return next((state for at, state in reversed(truth.states) if at <= ms), "")


def _wrong_state(pad: Pad, rehearsal: Rehearsal, truth: _Truth) -> tuple[int, ...]:
    """Lines done while the box showed another state than theirs."""
    done = rehearsal.progress.at
    return tuple(n for n, step in enumerate(pad.crew.steps, 1) if n in done and step.during and _shown(truth, done[n]) != step.during)


def _roles(pad: Pad, rehearsal: Rehearsal, truth: _Truth) -> tuple[RoleTimes, ...]:
    """Time from a line being open to its being done, by role."""
    done, before = rehearsal.progress.at, 0
    walk = max((round(part.walk.si * 1000) for part in pad.parts(PadPart).values()), default=0)
    times: dict[str, list[tuple[int, int, int]]] = {}
    for number, step in enumerate(pad.crew.steps, 1):
        if number not in done:
            continue
        ready = max([before, *[ms for ms, state in truth.states if step.during and state == step.during and ms <= done[number]][-1:]])
        if step.wait is not None:
            ready += round(step.wait.si * 1000)
        target = POLL_MS if step.poll else LINE_MS
        times.setdefault(step.who, []).append((max(0, done[number] - ready), number, target))
        before = max(before, done[number] + (walk if step.walk else 0))
        if step.wait_for:  # the next line is open only once this state came
            before = max([before, *[ms for ms, state in truth.states if state == step.wait_for and ms >= done[number]][:1]])
    result = []
    for role, items in times.items():
        slowest = max(items)
        middle = round(median(ms for ms, _, _ in items))
        result.append(RoleTimes(role, len(items), middle, slowest[0], slowest[1], sum(ms > target for ms, _, target in items)))
    return tuple(result)


def _story(rehearsal: Rehearsal) -> tuple[Line, ...]:
    """The replay: what was said, done and true, in order of time."""
    told = [line for line in rehearsal.session.lines if not (line.kind == "box" and " -> " not in line.what)]
    heard = {(line.ms, line.what) for line in told}
    told += [Line(s.ms, "said", s.who, s.what, "") for s in rehearsal.said if s.who != "box" and (s.ms, s.what) not in heard]
    return tuple(sorted(told, key=lambda line: line.ms))
