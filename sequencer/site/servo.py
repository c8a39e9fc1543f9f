"""The servo, its supply, and the wire to the catch. N.m, rad, rad/s, V, A, ohm, m, s.

Torque and no-load speed follow the supply voltage linearly, speed falls linearly with torque, current rises with it
(the usual brushed-motor straight lines; catalogue figures for hobby servos, from memory). A servo without power is
taken as free to be driven back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sequencer.errors import SequencerError
from sequencer.site.head import KGF

NoPulses = Literal["limp", "holds"]
KGF_CM = KGF * 0.01
"""One kgf.cm in N.m."""


@dataclass(frozen=True, slots=True)
class Supply:
    """A source with inner resistance: ``voltage`` open, ``resistance`` of battery, leads and regulator."""

    voltage: float
    resistance: float = 0.0

    def under(self, current: float) -> float:
        """Voltage while it gives ``current``."""
        return max(0.0, self.voltage - self.resistance * current)


@dataclass(frozen=True, slots=True)
class Servo:
    """A hobby servo. Torque, speed and stall current at ``rated_voltage``; ``horn`` is the lever to the wire (m).

    ``neutral`` us is angle 0 (the horn square to the wire), ``us_per_rad`` the pulse map (90 degrees over 1000 us by
    default). ``without_pulses``: what powered electronics do when no pulses come. ``twitch`` (rad, for
    ``twitch_time``) is the jump at power-up before pulses are valid. ``least_voltage``: below it nothing moves.
    """

    stall_torque: float
    rated_voltage: float = 6.0
    speed: float = math.radians(60.0) / 0.16
    horn: float = 0.025
    stall_current: float = 2.5
    idle_current: float = 0.008
    frame: float = 0.020
    dead_band: float = 4.0
    neutral: float = 1500.0
    us_per_rad: float = 1000.0 / (math.pi / 2.0)
    without_pulses: NoPulses = "limp"
    twitch: float = math.radians(5.0)
    twitch_time: float = 0.05
    least_voltage: float = 3.0

    def __post_init__(self) -> None:
        if min(self.stall_torque, self.rated_voltage, self.speed, self.horn, self.us_per_rad) <= 0.0:
            raise SequencerError("a servo needs torque, voltage, speed, horn and pulse map above zero")

    def angle(self, pulse: float) -> float:
        """Commanded angle for a pulse in us, rad from neutral."""
        return (pulse - self.neutral) / self.us_per_rad

    def pulse(self, angle: float) -> float:
        """Pulse in us for an angle in rad."""
        return self.neutral + angle * self.us_per_rad

    def torque_at(self, voltage: float) -> float:
        """Stall torque at a voltage, N.m."""
        return self.stall_torque * voltage / self.rated_voltage if voltage >= self.least_voltage else 0.0

    def current(self, torque: float, voltage: float) -> float:
        """Current while giving ``torque``: idle plus the stall current's share, A."""
        return self.idle_current + self.stall_current * min(abs(torque) / self.stall_torque, voltage / self.rated_voltage)

    def stalled_voltage(self, supply: Supply) -> float:
        """Supply voltage with the servo stalled (its stall current follows the voltage), V."""
        open_ = supply.voltage - supply.resistance * self.idle_current
        return max(0.0, open_ / (1.0 + supply.resistance * self.stall_current / self.rated_voltage))

    def sagged_torque(self, supply: Supply) -> float:
        """Stall torque it can really give on this supply, N.m."""
        return self.torque_at(self.stalled_voltage(supply))

    def pull_at(self, supply: Supply, angle: float = 0.0) -> float:
        """Greatest pull on the wire with the horn ``angle`` from square, N (the lever arm is horn*cos)."""
        arm = self.horn * math.cos(angle)
        return math.inf if arm <= 0.0 else self.sagged_torque(supply) / arm

    def travel(self, start: float, end: float) -> float:
        """Wire drawn by the horn between two angles from square, m: horn*(sin(end) - sin(start))."""
        return self.horn * (math.sin(end) - math.sin(start))

    def speed_under(self, torque: float, voltage: float) -> float:
        """Speed against ``torque`` at ``voltage``, rad/s; 0 when it stalls."""
        most = self.torque_at(voltage)
        if most <= 0.0 or torque >= most:
            return 0.0
        return self.speed * voltage / self.rated_voltage * min(1.0, 1.0 - torque / most)

    def travel_time(self, turn: float, torque: float, supply: Supply) -> tuple[float, float]:
        """Least and most time from command to end of ``turn`` (rad), s: with no and with a full frame of waiting.

        Infinite when it stalls at the voltage its own current leaves.
        """
        voltage = supply.under(self.current(torque, supply.voltage))
        speed = self.speed_under(torque, voltage)
        if speed <= 0.0:
            return math.inf, math.inf
        return abs(turn) / speed, abs(turn) / speed + self.frame


@dataclass(frozen=True, slots=True)
class Wire:
    """The pull between horn and catch: ``slack`` m, ``stretch`` m/N; ``off`` when it has come away."""

    slack: float = 0.0
    stretch: float = 0.0
    off: bool = False

    def catch_travel(self, horn_travel: float, force: float) -> float:
        """How far the catch moves, m: horn travel less slack less stretch under ``force``, never negative."""
        return 0.0 if self.off else max(0.0, horn_travel - self.slack - self.stretch * force)


@dataclass(frozen=True, slots=True)
class TravelBudget:
    """Horn travel and what eats it, m. :attr:`margin` above zero: the catch clears."""

    horn: float
    slack: float
    stretch: float
    engages: float

    @property
    def margin(self) -> float:
        return self.horn - self.slack - self.stretch - self.engages


def travel_budget(servo: Servo, wire: Wire, start: float, end: float, force: float, engages: float) -> TravelBudget:
    """Budget from horn to catch for a turn ``start`` to ``end`` (rad) against ``force`` (N). Off: no horn travel."""
    horn = 0.0 if wire.off else servo.travel(start, end)
    return TravelBudget(horn, wire.slack, wire.stretch * force, engages)


class ServoState:
    """The moving servo: step it with the voltage it gets, the pulse it gets (us, or None) and the wire's pull (N).

    Faults are plain attributes: ``jammed``, ``slow`` (speed factor), ``limp`` (no torque), ``twitches`` (jump at
    power-up even with pulses).
    """

    def __init__(self, servo: Servo, angle: float, stops: tuple[float, float] = (-math.pi / 2, math.pi / 2)) -> None:
        self.servo, self.angle, self.stops = servo, angle, stops
        self.current = 0.0
        self.stalled = False
        self.jammed = self.limp = self.twitches = False
        self.slow = 1.0
        self._powered_for = -1.0
        self._target: float | None = None
        self._frame_in = 0.0
        self._rest = angle

    def step(self, h: float, voltage: float, pulse: float | None, pull: float = 0.0) -> float:
        """Advance ``h`` seconds, return the angle (rad). ``pull`` > 0 drags the horn back towards smaller angles."""
        servo = self.servo
        self.stalled = False
        if voltage < servo.least_voltage:
            self._powered_for, self._target, self.current = -1.0, None, 0.0
            self._drag(h, pull)
            return self.angle
        if self._powered_for < 0.0:
            self._powered_for, self._rest, self._frame_in = 0.0, self.angle, servo.frame
        twitching = self._powered_for < servo.twitch_time and (pulse is None or self.twitches)
        self._powered_for += h
        self._frame_in -= h
        if self._frame_in <= 1e-12:
            # A pulse acts at the end of its frame; after that the electronics know it, or know there is none.
            self._frame_in += servo.frame * max(1.0, math.ceil(-self._frame_in / servo.frame))
            self._take(pulse)
        goal = self._rest + servo.twitch if twitching else self._target
        if goal is None or self.limp:
            self.current = servo.idle_current
            self._drag(h, pull)
            return self.angle
        self._drive(h, voltage, goal, pull)
        return self.angle

    def _take(self, pulse: float | None) -> None:
        if pulse is not None:
            wanted = self.servo.angle(pulse)
            if self._target is None or abs(wanted - self._target) * self.servo.us_per_rad > self.servo.dead_band:
                self._target = wanted
        elif self.servo.without_pulses == "limp":
            self._target = None

    def _drive(self, h: float, voltage: float, goal: float, pull: float) -> None:
        servo = self.servo
        torque = pull * servo.horn * math.cos(self.angle)
        goal = min(max(goal, self.stops[0]), self.stops[1])
        miss = goal - self.angle
        against = torque if miss >= 0.0 else -torque
        if self.jammed:
            stuck = abs(miss) * servo.us_per_rad > servo.dead_band
            self.stalled = stuck
            self.current = servo.current(servo.torque_at(voltage) if stuck else 0.0, voltage)
            return
        most = servo.torque_at(voltage)
        if torque > most:
            self.stalled = True
            self.current = servo.current(most, voltage)
            self._drag(h, pull)
            return
        speed = servo.speed_under(max(against, 0.0), voltage) * self.slow
        reach = speed * h
        if abs(miss) <= reach:
            self.angle = goal
            self.current = servo.current(max(torque, 0.0), voltage)
            return
        self.angle += math.copysign(reach, miss)
        self.stalled = speed <= 0.0
        self.current = servo.current(max(against, 0.0) if speed > 0.0 else most, voltage)

    def _drag(self, h: float, pull: float) -> None:
        """A free horn follows the wire: a pull turns it back at the no-load speed."""
        if pull > 0.0 and not self.jammed:
            self.angle = max(self.stops[0], self.angle - self.servo.speed * h)
