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

    def _ceiling(self, volume: str, failed: bool = False) -> float:
        """Highest pressure that any supply joined by lines can bring, however the valves stand."""
        seen, todo, top = {volume}, [volume], 0.0
        while todo:
            here = todo.pop()
            for line in self.around(here):
                far = self.other(line, here)
                if not self.feeds(line, here) or far in seen:
                    continue
                seen.add(far)
                if isinstance(self.pad.site.get(far), SupplyPart):
                    top = max(top, self.supply(far, failed))
                elif isinstance(self.pad.site.get(far), VolumePart):
                    todo.append(far)
        return top

    def held_down_to(self, volume: str, out: list[str], failed: bool = False, leaks: str | None = None) -> float:
        """Where the pressure settles when every line in blows and these lines to air are fully open; `leaks`: when
        only this line in leaks."""
        inflow = [n for n in self.around(volume) if self.feeds(n, volume) and leaks in (None, n)]
        top = self.ceiling(volume, failed) + ATMOSPHERE
        low, high = ATMOSPHERE, top
        for _ in range(60):
            middle = 0.5 * (low + high)
            gain = (LEAK if leaks else 1.0) * sum(self._flow(top, middle, self.lines[n].most) for n in inflow)
            loss = sum(self._flow(middle, ATMOSPHERE, self.lines[n].least) for n in out)
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
            needs = self.lines[name].needs.high
            if path.C == 0.0 or edge <= needs:
                continue
            ways: tuple[vessel.Process, ...] = ("isothermal", "adiabatic")
            if not part.above_water:
                continue
            best = min(best, max(hoses.vent_time(size, held, path, top, edge + ATMOSPHERE, process=way) for way in ways))
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
        """Most time from a contact's true change to the scan that acts on it: bounce, filter, two scans."""
        part = self.pad.inputs[contact]
        assert isinstance(part, ContactInput)
        return assumed("contact.bounce").high + part.steady_for.si + 2 * self.scan

    def lets_go(self, head: str) -> float:
        part = self.pad.site[head]
        assert isinstance(part, HeadPart)
        return given_or_assumed(part.lets_go_in, "release_head.lets_go_in").high


def error_of(pad: Pad, reading: str, slope: float) -> float:
    """Largest error of a reading: its accuracy and one count of the converter."""
    part = pad.inputs[reading]
    assert isinstance(part, AnalogInput)
    return part.accuracy.si + abs(slope)
