"""Many runs together: one controller and one pad per lane, stepped side by side.

The loop is that of `simulation.session`: what follows and what the crew does, the pad's step, the sample, the scan. A
lane's crew is its own driver, asked only when its time has come or something it may wait for has happened. A lane whose
box loses its supply leaves the lanes and is run by itself from its beginning.
"""

from __future__ import annotations

import gc
import random
from collections.abc import Callable, Sequence
from functools import partial
from heapq import heappop, heappush
from typing import Any

import numpy as np

from sequencer.description import terms as t
from sequencer.description.grounds import PowerPart
from sequencer.description.pad import Pad
from sequencer.simulation import acting
from sequencer.simulation.events import Action, Hold
from sequencer.simulation.facts import Facts
from sequencer.simulation.schedule import Schedule
from sequencer.simulation.session import ASSUMED_BOOT
from sequencer.simulation.steps import StepsDriver
from sequencer.site.lanes_world import LaneWorlds, why_not
from sequencer.table import Table, power_up
from sequencer.table.lanes import Lanes
from sequencer.trials.course import LONGEST_MS, SETTLE_MS, Begin, Course, Eye, Passed, alone
from sequencer.trials.draw import Draw


class _Stage:
    """One lane as its crew sees it (simulation.steps.Stage), and what acting needs of a session."""

    def __init__(self, one: Draw, begin: Begin, table: Table, havens: frozenset[int]) -> None:
        self.pad, self.table = one.pad, table
        self.world = one.world()
        begin.arrange(self.world)
        self.ms = self.last_act_ms = 0
        self.state = -1 if begin.memory is None else begin.memory.state
        self.trips = self.setbacks = 0
        self.course = Course()
        self.fetch: Callable[[], object] | None = None
        """Brings the world up to date before something is done to it."""
        self.touched = False
        self._havens = havens
        self._schedule = Schedule((), _no_test)
        self.driver = StepsDriver(one.pad, begin.steps(one.pad), self, one.seed)

    @property
    def state_name(self) -> str:
        return self.table.states[self.state].name if self.state >= 0 else ""

    def tell(self, kind: str, who: str, what: str, why: tuple[str, ...] = ()) -> None:
        """Nobody listens."""

    def act(self, who: str, action: Action) -> None:
        self.last_act_ms = self.ms
        if self.fetch is not None and not self.touched:
            self.fetch()
            self.touched = True
        acting.do(self, who, action)  # type: ignore[arg-type]  # it asks for pad, world, tell and follow only

    def follow(self, after_ms: int, who: str, action: Action) -> None:
        self._schedule.follow(self.ms + after_ms, who, action)

    def let_go(self, who: str, input: str) -> None:
        if self._schedule.cancel(Hold(input, let_go=True)):
            self.act(who, Hold(input, let_go=True))

    def place(self, role: str) -> str:
        return str(self.world.place(role))

    def read_dial(self, name: str) -> float:
        return float(self.world.read_dial(name))

    def true(self, expression: t.Expression) -> bool:
        codes = self.world._commands or tuple(spec.idle for spec in self.table.outputs)
        return bool(Facts(self.pad, self.table, self.world).statement(expression)(codes, self.state, 0))

    def moved(self, ms: int, row: int, to: int) -> None:
        """The box has moved."""
        self.state = to
        self.course.passed.append(Passed(ms, row, to))
        self.setbacks += to in self._havens
        self.trips += self.table.rows[row].origin.startswith("trip ")

    def tick(self, ms: int) -> int:
        """What is due at `ms`; returns when to look again at the latest."""
        self.ms = ms
        for who, action, _ in self._schedule.due(ms, "", 0):
            self.act(who, action)
        if not self.driver.idle:
            self.driver.tick(ms)
            self.last_act_ms = ms
        later = self._schedule.next_ms
        until = self.last_act_ms + SETTLE_MS if self.driver.idle else self.driver.until_ms
        return until if later is None else min(until, later)


def _no_test(once: Any) -> Any:
    raise AssertionError("nothing waits for a fact here")


def boot_ms(pad: Pad, seed: int) -> int:
    """Boot time of a run, as simulation.session draws it."""
    given = [part.boot for part in pad.parts(PowerPart).values() if part.boot]
    low, high = (given[0].low, given[0].high) if given else ASSUMED_BOOT
    drawn = random.Random(f"{seed}/boot").uniform(low, high)
    return max(1, round(drawn * 1000 / pad.scan_ms)) * pad.scan_ms


class Together:
    """Runs side by side. The pads differ in their figures only; `table` is compiled from any of them."""

    def __init__(self, draws: Sequence[Draw], begin: Begin, table: Table, longest_ms: int = LONGEST_MS) -> None:
        self.table, self.longest_ms = table, longest_ms
        self.scan_ms, self.n = table.scan_ms, len(draws)
        self._alone = (draws, begin)
        havens = frozenset(row.to for row in table.rows if row.origin.startswith("trip "))
        self.stages = [_Stage(one, begin, table, havens) for one in draws]
        self.eye = Eye(draws[0].pad, table)
        self._servos = [index for _, index in self.eye.servos]
        self._first_steps(begin, [boot_ms(one.pad, one.seed) for one in draws])
        self.worlds = LaneWorlds([stage.world for stage in self.stages], [one.seed for one in draws])
        self.boxes = Lanes(table, [begin.memory or power_up(table)] * self.n)
        self.clock = self.worlds.ticks * self.scan_ms
        self.volumes = [self.worlds.worlds[0].net.index(name) for name in self.eye.volumes]
        self.peaks = np.zeros((len(self.volumes), self.n))
        self._peaks_seen = self.worlds.gas.p[self.volumes]
        self.running = set(range(self.n))
        self._wakes: list[tuple[int, int]] = []
        self._set = set(range(self.n))
        """Lanes to be looked at before the next step whatever the time."""
        for lane, stage in enumerate(self.stages):
            self._peak(lane)
            stage.fetch = partial(self.worlds.load, lane)
            heappush(self._wakes, (int(stage.ms), lane))

    def _first_steps(self, begin: Begin, boots: list[int]) -> None:
        """Up to the first scan each lane goes by itself: boot times differ."""
        dt = self.scan_ms / 1000
        for stage, boot in zip(self.stages, boots, strict=True):
            commands = None if begin.memory is None else begin.memory.outputs
            for k in range(boot // self.scan_ms if begin.memory is None else 1):
                stage.tick(k * self.scan_ms)
                stage.world.step(commands, dt)

    def _peak(self, lane: int) -> None:
        np.maximum(self.peaks[:, lane], self.worlds.gas.p[self.volumes, lane] - 101_325.0, out=self.peaks[:, lane])

    def run(self) -> list[Course]:
        """All courses, in order."""
        while self.running and self._scan():
            pass
        draws, begin = self._alone
        for lane in sorted(self.worlds.lost):
            self.stages[lane].course = alone(draws[lane], begin, self.table, self.longest_ms)
        return [stage.course for stage in self.stages]

    def _scan(self) -> bool:
        worlds, stages = self.worlds, self.stages
        done = worlds._done * self.scan_ms
        moves, commanded = self.boxes.scan(*worlds.sample())
        woken = self._set
        if moves is not None:
            for lane, row, to in zip(moves.lanes.tolist(), moves.rows.tolist(), moves.to.tolist(), strict=True):
                if lane in self.running:
                    stages[lane].moved(done + int(self.clock[lane]), row, to)
                    woken.add(lane)
        if commanded.size:
            codes = self.boxes.outputs[:, commanded]
            worlds.command(commanded, codes)
            for k in np.flatnonzero((codes[self._servos] != 0).any(axis=0)):
                lane = int(commanded[k])
                self.eye.asked(stages[lane].course, done + int(self.clock[lane]), codes[:, k], partial(self._pressures, lane), partial(self._loads, lane))
        first = worlds._done == 0
        for lane, stage in enumerate(stages) if first else ():
            if stage.state < 0:
                stage.state = int(self.boxes.state[lane])
            woken.add(lane)
        while self._wakes and self._wakes[0][0] <= done:
            woken.add(heappop(self._wakes)[1])
        for lane in sorted(woken):
            if lane in self.running:
                self._tick(lane, done + int(self.clock[lane]))
        woken.clear()
        worlds.step()
        self._after(worlds)
        return True

    def _tick(self, lane: int, ms: int) -> None:
        stage = self.stages[lane]
        if ms >= self.longest_ms or (stage.driver.idle and ms >= stage.last_act_ms + SETTLE_MS):
            self._end(lane, ms)
            return
        until = min(stage.tick(ms), self.longest_ms)
        if stage.touched:
            self.worlds.store(lane)
            stage.touched = False
        heappush(self._wakes, (until - int(self.clock[lane]), lane))

    def _end(self, lane: int, ms: int) -> None:
        stage = self.stages[lane]
        self.running.discard(lane)
        course = stage.course
        course.state, course.ended_ms, course.stopped = int(self.boxes.state[lane]), ms, stage.driver.stopped
        course.peaks = tuple(float(p) for p in self.peaks[:, lane])

    def _after(self, worlds: LaneWorlds) -> None:
        np.maximum(self.peaks, worlds.gas.p[self.volumes] - 101_325.0, out=self.peaks)
        done = worlds._done * self.scan_ms
        for lane in worlds.freed:
            course = self.stages[lane].course
            if course.freed_ms is None and lane in self.running:
                course.freed_ms = done + int(self.clock[lane])
        self._set.update(worlds.arrived)
        if worlds.lost:
            self.running -= worlds.lost

    def _pressures(self, lane: int) -> list[float]:
        return [float(p) - 101_325.0 for p in self.worlds.gas.p[self.volumes, lane]]

    def _loads(self, lane: int) -> list[float]:
        return [float(n) for n in self.worlds.hold.load[:, lane]]


def together(draws: Sequence[Draw], begin: Begin, table: Table, longest_ms: int = LONGEST_MS) -> list[Course]:
    """The courses of many runs side by side; each equals `alone` of the same draw. A pad with an input that lanes do not
    follow is run one by one."""
    if why_not(draws[0].pad):
        return [alone(one, begin, table, longest_ms) for one in draws]
    collecting = gc.isenabled()
    gc.disable()  # thousands of worlds live until the end: looking through them for garbage finds none and takes long
    try:
        return Together(draws, begin, table, longest_ms).run()
    finally:
        if collecting:
            gc.enable()
