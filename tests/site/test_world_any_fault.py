"""Every fault that a pad can have, at any moment, alone or with others: the world goes on and its books balance."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sequencer.description import Pad, load
from sequencer.description.faults import Fault, faults
from sequencer.site.world import World

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
PADS = {name: load(CONFIGS / f"{name}.yaml") for name in ("club", "curlew", "bench")}
STRIKES = {name: [fault for fault in faults(pad) if fault.part != "box"] for name, pad in PADS.items()}
EVERY = [(name, fault) for name, found in STRIKES.items() for fault in found]

# what a launch day commands, in words that fit any of the three pads, and for how many scans
DAY = (
    ({}, 20), ({"dump": "shut"}, 20), ({"dump": "shut", "fill": "open"}, 150), ({"dump": "shut"}, 60),
    ({"dump": "shut", "servo_power": "on"}, 15), ({"dump": "shut", "servo_power": "on", "release": "pulled"}, 50),
    ({"servo_power": "on"}, 20), ({}, 60),
)  # fmt: skip


def _codes(pad: Pad, positions: dict[str, str]) -> tuple[int, ...]:
    codes = []
    for name, names in pad.output_positions.items():
        wanted = next((word for output, word in positions.items() if name.startswith(output)), names[0])
        codes.append(names.index(wanted) if wanted in names else 0)
    return tuple(codes)


def _start(pad: Pad, seed: int) -> World:
    world = World(pad, seed=seed)
    world.latch("hold_down")
    if "key" in pad.inputs:
        world.set_switch("key", "turned")
    for name in world.pins:
        world.pin(name, True)
    for name in world.jacks:
        world.set_load(name, 3000.0)
    return world


def _day(pad: Pad, strikes: list[tuple[int, str, str]], seed: int = 0) -> tuple[World, list[Any]]:
    world, told = _start(pad, seed), []
    before = world.net.total_mass()
    due = sorted(strikes)
    scan = 0
    for positions, scans in DAY:
        codes = _codes(pad, positions)
        for _ in range(scans):
            while due and due[0][0] <= scan:
                world.fault(*due.pop(0)[1:])
            if scan == 240:
                for name in world.pins:
                    world.pin(name, False)
            world.step(codes if world.powered else None, pad.scan.si)
            if world.powered:
                contacts, counts, _ = world.sample()
                assert set(contacts) <= {0, 1} and all(0 <= count <= 4095 for count in counts)
            told += [(scan, *event) for event in world.events]
            scan += 1
    net = world.net
    assert all(math.isfinite(p) and 0.9e5 < p < 3e6 for p in net.p), net.p
    assert all(150.0 < t < 700.0 for t in net.T), net.T
    moved = sum(abs(taken) for taken in net.taken) + sum(net.mass)
    assert abs(net.total_mass() - before) <= 1e-9 * moved
    assert all(head.word in ("latched", "half latched", "let go", "open") for head in world.heads.values())
    return world, told


@pytest.mark.parametrize(("name", "fault"), EVERY, ids=[f"{name}-{fault}" for name, fault in EVERY])
def test_any_single_fault_can_strike_at_the_start_and_be_mended(name: str, fault: Fault) -> None:
    pad = PADS[name]
    world, told = _day(pad, [(5, fault.part, fault.mode)])
    assert len(told) <= 12, told  # beginnings and ends, told once and not over and over
    world.clear(fault.part)
    for _ in range(20):
        world.step(_codes(pad, {}), pad.scan.si)
        if world.powered:
            world.sample()
    assert world.powered and world.uncounted == 0
    assert all(contact.settled for contact in world.wiring.contacts.values())


@given(st.data())
@settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_faults_together_at_any_moments_leave_a_world_whose_books_balance(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(PADS)))
    chosen = data.draw(st.lists(st.tuples(st.integers(0, 390), st.sampled_from(STRIKES[name])), min_size=2, max_size=4))
    strikes, seed = [(scan, fault.part, fault.mode) for scan, fault in chosen], data.draw(st.integers(0, 3))
    world, told = _day(PADS[name], strikes, seed)
    again, told_again = _day(PADS[name], strikes, seed)
    assert told == told_again and world.net.p == again.net.p


def test_a_day_without_faults_ends_in_a_flight_on_each_pad() -> None:
    for name, pad in PADS.items():
        world, told = _day(pad, [])
        assert world.head_state("hold_down") == "let go", name
        assert ("hold_down", "lets go") in {event[1:] for event in told}
