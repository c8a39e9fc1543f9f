"""Many pads at once: gas, supplies, loads and sensors as rows, everything rare by each lane's own World.

A lane's World is asked only while something moves in it (a valve on its way, a servo under power, a drawn catch) or was
touched; else its half of a step is the rows'. What a lane does is what its World would have done alone, to rounding.
Faults, a box without power and inputs that no row knows are for single runs: such lanes are named in `lost`.
"""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush

import numpy as np
from numpy.typing import NDArray

from sequencer.description.box import AnalogInput
from sequencer.description.grounds import VolumePart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.site.lanes_gas import GasLanes
from sequencer.site.lanes_lines import ValveLanes
from sequencer.site.lanes_look import HoldLanes, SupplyLanes
from sequencer.site.lanes_sense import ConverterLanes, HeartLanes
from sequencer.site.world import World


def why_not(pad: Pad) -> str:
    """Why this pad's runs cannot share lanes; '' when they can."""
    for name, part in pad.inputs.items():
        if isinstance(part, AnalogInput):
            by_row = isinstance(pad.site.get(part.reads), VolumePart) or part.reads.startswith("load on ")
            if not by_row:
                return f"{name} reads {part.reads}"
    return ""


class LaneWorlds:
    """Worlds side by side, all at the same number of steps since `start`; built on Worlds that were stepped alone so far."""

    def __init__(self, worlds: Sequence[World], seeds: Sequence[int]) -> None:
        pad = worlds[0].pad
        if why_not(pad):
            raise SequencerError(f"{pad.title}: {why_not(pad)}, which lanes do not follow")
        self.worlds, self.n, self.dt = list(worlds), len(worlds), worlds[0].ground.dt
        self.ticks = np.array([world.ground.ticks for world in worlds])
        self.supplies = [SupplyLanes(worlds, name) for name in worlds[0].supplies]
        self.hold = HoldLanes(worlds)
        self.converters = [
            ConverterLanes(worlds, seeds, name, part.reads) for name, part in pad.inputs.items() if isinstance(part, AnalogInput)
        ]
        self.hearts = [HeartLanes(worlds, seeds, name) for name in worlds[0].wiring.hearts]
        self.gas = GasLanes([world.net for world in worlds])
        for lane, world in enumerate(worlds):
            world.net = world.ground.net = self.gas.view(lane, world.net)
        self.seen = np.array([world._seen for world in worlds])
        undriven = (-1,) * len(worlds[0].drives)
        self.valves = ValveLanes(worlds, np.array([world._commands or undriven for world in worlds], dtype=np.int64).T.copy())
        self.contacts = np.array([world.wiring.levels for world in worlds], dtype=bool).T.reshape(len(worlds[0].wiring.contacts), len(worlds))
        self._first = True
        self._reliefs = [relief.path for relief in worlds[0].reliefs.values()]
        self._walks: list[tuple[int, int]] = []
        self._done = 0
        self._current: set[int] = set()
        self._restless: set[int] = set()
        self.active: set[int] = set()
        """Lanes whose own World is asked in every step."""
        self._own = np.zeros(self.n, dtype=bool)
        self.arrived: list[int] = []
        """Lanes in which somebody came to the end of a walk in the last step."""
        self.lost: set[int] = set()
        """Lanes whose box has lost its supply."""
        self.freed: list[int] = []
        """Lanes in which a head let go in the last step."""
        for lane, world in enumerate(worlds):
            self._take_over(world, lane, stepped=False)
            self.store(lane)

    # ------------------------------------------------------------------ a lane by itself

    def load(self, lane: int) -> World:
        """The lane's own World, up to date; to be given back by :meth:`store`."""
        world = self.worlds[lane]
        world.ground.ticks = int(self.ticks[lane]) + self._done
        if lane not in self._current:
            world._seen = int(self.seen[lane])
            for supply in self.supplies:
                supply.load(world, lane)
            self.valves.load(world, lane)
            for head in world.heads.values():
                head.settle()
            self._current.add(lane)
        return world

    def store(self, lane: int, *, stepped: bool = False) -> None:
        """Take over what was done to a lane; `stepped`: its own World has just made a whole step."""
        world = self.worlds[lane]
        if stepped or world.ground.stirred:
            self._take_over(world, lane, stepped)
        if world.wiring.restless or world.wiring.in_flight:
            self._restless.add(lane)
        for due, _, _ in world.people.walking:
            walk = (due - int(self.ticks[lane]), lane)
            if walk not in self._walks:
                heappush(self._walks, walk)
        if not world.powered:
            self.lost.add(lane)

    def _take_over(self, world: World, lane: int, stepped: bool) -> None:
        self.seen[lane] = world._seen
        for supply in self.supplies:
            supply.store(world, lane)
        freed = self.hold.freed[:, lane].copy()
        self.hold.store(world, lane)
        if (self.hold.freed[:, lane] & ~freed).any():
            self.freed.append(lane)
        self.valves.store(world, lane)
        # After a whole step what is left of "stirred" asks for a look only, unless a contact has still to follow.
        stirred = world.ground.stirred and (not stepped or world.follows_late)
        if stirred or world.at_work or not world.powered or self.valves.others_new(lane):
            self.active.add(lane)
        else:
            self.active.discard(lane)

    def command(self, lanes: NDArray[np.int64], codes: NDArray[np.int64]) -> None:
        """The boxes of some lanes command something else, (output, lane), from the next step on."""
        self.active.update(self.valves.command(lanes, codes).tolist())

    # ------------------------------------------------------------------ time

    def step(self) -> None:
        """One scan of every lane."""
        dt, gas = self.dt, self.gas
        self.arrived.clear()
        self.freed.clear()
        asked = sorted(self.active)
        own = self._own
        own[:] = False
        own[asked] = True
        busy = [self.load(lane).before_gas(self.valves.commands(lane), dt) for lane in asked]
        touched = self.valves.step(gas, own, dt)
        self._done += 1
        gas.step(dt)
        moved = ((gas.substeps != self.seen) | touched) & ~own
        for lane, touch in zip(asked, busy, strict=True):
            self.worlds[lane].after_gas(dt, touch)
            self.store(lane, stepped=True)
        self._look(np.flatnonzero(moved))
        self._current &= self.active
        while self._walks and self._walks[0][0] <= self._done:
            _, lane = heappop(self._walks)
            world = self.load(lane)
            if world.people.walking:
                world.people.step()
            self.arrived.append(lane)

    def _look(self, lanes: NDArray[np.int64]) -> None:
        """What follows from the gas in lanes where nothing else moves."""
        if not lanes.size:
            return
        gas, dt = self.gas, self.dt
        need = self.hold.look(gas, lanes)
        for path in self._reliefs:
            if gas.may_flow(path):
                need |= gas.q[path][lanes] > 0.0
        if need.any():
            for lane in lanes[need]:
                self.load(int(lane)).after_gas(dt, True)
                self.store(int(lane), stepped=True)
            lanes = lanes[~need]
        self.seen[lanes] = gas.substeps[lanes]
        for supply in self.supplies:
            supply.step(gas, lanes, dt)

    # ------------------------------------------------------------------ inputs

    def sample(self) -> tuple[NDArray[np.bool_], NDArray[np.int64], NDArray[np.bool_]]:
        """(contact, lane) raw levels, (analog, lane) counts, (heartbeat, lane) messages heard; once per scan."""
        h = self.dt
        for lane in sorted(self._restless):
            world = self.worlds[lane]
            world.ground.ticks = int(self.ticks[lane]) + self._done
            wiring = world.wiring
            self.contacts[:, lane] = wiring.look(world.ground.now if self._first else h)
            if not (wiring.restless or wiring.in_flight):
                self._restless.discard(lane)
        counts = np.empty((len(self.converters), self.n), dtype=np.int64)
        for row, converter in zip(counts, self.converters, strict=True):
            row[:] = converter.read(self.gas, self.hold)  # whole counts, towards zero
            np.maximum(row, 0, out=row)
            np.minimum(row, converter.most, out=row)
        since = self.ticks * h if self._first else h
        heard = np.array([heart.read(since) for heart in self.hearts], dtype=bool).reshape(len(self.hearts), self.n)
        self._first = False
        return self.contacts, counts, heard
