"""One pad out of many: every value that the file gives a range for, and every default with a range, drawn.

Half of the draws fall between least and nominal, half between nominal and most, evenly on each side: the nominal value is
the median and nothing is taken to bunch around it. Values are drawn independently of one another; a default that several
parts share (the stroke of valves, say) is drawn once for all of them. What the run itself draws anew each time (noise, zero
errors, lost messages, message latency, boot time, how long people take) comes from the run's seed.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from sequencer.description.grounds import HeadPart, LinkPart, PowerPart, TestLoadPart
from sequencer.description.pad import Pad
from sequencer.quantities import Span
from sequencer.site.assumed import assumptions, drawn
from sequencer.site.world import World

RANGES: tuple[tuple[type, str], ...] = (
    (LinkPart, "latency"), (PowerPart, "boot"), (HeadPart, "load_range"), (TestLoadPart, "load"),
)  # fmt: skip
"""Ranges of the file that are no tolerances: drawn within each run, or limits."""
RANGE_KEYS = ("link.latency", "power.boot")


@dataclass(frozen=True)
class Parameter:
    """A value that is drawn. `where` is (section, part, key, key within) for the file's own, () for a default."""

    name: str
    span: Span
    where: tuple[str, ...] = ()

    def draw(self, rng: random.Random) -> float:
        """One value, SI."""
        u = rng.random()
        low, mid, high = self.span.low, self.span.nominal, self.span.high
        return low + 2.0 * u * (mid - low) if u < 0.5 else mid + (2.0 * u - 1.0) * (high - mid)


@dataclass(frozen=True)
class Draw:
    """One drawn pad: `values` in the order of the parameters; the seed of its run."""

    pad: Pad
    assumed: Mapping[str, float]
    seed: int
    values: tuple[float, ...] = ()

    def world(self) -> World:
        """A new world of it."""
        with drawn(self.assumed):
            return World(self.pad, seed=self.seed)


class _Asked(dict[str, float]):
    """Notes which defaults are asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.keys_asked: list[str] = []

    def get(self, key: str, default: Any = None) -> Any:
        if key not in self.keys_asked:
            self.keys_asked.append(key)
        return default


def parameters(pad: Pad) -> tuple[Parameter, ...]:
    """All values of a pad with a range: the file's own in file order, then the defaults that its world asks for."""
    found: list[Parameter] = []
    for section in ("inputs", "outputs", "site"):
        for name, part in getattr(pad, section).items():
            for key in type(part).model_fields:
                if any(isinstance(part, kind) and key == own for kind, own in RANGES):
                    continue
                value = getattr(part, key)
                inner = value.items() if isinstance(value, dict) else ((None, value),)
                for within, span in inner:
                    if isinstance(span, Span) and span.low < span.high:
                        label = f"{name}.{key}" if within is None else f"{name}.{key}.{within}"
                        where = (section, name, key) if within is None else (section, name, key, within)
                        found.append(Parameter(label, span, where))
    asked = _Asked()
    with drawn(asked):
        World(pad)
    for key in asked.keys_asked:
        span = assumptions()[key].span
        if span.low < span.high and key not in RANGE_KEYS:
            found.append(Parameter(f"assumed {key}", span))
    return tuple(found)


def nominal(pad: Pad, seed: int = 0) -> Draw:
    """The pad as the file says it."""
    return Draw(pad, {}, seed)


def draw(pad: Pad, of: tuple[Parameter, ...], seed: int, number: int) -> Draw:
    """Draw `number` of a trial with this seed: same pad, seed and number, same draw."""
    rng = random.Random(f"{seed}/{number}/tolerances")
    values = tuple(parameter.draw(rng) for parameter in of)
    sections: dict[str, dict[str, Any]] = {}
    defaults: dict[str, float] = {}
    for parameter, value in zip(of, values, strict=True):
        if not parameter.where:
            defaults[parameter.name.removeprefix("assumed ")] = value
            continue
        section, name, key, *within = parameter.where
        parts = sections.setdefault(section, dict(getattr(pad, section)))
        part = parts[name]
        span: Any = replace(parameter.span, low=value, nominal=value, high=value)
        if within:
            span = {**getattr(part, key), within[0]: span}
        parts[name] = part.model_copy(update={key: span})
    return Draw(pad.model_copy(update=sections), defaults, seed * 1_000_000 + number, values)
