"""What the boxes of many pads read: converters and heartbeats as rows, with the very random streams of the single pad.

numpy's Mersenne twister gives the same numbers as Python's for the same state, so a lane's noise and lost messages are
those its own World would have had. Contacts change seldom and are read by each lane's own wiring.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.site.flow import P_ATM
from sequencer.site.lanes_flow import Floats
from sequencer.site.lanes_gas import GasLanes
from sequencer.site.lanes_look import HoldLanes
from sequencer.site.sensors import generator
from sequencer.site.world import World

BLOCK = 256
"""Scans of noise drawn at once."""


def stream(source: random.Random) -> np.random.RandomState:
    """A numpy stream that goes on where a Python one stands: the same doubles in the same order."""
    _, state, _ = source.getstate()
    made = np.random.RandomState(np.random.MT19937(0))
    made.set_state(("MT19937", np.array(state[:-1], dtype=np.uint32), state[-1], 0, 0.0))
    return made


class ConverterLanes:
    """One analog input in every lane (wiring.Converter without a fault)."""

    def __init__(self, worlds: Sequence[World], seeds: Sequence[int], name: str, reads: str) -> None:
        own = [world.wiring.converters[name] for world in worlds]
        sound = [converter.sound for converter in own]
        dt = worlds[0].ground.dt
        self.alpha = np.array([1.0 if a.lag <= 0.0 else -math.expm1(-dt / a.lag) for a in sound])
        self.gain = np.array([1.0 / a.per_count for a in sound])
        self.spread = np.array([a.noise * math.sqrt(6.0) for a in sound])
        self.base = np.array([a.exact_counts(a.zero_error) + 0.5 for a in sound]) - self.spread
        self.most = sound[0].most
        self.seen = np.array([converter.truth() for converter in own])
        self.volume = worlds[0].net.index(reads) if reads in worlds[0].pad.site else None
        self.head = reads.removeprefix("load on ")
        self._streams = [stream(generator(seed, f"{name}/noise")) for seed in seeds]
        self._noise: Floats = np.empty((0, len(worlds)))
        self._at = 0

    def read(self, gas: GasLanes, hold: HoldLanes) -> Floats:
        """Counts of this scan, whole numbers."""
        if self._at == len(self._noise):
            draws = np.array([own.random_sample(2 * BLOCK) for own in self._streams])
            self._noise = np.ascontiguousarray((draws[:, 0::2] + draws[:, 1::2]).T) * self.spread
            self._at = 0
        truth = gas.p[self.volume] - P_ATM if self.volume is not None else hold.load[hold.heads.index(self.head)]
        seen = self.seen
        seen += (truth - seen) * self.alpha
        counts: Floats = self.base + seen * self.gain
        counts += self._noise[self._at]
        self._at += 1
        return counts


class HeartLanes:
    """One heartbeat input in every lane (sensors.HeartbeatChannel without a fault or a delay)."""

    def __init__(self, worlds: Sequence[World], seeds: Sequence[int], name: str) -> None:
        own = [world.wiring.hearts[name].channel for world in worlds]
        self.period, self.n = own[0].period, len(worlds)
        self.loss = np.array([channel.loss for channel in own])
        self._streams = [stream(generator(seed, name)) for seed in seeds]
        self._time, self._next = np.zeros(self.n), np.zeros(self.n)
        self._message = np.zeros(self.n, dtype=np.int64)
        self._passes: NDArray[np.bool_] = np.empty((self.n, 0), dtype=bool)
        self._lanes = np.arange(self.n)

    def read(self, h: float | Floats) -> NDArray[np.bool_]:
        """Lanes that heard a fresh message in the last ``h`` seconds."""
        self._time += h
        heard = np.zeros(self.n, dtype=bool)
        due = self._next <= self._time + 1e-12
        while due.any():
            if int(self._message.max()) >= self._passes.shape[1]:
                self._draw()
            lanes = self._lanes if due.all() else np.flatnonzero(due)
            heard[lanes] |= self._passes[lanes, self._message[lanes]]
            self._message[lanes] += 1
            self._next[lanes] += self.period
            due = self._next <= self._time + 1e-12
        return heard

    def _draw(self) -> None:
        """More messages. A channel that loses nothing draws nothing."""
        draws = np.array([own.random_sample(512) for own in self._streams])
        passes = (draws >= self.loss[:, None]) | (self.loss[:, None] <= 0.0)
        self._passes = np.concatenate([self._passes, passes], axis=1)
