"""Small pads in the file's own words, for the checks against worked values."""

from __future__ import annotations

from sequencer.description import Pad, loads

BASE = """
title: Tank
revision: 1
scan: 10 ms
pressures: gauge
inputs:
  stop: {{contact: opens when pressed, steady_for: 20 ms}}
  tank_sensor: {{analog: 12 bit, reads: tank, points: {{0: 0 bar, 4000: 20 bar}}, accuracy: 0.01 bar, valid: 0 to 4000, lag: 0.1 ms}}
  radio: {{heartbeat: every 100 ms{loss}}}
outputs:
  fill: {{valve: [shut, open], rest: shut}}
  dump: {{valve: [open, shut], rest: open}}
conditions:
  stop_down: stop is pressed
  full: tank_sensor at least {full}
  too_high: tank_sensor at least 11.0 bar
  empty: tank_sensor below {empty}
  radio_ok: radio heard within {within}
states:
  venting:
    says: Venting.
    leave: [{{go_to: resting, at_latest: {wait}}}]
  resting:
    says: At rest.
    people: allowed
    leave: [{{go_to: filling, once: empty and radio_ok}}]
    stays: waits
  filling:
    says: Filling.
    outputs: {{fill: open, dump: shut}}
    leave: [{{go_to: venting, once: full}}, {{go_to: venting, at_latest: 200 s}}]
trips:
  stop: {{everywhere_but: [resting, venting], once: stop_down, go_to: venting}}
  high: {{everywhere_but: [resting, venting], once: too_high, go_to: venting}}
interlocks:
  stop_stops: {{cause: stop is pressed, effect: fill shut and dump open, within: 100 ms, why: test}}
site:
  source: {{supply: air, pressure: {supply}}}
  tank: {{volume: {volume}, {water}rated: {rated}, tested_to: 20 bar}}
  fill_line: {{line: source to tank, opened_by: fill, conductance: 0.5 l/s/bar, critical_ratio: 0.3, stroke: 20 ms{fill}}}
  dump_line: {{line: tank to air, opened_by: dump, conductance: 2 l/s/bar, critical_ratio: 0.3, stroke: 20 ms{dump}}}
  relief: {{relief: tank, opens_at: 11.5 bar, conductance: 1 l/s/bar}}
  weather: {{weather: 20 degC}}
{more}
"""


def tank(**changes: str) -> Pad:
    """A 50 l tank on an endless 12 bar gauge supply; any `{name}` of the text can be changed."""
    values = {
        "full": "10 bar", "empty": "0.2 bar", "within": "500 ms", "loss": ", loss: 5 %", "wait": "300 s", "supply": "11.98675 bar",
        "volume": "50 l", "water": "", "rated": "13 bar", "dump": "", "fill": "", "more": "",
    }  # fmt: skip
    return loads(BASE.format(**(values | changes)), "tank.yaml")


HEAD = """  hold_down:
    release_head: tank
    seat: {seat}
    contact_angle: {angle}
    friction: {friction}
    levers: [10 mm to 80 mm, 8 mm to 60 mm, 6 mm to 48 mm]
    catch: {{engages: 3 mm, spring: 1 N, friction: 16 %, strength: 100 N}}
"""


def head(seat: str = "50 mm", angle: str = "20 deg", friction: str = "0.16 (0.11 to 0.25)") -> str:
    """A release head for `tank(more=...)`."""
    return HEAD.format(seat=seat, angle=angle, friction=friction)
