"""Flows of many networks at one instant: the laws of flow.py and network_state.py on arrays.

A group is one path in one direction, gas or water, in those of the gathered lanes where it flows so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sequencer.site.build import PadNetwork
from sequencer.site.flow import LINEAR_FROM, RHO0, RHO_WATER, T0
from sequencer.site.network_state import _WATER_LINEAR, LEAST_GAS
from sequencer.site.parts import Relief

if TYPE_CHECKING:
    from sequencer.site.lanes_gas import GasLanes
    from sequencer.site.lanes_step import Gathered

Floats = NDArray[np.float64]
Lanes = Any
"""Some lanes: all of them (a slice), or an index array."""


@dataclass(frozen=True)
class LanePath:
    """One path in every lane; `relief` holds (opening pressure as built, reseating, lift) or None."""

    src: int
    dst: int
    wet: str
    C: Floats
    b: Floats
    area: Floats
    cracking: Floats
    cracks: bool
    needs: Floats
    needing: bool
    u_lin: Floats
    s_lin: Floats
    relief: tuple[Floats, Floats, Floats] | None


@dataclass
class Group:
    """Lanes `at` (positions among the gathered lanes, None: all) in which a path flows from `up` to `down`."""

    path: int
    up: int
    down: int
    wet: bool
    at: NDArray[np.int64] | None
    q: Floats
    ku: Floats
    kd: Floats
    gap: Floats
    secant: NDArray[np.bool_] | None = None
    mean: Floats | None = None

    def of(self, row: Floats) -> Floats:
        """A row of the gathered lanes in this group's lanes."""
        return row if self.at is None else row[self.at]

    def add(self, row: Floats, values: Floats) -> None:
        """Add to a row of the gathered lanes, in place."""
        if self.at is None:
            row += values
        else:
            row[self.at] += values


def lane_paths(nets: Sequence[PadNetwork]) -> list[LanePath]:
    """The paths of networks that differ in their figures only."""
    found = []
    for e, path in enumerate(nets[0].paths):
        of = [net.paths[e] for net in nets]
        b = np.array([net._b[e] for net in nets])
        u_lin = 1.0 - (1.0 - LINEAR_FROM) / (1.0 - b)
        relief = None
        if isinstance(path, Relief):
            opens, reseats, lift = (np.array([getattr(one, name) for one in of]) for name in ("opens_at", "reseats_at", "lift"))
            relief = (opens, reseats, lift)
        cracking, needs = np.array([one.cracking for one in of]), np.array([one.needs for one in of])
        found.append(
            LanePath(
                nets[0]._src[e], nets[0]._dst[e], path.wet, np.array([net._C[e] for net in nets]), b,
                np.array([net._area[e] for net in nets]), cracking, bool((cracking > 0.0).any()),
                needs, bool((needs > 0.0).any()), u_lin, np.sqrt(1.0 - u_lin * u_lin) / (1.0 - u_lin),
                relief,
            )
        )  # fmt: skip
    return found


def flows(gas: GasLanes, state: Gathered, lanes: Lanes, open_paths: list[int]) -> list[Group]:
    """All flows of the gathered lanes, path by path. Sets ``q`` of these lanes to zero."""
    groups: list[Group] = []
    for e in open_paths:
        path = gas.paths[e]
        if path.relief is not None and not gas.lifts[e]:
            if state.p[path.src].max() < gas.least_set[e]:
                continue
            gas.lifts[e] = True
        gas.q[e][lanes] = 0.0
        opening = gas.opening[e][lanes]
        high, low = state.p[path.src], state.p[path.dst]
        passes = opening > 0.0
        if not np.count_nonzero(passes):
            continue
        if path.relief is not None:
            passes = _lifted(gas, e, lanes, path, high, passes)
            if not np.count_nonzero(passes):
                continue
        back = high < low
        one_way = gas._one_way[e][lanes]
        forward = passes & ~back
        _direction(gas, state, groups, e, lanes, path, opening, forward, False)
        if np.count_nonzero(back):
            _direction(gas, state, groups, e, lanes, path, opening, passes & back & ~one_way, True)
    return groups


def _lifted(gas: GasLanes, e: int, lanes: Lanes, path: LanePath, high: Floats, passes: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Lanes in which a relief valve is off its seat; keeps the memory of that."""
    assert path.relief is not None
    opens = gas._set[e][lanes]
    was = gas._lifted[e][lanes]
    above = high >= opens
    if not np.count_nonzero(above) and not np.count_nonzero(was):
        return np.zeros_like(passes)
    asked = passes & (high >= gas.p[path.dst][lanes])
    built, reseats, _ = (row[lanes] for row in path.relief)
    now = above | (was & ~(high <= opens - (built - reseats)))
    gas._lifted[e][lanes] = np.where(asked, now, was)
    lifted: NDArray[np.bool_] = asked & now
    return lifted


def _direction(
    gas: GasLanes, state: Gathered, groups: list[Group], e: int, lanes: Lanes, path: LanePath, opening: Floats,
    flowing: NDArray[np.bool_], back: bool,
) -> None:  # fmt: skip
    """The lanes in which one path flows one way, gas and water apart."""
    up, down = (path.dst, path.src) if back else (path.src, path.dst)
    difference = state.p[up] - state.p[down]
    cracking = None if back or not path.cracks else path.cracking[lanes]
    gap = difference if cracking is None else difference - cracking
    flowing = flowing & (gap >= 0.0)
    if path.needing:
        flowing &= gap >= (path.needs[lanes] if cracking is None else path.needs[lanes] - cracking)
    if not np.count_nonzero(flowing):
        return
    if path.wet != "neither" and (path.wet == "source") != back and up < gas.n:
        wet = flowing & (state.water[up] > 0.0)
        if np.count_nonzero(wet):
            flowing = flowing & ~wet
            if down < gas.n:
                wet &= state.gas_volume[down] > LEAST_GAS * gas.total[down][lanes]
            _water(gas, groups, e, lanes, path, opening, gap, wet, up, down)
            if not np.count_nonzero(flowing):
                return
    at = None if np.count_nonzero(flowing) == flowing.size else np.flatnonzero(flowing)
    lane = lanes if at is None else (at if isinstance(lanes, slice) else lanes[at])
    p1, p2, t1, opened, gap = (row if at is None else row[at] for row in (state.p[up], state.p[down], state.T[up], opening, gap))
    crack = cracking if at is None or cracking is None else cracking[at]
    C = path.C[lane] * gas._scale[e][lane] * opened if gas.scaled[e] else path.C[lane] * opened
    q, ku, kd = _gas_flow(p1, p2, t1, C, path, lane, crack)
    if path.relief is not None:
        q, ku, kd, gap = _relieved(gas, e, lane, path, p1, p2, q, ku, kd)
    groups.append(Group(e, up, down, False, at, q, ku, kd, gap))


def _water(
    gas: GasLanes, groups: list[Group], e: int, lanes: Lanes, path: LanePath, opening: Floats, gap: Floats,
    wet: NDArray[np.bool_], up: int, down: int,
) -> None:  # fmt: skip
    at = np.flatnonzero(wet)
    if not at.size:
        return
    lane = at if isinstance(lanes, slice) else lanes[at]
    gap = gap[at]
    area = path.area[lane] * gas._scale[e][lane] * opening[at]
    steep = gap > _WATER_LINEAR
    k_line = area * np.sqrt(2.0 / (RHO_WATER * _WATER_LINEAR))
    q = np.where(steep, area * np.sqrt(2.0 * gap / RHO_WATER), k_line * gap)
    k = np.where(steep, 0.5 * q / gap, k_line)
    groups.append(Group(e, up, down, True, at, q, k, k, gap))


def _gas_flow(
    p1: Floats, p2: Floats, t1: Floats, C: Floats, path: LanePath, lane: Lanes, cracking: Floats | None
) -> tuple[Floats, Floats, Floats]:
    """flow_and_slopes on arrays (ISO 6358, exponent 0.5)."""
    b = path.b[lane]
    k = C * RHO0 * np.sqrt(T0 / t1)
    r = p2 / p1
    width = 1.0 - b if cracking is None else 1.0 - cracking / p1 - b
    choked = (r <= b) | (width <= 0.0)
    if np.count_nonzero(choked) == choked.size:
        return k * p1, k, np.zeros(k.size)
    u = (r - b) / width
    core = 1.0 - u * u
    f = np.sqrt(core)
    df_du = -u * f / core
    inner = r if cracking is None else r + u * cracking / p1
    q = k * p1 * f
    ku = k * (f - df_du * inner / width)
    kd = -k * df_du / width
    flat = u > path.u_lin[lane]
    if np.count_nonzero(flat):
        slope = k * path.s_lin[lane] / width
        gap = p1 - p2 if cracking is None else p1 - p2 - cracking
        q, ku, kd = np.where(flat, slope * gap, q), np.where(flat, slope, ku), np.where(flat, slope, kd)
    if np.count_nonzero(choked):
        q, ku, kd = np.where(choked, k * p1, q), np.where(choked, k, ku), np.where(choked, 0.0, kd)
    return q, ku, kd


def _relieved(
    gas: GasLanes, e: int, lane: Lanes, path: LanePath, p1: Floats, p2: Floats, q: Floats, ku: Floats, kd: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    assert path.relief is not None
    opens = gas._set[e][lane]
    built, reseats_at, lift = (row[lane] for row in path.relief)
    reseats = opens - (built - reseats_at)
    span = opens + lift - reseats
    share = np.where(span > 0.0, (p1 - reseats) / span, 1.0)
    part = share < 1.0
    return (
        np.where(part, share * q, q), np.where(part, share * ku + q / span, ku), np.where(part, share * kd, kd),
        np.where(part, np.minimum(p1 - reseats, p1 - p2), p1 - p2),
    )  # fmt: skip
