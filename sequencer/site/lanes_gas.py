"""The gas of many pads at once: the method of network.py, one column per lane, substeps chosen per lane.

Every lane is a network of the same places and paths with figures of its own. What one lane goes through does not
touch another: lanes that are left alone stay out, a lane that needs a shorter substep takes it by itself. A lane can
also be acted on as a Network through :class:`LaneNet`, whose figures are the lane's column.

Taken are networks as build.py makes them: gas with walls, rigid volumes, valves and reliefs, no regulator paths.
Units: SI, absolute Pa. Sources: see network.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import SequencerError
from sequencer.site.build import PadNetwork
from sequencer.site.lanes_flow import Floats, Group, Lanes, flows, lane_paths
from sequencer.site.lanes_heat import exchange_heat
from sequencer.site.lanes_step import Gathered, move_gas
from sequencer.site.network import LAG, LARGEST_CHANGE, SHORTEST
from sequencer.site.parts import Regulator

ALL = slice(None)
STILL = 1e-13
"""A lane that changes by less than this, relatively, stands still but for rounding: it is left alone for LONG s or up to twice that."""
LONG = 10.0
PER_VOLUME = ("wall_T", "water", "gas_volume", "mass", "energy")
PER_RESERVOIR = ("taken", "water_taken")
PER_PATH = ("opening", "q", "wet_now", "_wanted", "_scale", "_set", "_creep", "_one_way", "_failed_open", "_lifted")


class GasLanes:
    """Networks side by side. Raises SequencerError for networks this method does not take."""

    def __init__(self, nets: Sequence[PadNetwork]) -> None:
        first = nets[0]
        if any(isinstance(path, Regulator) for path in first.paths):
            raise SequencerError("lanes take no regulator as a path; supplies move their outlet themselves")
        if any(v.stretch > 0.0 or v.thermal == "isothermal" for net in nets for v in net.volumes):
            raise SequencerError("lanes take rigid volumes whose gas keeps its energy")
        if any(path.m != 0.5 for path in first.paths):
            raise SequencerError("lanes take flow paths with the exponent 0.5")
        self.lanes, self.n, self.places = len(nets), first.n, len(first.p)

        def rows(name: str) -> NDArray[Any]:
            return np.array([getattr(net, name) for net in nets]).T.copy()

        self.p, self.T = rows("p"), rows("T")
        self.wall_T, self.water, self.gas_volume = rows("wall_T"), rows("water"), rows("gas_volume")
        self.mass, self.energy = rows("mass"), rows("energy")
        self.taken, self.water_taken = rows("taken"), rows("water_taken")
        self.opening, self.q, self.wet_now = rows("opening"), rows("q"), rows("wet_now")
        self._wanted, self._scale, self._set = rows("_wanted"), rows("_scale"), rows("_set")
        self._creep, self._one_way = rows("_creep"), rows("_one_way")
        self._failed_open, self._lifted = rows("_failed_open"), rows("_lifted")
        self.substeps = np.zeros(self.lanes, dtype=np.int64)
        self.hint, self.owed, self.lag = np.ones(self.lanes), np.zeros(self.lanes), np.zeros(self.lanes)
        self.ambient: Floats = np.array([net.ambient for net in nets])
        self.total: Floats = np.array([[v.total for v in net.volumes] for net in nets]).T.copy()
        figures = [
            [[getattr(v, name) for net in nets for v in (net.volumes[i],)] for i in range(self.n)]
            for name in ("wall_capacity", "wall_exchange", "ambient_exchange")
        ]
        self.wall_capacity, self.wall_exchange, self.ambient_exchange = (np.array(rows) for rows in figures)
        self.exchanging = list(first._exchanging)
        self.paths = lane_paths(nets)
        self.now = 0.0
        """Seconds stepped so far."""
        self.stirred = True
        """Openings may have changed since the last step."""
        self._open: list[int] = []
        self.scaled: list[bool] = []
        self.least_set: list[float] = []
        self.lifts: list[bool] = []
        """Relief paths of which some lane may be off its seat since the last survey."""

    def view(self, lane: int, net: PadNetwork) -> LaneNet:
        """One lane as the network it came from."""
        return LaneNet(self, lane, net)

    def may_flow(self, path: int) -> bool:
        """Whether a path was open, or had something flowing, in any lane at the last step."""
        return path in self._open

    # ------------------------------------------------------------------ time

    def step(self, h: float) -> None:
        """Advance every lane by ``h`` seconds (as Network.step: a lane that hardly changes is left alone for a while).

        The one difference from Network: a lane that stands still to rounding is left alone for longer, as looking at a few
        lanes costs as much as at many. What it would have changed meanwhile is of the size of rounding."""
        self.now += h
        waits = (self.lag > 0.0) & (self.owed + h <= self.lag)
        if np.count_nonzero(waits):
            lanes = np.flatnonzero(~waits)
            self.owed[waits] += h
            if lanes.size:
                self.run(lanes, h + self.owed[lanes])
            return
        self.run(ALL, h + self.owed)

    def settle(self, lanes: NDArray[np.int64]) -> None:
        """Bring lanes that were left alone up to their time, and wake them."""
        late = lanes[self.owed[lanes] > 0.0]
        if late.size:
            self.run(late, self.owed[late].copy())
        self.lag[lanes] = 0.0
        self.hint[lanes] = 1.0

    def run(self, lanes: Lanes, h: Floats) -> None:
        """Advance some lanes by ``h`` s each, in substeps that suit each."""
        if self.stirred:
            self._survey()
        # Branches that a lane does not take are computed all the same, and may divide by nothing there.
        with np.errstate(divide="ignore", invalid="ignore"):
            self._run(lanes, h)

    def _survey(self) -> None:
        """What the openings say now: paths that may flow, those scaled, reliefs that may lift."""
        self.stirred = False
        self._open = [e for e, row in enumerate(self.opening) if np.count_nonzero(row) or np.count_nonzero(self.q[e])]
        self.scaled = [bool(np.count_nonzero(row != 1.0)) for row in self._scale]
        self.least_set = [float(row.min()) for row in self._set]
        self.lifts = [bool(np.count_nonzero(row) or np.count_nonzero(q)) for row, q in zip(self._lifted, self.q, strict=True)]

    def _run(self, lanes: Lanes, h: Floats) -> None:
        self.owed[lanes] = 0.0
        left, size, total = h.copy(), np.minimum(h, self.hint[lanes]), np.zeros(h.size)
        active: Any = ALL
        at: Any = lanes
        while True:
            now = np.where(size[active] < left[active] * 0.999999, size[active], left[active])
            done, largest, change = self._substep(at, now)
            ratio = 0.7 * LARGEST_CHANGE / largest
            self.substeps[at] += done
            left[active] -= np.where(done, now, 0.0)
            total[active] += np.where(done, change, 0.0)
            size[active] = now * np.where(done, np.minimum(3.0, ratio), np.maximum(0.1, ratio))
            going = np.flatnonzero(left > 0.0)
            if not going.size:
                break
            active = going
            at = going if isinstance(lanes, slice) else lanes[going]
        self.hint[lanes] = np.maximum(size, SHORTEST)
        rest = (self.now // LONG + 2.0) * LONG - self.now  # all that stand still are looked at together
        lag = np.where(total < STILL, rest, np.minimum(0.5, LAG * h / total))
        self.lag[lanes] = np.where(lag >= 2.0 * h, lag, 0.0)

    def _substep(self, lanes: Lanes, h: Floats) -> tuple[NDArray[np.bool_], Floats, Floats]:
        state = Gathered(self, lanes)
        moving: list[Group] = flows(self, state, lanes, self._open)
        done = np.ones(h.size, dtype=bool)
        largest = np.zeros(h.size)
        if moving:
            done, largest = move_gas(self, state, moving, h)
        change = largest.copy()
        if self.exchanging:
            change = np.maximum(change, exchange_heat(self, state, h))
        state.commit(done)
        return done, largest, change


class LaneNet(PadNetwork):
    """One lane of a :class:`GasLanes`, with everything a Network can do; its lists are the lane's column."""

    def __init__(self, gas: GasLanes, lane: int, net: PadNetwork) -> None:
        self.__dict__.update(net.__dict__)
        self._gas, self._lane = gas, lane
        for name in ("p", "T", *PER_VOLUME, *PER_RESERVOIR, *PER_PATH):
            self.__dict__[name] = getattr(gas, name)[:, lane]

    def _wake(self) -> None:
        self._gas.stirred = True
        super()._wake()

    @property
    def substeps(self) -> int:
        return int(self._gas.substeps[self._lane])

    @substeps.setter
    def substeps(self, value: int) -> None:
        self._gas.substeps[self._lane] = value

    @property
    def _hint(self) -> float:
        return float(self._gas.hint[self._lane])

    @_hint.setter
    def _hint(self, value: float) -> None:
        self._gas.hint[self._lane] = value

    @property
    def _owed(self) -> float:
        return float(self._gas.owed[self._lane])

    @_owed.setter
    def _owed(self, value: float) -> None:
        self._gas.owed[self._lane] = value

    @property
    def _lag(self) -> float:
        return float(self._gas.lag[self._lane])

    @_lag.setter
    def _lag(self, value: float) -> None:
        self._gas.lag[self._lane] = value
