"""A network of gas volumes joined by valves, hoses, regulators and relief valves, stepped through time.

State: gas mass, internal energy, water volume and wall temperature per volume. The step is linearly implicit in
the pressures with an exponentially fitted weight (second order where smooth, without overshoot where stiff), and it
moves mass, energy and water path by path, so what leaves one place arrives at another: the balance closes to
rounding. Heat to the wall follows as an exact two-body exponential. Substeps are chosen from the state alone, so
the same inputs give the same run.

Sources: ISO 6358 flow law (flow.py); ideal gas; open-system energy balance (textbook). Units: SI, absolute Pa.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from sequencer.site.flow import CP_AIR, CV_AIR, GAMMA, LINEAR_FROM, P_ATM, R_AIR, RHO_WATER, flow_and_slopes
from sequencer.site.parts import Path, Regulator, Relief, Reservoir, Volume

_LARGEST_CHANGE = 0.06
"""Largest relative pressure change in a substep: local error about 0.06**3/12, 2e-5."""
_LARGEST_TURNOVER = 0.4
"""Largest share of a volume's gas that may leave in a substep (keeps mass and temperature positive)."""
_SHORTEST = 1e-7
_LAG = 2e-8
"""A network that changes by less than this may be left alone for a while (owed time, at most half a second)."""
_LEAST_GAS = 0.03
"""Share of a volume that water pushed into it cannot fill."""


class Network:
    """The moving state. Read :attr:`p`, :attr:`T`, :attr:`water` by :meth:`index`; act with :meth:`set_opening`."""

    def __init__(
        self, volumes: Sequence[Volume], reservoirs: Sequence[Reservoir], paths: Sequence[Path], ambient: float = 293.15
    ) -> None:
        names = [v.name for v in volumes] + [r.name for r in reservoirs]
        if len(set(names)) != len(names):
            raise ValueError("two places of the network have the same name")
        self.volumes, self.reservoirs, self.paths = tuple(volumes), tuple(reservoirs), tuple(paths)
        self.ambient = ambient
        self._index = {name: i for i, name in enumerate(names)}
        self._path_index = {path.name: i for i, path in enumerate(paths)}
        n = len(volumes)
        self.n = n
        self.p = [v.pressure for v in volumes] + [r.pressure for r in reservoirs]
        self.T = [v.temperature for v in volumes] + [r.temperature for r in reservoirs]
        self.wall_T = [v.temperature for v in volumes]
        self.water = [v.water for v in volumes]
        self.gas_volume = [self._gas_volume(i, v.pressure) for i, v in enumerate(volumes)]
        self.mass = [v.pressure * self.gas_volume[i] / (R_AIR * v.temperature) for i, v in enumerate(volumes)]
        self.energy = [self.mass[i] * CV_AIR * v.temperature for i, v in enumerate(volumes)]
        self._isothermal = [v.thermal == "isothermal" for v in volumes]
        self._exchanging = [i for i, v in enumerate(volumes) if v.thermal == "wall" and v.wall_exchange > 0.0]
        self._gamma = [1.0 if v.thermal == "isothermal" else GAMMA for v in volumes]
        self.taken = [0.0] * len(reservoirs)
        """Net gas mass each reservoir has taken from the network, kg."""
        self.water_taken = [0.0] * len(reservoirs)
        """Water each reservoir has taken, m3."""
        self.enthalpy_taken = [0.0] * len(reservoirs)
        self.heat_from_wall = [0.0] * n
        self.work_done = [0.0] * n
        """Work by the gas of each volume on water and stretching walls, J (heat and work are kept for balances)."""
        k = len(paths)
        self._src = [self._place(path, path.source) for path in paths]
        self._dst = [self._place(path, path.target) for path in paths]
        self._C = [path.flow.C for path in paths]
        self._b = [path.flow.b for path in paths]
        self._area = [path.flow.effective_area for path in paths]
        self._wanted = [path.opening for path in paths]
        self.opening = [path.opening for path in paths]
        self._scale = [1.0] * k
        self._one_way = [path.one_way or isinstance(path, (Regulator, Relief)) for path in paths]
        self._kind = [1 if isinstance(path, Regulator) else 2 if isinstance(path, Relief) else 0 for path in paths]
        self._set = [path.set_to if isinstance(path, Regulator) else path.opens_at if isinstance(path, Relief) else 0.0
                     for path in paths]
        self._creep = [path.creep if isinstance(path, Regulator) else 0.0 for path in paths]
        self._failed_open = [False] * k
        self._lifted = [False] * k
        self.q = [0.0] * k
        """Last flow of each path: kg/s of gas, or m3/s while water passes (see :attr:`wet_now`)."""
        self.wet_now = [False] * k
        self.substeps = 0
        self._hint = 1.0
        self._owed = 0.0
        self._lag = 0.0
        self._moving: list[int] = []

    # ------------------------------------------------------------------ reading and acting

    def index(self, name: str) -> int:
        """Index of a volume or reservoir in :attr:`p` and :attr:`T`. Raises KeyError for an unknown name."""
        return self._index[name]

    def path_index(self, name: str) -> int:
        """Index of a path in :attr:`q` and :attr:`opening`. Raises KeyError for an unknown name."""
        return self._path_index[name]

    def total_mass(self) -> float:
        """Gas in the network plus what the reservoirs have taken, kg: constant over a run."""
        return math.fsum(self.mass) + math.fsum(self.taken)

    def set_opening(self, path: int, opening: float, *, at_once: bool = False) -> None:
        """Send a path to ``opening`` (0 shut .. 1 open); it moves with its own stroke time."""
        if opening == self._wanted[path] and not at_once:
            return
        self._wake()
        self._wanted[path] = opening
        spec = self.paths[path]
        stroke = spec.opens_in if opening > self.opening[path] else spec.shuts_in
        if at_once or stroke <= 0.0:
            self.opening[path] = opening
        elif path not in self._moving:
            self._moving.append(path)

    def set_conductance(self, path: int, factor: float) -> None:
        """Scale a path's conductance (clogged below 1, worn above)."""
        self._wake()
        self._scale[path] = factor

    def set_pressure_setting(self, path: int, pressure: float) -> None:
        """Move the set point of a regulator or relief valve (absolute Pa)."""
        self._wake()
        self._set[path] = pressure

    def set_one_way(self, path: int, one_way: bool) -> None:
        """Make a path pass one way only, or let a check valve pass backwards (a fault)."""
        self._wake()
        self._one_way[path] = one_way

    def fail_open(self, path: int, failed: bool = True) -> None:
        """A regulator that has lost its hold on the outlet: fully open whatever the outlet does."""
        self._wake()
        self._failed_open[path] = failed

    def set_creep(self, path: int, creep: float) -> None:
        """Conductance of a regulator's leaking seat, m3/(s.Pa)."""
        self._wake()
        self._creep[path] = creep

    def set_reservoir(self, name: str, pressure: float) -> None:
        """Change a reservoir's pressure."""
        self._wake()
        self.p[self._index[name]] = pressure

    def _wake(self) -> None:
        self._flush()
        self._lag = 0.0
        self._hint = 1.0

    # ------------------------------------------------------------------ time

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

    def _flush(self) -> None:
        if self._owed > 0.0:
            h, self._owed = self._owed, 0.0
            self._run(h)

    def settle(self) -> None:
        """Bring a network that was left alone while nothing happened up to its time (for exact comparisons)."""
        self._flush()

    def _run(self, h: float) -> None:
        before_p, before_T = self.p[: self.n], self.T[: self.n]
        left, size = h, min(h, self._hint)
        while left > 0.0:
            size = size if size < left * 0.999999 else left
            done, largest = self._substep(size)
            if done:
                left -= size
                self.substeps += 1
                size *= min(3.0, 0.7 * _LARGEST_CHANGE / largest) if largest > 0.0 else 3.0
            else:
                size *= max(0.1, 0.7 * _LARGEST_CHANGE / largest)
        self._hint = max(size, _SHORTEST)
        change = 0.0
        for i in range(self.n):
            change = max(change, abs(self.p[i] / before_p[i] - 1.0), abs(self.T[i] / before_T[i] - 1.0))
        self._lag = min(0.5, _LAG * h / change) if change > 0.0 else 0.5
        if self._lag < 2.0 * h:
            self._lag = 0.0

    def _move_valves(self, h: float) -> None:
        for path in list(self._moving):
            spec, now, want = self.paths[path], self.opening[path], self._wanted[path]
            stroke = spec.opens_in if want > now else spec.shuts_in
            reach = h / stroke if stroke > 0.0 else 1.0
            if abs(want - now) <= reach:
                self.opening[path] = want
                self._moving.remove(path)
            else:
                self.opening[path] = now + math.copysign(reach, want - now)

    # ------------------------------------------------------------------ one substep (network_step.py has the maths)

    def _substep(self, h: float) -> tuple[bool, float]:
        from sequencer.site import network_step

        return network_step.substep(self, h)

    def _place(self, path: Path, name: str) -> int:
        if name not in self._index:
            raise ValueError(f"{path.name}: no place of the network is called {name!r}")
        return self._index[name]

    def _gas_volume(self, i: int, p: float) -> float:
        v = self.volumes[i]
        return v.total * (1.0 + v.stretch * (p - P_ATM)) - self.water[i]
