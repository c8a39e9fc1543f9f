"""Every line of the checklist done wrong, one at a time: skipped, doubled, early, late, swapped with the next.

The nominal day is run once; at the beginning of each line the wrong variants branch off (a forked copy of the running
simulation where the system can, else the day is run again up to there) and go on as the crew would.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Literal

from sequencer.crew.progress import acts
from sequencer.description.crew import Step
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
    "the model does not hold (listening, looking, pulling, reading aloud)."
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
    ends: dict[tuple[int, Kind], _End] = {}
    starts: dict[tuple[int, Kind], int] = {}
    session = _begun(pad, table, seed)
    crowd = _Crowd(len(plans), told)
    for index, step in enumerate(steps):
        for plan in plans:
            if _first(*plan) == index:
                starts[plan] = len(session.box.log)
                crowd.add(plan, lambda plan=plan, index=index, session=session: _branch(pad, table, steps, plan, index, session, seed))
        if not _step(session, step, index, seed):
            break
    ends.update(crowd.all())
    whole = _finish(session, 0)
    box_log = session.box.log
    moves = [entry.to for entry in box_log]
    nominal = {plan: _End(tuple(moves[at:]), (), whole.broken, (), whole.stopped) for plan, at in starts.items()}
    nominal[0, "skip"] = whole
    return nominal, ends


def _begun(pad: Pad, table: Table, seed: int) -> Session:
    return Session(pad, seed=seed, steps=None, table=table, record=False)


def _step(session: Session, step: Step, index: int, seed: int) -> bool:
    """Do one step as written; False when the crew does not get through it."""
    session.driver = StepsDriver(session.pad, [step], session, seed + index)
    while not session.driver.idle and session.ms < LONGEST_MS:
        session.tick()
    return session.driver.finished


def _branch(pad: Pad, table: Table, steps: list[Step], plan: tuple[int, Kind], index: int, session: Session | None, seed: int) -> _End:
    """The rest of the day with one slip; without a session to branch from the day is run again up to there."""
    if session is None:
        session = _begun(pad, table, seed)
        for at, step in enumerate(steps[:index]):
            _step(session, step, at, seed)
    number, kind = plan
    at = len(session.box.log)
    session.struck[1] += 1
    session.driver = StepsDriver(pad, slipped(steps, f"{kind} {number}")[index:], session, seed + index)
    while not session.driver.idle and session.ms < LONGEST_MS:
        session.tick()
    until = session.ms + SETTLE_MS
    while session.ms < until:
        session.tick()
    return _finish(session, at)


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
            self._keep(key, branch(session=None))
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
