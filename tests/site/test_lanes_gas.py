"""The gas of many pads at once equals each pad's own network."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import SequencerError
from sequencer.site.build import PadNetwork
from sequencer.site.flow import P_ATM, Conductance
from sequencer.site.lanes_gas import LONG, GasLanes
from sequencer.site.parts import Path, Regulator, Reservoir, Volume, relief

C = 1e-8  # one l/(s.bar)


def _net(k: float, stretch: float = 0.0) -> PadNetwork:
    """Two vessels joined by a check valve, a supply, dumps above and below the water line, a relief; figures scaled by k."""
    volumes = [
        Volume("lower", 0.014 * k, 0.004, wall_capacity=900.0, wall_exchange=6.0 * k, ambient_exchange=1.5, stretch=stretch),
        Volume("upper", 0.003 / k, 0.0, wall_capacity=300.0, wall_exchange=2.0, ambient_exchange=0.5 * k),
    ]
    reservoirs = [Reservoir("air"), Reservoir("cylinder", P_ATM + 11.6e5)]
    paths = [
        Path("fill", "cylinder", "lower", Conductance(0.2 * C * k, 0.4), wet="target", opening=0.0),
        Path("fill upper", "cylinder", "upper", Conductance(0.05 * C, 0.3 * k), opening=0.0),
        Path("dump", "lower", "air", Conductance(5.0 * C, 0.35), opening=0.0),
        Path("drain", "lower", "air", Conductance(1.0 * C * k, 0.5), wet="source", opening=0.0),
        Path("dump upper", "upper", "air", Conductance(2.0 * C, 0.45), needs=2e4, opening=0.0),
        Path("check", "upper", "lower", Conductance(0.4 * C, 0.3), cracking=2e4 * k, one_way=True, opening=0.0),
        Path("join", "upper", "lower", Conductance(8.0 * C, 0.3), opening=0.0),
        relief("relief", "lower", "air", Conductance(6.0 * C, 0.3), P_ATM + 8e5 * k),
    ]
    return PadNetwork(volumes, reservoirs, paths, ambient=288.15)


acts = st.lists(
    st.tuples(st.integers(0, 2), st.integers(0, 6), st.sampled_from([0.0, 0.3, 1.0]), st.integers(1, 60)), min_size=1, max_size=14
)


@settings(max_examples=60, deadline=None)
@given(acts)
def test_every_lane_equals_its_own_network(script: list[tuple[int, int, float, int]]) -> None:
    figures = (0.9, 1.0, 1.1)
    single, lanes = [_net(k) for k in figures], GasLanes([_net(k) for k in figures])
    views = [lanes.view(i, _net(k)) for i, k in enumerate(figures)]
    slept = [False] * 3
    for lane, path, opening, steps in script:
        for nets in (single, views):
            nets[lane].set_opening(path, opening, at_once=True)
        for _ in range(steps):
            for net in single:
                net.step(0.02)
            lanes.step(0.02)
        for i, net in enumerate(single):
            assert list(lanes.p[:, i]) == pytest.approx(net.p, rel=1e-11)
            assert list(lanes.T[:, i]) == pytest.approx(net.T, rel=1e-11)
            assert list(lanes.wall_T[:, i]) == pytest.approx(net.wall_T, rel=1e-11)
            assert list(lanes.mass[:, i]) == pytest.approx(net.mass, rel=1e-11)
            assert list(lanes.water[:, i]) == pytest.approx(net.water, rel=1e-11, abs=1e-15)
            assert list(lanes.taken[:, i]) == pytest.approx(net.taken, rel=1e-9, abs=1e-13)
            assert list(lanes.q[:, i]) == pytest.approx(net.q, rel=1e-7, abs=1e-12)
            assert list(lanes.wet_now[:, i]) == net.wet_now
            if lanes.lag[i] < LONG and not slept[i]:
                assert (lanes.substeps[i], lanes.owed[i], lanes.lag[i]) == pytest.approx((net.substeps, net._owed, net._lag), rel=1e-9)
            slept[i] = slept[i] or lanes.lag[i] >= LONG


def test_mass_is_kept_in_every_lane() -> None:
    nets = [_net(k) for k in (0.8, 1.0, 1.2)]
    before = [net.total_mass() for net in nets]
    lanes = GasLanes(nets)
    for i, net in enumerate(nets):
        lanes.view(i, net).set_opening(0, 1.0, at_once=True)
    for _ in range(1000):
        lanes.step(0.02)
    after = lanes.mass.sum(axis=0) + lanes.taken.sum(axis=0)
    assert after == pytest.approx(before, rel=1e-11)
    assert np.all(lanes.p[0] > P_ATM + 1e5)


def test_networks_this_method_does_not_take_are_refused() -> None:
    with pytest.raises(SequencerError, match="rigid"):
        GasLanes([_net(1.0, stretch=1e-9)])
    path = Regulator("r", "air", "v", Conductance(C, 0.3), set_to=2e5)
    with pytest.raises(SequencerError, match="regulator"):
        GasLanes([PadNetwork([Volume("v", 0.01)], [Reservoir("air")], [path])])
