"""Every line of the checklist done wrong, one at a time: skipped, doubled, early, late, swapped with the next.

The nominal day is run once; at the beginning of each line the wrong variants branch off (a forked copy of the running
simulation where the system can, else the day is run again up to there) and go on as the crew would.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal

from sequencer.crew.progress import acts
from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.crew import Step
from sequencer.description.grounds import HeadPart, LinePart, PinPart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.simulation.session import Session
from sequencer.simulation.steps import StepsDriver, slipped
from sequencer.table.compile import compile_table
from sequencer.table.table import Table

Kind = Literal["skip", "double", "early", "late", "swap"]
KINDS: tuple[Kind, ...] = ("skip", "double", "early", "late", "swap")
Result = Literal["broken", "trips", "refused", "seen", "other way", "no change", "people only"]
SETTLE_MS = 60_000
LONGEST_MS = 90 * 60_000
BLIND = (
    "One slip at a time on the plain day, no faults, one seed: not what two slips do together, nor what a line is for that "
    "the model does not hold (listening, looking, pulling, reading aloud). Once box and pad stand as on the plain day before "
    "the same line, the rest is taken to go as on the plain day."
)


@dataclass(frozen=True)
class Slip:
    """What came of one line done wrong.

    broken: interlocks broken on the true pad. asked: those of them that the file asks to withstand a slip.
    says: in words what the box or the crew did about it.
    """

    number: int
    kind: Kind
    result: Result
    says: str
    broken: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()


@dataclass(frozen=True)
class Slips:
    """The whole table. `only_people`: (line, kind, interlocks) that nothing but the right action prevents; `unmissed`:
    lines whose skipping changes nothing that anything notices; `nominal`: '' or why the plain day itself does not go through."""

    title: str
    lines: tuple[tuple[int, str, str], ...]
    slips: tuple[Slip, ...]
    nominal: str
    blind: str = BLIND

    @property
    def only_people(self) -> tuple[Slip, ...]:
        return tuple(slip for slip in self.slips if slip.result == "broken")

    @property
    def unmissed(self) -> tuple[int, ...]:
        return tuple(slip.number for slip in self.slips if slip.kind == "skip" and slip.result in ("no change", "people only"))

    @property
    def passed(self) -> bool:
        return not self.nominal and not any(slip.asked for slip in self.slips)


@dataclass(frozen=True)
class _End:
    """How a run ended, from the branch on."""

    moves: tuple[str, ...]
    trips: tuple[str, ...]
    broken: tuple[str, ...]
    asked: tuple[str, ...]
    stopped: str


def slips(
    pad: Pad, *, lines: tuple[int, ...] = (), kinds: tuple[Kind, ...] = KINDS, seed: int = 0,
    told: Callable[[int, int], None] = lambda done, of: None,
) -> Slips:  # fmt: skip
    """Try every slip of `lines` (all when empty). `told(done, of)` is called as results come in."""
    steps, table = list(pad.crew.steps), compile_table(pad)
    wanted = list(lines) or list(range(1, len(steps) + 1))
    plans = [(number, kind) for number in wanted for kind in kinds if _touches(steps, number, kind)]
    nominal, ends = _branches(pad, table, steps, plans, seed, told)
    found = {key: _judged(*key, end, nominal[key[0], key[1]]) for key, end in ends.items()}
    every = [
        found.get((number, kind)) or Slip(number, kind, "people only", "nothing in the model depends on it")
        for number in wanted for kind in kinds if kind != "swap" or number < len(steps)
    ]  # fmt: skip
    return Slips(pad.title, tuple((n, steps[n - 1].who, steps[n - 1].do) for n in wanted), tuple(every), nominal[0, "skip"].stopped)


def _touches(steps: list[Step], number: int, kind: Kind) -> bool:
    """Whether this slip can change anything in the model at all."""
    step = steps[number - 1]
    if kind == "swap":
        return number < len(steps) and bool(acts(step) or acts(steps[number]))
    if kind in ("early", "late"):
        return bool(acts(step))
    return bool(acts(step) or (kind == "skip" and (step.wait_for or step.poll)))


def _first(number: int, kind: Kind) -> int:
    """Index of the first step that the slip changes."""
    return max(number - 2, 0) if kind == "early" else number - 1


def _branches(
    pad: Pad, table: Table, steps: list[Step], plans: list[tuple[int, Kind]], seed: int, told: Callable[[int, int], None]
) -> tuple[dict[tuple[int, Kind], _End], dict[tuple[int, Kind], _End]]:
    """(nominal end as seen from each branch, end of each branch). The whole nominal day is under (0, 'skip')."""
    plain = _Plain(pad, table, steps, seed)
    session = _begun(pad, table, seed)
    crowd = _Crowd(len(plans), told)
    starts: dict[tuple[int, Kind], int] = {}
    for index, step in enumerate(steps):
        for plan in plans:
            if _first(*plan) == index:
                starts[plan] = len(session.box.log)
                crowd.add(plan, partial(_branch, plain, plan, index, session if crowd.forks else None))
        if not _step(session, step, index, seed):
            break
    ends = crowd.all()
    nominal = {plan: _End(plain.end.moves[at:], (), plain.end.broken, (), plain.end.stopped) for plan, at in starts.items()}
    nominal[0, "skip"] = plain.end
    return nominal, ends


class _Plain:
    """The plain day, run once: how the pad and the box stood before each line, and how the day ended."""

    def __init__(self, pad: Pad, table: Table, steps: list[Step], seed: int) -> None:
        self.pad, self.table, self.steps, self.seed = pad, table, steps, seed
        self.stands: list[tuple[object, ...]] = []
        self.logged: list[int] = []
        session = _begun(pad, table, seed)
        for index, step in enumerate(steps):
            self.stands.append(stand(session))
            self.logged.append(len(session.box.log))
            if not _step(session, step, index, seed):
                break
        self.end = _finish(session, 0)

    def like(self, session: Session, left: int) -> bool:
        """Whether a branch with `left` lines to go stands as the plain day did before those lines."""
        index = len(self.steps) - left
        return index < len(self.stands) and stand(session) == self.stands[index]


def stand(session: Session) -> tuple[object, ...]:
    """How box and pad stand: state, condition bits, hands, valves, heads with their load, pins, people, pressures to a tenth of a bar,
    interlocks broken so far. Timers that run in the background are not in it."""
    pad, world = session.pad, session.world
    facts: list[t.Expression] = [t.SwitchIs(name, part.contact.word) for name, part in pad.inputs.items() if isinstance(part, ContactInput)]
    facts += [t.PinIs(name, True) for name in pad.parts(PinPart)]
    return (
        session.box.state, session.box.bits, session.schedule.idle, tuple(world.judge(fact)() for fact in facts),
        tuple(world.line_open(name) for name in pad.parts(LinePart)), tuple(world.supplies[n].hand_open for n in pad.parts(SupplyPart)),
        tuple(round(world.load(name) / 50.0) for name in pad.parts(HeadPart)), tuple(world.head_state(name) for name in pad.parts(HeadPart)),
        tuple(world.place(role) for role in pad.crew.roles), world.uncounted,
        tuple(round(world.pressure(name) / 1e4) for name in pad.parts(VolumePart)),
        tuple(watch.broken_ms is not None for watch in session.watches),
    )  # fmt: skip


def _begun(pad: Pad, table: Table, seed: int) -> Session:
    return Session(pad, seed=seed, steps=None, table=table, record=False)


def _step(session: Session, step: Step, index: int, seed: int) -> bool:
    """Do one step as written; False when the crew does not get through it."""
    session.driver = StepsDriver(session.pad, [step], session, seed + index)
    while not session.driver.idle and session.ms < LONGEST_MS:
        session.tick()
    return session.driver.finished


def _branch(plain: _Plain, plan: tuple[int, Kind], index: int, session: Session | None) -> _End:
    """The rest of the day with one slip; without a session to branch from the day is run again up to there.

    It ends early once everything stands as on the plain day before the same lines.
    """
    seed, steps = plain.seed, plain.steps
    if session is None:
        session = _begun(plain.pad, plain.table, seed)
        for at, step in enumerate(steps[:index]):
            _step(session, step, at, seed)
    number, kind = plan
    begun = len(session.box.log)
    session.struck[1] += 1
    rest = slipped(steps, f"{kind} {number}")[index:]
    for done, step in enumerate(rest):
        left = len(rest) - done
        if rest[done:] == steps[len(steps) - left :] and plain.like(session, left):
            moves = tuple(entry.to for entry in session.box.log[begun:])
            end = _finish(session, begun)
            return _End(_joined(moves, plain, left), end.trips, end.broken, end.asked, plain.end.stopped)
        if not _step(session, step, len(steps) - left, seed):
            break
    until = session.ms + SETTLE_MS
    while session.ms < until:
        session.tick()
    return _finish(session, begun)


def _joined(moves: tuple[str, ...], plain: _Plain, left: int) -> tuple[str, ...]:
    """The moves so far, then those of the plain day from before its last `left` lines on."""
    return moves + plain.end.moves[plain.logged[len(plain.steps) - left] :]


def _finish(session: Session, at: int) -> _End:
    log, rows = session.box.log[at:], session.table.rows
    origins = [rows[entry.row].origin for entry in log if entry.kind == "move"]
    broken, asked = [], []
    for watch in session.watches:
        watch.finish(session.ms)
        if watch.broken_ms is not None:
            broken.append(watch.name)
            if watch.rule.withstand.slips >= 1:
                asked.append(watch.name)
    stopped = session.driver.stopped
    return _End(
        tuple(entry.to for entry in log), tuple(dict.fromkeys(o.removeprefix("trip ") for o in origins if o.startswith("trip "))),
        tuple(broken), tuple(asked), stopped,
    )  # fmt: skip


def _judged(number: int, kind: Kind, end: _End, nominal: _End) -> Slip:
    broken = tuple(name for name in end.broken if name not in nominal.broken)
    asked = tuple(name for name in end.asked if name in broken)
    if broken:
        caught = f"; the box trips on {', '.join(end.trips)}" if end.trips else ""
        return Slip(number, kind, "broken", f"breaks {', '.join(broken)}{caught}", broken, asked)
    if end.trips:
        return Slip(number, kind, "trips", f"the box trips on {', '.join(end.trips)}")
    if end.stopped and not nominal.stopped:
        words = end.stopped.split(" ", 2)[-1]
        if " waited " in end.stopped:
            return Slip(number, kind, "refused", f"the box does not go on: {words}")
        if "cannot be done" in end.stopped:
            return Slip(number, kind, "refused", end.stopped)
        return Slip(number, kind, "seen", f"the crew sees it: {words}")
    if end.moves == nominal.moves:
        return Slip(number, kind, "no change", "the day goes as if nothing had happened")
    return Slip(number, kind, "other way", f"the box goes another way: {' -> '.join(_differing(end.moves, nominal.moves))}")


def _differing(moves: tuple[str, ...], nominal: tuple[str, ...]) -> tuple[str, ...]:
    """The states from the first difference on, at most four."""
    same = next((i for i, (a, b) in enumerate(zip(moves, nominal, strict=False)) if a != b), min(len(moves), len(nominal)))
    return moves[same : same + 4] or ("it stops there",)


class _Crowd:
    """Runs branches in forked copies of this process, as many at a time as there are processors; where the system
    cannot fork, one after the other in this process."""

    def __init__(self, of: int, told: Callable[[int, int], None]) -> None:
        self.of, self.told = of, told
        self.forks = "fork" in multiprocessing.get_all_start_methods()
        self.most = os.cpu_count() or 1
        self.running: list[tuple[Any, Any, Any]] = []
        self.done: dict[Any, _End] = {}
        self.later: list[tuple[Any, Callable[..., _End]]] = []

    def add(self, key: Any, branch: Callable[..., _End]) -> None:
        """Begin a branch now, from the present moment of the simulation."""
        if not self.forks:
            self.later.append((key, branch))
            return
        while len(self.running) >= self.most:
            self._wait()
        context = multiprocessing.get_context("fork")
        mine, its = context.Pipe(duplex=False)
        process = context.Process(target=_child, args=(its, branch), daemon=True)
        process.start()
        its.close()
        self.running.append((key, process, mine))

    def _wait(self) -> None:
        """Take the result of the branch that is ready first."""
        from multiprocessing.connection import wait

        ready = wait([pipe for _, _, pipe in self.running])
        for key, process, pipe in [one for one in self.running if one[2] in ready]:
            answer = pipe.recv()
            process.join()
            self.running.remove((key, process, pipe))
            if isinstance(answer, Exception):
                raise answer
            self._keep(key, answer)

    def _keep(self, key: Any, end: _End) -> None:
        self.done[key] = end
        self.told(len(self.done), self.of)

    def all(self) -> dict[Any, _End]:
        """Every result, once all branches are through."""
        while self.running:
            self._wait()
        for key, branch in self.later:
            self._keep(key, branch())
        return self.done


def _child(pipe: Any, branch: Callable[..., _End]) -> None:
    try:
        pipe.send(branch())
    except Exception as error:  # told to the parent, which raises it
        pipe.send(error)
    pipe.close()


def by_line(table: Slips) -> Iterator[tuple[int, str, str, dict[str, Slip]]]:
    """(number, who, do, {kind: slip}) for each line."""
    for number, who, do in table.lines:
        yield number, who, do, {slip.kind: slip for slip in table.slips if slip.number == number}
