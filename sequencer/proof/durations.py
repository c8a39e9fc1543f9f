"""How long things take at their unfavourable end, asked of the site room; and how high pressures can come.

Nothing is computed here that `sequencer.site` computes: this only picks the end of a span that makes a race harder
to win. All pressures gauge pascal, times seconds.
"""

from __future__ import annotations

import math
from functools import cache

from sequencer.description.box import AnalogInput, ContactInput
from sequencer.description.grounds import HeadPart, LinePart, ReliefPart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.quantities import ATMOSPHERE
from sequencer.site import flow, hoses, resolve, vessel
from sequencer.site.assumed import assumed, given_or_assumed
from sequencer.site.hold import LIFTS
from sequencer.site.reaction import link_latency, message_period, sensor_lag

FACTOR = 2.0
"""A race that rests on physics must be won by this factor (semantics.md, section 6)."""
WATCHDOG = 0.25
"""Most seconds that a hung box keeps its outputs before the watchdog resets it (as in the simulator)."""
LEAK = 0.05
"""Most share of its conductance that a leaking valve passes when shut (the simulator takes 0.03)."""


class Durations:
    """Durations and ceilings of one pad."""

    def __init__(self, pad: Pad) -> None:
        self.pad = pad
        self.scan = pad.scan_ms / 1000
        self.lines = {name: resolve.line(pad, name) for name in pad.parts(LinePart)}
        self.ceiling = cache(self._ceiling)
        self.vent_time = cache(self._vent_time)

    def supply(self, name: str, failed: bool = False) -> float:
        """Highest outlet pressure of a supply; `failed`: what comes when its regulator does not hold."""
        resolved = resolve.supply(self.pad, name)
        return resolved.cylinder if failed else resolved.most

    def around(self, volume: str) -> list[str]:
        """The lines that end at a volume."""
        return [n for n, line in self.lines.items() if volume in (line.source, line.target)]

    def other(self, line: str, volume: str) -> str:
        resolved = self.lines[line]
        return resolved.target if resolved.source == volume else resolved.source

    def feeds(self, line: str, volume: str) -> bool:
        """Whether gas can pass along the line into the volume."""
        part = self.pad.site[line]
        assert isinstance(part, LinePart)
        return self.other(line, volume) != "air" and not (part.one_way and part.line.origin == volume)

    def keeps(self, line: str) -> float:
        """Pressure that a line to air may leave behind (gauge Pa): its check valve shuts, or its pilot has too little."""
        return max(self.cracks(line), self.lines[line].needs.high)

    def cracks(self, line: str) -> float:
        """Difference that the spring of its check valve takes from what drives the gas, Pa."""
        return self.lines[line].cracks_at.high

    def _ceiling(self, volume: str, failed: bool = False) -> float:
        """Highest pressure that any supply joined by lines can bring, however the valves stand; `failed`: through check
        valves that let gas back as well."""
        seen, todo, top = {volume}, [volume], 0.0
        while todo:
            here = todo.pop()
            for line in self.around(here):
                far = self.other(line, here)
                if far == "air" or far in seen or not (failed or self.feeds(line, here)):
                    continue
                seen.add(far)
                if isinstance(self.pad.site.get(far), SupplyPart):
                    top = max(top, self.supply(far, failed))
                elif isinstance(self.pad.site.get(far), VolumePart):
                    todo.append(far)
        return top

    def held_down_to(
        self, volume: str, out: list[str], failed: bool = False, alone: str | None = None, share: float = 1.0
    ) -> float:
        """Where the pressure settles when every line in blows and these lines to air are fully open; `alone`: when only
        this line does (either way through its check valve), with a share of its conductance."""
        inflow = [n for n in self.around(volume) if n == alone or alone is None and self.feeds(n, volume)]
        top = self.ceiling(volume, failed) + ATMOSPHERE
        low, high = ATMOSPHERE, top
        for _ in range(60):
            middle = 0.5 * (low + high)
            gain = share * sum(self._flow(top, middle, self.lines[n].most) for n in inflow)
            loss = sum(self._flow(middle - self.cracks(n), ATMOSPHERE, self.lines[n].least) for n in out if middle - ATMOSPHERE > self.keeps(n))
            low, high = (middle, high) if gain > loss else (low, middle)
        return high - ATMOSPHERE

    @staticmethod
    def _flow(up: float, down: float, path: flow.Conductance) -> float:
        return flow.mass_flow(up, down, flow.T0, path.C, path.b) if up > down else 0.0

    def relieved_to(self, volume: str, relief: str, failed: bool = False) -> float:
        """Highest pressure that a working relief valve lets the feeding lines reach (gauge Pa), or the ceiling.

        At its set pressure the valve stands open by a third at least (linear lift from reseat at 0.95 to full at 1.1
        of the set pressure); if that passes twice what every line in brings, the pressure stays below the set.
        """
        resolved = resolve.relief(self.pad, relief)
        top = self.ceiling(volume, failed)
        if top <= resolved.opens_at.high:
            return top
        share = 1.0 / 3.0
        inflow = [n for n in self.around(volume) if self.feeds(n, volume)]
        at = resolved.opens_at.high + ATMOSPHERE
        gain = sum(self._flow(top + ATMOSPHERE, at, self.lines[n].most) for n in inflow)
        loss = self._flow(at, ATMOSPHERE, flow.Conductance(share * resolved.conductance.low, 0.2))
        return resolved.opens_at.high if loss > FACTOR * gain else top

    def reliefs(self, volume: str) -> list[str]:
        return [n for n, part in self.pad.parts(ReliefPart).items() if part.relief == volume]

    def stroke(self, output: str) -> float:
        """Most time from a changed command to the valve (or relay) standing there, with the scan that writes it."""
        strokes = [line.stroke.high for line in self.lines.values() if line.opened_by == output]
        return max(strokes, default=assumed("relay.operate").high) + self.scan

    def _vent_time(self, volume: str, out: tuple[str, ...], edge: float, start: float | None = None, failed: bool = False) -> float:
        """Most time to fall from `start` (None: the ceiling) to `edge` through the best of these lines, the vessel
        without water, either process."""
        if edge <= 0.0 or not out:
            return math.inf
        top = (self.ceiling(volume, failed) if start is None else start) + ATMOSPHERE
        if top <= edge + ATMOSPHERE:
            return 0.0
        size, held = resolve.gas_volume(self.pad, volume, water=False), hoses.around(self.pad, volume)
        best = math.inf
        for name in out:
            path = self.lines[name].least
            part = self.pad.site[name]
            assert isinstance(part, LinePart)
            if path.C == 0.0 or edge <= self.keeps(name):
                continue
            less = self.cracks(name)  # the gas flows as if both ends of its fall stood so much lower
            ways: tuple[vessel.Process, ...] = ("isothermal", "adiabatic")
            if not part.above_water:
                continue
            best = min(best, max(hoses.vent_time(size, held, path, top - less, edge + ATMOSPHERE - less, process=way) for way in ways))
        return best

    def fill_least(self, volume: str, low: float, high: float) -> float:
        """Least time to rise from `low` to `high` with every line in blowing."""
        size = resolve.gas_volume(self.pad, volume)
        paths = [self.lines[n].most for n in self.around(volume) if self.feeds(n, volume)]
        if not paths or high >= self.ceiling(volume):
            return math.inf
        total = flow.Conductance(sum(p.C for p in paths), max(p.b for p in paths))
        top = self.ceiling(volume) + ATMOSPHERE
        return vessel.fill_time(size, total, top, low + ATMOSPHERE, high + ATMOSPHERE, process="adiabatic")

    def rate(self, volume: str, pressure: float, *, falling: bool = False) -> float:
        """Most that the pressure rises (falls) in a second at a pressure (gauge Pa) with every line in (out) open, Pa/s:
        adiabatic, so the temperature of the gas that moves counts (open-system energy balance of an ideal gas)."""
        here, top, total = pressure + ATMOSPHERE, self.ceiling(volume) + ATMOSPHERE, 0.0
        for line in self.around(volume):
            if falling:
                total += self._flow(here, ATMOSPHERE, self.lines[line].most)
            elif self.feeds(line, volume):
                total += self._flow(top, here, self.lines[line].most)
        return flow.GAMMA * flow.R_AIR * flow.T0 * total / resolve.gas_volume(self.pad, volume)

    def lags(self, reading: str, volume: str, pressure: float, *, falling: bool = False) -> float:
        """How far a sound reading may be behind while the pressure passes a threshold, Pa: a ramp is read late by the
        sensor's time constant. A sensor whose lag the file does not give is taken to follow within a scan."""
        lag, left_out = sensor_lag(self.pad, reading)
        return 0.0 if left_out else lag.high * self.rate(volume, max(0.0, pressure), falling=falling)

    def behind(self, reading: str, volume: str) -> float:
        """The same at whatever pressure it moves fastest, up or down."""
        return max(self.lags(reading, volume, 0.0), self.lags(reading, volume, self.ceiling(volume), falling=True))

    def after_filling(self, volume: str, start: float, seconds: float) -> float:
        """Highest pressure after `seconds` of every line in blowing, from `start`."""
        low, high = start, self.ceiling(volume)
        if low >= high:
            return start
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.fill_least(volume, start, middle) <= seconds else (low, middle)
        return high

    def follows(self, contact: str) -> float:
        """Most time from a contact's true change to the scan that acts on it: link, bounce, filter, two scans."""
        part = self.pad.inputs[contact]
        assert isinstance(part, ContactInput)
        link, _ = link_latency(self.pad, contact)
        carried = 0.0 if link is None else link.high + message_period(self.pad, contact)
        return carried + assumed("contact.bounce").high + part.steady_for.si + 2 * self.scan

    def lifts_at(self, volume: str) -> float:
        """Pressure up to which a vehicle on its seat may stay there by its weight alone, with no head latched (gauge Pa)."""
        heads = [part for part in self.pad.parts(HeadPart).values() if part.release_head == volume]
        weights = [given_or_assumed(part.weight, "release_head.weight").high for part in heads]
        seats = [math.pi / 4.0 * part.seat.low**2 for part in heads]
        return max((w + LIFTS for w in weights), default=0.0) / min(seats, default=1.0)

    def held(self, head: str) -> str:
        """The volume that a head holds down."""
        part = self.pad.site[head]
        assert isinstance(part, HeadPart)
        return part.release_head

    def lets_go(self, head: str) -> float:
        part = self.pad.site[head]
        assert isinstance(part, HeadPart)
        return given_or_assumed(part.lets_go_in, "release_head.lets_go_in").high


def error_of(pad: Pad, reading: str, slope: float) -> float:
    """Largest error of a reading: its accuracy and one count of the converter."""
    part = pad.inputs[reading]
    assert isinstance(part, AnalogInput)
    return part.accuracy.si + abs(slope)
