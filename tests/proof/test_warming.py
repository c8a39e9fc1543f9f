"""What shut gas may rise by when it warms: told with numbers, which hold on the simulator and against textbook relations."""

from __future__ import annotations

import pytest

from sequencer.description import load, loads
from sequencer.proof import warming
from sequencer.proof.draft import Draft
from sequencer.proof.prove import Options, prove
from sequencer.site.world import World
from sequencer.table import compile_table
from tests.quick_club import quick_club

AIR = 101325.0


def draft_of(pad):
    return Draft(pad, compile_table(pad))


@pytest.fixture(scope="module")
def club():
    return draft_of(loads(quick_club(), "club.yaml"))


def test_the_numbers_are_those_of_the_textbook(club):
    """Gay-Lussac p ~ T for sun and air; T2/T1 = (p2/p1)^((k-1)/k), k = 1.4, for the quickest fall (any thermodynamics
    textbook; from memory). The relief lets the club's bottle come to 7.5 bar; 15 degC is 288.15 K."""
    assert warming.by_sun(club, "bottle") == pytest.approx((7.5e5 + AIR) * 10 / 288.15, rel=1e-6)
    warmer = ((7.5e5 + AIR) / AIR) ** (2 / 7) * (1 + 10 / 288.15)
    assert warming.comes_back(club, "bottle", 0.0) == pytest.approx(AIR * (warmer - 1), rel=2e-3)
    assert warming.comes_back(club, "bottle", 7.5e5) == pytest.approx((7.5e5 + AIR) * (1 + 10 / 288.15) - AIR, rel=1e-6)


def vented(pad, shut_at, seconds=0.0):
    """(pressure when the dump was shut, highest afterwards): the bottle falls quickly from 7.5 bar; `seconds` is how long
    it has then been below `shut_at` when the dump sticks."""
    world = World(pad)
    world.set_pressure("bottle", 7.5e5)
    below = 0.0
    names, step = list(pad.outputs), pad.scan_ms / 1000
    commands = [0] * len(names)
    while world.pressure("bottle") > shut_at or below < seconds:
        below = below + step if world.pressure("bottle") <= shut_at else 0.0
        world.step(tuple(commands), step)
    at = world.pressure("bottle")
    world.fault("dump_line", "stuck shut")
    highest = 0.0
    for _ in range(int(200 / step)):
        world.step(tuple(commands), step)
        highest = max(highest, world.pressure("bottle"))
    return at, highest


@pytest.mark.parametrize("shut_at", [0.05e5, 0.5e5, 2e5])
def test_the_simulator_comes_back_and_never_above_what_is_told(club, shut_at):
    at, highest = vented(club.pad, shut_at)
    assert at + 0.1e5 < highest <= warming.comes_back(club, "bottle", at)


def test_what_has_been_seen_empty_comes_back_no_higher_than_told(club):
    name, seconds, told = warming.seen_empty(club, "bottle")
    assert (name, seconds) == ("empty", 5.0)
    at, highest = vented(club.pad, 0.12e5, seconds)
    assert highest <= told
    # the longer it was seen to be empty, the less is left to come
    longer = draft_of(loads(quick_club().replace("below 0.12 bar for 5 s", "below 0.12 bar for 60 s"), "club.yaml"))
    assert warming.seen_empty(longer, "bottle")[2] < 0.6 * told


def test_a_delay_of_a_combination_counts_for_each_volume_that_it_asks_about():
    curlew = draft_of(load("configs/curlew.yaml"))
    for volume in ("lower", "upper"):
        name, seconds, told = warming.seen_empty(curlew, volume)
        assert (name, seconds) == ("empty", 60.0)
        assert 0.14e5 < told < 0.3e5, "less than the rule of people near gas allows"


def test_the_answer_opens_with_it_for_every_volume_and_says_nothing_of_a_bench_without_gas():
    blind = prove(loads(quick_club(), "club.yaml"), Options(replays=False, stories=0)).blind
    assert [line for line in blind if "shut in bottle and warms" in line and "bar more" in line]
    assert not any("warms" in line for line in prove(load("configs/bench.yaml"), Options(replays=False, stories=0)).blind)
