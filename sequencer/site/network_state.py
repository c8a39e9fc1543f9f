"""The state of a gas network, its flows at this instant, and what can be done to it; network.py moves it in time.

Kept per volume: gas mass, internal energy, water volume, wall temperature. Units: SI, absolute Pa.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from sequencer.errors import SequencerError
from sequencer.site.flow import CV_AIR, GAMMA, P_ATM, R_AIR, RHO_WATER, flow_and_slopes
from sequencer.site.parts import Path, Regulator, Relief, Reservoir, Volume

LEAST_GAS = 0.03
"""Share of a volume that water pushed into it cannot fill."""
_WATER_LINEAR = 50.0
"""Water flow is a straight line below this difference, Pa (the root has an infinite slope at zero)."""

# (path, up, down, q, dq/dp_up, -dq/dp_down, gap, wet): gap is the difference that must not change sign
Flow = tuple[int, int, int, float, float, float, float, bool]


class NetworkState:
    """The moving state. Read :attr:`p`, :attr:`T`, :attr:`water` by :meth:`index`; act with :meth:`set_opening`."""

    def __init__(
        self, volumes: Sequence[Volume], reservoirs: Sequence[Reservoir], paths: Sequence[Path], ambient: float = 293.15
    ) -> None:
        names = [v.name for v in volumes] + [r.name for r in reservoirs]
        if len(set(names)) != len(names):
            raise SequencerError("two places of the network have the same name")
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
        self.heat_from_ambient = [0.0] * n
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
        """Something was changed from outside: bring the state up to its time first (network.py)."""
        raise NotImplementedError

    def _place(self, path: Path, name: str) -> int:
        if name not in self._index:
            raise SequencerError(f"{path.name}: no place of the network is called {name!r}")
        return self._index[name]

    def _gas_volume(self, i: int, p: float) -> float:
        v = self.volumes[i]
        return v.total * (1.0 + v.stretch * (p - P_ATM)) - self.water[i]

    # ------------------------------------------------------------------ flows

    def _flows(self) -> list[Flow]:
        p, T, water, n = self.p, self.T, self.water, self.n
        flows: list[Flow] = []
        for e, opening in enumerate(self.opening):
            self.q[e] = 0.0
            if opening <= 0.0:
                continue
            up, down = self._src[e], self._dst[e]
            spec = self.paths[e]
            cracking = spec.cracking
            if p[up] < p[down]:
                if self._one_way[e]:
                    continue
                up, down, cracking = down, up, 0.0
            gap = p[up] - p[down] - cracking
            if gap < 0.0 or gap < spec.needs - cracking:
                continue
            C = self._C[e] * self._scale[e] * opening
            if spec.wet != "neither" and up < n and water[up] > 0.0 and (spec.wet == "source") == (up == self._src[e]):
                if down < n and self.gas_volume[down] <= LEAST_GAS * self.volumes[down].total:
                    continue
                area = self._area[e] * self._scale[e] * opening
                if gap > _WATER_LINEAR:
                    q = area * math.sqrt(2.0 * gap / RHO_WATER)
                    k = 0.5 * q / gap
                else:
                    k = area * math.sqrt(2.0 / (RHO_WATER * _WATER_LINEAR))
                    q = k * gap
                flows.append((e, up, down, q, k, k, gap, True))
                continue
            kind = self._kind[e]
            if kind == 0:
                q, ku, kd = flow_and_slopes(p[up], p[down], T[up], C, self._b[e], spec.m, cracking)
            elif kind == 1:
                q, ku, kd, gap = self._regulated(e, up, down, C)
            else:
                q, ku, kd, gap = self._relieved(e, up, down, C)
            if q > 0.0 or ku > 0.0:
                flows.append((e, up, down, q, ku, kd, gap, False))
        return flows

    def _regulated(self, e: int, up: int, down: int, C: float) -> tuple[float, float, float, float]:
        spec = self.paths[e]
        assert isinstance(spec, Regulator)
        p1, p2, t1 = self.p[up], self.p[down], self.T[up]
        q, ku, kd = flow_and_slopes(p1, p2, t1, C, self._b[e], spec.m)
        below = self._set[e] - p2
        if self._failed_open[e] or (below >= spec.droop and self._set[e] >= p1):
            return q, ku, kd, p1 - p2
        share, slope, gap = 1.0, 0.0, min(below, p1 - p2)
        if below <= 0.0:
            share, gap = 0.0, p1 - p2
        elif below < spec.droop:
            share, slope = below / spec.droop, q / spec.droop
        q, ku, kd = share * q, share * ku, share * kd + slope
        if self._creep[e] > 0.0:
            qc, kuc, kdc = flow_and_slopes(p1, p2, t1, self._creep[e], self._b[e], spec.m)
            q, ku, kd = q + qc, ku + kuc, kd + kdc
        return q, ku, kd, gap

    def _relieved(self, e: int, up: int, down: int, C: float) -> tuple[float, float, float, float]:
        spec = self.paths[e]
        assert isinstance(spec, Relief)
        p1 = self.p[up]
        opens = self._set[e]
        reseats = opens - (spec.opens_at - spec.reseats_at)
        if p1 >= opens:
            self._lifted[e] = True
        elif p1 <= reseats:
            self._lifted[e] = False
        if not self._lifted[e]:
            return 0.0, 0.0, 0.0, 0.0
        span = opens + spec.lift - reseats
        share = (p1 - reseats) / span if span > 0.0 else 1.0
        q, ku, kd = flow_and_slopes(p1, self.p[down], self.T[up], C, self._b[e], spec.m)
        if share >= 1.0:
            return q, ku, kd, p1 - self.p[down]
        return share * q, share * ku + q / span, share * kd, min(p1 - reseats, p1 - self.p[down])

    def _gain(self, i: int, up: int, wet: bool) -> float:
        """Pressure rise of volume i per kg (or per m3 of water) that arrives from ``up``."""
        v = self.volumes[i]
        room = self.gas_volume[i] + self.p[i] * v.total * v.stretch
        if wet:
            return self._gamma[i] * self.p[i] / room
        return self._gamma[i] * R_AIR * (self.T[i] if self._isothermal[i] else self.T[up]) / room
