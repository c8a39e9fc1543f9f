"""What the physics of the trade does to a whole run: small changes of the two small pads, each with one trap in it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sequencer.description import Pad, loads
from sequencer.simulation import Event, Run, simulate
from sequencer.simulation.events import (
    At,
    InState,
    Latch,
    Press,
    SetLoad,
    SetPressure,
    Strike,
)
from tests.quick_club import quick_club

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
BAR, GRAVITY = 1e5, 9.80665
MANIFOLD = ("  dump_line:  {line: bottle to air,",
            "  manifold: {volume: 0.2 l, rated: 8 bar}\n"
            "  neck: {line: bottle to manifold, one_way: yes, cracks_at: 0.1 bar, bore: 5 mm}\n"
            "  dump_line:  {line: manifold to air,")  # fmt: skip
POCKET = ("  fill_line:  {line: cylinder to bottle, opened_by: fill, bore: 0.6 mm,",
          "  pocket: {volume: 0.13 l, rated: 15 bar}\n  feed: {line: cylinder to pocket, bore: 3 mm}\n"
          "  fill_line:  {line: pocket to bottle, opened_by: fill, bore: 0.6 mm,")  # fmt: skip


def pad(name: str, *changes: tuple[str, str]) -> Pad:
    text = quick_club() if name == "club" else (CONFIGS / f"{name}.yaml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{name} no longer says: {old}"
        text = text.replace(old, new)
    return loads(text, f"{name}.yaml")


def full(*more: Event, gauge: float = 6e5) -> list[Event]:
    """The bottle is full while the box lets gas out, as after an abort; then `more`."""
    return [Event(At(0), Latch("hold_down")), Event(At(0), SetPressure("bottle", gauge)), *more]


def pressure(run: Run, volume: str, seconds: float = 1e9) -> float:
    """Gauge pressure of a volume at a time of the run, bar."""
    assert run.trace is not None
    return float(run.trace.pressures[volume][np.searchsorted(run.trace.ms, seconds * 1000.0).clip(max=len(run.trace.ms) - 1)]) / BAR


def empty_at(run: Run, below: float = 0.1) -> float:
    """When the bottle is below so many bar, s."""
    assert run.trace is not None
    gone = np.nonzero(run.trace.pressures["bottle"] < below * BAR)[0]
    return float(run.trace.ms[gone[gone > 5][0]]) / 1000.0


def states(run: Run) -> list[str]:
    return [entry.to for entry in run.log if entry.kind == "move"]


def said(run: Run, who: str) -> list[str]:
    return [line.what for line in run.lines if line.who == who]


def test_a_hose_pocket_before_the_shut_valve_stays_charged_after_the_bottle_is_empty() -> None:
    run = simulate(pad("club", POCKET), full(), until_ms=70_000)
    assert pressure(run, "bottle") < 0.05 and pressure(run, "pocket") == pytest.approx(8.0, abs=0.2)


def test_a_piloted_dump_leaves_its_least_difference_in_the_bottle_and_the_box_does_not_call_it_rest() -> None:
    piloted = ("measured: 6 bar to 3 bar in 2 s", "measured: 6 bar to 3 bar in 2 s, needs_difference: 0.4 bar")
    run = simulate(pad("club", piloted), full(), until_ms=90_000)
    assert 0.3 < pressure(run, "bottle") < 0.55 and run.state_at_end == "dumping"


def test_a_check_valve_that_traps_hides_the_gas_from_a_sensor_behind_it() -> None:
    hidden = pad("club", MANIFOLD, ("reads: bottle\n", "reads: manifold\n"))
    run = simulate(hidden, full(Event(At(100), Strike("neck", "traps"))), until_ms=75_000)
    assert run.people_allowed and run.state_at_end == "rest"  # the box saw an empty manifold
    assert pressure(run, "bottle") > 4.0


def test_water_below_the_dump_leaves_before_the_gas_and_takes_its_time() -> None:
    dry, wet = (
        simulate(pad("club", ("measured: 6 bar to 3 bar in 2 s", f"bore: 3 mm{below}")), full(), until_ms=60_000)
        for below in ("", ", above_water: no")
    )
    assert empty_at(wet) > 1.2 * empty_at(dry)


def test_a_dump_that_shuts_too_soon_lets_the_pressure_come_back() -> None:
    run = simulate(pad("club"), full(Event(At(3000), Strike("dump_line", "stuck shut"))), until_ms=40_000)
    assert pressure(run, "bottle", 39.0) > pressure(run, "bottle", 3.3) + 0.05


def test_a_regulator_that_creeps_or_fails_open_ends_in_the_trip_and_with_the_relief_stuck_above_the_rating() -> None:
    held = [Strike("fill_line", "stuck open"), Strike("dump_line", "stuck shut")]
    for mode in ("creeps", "fails open"):
        struck = [Event(InState("filling", 100), strike) for strike in [Strike("cylinder", mode), *held]]
        lifted = simulate(pad("club"), struck, crew=True, settle_ms=90_000)
        assert lifted.first_out == "sensor" and lifted.trace is not None
        assert lifted.trace.pressures["bottle"].max() < 8.0 * BAR, mode
        stuck = simulate(pad("club"), [*struck, Event(InState("filling", 100), Strike("relief", "stuck"))], crew=True, settle_ms=90_000)
        assert stuck.trace is not None and stuck.trace.pressures["bottle"].max() > 8.2 * BAR, mode
        assert any("rat" in what for what in said(stuck, "bottle")), said(stuck, "bottle")


@pytest.mark.parametrize(("part", "mode"), [("hold_down", "seized"), ("release", "limp"), ("wire", "off"), ("release", "jammed")])
def test_a_head_that_does_not_let_go_is_a_hang_up_and_the_gas_is_let_out(part: str, mode: str) -> None:
    run = simulate(pad("club"), [Event(InState("counting"), Strike(part, mode))], crew=True, settle_ms=30_000)
    assert states(run)[states(run).index("releasing") :][:2] == ["releasing", "hung_up"]
    assert "lets go" not in said(run, "hold_down") and pressure(run, "bottle") < 0.1


def test_a_backup_head_lets_the_vehicle_go_when_the_first_hangs() -> None:
    backup = ("  wire:       {wire", "  second:\n    release_head: bottle\n    seat: 22 mm\n    contact_angle: 20 deg\n    backup_for: hold_down\n"
              "  wire:       {wire")  # fmt: skip
    struck = [Event(InState("counting"), Strike("hold_down", "seized")), Event(InState("releasing", 500), Strike("second", "lets go early"))]
    run = simulate(pad("club", backup), struck, crew=True, settle_ms=10_000)
    assert "lets go" in said(run, "second") and any(what.startswith("leaves") for what in said(run, "bottle"))
    # the contact sits on the seized head: the box cannot know that the vehicle has gone
    assert "hung_up" in states(run) and "gone" not in states(run)


def test_a_servo_that_twitches_when_it_gets_power_releases_during_the_count() -> None:
    powered = ("says: Counting down.\n    outputs: {dump: shut, beacon: lit}", "says: Counting down.\n    outputs: {dump: shut, servo_power: on, beacon: lit}")
    run = simulate(pad("club", powered), [Event(InState("holding"), Strike("release", "twitches"))], crew=True, settle_ms=5_000)
    went = next(line for line in run.lines if line.what.startswith("lets go"))
    assert went.state == "counting"


def test_the_load_on_the_bench_sinks_while_the_rig_settles() -> None:
    run = simulate(pad("bench"), [Event(At(0), Latch("hold_down")), Event(At(1000), SetLoad("jack", 400 * GRAVITY))], until_ms=62_000)
    assert run.trace is not None
    load = run.trace.loads["hold_down"]
    # the file: settles by 4 % with 20 s
    assert float(load[-1]) == pytest.approx(400 * GRAVITY * (1 - 0.04 * (1 - np.exp(-3.05))), rel=2e-3) and load.max() > 399 * GRAVITY


def test_a_strangers_messages_keep_the_link_up_while_our_stop_is_not_heard() -> None:
    events = [Event(InState("holding", 100), Strike("radio", "replayed")), Event(InState("holding", 1000), Press("stop", 3000))]
    run = simulate(pad("club"), events, crew=True, settle_ms=5_000)
    assert "stop_stops" in [judged.name for judged in run.broken]
    sound = simulate(pad("club"), events[1:], crew=True, settle_ms=5_000)
    assert sound.first_out == "stop"
