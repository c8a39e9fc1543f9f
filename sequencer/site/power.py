"""Battery, brown-out, reset and watchdog of the box; creep of the rig under a load cell. V, A, ohm, s.

Sources: usual microcontroller practice (brown-out thresholds 2.7 / 4.3 V, watchdog about 250 ms, bootloader 0.5-2 s),
relay figures (pull-in <= 75 %, drop-out 5-40 % of nominal; operate 5-15 ms), all common practice, no published source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sequencer.errors import SequencerError

BoxPhase = Literal["off", "booting", "running", "hung"]
ResetCause = Literal["power-on", "brown-out", "watchdog"]


@dataclass(frozen=True, slots=True)
class Battery:
    """Open voltage falls in a straight line from ``full`` to ``empty`` over ``capacity`` (A.s); inner ``resistance``."""

    full: float
    empty: float
    resistance: float = 0.1
    capacity: float = math.inf

    def __post_init__(self) -> None:
        if not (self.full >= self.empty > 0.0 and self.resistance >= 0.0 and self.capacity > 0.0):
            raise SequencerError("a battery needs full >= empty > 0 V, resistance >= 0 and a capacity above zero")

    def open_voltage(self, drawn: float) -> float:
        """Voltage without load after ``drawn`` A.s."""
        return self.full - (self.full - self.empty) * min(1.0, drawn / self.capacity)

    def voltage(self, current: float, drawn: float = 0.0) -> float:
        """Voltage at the terminals under ``current``."""
        return max(0.0, self.open_voltage(drawn) - self.resistance * current)


class BoxPower:
    """Whether the box runs. Outputs are undriven in every phase but ``running`` (and frozen while ``hung``).

    ``reset_below``: brown-out threshold; it starts again above ``starts_above`` and takes ``boot`` s. A hang lasts
    until the ``watchdog`` s are over (infinite: for ever).
    """

    def __init__(
        self, battery: Battery, *, reset_below: float, starts_above: float | None = None, boot: float = 0.5,
        watchdog: float = 0.25,
    ) -> None:
        self.battery, self.reset_below, self.boot, self.watchdog = battery, reset_below, boot, watchdog
        self.starts_above = reset_below + 0.1 if starts_above is None else starts_above
        self.phase: BoxPhase = "off"
        self.cause: ResetCause = "power-on"
        self.drawn = 0.0
        self.voltage = 0.0
        self._left = 0.0
        self._blink = 0.0

    def blink(self, seconds: float) -> None:
        """Cut the supply for ``seconds`` (a normal event)."""
        self._blink = max(self._blink, seconds)

    def hang(self) -> None:
        """The program stops; outputs stay as they are until the watchdog bites."""
        if self.phase == "running":
            self.phase, self._left = "hung", self.watchdog

    def step(self, h: float, current: float) -> BoxPhase:
        """Advance ``h`` seconds under ``current``; returns the phase at the end."""
        self.drawn += current * h
        blinking = self._blink > 0.0
        self.voltage = 0.0 if blinking else self.battery.voltage(current, self.drawn)
        self._blink = max(0.0, self._blink - h)
        if self.phase == "off":
            if self.voltage >= self.starts_above:
                self.phase, self._left = "booting", self.boot
            return self.phase
        if self.voltage < self.reset_below:
            self.phase, self.cause = "off", "power-on" if blinking else "brown-out"
            return self.phase
        if self.phase in ("booting", "hung"):
            self._left -= h
            if self._left <= 1e-12:
                if self.phase == "hung":
                    self.phase, self._left, self.cause = "booting", self.boot, "watchdog"
                else:
                    self.phase = "running"
        return self.phase


class Relay:
    """A relay: pulls in above ``pull_in`` V, drops out below ``drop_out`` V, each after its time; may be welded."""

    def __init__(self, pull_in: float, drop_out: float, operate: float = 0.010, release: float = 0.008) -> None:
        if not pull_in > drop_out >= 0.0:
            raise SequencerError("a relay pulls in above the voltage at which it drops out")
        self.pull_in, self.drop_out, self.operate, self.release = pull_in, drop_out, operate, release
        self.closed = self.welded = self.open_circuit = False
        self._for = 0.0

    def step(self, h: float, coil: float) -> bool:
        """Advance ``h`` seconds with ``coil`` V; returns whether it conducts. A weld keeps a closed contact closed."""
        wants = coil >= self.pull_in or (self.closed and coil > self.drop_out)
        self._for = self._for + h if wants != self.closed else 0.0
        if wants != self.closed and self._for >= (self.operate if wants else self.release) - 1e-12:
            self.closed, self._for = wants, 0.0
        return not self.open_circuit and (self.closed or self.welded)


@dataclass(frozen=True, slots=True)
class RigCreep:
    """A rig that settles under load: the load sinks by ``share`` of itself with time constant ``tau`` s."""

    share: float
    tau: float

    def load(self, first: float, seconds: float) -> float:
        """Load ``seconds`` after it stood at ``first``."""
        return first * (1.0 + self.share * math.expm1(-seconds / self.tau))
