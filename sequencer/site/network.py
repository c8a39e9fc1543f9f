"""A network of gas volumes joined by valves, hoses, regulators and relief valves, stepped through time.

The step is linearly implicit in the pressures with an exponentially fitted weight (second order where smooth,
without overshoot where stiff). It moves mass, energy and water path by path, so what leaves one place arrives at
another: the balance closes to rounding. Heat to the wall follows as an exact two-body exponential. Substeps are
chosen from the state alone, so the same inputs give the same run.

Sources: ISO 6358 flow law (flow.py); ideal gas; open-system energy balance (textbook). Exponential fitting of the
implicit weight: Liniger and Willoughby, SIAM J. Numer. Anal. 7 (1970), from memory. Units: SI, absolute Pa.
"""

from __future__ import annotations

import math

from sequencer.site.flow import CP_AIR, CV_AIR, GAMMA, P_ATM, R_AIR
from sequencer.site.network_state import LEAST_GAS, Flow, NetworkState

LARGEST_CHANGE = 0.04
"""Largest relative pressure change in a substep: local error about 0.04**3/12, 5e-6."""
LARGEST_TURNOVER = 0.4
"""Largest share of a volume's gas that may leave in a substep (keeps mass and temperature positive)."""
CROSSING = 1e-9
"""Relative pressure by which a solved step may cross equality before the path is taken by its secant instead."""
CROSSING_SET = 1e-5
"""The same for the set point of a regulator or relief valve, which other flows may rightly push across."""
SHORTEST = 1e-7
"""Below this size (s) a substep is taken whatever it changes."""
LAG = 1e-6
"""A network that changes by less than this is left alone for a while (at most half a second is owed)."""

def fitted_weight(z: float) -> float:
    """Implicit weight that makes one linear step exact for exp(-z): 1/(1 - exp(-z)) - 1/z, between 0.5 and 1."""
    if z < 0.05:
        return 0.5 + z / 12.0
    return 1.0 / -math.expm1(-z) - 1.0 / z


def solve(a: list[list[float]], y: list[float]) -> list[float]:
    """Solve a small diagonally dominant system in place (no pivoting needed); returns ``y``."""
    n = len(y)
    for k in range(n - 1):
        row, yk = a[k], y[k]
        pivot = row[k]
        for i in range(k + 1, n):
            f = a[i][k] / pivot
            if f != 0.0:
                target = a[i]
                for j in range(k + 1, n):
                    target[j] -= f * row[j]
                y[i] -= f * yk
    for k in range(n - 1, -1, -1):
        row, s = a[k], y[k]
        for j in range(k + 1, n):
            s -= row[j] * y[j]
        y[k] = s / row[k]
    return y


class Network(NetworkState):
    """See the module; read :attr:`p` (Pa), :attr:`T` (K), :attr:`q` by index, act with the ``set_`` methods."""

    def step(self, h: float) -> None:
        """Advance by ``h`` seconds."""
        if self._moving:
            self._move_valves(h)
        elif self._lag > 0.0 and self._owed + h <= self._lag:
            self._owed += h
            return
        h += self._owed
        self._owed = 0.0
        self._run(h)

    def settle(self) -> None:
        """Bring a network that was left alone while nothing happened up to its time (for exact comparisons)."""
        if self._owed > 0.0:
            h, self._owed = self._owed, 0.0
            self._run(h)

    def _wake(self) -> None:
        self.settle()
        self._lag = 0.0
        self._hint = 1.0

    def _run(self, h: float) -> None:
        left, size, total = h, min(h, self._hint), 0.0
        while left > 0.0:
            size = size if size < left * 0.999999 else left
            done, largest, change = self._substep(size)
            if done:
                left -= size
                total += change
                self.substeps += 1
                size *= min(3.0, 0.7 * LARGEST_CHANGE / largest) if largest > 0.0 else 3.0
            else:
                size *= max(0.1, 0.7 * LARGEST_CHANGE / largest)
        self._hint = max(size, SHORTEST)
        lag = min(0.5, LAG * h / total) if total > 0.0 else 0.5
        self._lag = lag if lag >= 2.0 * h else 0.0

    def _move_valves(self, h: float) -> None:
        for path in list(self._moving):
            spec, now, want = self.paths[path], self.opening[path], self._wanted[path]
            stroke = spec.opens_in if want > now else spec.shuts_in
            reach = h / stroke if stroke > 0.0 else 1.0
            if abs(want - now) <= reach * 1.000001:
                self.opening[path] = want
                self._moving.remove(path)
            else:
                self.opening[path] = now + math.copysign(reach, want - now)

    # ------------------------------------------------------------------ one substep

    def _substep(self, h: float) -> tuple[bool, float, float]:
        """Try a step of ``h``: (taken, largest change that limits the step, largest change of all)."""
        flows = self._flows()
        largest = change = 0.0
        if flows:
            taken, largest = self._move_gas(flows, h)
            if not taken:
                return False, largest, 0.0
            change = largest
        if self._exchanging:
            change = max(change, self._exchange_heat(h))
        return True, largest, change

    def _solve(self, flows: list[Flow], secant: set[int], h: float) -> tuple[dict[int, float], list[float]]:
        """Pressure changes of the touched volumes and the mean flow of each path over the step."""
        p, n = self.p, self.n
        position: dict[int, int] = {}
        gains: list[tuple[float, float]] = []
        slopes: list[tuple[float, float]] = []
        stiff: dict[int, float] = {}
        for f, (e, up, down, q, ku, kd, gap, wet) in enumerate(flows):
            if f in secant and gap > 0.0:
                spread = q / gap
                regulating = self._kind[e] == 1 and gap < p[up] - p[down]
                relieving = self._kind[e] == 2 and gap < p[up] - p[down]
                ku, kd = 0.0 if regulating else spread, 0.0 if relieving else spread
            gu = gd = 0.0
            if up < n:
                position.setdefault(up, len(position))
                gu = self._gain(up, up, wet)
                stiff[up] = stiff.get(up, 0.0) + h * gu * ku
            if down < n:
                position.setdefault(down, len(position))
                gd = self._gain(down, up, wet)
                stiff[down] = stiff.get(down, 0.0) + h * gd * kd
            gains.append((h * gu, h * gd))
            slopes.append((ku, kd))
        size = len(position)
        a = [[0.0] * size for _ in range(size)]
        y = [0.0] * size
        for i in range(size):
            a[i][i] = 1.0
        weights: list[float] = []
        for f, (_, up, down, q, _, _, _, _) in enumerate(flows):
            (gu, gd), (ku, kd) = gains[f], slopes[f]
            w = 1.0 if f in secant else fitted_weight(max(stiff.get(up, 0.0), stiff.get(down, 0.0)))
            weights.append(w)
            ku, kd = w * ku, w * kd
            if up < n:
                i = position[up]
                y[i] -= gu * q
                a[i][i] += gu * ku
                if down < n:
                    a[i][position[down]] -= gu * kd
            if down < n:
                i = position[down]
                y[i] += gd * q
                a[i][i] += gd * kd
                if up < n:
                    a[i][position[up]] -= gd * ku
        solve(a, y)
        dp = {i: y[k] for i, k in position.items()}
        mean = [
            q + weights[f] * (slopes[f][0] * dp.get(up, 0.0) - slopes[f][1] * dp.get(down, 0.0))
            for f, (_, up, down, q, _, _, _, _) in enumerate(flows)
        ]
        return dp, mean

    def _move_gas(self, flows: list[Flow], h: float) -> tuple[bool, float]:
        p, n = self.p, self.n
        secant: set[int] = set()
        for _ in range(4):
            dp, mean = self._solve(flows, secant, h)
            crossed = {
                f for f, flow in enumerate(flows) if f not in secant and self._crosses(flow, dp)
            }
            if not crossed:
                break
            secant |= crossed
        largest = max(abs(d) / p[i] for i, d in dp.items()) if dp else 0.0
        leaving: dict[int, float] = {}
        for f, (_, up, down, *_, wet) in enumerate(flows):
            if wet:
                continue
            giver = up if mean[f] >= 0.0 else down
            if giver < n and not self._isothermal[giver]:
                leaving[giver] = leaving.get(giver, 0.0) + abs(mean[f]) * h
        for i, out in leaving.items():
            largest = max(largest, LARGEST_CHANGE / LARGEST_TURNOVER * out / self.mass[i])
        if largest > LARGEST_CHANGE and h > SHORTEST:
            return False, largest
        self._apply(flows, dp, mean, h)
        return True, largest

    def _crosses(self, flow: Flow, dp: dict[int, float]) -> bool:
        e, up, down, q, _, _, gap, _ = flow
        if q <= 0.0:
            return False
        kind, full = self._kind[e], self.p[up] - self.p[down]
        du, dd = dp.get(up, 0.0), dp.get(down, 0.0)
        if kind == 1 and gap < full:
            new = gap - dd
        elif kind == 2 and gap < full:
            new = gap + du
        else:
            new = gap + du - dd
        return new < -(CROSSING if kind == 0 else CROSSING_SET) * self.p[down]

    def _apply(self, flows: list[Flow], dp: dict[int, float], mean: list[float], h: float) -> None:
        p, T, n, mass, energy = self.p, self.T, self.n, self.mass, self.energy
        middle = self._middle_temperatures(flows, dp, mean, h)
        for f, (e, up, down, _, _, _, _, wet) in enumerate(flows):
            q = mean[f]
            if q < 0.0 and (wet or self._one_way[e]):
                q = 0.0
            self.wet_now[e] = wet
            if wet:
                q = self._move_water(up, down, q * h, dp) / h
            else:
                giver = up if q >= 0.0 else down
                t = middle.get(giver, T[giver])
                q *= 1.0 + 0.5 * (T[giver] - t) / T[giver]
                dm = q * h
                heat = CP_AIR * t * dm
                if up < n:
                    mass[up] -= dm
                    energy[up] -= heat
                else:
                    self.taken[up - n] -= dm
                    self.enthalpy_taken[up - n] -= heat
                if down < n:
                    mass[down] += dm
                    energy[down] += heat
                else:
                    self.taken[down - n] += dm
                    self.enthalpy_taken[down - n] += heat
            self.q[e] = q if up == self._src[e] else -q
        for i in dp:
            self._update(i, p[i] + dp[i])

    def _middle_temperatures(
        self, flows: list[Flow], dp: dict[int, float], mean: list[float], h: float
    ) -> dict[int, float]:
        """Gas temperature half-way through the step, for second order in the energy."""
        out: dict[int, float] = {}
        for i, d in dp.items():
            if self._isothermal[i]:
                continue
            m, v = self.mass[i], self.gas_volume[i]
            for f, (_, up, down, _, _, _, _, wet) in enumerate(flows):
                if up == i:
                    m, v = (m, v + mean[f] * h) if wet else (m - mean[f] * h, v)
                elif down == i:
                    m, v = (m, v - mean[f] * h) if wet else (m + mean[f] * h, v)
            end = (self.p[i] + d) * (v + d * self.volumes[i].stretch * self.volumes[i].total) / (R_AIR * m)
            out[i] = 0.5 * (self.T[i] + end)
        return out

    def _move_water(self, up: int, down: int, amount: float, dp: dict[int, float]) -> float:
        amount = min(amount, self.water[up])
        if down < self.n:
            amount = min(amount, max(0.0, self.gas_volume[down] - LEAST_GAS * self.volumes[down].total))
        for place, gain in ((up, amount), (down, -amount)):
            if place >= self.n:
                self.water_taken[place - self.n] -= gain
                continue
            self.water[place] -= gain
            self.gas_volume[place] += gain
            self._work(place, (self.p[place] + 0.5 * dp.get(place, 0.0)) * gain)
        return amount

    def _work(self, i: int, work: float) -> None:
        self.work_done[i] += work
        if not self._isothermal[i]:
            self.energy[i] -= work

    def _update(self, i: int, guess: float) -> None:
        """Pressure, temperature and room from mass and energy; ``guess`` is the solved pressure."""
        v = self.volumes[i]
        if v.stretch > 0.0:
            old = self.gas_volume[i]
            room = self._gas_volume(i, guess)
            self._work(i, 0.5 * (self.p[i] + guess) * (room - old))
            pv = self.mass[i] * R_AIR * self.T[i] if self._isothermal[i] else (GAMMA - 1.0) * self.energy[i]
            # p * (total*(1 + s*(p - p_atm)) - water) = pv, a quadratic in p
            slope = v.total * v.stretch
            base = v.total - self.water[i] - slope * P_ATM
            self.p[i] = (math.sqrt(base * base + 4.0 * slope * pv) - base) / (2.0 * slope)
            self.gas_volume[i] = self._gas_volume(i, self.p[i])
            if self._isothermal[i]:
                self.energy[i] = self.mass[i] * CV_AIR * self.T[i]
        elif self._isothermal[i]:
            self.p[i] = self.mass[i] * R_AIR * self.T[i] / self.gas_volume[i]
            self.energy[i] = self.mass[i] * CV_AIR * self.T[i]
        else:
            self.p[i] = (GAMMA - 1.0) * self.energy[i] / self.gas_volume[i]
        if not self._isothermal[i]:
            self.T[i] = self.energy[i] / (self.mass[i] * CV_AIR)

    def _exchange_heat(self, h: float) -> float:
        """Gas and wall as two bodies, exactly; then the wall and the surroundings. Returns the largest change."""
        largest = 0.0
        for i in self._exchanging:
            v = self.volumes[i]
            t, wall = self.T[i], self.wall_T[i]
            if v.ambient_exchange > 0.0 and wall != self.ambient and v.wall_capacity < math.inf:
                gain = (self.ambient - wall) * -math.expm1(-v.ambient_exchange * h / v.wall_capacity)
                wall += gain
                self.heat_from_ambient[i] += gain * v.wall_capacity
                self.wall_T[i] = wall
                largest = max(largest, abs(gain) / wall)
            if t == wall:
                continue
            own = self.mass[i] * CV_AIR
            both = own / (1.0 + own / v.wall_capacity)
            heat = (wall - t) * both * -math.expm1(-v.wall_exchange * h / both)
            self.energy[i] += heat
            self.wall_T[i] = wall - heat / v.wall_capacity
            self.heat_from_wall[i] += heat
            self._update(i, self.p[i] * (1.0 + heat / (own * t)))
            largest = max(largest, abs(heat) / (own * t))
        return largest
