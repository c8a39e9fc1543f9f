"""What the box senses, between the world and the raw input: analog channels, contacts, heartbeat.

Each channel is stepped once per scan with the truth and gives raw counts or bits. Randomness comes from a generator
seeded by the run and the channel's name, so a run repeats exactly. Faults are set by name and stay until cleared.
Sources: NAMUR NE 43 and ratiometric transducer practice (valid bands); published switch-bounce survey (mean 1.6 ms,
largest 6.2 ms).
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Literal

from sequencer.errors import SequencerError

AnalogFault = Literal["open", "short", "frozen", "slow", "offset", "saturated"]
ContactFault = Literal["stuck on", "stuck off", "cut", "short", "bounces"]
HeartbeatFault = Literal["lost", "flapping", "replayed"]
OpenReads = Literal["low", "high", "floats"]


def generator(seed: int, name: str) -> random.Random:
    """The random generator of one channel of one run."""
    return random.Random(f"{seed}/{name}")


@dataclass(frozen=True, slots=True)
class Analog:
    """A sensor with its converter: two calibration points (count, value), ``bits``, errors and lag.

    ``zero_error`` in the unit of the value, ``span_error`` relative, ``noise`` as standard deviation in counts,
    ``lag`` as time constant in s, ``valid`` the band of counts taken for true. ``open_reads``: what an open wire
    gives (a pull-down reads low, a bare pin floats anywhere). ``short_reads`` high or low likewise.
    """

    low: tuple[int, float]
    high: tuple[int, float]
    bits: int = 10
    zero_error: float = 0.0
    span_error: float = 0.0
    noise: float = 0.0
    lag: float = 0.0
    valid: tuple[int, int] | None = None
    open_reads: OpenReads = "low"
    short_reads: OpenReads = "high"

    def __post_init__(self) -> None:
        if self.low[0] == self.high[0] or self.low[1] == self.high[1]:
            raise SequencerError("two calibration points must differ in count and in value")

    @property
    def most(self) -> int:
        """Greatest count of the converter."""
        return (1 << self.bits) - 1

    @property
    def per_count(self) -> float:
        """Value of one count (the resolution)."""
        return (self.high[1] - self.low[1]) / (self.high[0] - self.low[0])

    def exact_counts(self, value: float) -> float:
        """Counts before rounding and errors."""
        return self.low[0] + (value - self.low[1]) / self.per_count

    def counts(self, value: float) -> int:
        """Counts with zero and span error, rounded and clipped to the converter."""
        shown = self.low[1] + (value - self.low[1]) * (1.0 + self.span_error) + self.zero_error
        return self.clip(self.exact_counts(shown))

    def clip(self, counts: float) -> int:
        return min(max(math.floor(counts + 0.5), 0), self.most)

    def value(self, counts: int) -> float:
        """Value that counts stand for by the calibration."""
        return self.low[1] + (counts - self.low[0]) * self.per_count

    def is_valid(self, counts: int) -> bool:
        """Whether counts lie in the valid band (all do when no band is given)."""
        return self.valid is None or self.valid[0] <= counts <= self.valid[1]


class AnalogChannel:
    """An :class:`Analog` in time. ``read`` gives raw counts."""

    def __init__(self, analog: Analog, seed: int = 0, name: str = "") -> None:
        self.analog = analog
        self.fault: AnalogFault | None = None
        self.offset = 0.0
        self.slow_lag = 5.0
        """Time constant in s under the fault ``slow``."""
        self._rng = generator(seed, name)
        self._seen: float | None = None
        self._last: int | None = None
        self._wander = 0.5

    @property
    def seen(self) -> float:
        """The lagged value, in its unit."""
        return self._seen if self._seen is not None else 0.0

    def take_over(self, seen: float, last: int) -> None:
        """Go on from a lagged value and the counts read last, which another reader of the same channel kept."""
        self._seen, self._last = seen, last

    def set_fault(self, fault: AnalogFault | None, offset: float = 0.0) -> None:
        """Set or clear a fault; ``offset`` (unit of the value) goes with the fault ``offset``."""
        self.fault, self.offset = fault, offset

    def read(self, value: float, h: float) -> int:
        """Raw counts after ``h`` seconds at ``value``."""
        a = self.analog
        noise = self._rng.gauss(0.0, a.noise) if a.noise > 0.0 else 0.0
        lag = self.slow_lag if self.fault == "slow" else a.lag
        if self._seen is None or lag <= 0.0:
            self._seen = value
        else:
            self._seen += (value - self._seen) * -math.expm1(-h / lag)
        if self.fault == "frozen" and self._last is not None:
            return self._last
        if self.fault == "open":
            self._last = self._loose(a.open_reads)
        elif self.fault == "short":
            self._last = self._loose(a.short_reads)
        elif self.fault == "saturated":
            self._last = a.most
        else:
            extra = self.offset if self.fault == "offset" else 0.0
            shown = a.low[1] + (self._seen + extra - a.low[1]) * (1.0 + a.span_error) + a.zero_error
            self._last = a.clip(a.exact_counts(shown) + noise)
        return self._last

    def _loose(self, reads: OpenReads) -> int:
        if reads == "floats":
            # A bare pin wanders about mid-scale: a believable value, which is what makes it dangerous.
            self._wander = min(max(self._wander + self._rng.gauss(0.0, 0.01), 0.2), 0.8)
            return round(self._wander * self.analog.most)
        return 0 if reads == "low" else self.analog.most


class ContactChannel:
    """A contact read once per scan: raw 1 = closed. ``bounce`` s of chatter after each change of the truth.

    A cut wire reads open, a short reads closed, whatever the contact does.
    """

    def __init__(self, bounce: float = 0.0062, seed: int = 0, name: str = "") -> None:
        self.bounce = bounce
        self.fault: ContactFault | None = None
        self._rng = generator(seed, name)
        self._was: bool | None = None
        self._since = math.inf

    @property
    def steady(self) -> bool:
        """Whether the last change has stopped bouncing."""
        return self._since >= self.bounce

    def read(self, closed: bool, h: float) -> int:
        """Raw bit ``h`` seconds after the last read; the change is taken to have happened somewhere in between."""
        if self._was is not None and closed != self._was:
            self._since = self._rng.uniform(0.0, h)
        else:
            self._since += h
        self._was = closed
        if self.fault in ("stuck on", "short"):
            return 1
        if self.fault in ("stuck off", "cut"):
            return 0
        if self._since < self.bounce or self.fault == "bounces":
            return self._rng.getrandbits(1)
        return int(closed)


class HeartbeatChannel:
    """Messages every ``period`` s, each lost with probability ``loss`` or late by up to ``delay`` s.

    ``read`` is 1 in a scan that saw a fresh valid message. ``replayed``: old messages come instead; a receiver that
    ``checks_freshness`` ignores them, another believes them. ``flapping``: 1 s on, 1 s off.
    """

    def __init__(
        self, period: float, loss: float = 0.0, delay: float = 0.0, *, checks_freshness: bool = True, seed: int = 0,
        name: str = "",
    ) -> None:
        if period <= 0.0 or not 0.0 <= loss <= 1.0:
            raise SequencerError("a heartbeat needs a period above zero and a loss between 0 and 1")
        self.period, self.loss, self.delay, self.checks_freshness = period, loss, delay, checks_freshness
        self.fault: HeartbeatFault | None = None
        self._rng = generator(seed, name)
        self._time = 0.0
        self._next = 0.0
        self._coming: list[float] = []

    def read(self, h: float, *, sending: bool = True) -> int:
        """1 when a fresh message arrived in the last ``h`` seconds; ``sending`` False: the far end is silent."""
        self._time += h
        while self._next <= self._time + 1e-12:
            if self._passes(self._next, sending):
                self._coming.append(self._next + (self._rng.uniform(0.0, self.delay) if self.delay > 0.0 else 0.0))
            self._next += self.period
        arrived = [t for t in self._coming if t <= self._time + 1e-12]
        if arrived:
            self._coming = [t for t in self._coming if t > self._time + 1e-12]
        return int(bool(arrived))

    def _passes(self, t: float, sending: bool) -> bool:
        if self.loss > 0.0 and self._rng.random() < self.loss:
            return False
        if self.fault == "lost" or (self.fault == "flapping" and math.fmod(t, 2.0) >= 1.0):
            return False
        if self.fault == "replayed":
            return not self.checks_freshness
        return sending


def false_trips_per_hour(period: float, loss: float, missed: int) -> float:
    """Expected runs of at least ``missed`` lost messages per hour: messages an hour * (1 - loss) * loss^missed.

    A run begins after a message that came. Check: 5 % loss, 100 ms, 3 missed: about 4.28 an hour.
    """
    return 3600.0 / period * (1.0 - loss) * math.pow(loss, missed)
