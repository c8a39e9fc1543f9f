"""The driven valves of many pads at once: what pipework.Line does without faults, one row per line.

Valves chatter about a target, so they move far more often than anything else that is commanded. A lane that is asked by
its own World (see lanes_world.py) moves its own lines; the rows take them over again afterwards.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.description.grounds import SwitchPlace
from sequencer.site.lanes_gas import GasLanes
from sequencer.site.pipework import OPEN_AT
from sequencer.site.world import World

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


class LineLanes:
    """One line in every lane."""

    def __init__(self, worlds: Sequence[World], name: str) -> None:
        first = worlds[0].lines[name]
        n = len(worlds)
        self.name, self.path, self.open_source = name, first.plan.path, first.plan.open_source
        self.open_code = first.open_code
        drives = worlds[0].drives
        self.drive = next((i for i, drive in enumerate(drives) if first in drive.lines), None)
        self.stroke = np.array([world.lines[name].stroke for world in worlds])
        self.asked, self.moving = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
        self.position = np.zeros(n)
        self.fed, self.whole, self.blows = (np.zeros(n, dtype=bool) for _ in range(3))

    def load(self, world: World, lane: int) -> None:
        """Bring the lane's own line up to what the rows say."""
        own = world.lines[self.name]
        own.asked, own.position = bool(self.asked[lane]), float(self.position[lane])
        own.is_open = own.position > OPEN_AT
        if self.moving[lane] and own not in world.ground.moving:
            world.ground.moving.append(own)
        elif not self.moving[lane] and own in world.ground.moving:
            world.ground.moving.remove(own)

    def store(self, world: World, lane: int) -> None:
        """The other way."""
        own = world.lines[self.name]
        self.asked[lane], self.position[lane] = own.asked, own.position
        self.moving[lane] = own in world.ground.moving
        self.fed[lane] = own.supply is None or own.supply.hand_open
        self.whole[lane] = not own.parted
        self.blows[lane] = own.parted and own.near_stays and not own.charged

    def ask(self, lanes: Ints, energised: Bools) -> Ints:
        """Command the valve; the lanes in which that is something new."""
        wanted = energised == (self.open_code == 1)
        new = wanted != self.asked[lanes]
        changed: Ints = lanes[new]
        self.asked[changed] = wanted[new]
        self.moving[changed] |= self.position[changed] != wanted[new]
        return changed

    def move(self, lanes: Ints, dt: float) -> None:
        """One step of the stroke."""
        goal, position, stroke = self.asked[lanes].astype(float), self.position[lanes], self.stroke[lanes]
        with np.errstate(divide="ignore"):
            reach = np.where(stroke > 0.0, dt / stroke, 1.0)
        there = np.abs(goal - position) <= reach * 1.000001
        self.position[lanes] = np.where(there, goal, position + np.copysign(reach, goal - position))
        self.moving[lanes] = ~there

    def apply(self, gas: GasLanes, lanes: Ints) -> None:
        """Bring the paths in line with the valve."""
        gas.settle(lanes)
        through = np.where(self.fed[lanes], self.position[lanes], 0.0)
        whole, blows = self.whole[lanes], self.blows[lanes]
        for path, flows in ((self.path, whole), (self.open_source, blows)):
            if path is not None:
                gas.opening[path][lanes] = gas._wanted[path][lanes] = np.where(flows, through, 0.0)
        gas.stirred = True


def seen_by_contacts(world: World) -> bool:
    """Whether a contact follows some valve; then each lane moves its own lines."""
    outputs = {line.output for line in world.lines.values() if line.output is not None}
    return any(part.follows.partition(" at ")[0] in outputs for part in world.pad.parts(SwitchPlace).values())


class ValveLanes:
    """All lines, and the commands that concern nothing but valves."""

    def __init__(self, worlds: Sequence[World], codes: NDArray[np.int64]) -> None:
        self.worlds, self.n = worlds, len(worlds)
        first = worlds[0]
        self.lines = [LineLanes(worlds, name) for name in first.lines]
        by_rows = not seen_by_contacts(first)
        self.plain = [by_rows and drive.switch is None and drive.servo is None for drive in first.drives]
        self._others = [i for i, plain in enumerate(self.plain) if not plain]
        self.codes, self.applied = codes, codes.copy()
        """(output, lane): commanded last; and what the pad was driven to."""
        self.live = np.zeros(codes.shape, dtype=bool)
        self.stirred = np.zeros(self.n, dtype=bool)
        """Lanes whose lines moved in the last step."""
        self._new = np.zeros(self.n, dtype=bool)
        for lane, world in enumerate(worlds):
            self.stirred[lane] = True
            self.store(world, lane)

    def load(self, world: World, lane: int) -> None:
        """Bring the lane's own lines and commands up to what the rows say."""
        for line in self.lines:
            line.load(world, lane)
        world._commands = tuple(self.applied[:, lane].tolist()) if self.applied[0, lane] >= 0 else None
        world.ground.stirred |= bool(self.stirred[lane])

    def store(self, world: World, lane: int) -> None:
        """The other way."""
        stirred = world.ground.stirred
        if stirred or world.ground.moving or self.stirred[lane]:  # else no line and no supply was touched
            for line in self.lines:
                line.store(world, lane)
            self.live[:, lane] = [drive.feed.live for drive in world.drives]
        self.applied[:, lane] = world._commands if world._commands is not None else -1
        self.stirred[lane] = stirred

    def commands(self, lane: int) -> tuple[int, ...] | None:
        """Codes commanded last, None before the first scan."""
        return tuple(self.codes[:, lane].tolist()) if self.codes[0, lane] >= 0 else None

    def command(self, lanes: Ints, codes: NDArray[np.int64]) -> Ints:
        """New codes from the next step on; the lanes in which more than valves is concerned."""
        other = (codes[self._others] != self.codes[self._others][:, lanes]).any(axis=0)
        self.codes[:, lanes] = codes
        self._new[lanes] = True
        concerned: Ints = lanes[other]
        return concerned

    def others_new(self, lane: int) -> bool:
        """Whether something but a valve has been commanded and not yet driven."""
        return any(self.codes[i][lane] != self.applied[i][lane] for i in self._others)

    def step(self, gas: GasLanes, own: Bools, dt: float) -> Bools:
        """Drive and move the valves of all lanes but those that do it by themselves; the lanes that were touched."""
        touched = self.stirred & ~own
        self.stirred[~own] = False
        new = self._new & ~own
        if np.count_nonzero(new):
            lanes = np.flatnonzero(new)
            touched |= new
            self.applied[:, lanes] = self.codes[:, lanes]
            for line in self.lines:
                if line.drive is None or not self.plain[line.drive]:
                    continue
                changed = line.ask(lanes, self.live[line.drive][lanes] & (self.codes[line.drive][lanes] == 1))
                self._apply(gas, line, changed)
        self._new[:] = False
        for line in self.lines:
            moving = line.moving & ~own
            if np.count_nonzero(moving):
                lanes = np.flatnonzero(moving)
                line.move(lanes, dt)
                self._apply(gas, line, lanes)
        return touched

    def _apply(self, gas: GasLanes, line: LineLanes, lanes: Ints) -> None:
        if lanes.size:
            line.apply(gas, lanes)
            self.stirred[lanes] = True
