"""One substep of many networks: the implicit solve, gas and water moved path by path.

The arithmetic is that of network.py in the same order, so that a lane equals its own Network.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sequencer.site.flow import CP_AIR, GAMMA, R_AIR
from sequencer.site.lanes_flow import Floats, Group, Lanes
from sequencer.site.lanes_heat import update
from sequencer.site.network import CROSSING, CROSSING_SET, LARGEST_CHANGE, LARGEST_TURNOVER, SHORTEST
from sequencer.site.network_state import LEAST_GAS

if TYPE_CHECKING:
    from sequencer.site.lanes_gas import GasLanes


class Gathered:
    """The rows of some lanes during a substep. A row is replaced, never written into; `commit` keeps what was taken."""

    def __init__(self, gas: GasLanes, lanes: Lanes) -> None:
        self.gas, self.lanes = gas, lanes
        self.p: list[Floats] = [row[lanes] for row in gas.p]
        self.T: list[Floats] = [row[lanes] for row in gas.T]
        self.wall_T: list[Floats] = [row[lanes] for row in gas.wall_T]
        self.water: list[Floats] = [row[lanes] for row in gas.water]
        self.gas_volume: list[Floats] = [row[lanes] for row in gas.gas_volume]
        self.mass: list[Floats] = [row[lanes] for row in gas.mass]
        self.energy: list[Floats] = [row[lanes] for row in gas.energy]
        self.taken: dict[int, Floats] = {}
        self.water_taken: dict[int, Floats] = {}
        self.q: dict[int, Floats] = {}
        self.wet: list[Group] = []
        self._new: set[tuple[str, int]] = set()

    def own(self, name: str, i: int) -> Floats:
        """A row to write into."""
        rows: list[Floats] = getattr(self, name)
        if (name, i) not in self._new:
            self._new.add((name, i))
            rows[i] = rows[i].copy()
        return rows[i]

    def set(self, name: str, i: int, row: Floats) -> None:
        self._new.add((name, i))
        getattr(self, name)[i] = row

    def reservoir(self, rows: dict[int, Floats], of: NDArray[np.float64], i: int) -> Floats:
        """What a reservoir has taken, to write into."""
        if i not in rows:
            rows[i] = of[i][self.lanes].copy()
        return rows[i]

    def commit(self, done: NDArray[np.bool_]) -> None:
        """Write back the lanes whose substep was taken."""
        gas = self.gas
        everything = bool(done.all())
        at = self.lanes if everything else (np.flatnonzero(done) if isinstance(self.lanes, slice) else self.lanes[done])

        def keep(of: NDArray[np.float64], i: int, row: Floats) -> None:
            of[i][at] = row if everything else row[done]

        for name, i in self._new:
            keep(getattr(gas, name), i, getattr(self, name)[i])
        for i, row in self.taken.items():
            keep(gas.taken, i, row)
        for i, row in self.water_taken.items():
            keep(gas.water_taken, i, row)
        for e, row in self.q.items():
            keep(gas.q, e, row)
        for group in self.wet:
            row = gas.wet_now[group.path][self.lanes].copy()
            if group.at is None:
                row[:] = group.wet
            else:
                row[group.at] = group.wet
            gas.wet_now[group.path][at] = row if everything else row[done]


def _fitted_weight(z: Floats) -> Floats:
    far: Floats = 1.0 / -np.expm1(-z) - 1.0 / z
    near = z < 0.05
    return np.where(near, 0.5 + z / 12.0, far) if np.count_nonzero(near) else far


def _gain(state: Gathered, group: Group, i: int) -> Floats:
    """Pressure rise of volume i per kg (or m3 of water) that arrives from `up`."""
    room = group.of(state.gas_volume[i])
    if group.wet:
        return GAMMA * group.of(state.p[i]) / room
    return GAMMA * R_AIR * group.of(state.T[group.up]) / room


def _solve(gas: GasLanes, state: Gathered, groups: list[Group], h: Floats) -> dict[int, Floats]:
    """Pressure changes of the touched volumes; sets the mean flow of each group."""
    n, size = gas.n, h.size
    stiff: dict[int, Floats] = {}
    made: list[tuple[Floats | None, Floats | None, Floats, Floats, Floats]] = []
    for group in groups:
        ku, kd, step = group.ku, group.kd, group.of(h)
        if group.secant is not None:
            spread = group.q / group.gap
            by = group.secant & (group.gap > 0.0)
            ku = np.where(by, spread, ku)
            if gas.paths[group.path].relief is not None:
                spread = np.where(group.gap < group.of(state.p[group.up]) - group.of(state.p[group.down]), 0.0, spread)
            kd = np.where(by, spread, kd)
        gains: list[Floats | None] = []
        for i, k in ((group.up, ku), (group.down, kd)):
            if i >= n:
                gains.append(None)
                continue
            gain = step * _gain(state, group, i)
            group.add(stiff.setdefault(i, np.zeros(size)), gain * k)
            gains.append(gain)
        made.append((gains[0], gains[1], ku, kd, step))
    a = {(i, i): np.ones(size) for i in stiff}
    y = {i: np.zeros(size) for i in stiff}
    scaled: list[tuple[Floats, Floats]] = []
    none = np.zeros(size)
    for group, (gu, gd, ku, kd, _) in zip(groups, made, strict=True):
        up, down = group.up, group.down
        if up in stiff and down in stiff:
            w = _fitted_weight(np.maximum(group.of(stiff[up]), group.of(stiff[down])))
        else:
            w = _fitted_weight(group.of(stiff[up] if up in stiff else stiff.get(down, none)))
        if group.secant is not None:
            w = np.where(group.secant, 1.0, w)
        ku, kd = w * ku, w * kd
        scaled.append((ku, kd))
        if gu is not None:
            group.add(y[up], -gu * group.q)
            group.add(a[up, up], gu * ku)
            if gd is not None:
                group.add(a.setdefault((up, down), np.zeros(size)), -gu * kd)
        if gd is not None:
            group.add(y[down], gd * group.q)
            group.add(a[down, down], gd * kd)
            if gu is not None:
                group.add(a.setdefault((down, up), np.zeros(size)), -gd * ku)
    _eliminate(a, y)
    for group, (ku, kd) in zip(groups, scaled, strict=True):
        mean = group.q
        if group.up in y:
            mean = mean + ku * group.of(y[group.up])
        if group.down in y:
            mean = mean - kd * group.of(y[group.down])
        group.mean = mean
    return y


def _eliminate(a: dict[tuple[int, int], Floats], y: dict[int, Floats]) -> None:
    """Solve in place by elimination; volumes that nothing joins only divide."""
    order = list(y)
    joined = len(a) > len(order)
    if joined:
        for n, k in enumerate(order):
            for i in order[n + 1 :]:
                if (i, k) not in a:
                    continue
                f = a[i, k] / a[k, k]
                for j in order[n + 1 :]:
                    if (k, j) in a:
                        a[i, j] = a.get((i, j), 0.0) - f * a[k, j]
                y[i] = y[i] - f * y[k]
    for n in range(len(order) - 1, -1, -1):
        k = order[n]
        s = y[k]
        if joined:
            for j in order[n + 1 :]:
                if (k, j) in a:
                    s = s - a[k, j] * y[j]
        y[k] = s / a[k, k]


def _crosses(gas: GasLanes, state: Gathered, group: Group, dp: dict[int, Floats]) -> NDArray[np.bool_]:
    relief = gas.paths[group.path].relief is not None
    moved = group.gap
    if group.up in dp:
        moved = moved + group.of(dp[group.up])
    if group.down in dp:
        if relief:
            throttled = group.gap < group.of(state.p[group.up]) - group.of(state.p[group.down])
            moved = np.where(throttled, moved, moved - group.of(dp[group.down]))
        else:
            moved = moved - group.of(dp[group.down])
    return (group.q > 0.0) & (moved < -(CROSSING_SET if relief else CROSSING) * group.of(state.p[group.down]))


def move_gas(gas: GasLanes, state: Gathered, groups: list[Group], h: Floats) -> tuple[NDArray[np.bool_], Floats]:
    """Move gas and water through a substep: (taken, largest relative change)."""
    dp: dict[int, Floats] = {}
    for _ in range(4):
        dp = _solve(gas, state, groups, h)
        again = False
        for group in groups:
            crossed = _crosses(gas, state, group, dp)
            if group.secant is not None:
                crossed &= ~group.secant
            if np.count_nonzero(crossed):
                again = True
                group.secant = crossed if group.secant is None else group.secant | crossed
        if not again:
            break
    largest = np.zeros(h.size)
    for i, change in dp.items():
        largest = np.maximum(largest, np.abs(change) / state.p[i])
    leaving: dict[int, Floats] = {}
    for group in groups:
        if group.wet:
            continue
        assert group.mean is not None
        out, back = np.abs(group.mean) * group.of(h), group.mean < 0.0
        turns = bool(back.any())
        if group.up < gas.n:
            group.add(leaving.setdefault(group.up, np.zeros(h.size)), np.where(back, 0.0, out) if turns else out)
        if turns and group.down < gas.n:
            group.add(leaving.setdefault(group.down, np.zeros(h.size)), np.where(back, out, 0.0))
    for i, out in leaving.items():
        largest = np.maximum(largest, LARGEST_CHANGE / LARGEST_TURNOVER * out / state.mass[i])
    done = (largest <= LARGEST_CHANGE) | (h <= SHORTEST)
    _apply(gas, state, groups, dp, h)
    return done, largest


def _apply(gas: GasLanes, state: Gathered, groups: list[Group], dp: dict[int, Floats], h: Floats) -> None:
    n = gas.n
    middle = _middle_temperatures(state, groups, dp, h)
    touched: dict[int, NDArray[np.bool_] | None] = {}
    for group in groups:
        e, up, down = group.path, group.up, group.down
        q = group.mean
        assert q is not None
        for i in (up, down):
            if i < n:
                _touch(touched, i, group, h.size)
        if group.wet:
            q = np.maximum(q, 0.0)
            q = _move_water(gas, state, group, q * group.of(h), dp) / group.of(h)
        else:
            back = q < 0.0
            if np.count_nonzero(back):
                q = np.where(gas._one_way[e][state.lanes][group.at if group.at is not None else slice(None)] & back, 0.0, q)
                back = q < 0.0
            q = q * _correction(state, group, back, middle)
            _move_heat(gas, state, group, q, back, middle, h)
        if group.wet or gas.paths[e].wet != "neither":
            state.wet.append(group)
        row = state.q.setdefault(e, gas.q[e][state.lanes].copy())
        signed = q if up == gas.paths[e].src else -q
        if group.at is None:
            row[:] = signed
        else:
            row[group.at] = signed
    for i in dp:
        update(state, i, touched.get(i))


def _correction(state: Gathered, group: Group, back: NDArray[np.bool_], middle: dict[int, Floats]) -> Floats:
    """How the giver's temperature half-way changes the flow."""
    t_up = group.of(state.T[group.up])
    factor = 1.0 + 0.5 * (t_up - group.of(middle[group.up])) / t_up if group.up in middle else np.ones(t_up.size)
    if np.count_nonzero(back):
        t_down = group.of(state.T[group.down])
        other = 1.0 + 0.5 * (t_down - group.of(middle[group.down])) / t_down if group.down in middle else np.ones(t_down.size)
        factor = np.where(back, other, factor)
    return factor


def _move_heat(
    gas: GasLanes, state: Gathered, group: Group, q: Floats, back: NDArray[np.bool_], middle: dict[int, Floats], h: Floats
) -> None:
    n = gas.n
    t = group.of(middle.get(group.up, state.T[group.up]))
    if np.count_nonzero(back):
        t = np.where(back, group.of(middle.get(group.down, state.T[group.down])), t)
    dm = q * group.of(h)
    heat = CP_AIR * t * dm
    for i, mass, energy in ((group.up, -dm, -heat), (group.down, dm, heat)):
        if i < n:
            group.add(state.own("mass", i), mass)
            group.add(state.own("energy", i), energy)
        else:
            group.add(state.reservoir(state.taken, gas.taken, i - n), mass)


def _touch(touched: dict[int, NDArray[np.bool_] | None], i: int, group: Group, size: int) -> None:
    """Note the lanes in which a volume takes part in some flow; None: all of them."""
    if group.at is None:
        touched[i] = None
    elif i not in touched:
        row = np.zeros(size, dtype=bool)
        row[group.at] = True
        touched[i] = row
    else:
        known = touched[i]
        if known is not None:
            known[group.at] = True


def _middle_temperatures(state: Gathered, groups: list[Group], dp: dict[int, Floats], h: Floats) -> dict[int, Floats]:
    """Gas temperature half-way through the step, for second order in the energy."""
    out: dict[int, Floats] = {}
    for i, d in dp.items():
        m, v = state.mass[i].copy(), state.gas_volume[i]
        for group in groups:
            if i not in (group.up, group.down):
                continue
            assert group.mean is not None
            moved = group.mean * group.of(h)
            if group.wet:
                v = v.copy()
                group.add(v, moved if group.up == i else -moved)
            else:
                group.add(m, -moved if group.up == i else moved)
        out[i] = 0.5 * (state.T[i] + (state.p[i] + d) * v / (R_AIR * m))
    return out


def _move_water(gas: GasLanes, state: Gathered, group: Group, amount: Floats, dp: dict[int, Floats]) -> Floats:
    amount = np.minimum(amount, group.of(state.water[group.up]))
    if group.down < gas.n:
        total = group.of(gas.total[group.down][state.lanes])
        amount = np.minimum(amount, np.maximum(0.0, group.of(state.gas_volume[group.down]) - LEAST_GAS * total))
    for place, gain in ((group.up, amount), (group.down, -amount)):
        if place >= gas.n:
            group.add(state.reservoir(state.water_taken, gas.water_taken, place - gas.n), -gain)
            continue
        group.add(state.own("water", place), -gain)
        group.add(state.own("gas_volume", place), gain)
        pressure = group.of(state.p[place]) + 0.5 * group.of(dp[place])
        group.add(state.own("energy", place), -(pressure * gain))
    return amount
