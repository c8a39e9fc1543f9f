"""What follows from the gas in many pads at once: supplies that droop and starve, loads on heads, and which lanes need a
closer look.

A lane where something begins or ends (a relief opens, a catch gives way, the vehicle goes) is only named here; its own
World then decides, so that nothing is judged twice. The figures are those of pipework.py and hold.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.site.flow import P_ATM, RHO0, T0
from sequencer.site.hold import LIFTS
from sequencer.site.lanes_flow import Floats
from sequencer.site.lanes_gas import GasLanes
from sequencer.site.world import World

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


class SupplyLanes:
    """One supply of the file in every lane."""

    def __init__(self, worlds: Sequence[World], name: str) -> None:
        own = [world.supplies[name] for world in worlds]
        self.name, self.index, self.regulated = name, own[0].index, own[0].regulated
        self.reservoir = self.index - worlds[0].net.n
        self.paths = [
            path for line in own[0].lines for path in (line.plan.path, line.plan.open_source) if path is not None
        ]
        self.first, self.mass = _row(s.first for s in own), _row(s.mass for s in own)
        self.set_to, self.droop, self.creep = _row(s.set_to for s in own), _row(s.droop for s in own), _row(s.creep for s in own)
        self.full_per_pascal = np.array([s.seat.C * RHO0 * np.sqrt(T0 / w.ground.temperature) for s, w in zip(own, worlds, strict=True)])
        self.sunk, self.starved, self.risen = _row(s.sunk for s in own), _row(s.starved for s in own), _row(s.risen for s in own)

    def load(self, world: World, lane: int) -> None:
        """Bring the lane's own supply up to what the rows say."""
        own = world.supplies[self.name]
        own.sunk, own.starved, own.risen = float(self.sunk[lane]), float(self.starved[lane]), float(self.risen[lane])

    def store(self, world: World, lane: int) -> None:
        """The other way."""
        own = world.supplies[self.name]
        self.sunk[lane], self.starved[lane], self.risen[lane] = own.sunk, own.starved, own.risen

    def step(self, gas: GasLanes, lanes: Ints, dt: float) -> None:
        """SupplyState.step in some lanes."""
        flowing, q = np.zeros(lanes.size, dtype=bool), np.zeros(lanes.size)
        for path in self.paths:
            if not gas.may_flow(path):
                continue
            opened = gas.opening[path][lanes] > 0.0
            flowing |= opened
            now = gas.q[path][lanes]
            q += np.where(opened & (now > 0.0) & ~gas.wet_now[path][lanes], now, 0.0)
        if np.count_nonzero(flowing) < flowing.size:
            still = lanes[~flowing]
            self.risen[still] = self.creep[still]
            self.sunk[still] = self.starved[still] = 0.0
            lanes, q = lanes[flowing], q[flowing]
            if not lanes.size:
                return
        back = np.maximum(self.first[lanes] * np.maximum(1.0 + gas.taken[self.reservoir][lanes] / self.mass[lanes], 0.0), P_ATM)
        p = gas.p[self.index][lanes]
        outlet = back
        if self.regulated:
            full = self.full_per_pascal[lanes] * back
            share = q / full
            sunk, starved, risen = self.sunk[lanes], self.starved[lanes], self.risen[lanes]
            sunk = sunk + (self.droop[lanes] * np.minimum(share, 1.0) - sunk) * min(1.0, dt / 0.1)
            with np.errstate(divide="ignore"):
                more = np.where(share > 1.0, 1.0 - 1.0 / share, share - 1.0)
            starved = np.maximum(0.0, starved + more * p * min(1.0, dt / 0.1))
            risen = risen + (self.creep[lanes] * np.maximum(0.0, 1.0 - q / (0.01 * full)) - risen) * min(1.0, dt / 5.0)
            self.sunk[lanes], self.starved[lanes], self.risen[lanes] = sunk, starved, risen
            outlet = np.minimum(np.maximum(self.set_to[lanes] - sunk - starved + risen, P_ATM), back)
        moved = np.abs(outlet - p) > 20.0
        if np.count_nonzero(moved):
            changed = lanes[moved]
            gas.settle(changed)
            gas.p[self.index][changed] = outlet[moved]


class HoldLanes:
    """The release heads and their seats in every lane: loads, and whether the lane needs its own World's eye."""

    def __init__(self, worlds: Sequence[World]) -> None:
        first = worlds[0]
        self.heads = list(first.heads)
        self.stands = list(first.stands)
        self.stand_of = [self.stands.index(first.heads[name].stand.volume) for name in self.heads]
        self.index = [first.stands[name].index for name in self.stands]
        self.area = np.array([[w.stands[s].area for w in worlds] for s in self.stands]).reshape(len(self.stands), len(worlds))
        self.weight = np.array([[w.stands[s].weight for w in worlds] for s in self.stands]).reshape(len(self.stands), len(worlds))
        shape = (len(self.heads), len(worlds))
        self.per_newton = np.array([[w.heads[h].head.hold_force(1.0) for w in worlds] for h in self.heads]).reshape(shape)
        self.strength = np.array([[w.heads[h].head.catch_strength for w in worlds] for h in self.heads]).reshape(shape)
        self.shut, self.freed = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
        self.load = np.zeros(shape)
        self.present = np.zeros((len(self.stands), len(worlds)), dtype=bool)
        for lane, world in enumerate(worlds):
            self.store(world, lane)

    def store(self, world: World, lane: int) -> None:
        """Take over what the lane's own World says."""
        for h, name in enumerate(self.heads):
            head = world.heads[name]
            self.shut[h][lane], self.freed[h][lane], self.load[h][lane] = head.shut, head.freed, head.load
        for s, name in enumerate(self.stands):
            self.present[s][lane] = world.stands[name].present

    def look(self, gas: GasLanes, lanes: Ints) -> Bools:
        """Loads of some lanes; True where a catch may give way or the vehicle may leave."""
        need = np.zeros(lanes.size, dtype=bool)
        forces = [
            (gas.p[i][lanes] - P_ATM) * self.area[s][lanes] - self.weight[s][lanes] for s, i in enumerate(self.index)
        ]
        all_shut = [np.ones(lanes.size, dtype=bool) for _ in self.stands]
        for h, s in enumerate(self.stand_of):
            shut = self.shut[h][lanes]
            all_shut[s] &= shut
            load = np.where(shut & self.present[s][lanes], np.maximum(0.0, forces[s]), 0.0)
            self.load[h][lanes] = load
            need |= shut & (self.per_newton[h][lanes] * load > 0.999999 * self.strength[h][lanes])
        for s, force in enumerate(forces):
            need |= self.present[s][lanes] & (force > LIFTS) & ~all_shut[s]
        return need


def _row(values: Iterable[float]) -> Floats:
    return np.array(list(values), dtype=np.float64)
