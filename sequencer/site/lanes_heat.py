"""Pressure and temperature from mass and energy, and heat between gas, wall and air, in many networks at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sequencer.site.flow import CV_AIR, GAMMA
from sequencer.site.lanes_flow import Floats

if TYPE_CHECKING:
    from sequencer.site.lanes_gas import GasLanes
    from sequencer.site.lanes_step import Gathered


def update(state: Gathered, i: int, where: NDArray[np.bool_] | None) -> None:
    """Pressure and temperature from mass and energy, in the lanes `where` (None: all)."""
    p = (GAMMA - 1.0) * state.energy[i] / state.gas_volume[i]
    t = state.energy[i] / (state.mass[i] * CV_AIR)
    if where is not None and np.count_nonzero(where) < where.size:
        p, t = np.where(where, p, state.p[i]), np.where(where, t, state.T[i])
    state.set("p", i, p)
    state.set("T", i, t)


def exchange_heat(gas: GasLanes, state: Gathered, h: Floats) -> Floats:
    """Gas and wall as two bodies, exactly; then the wall and the surroundings. Returns the largest change."""
    largest = np.zeros(h.size)
    lanes, ambient = state.lanes, gas.ambient[state.lanes]
    for i in gas.exchanging:
        capacity, wall = gas.wall_capacity[i][lanes], state.wall_T[i]
        outer = gas.ambient_exchange[i][lanes]
        if np.count_nonzero(wall != ambient):
            gain = (ambient - wall) * -np.expm1(-outer * h / capacity)
            wall = wall + gain
            largest = np.maximum(largest, np.abs(gain) / wall)
            state.set("wall_T", i, wall)
        t = state.T[i]
        differ = t != wall
        if not np.count_nonzero(differ):
            continue
        own = state.mass[i] * CV_AIR
        both = own / (1.0 + own / capacity)
        heat = (wall - t) * both * -np.expm1(-gas.wall_exchange[i][lanes] * h / both)
        state.set("energy", i, state.energy[i] + heat)
        state.set("wall_T", i, wall - heat / capacity)
        largest = np.maximum(largest, np.abs(heat) / (own * t))
        update(state, i, differ)
    return largest
