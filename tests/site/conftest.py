"""A world with a hand on it: short words for what tests do to a pad."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sequencer.description import Pad, loads
from sequencer.site.world import World
from tests.quick_club import quick_club

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


class Rig:
    """A world, the commands it gets, and the story of its events."""

    def __init__(self, pad: Pad, seed: int = 0, thermal: str = "wall") -> None:
        self.pad, self.dt = pad, pad.scan.si
        self.world = World(pad, seed=seed, thermal=thermal)
        self.told: list[tuple[float, str, str]] = []
        self.codes: tuple[int, ...] | None = self.command()
        self.seen = self.world.sample()

    def command(self, **positions: str) -> tuple[int, ...]:
        """Codes with every output at its first position but those named."""
        return tuple(names.index(positions.get(name, names[0])) for name, names in self.pad.output_positions.items())

    def run(self, seconds: float = 0.0, until: Callable[[], bool] | None = None, **positions: str) -> Rig:
        """Command the positions (else go on with the last) for `seconds`, or until something is true."""
        if positions:
            self.codes = self.command(**positions)
        for _ in range(max(1, round(seconds / self.dt))):
            self.step()
            if until is not None and until():
                return self
        assert until is None, f"not within {seconds} s"
        return self

    def step(self) -> None:
        self.world.step(self.codes, self.dt)
        self.told += [(self.world.ground.now, part, what) for part, what in self.world.events]
        if self.world.powered:
            self.seen = self.world.sample()

    def off(self, seconds: float = 0.0) -> Rig:
        """The box does not run: pins undriven."""
        self.codes = None
        return self.run(seconds)

    def contact(self, name: str) -> int:
        return self.seen[0][list(self.world.wiring.contacts).index(name)]

    def counts(self, name: str) -> int:
        return self.seen[1][list(self.world.wiring.converters).index(name)]

    def said(self, part: str) -> list[str]:
        """What was told of a part, in order."""
        return [what for _, who, what in self.told if who == part]

    def told_at(self, part: str, words: str) -> float:
        return next(t for t, who, what in self.told if who == part and words in what)


def _text(name: str, *changes: tuple[str, str]) -> str:
    text = quick_club() if name == "club.yaml" else (CONFIGS / name).read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{name} no longer says: {old}"
        text = text.replace(old, new)
    return text


@pytest.fixture
def rig() -> Callable[..., Rig]:
    """rig("club.yaml", (old, new), …, seed=…): a world on a changed copy of an example."""

    def make(name: str, *changes: tuple[str, str], seed: int = 0, thermal: str = "wall") -> Rig:
        return Rig(loads(_text(name, *changes), name), seed, thermal)

    return make


@pytest.fixture
def club(rig: Callable[..., Rig]) -> Rig:
    """The club pad, latched, key in, dump shut, gas at 6 bar."""
    return charged(rig("club.yaml"))


def charged(made: Rig) -> Rig:
    made.world.latch("hold_down")
    made.world.set_switch("key", "turned")
    made.run(0.2, dump="shut")
    made.world.set_pressure("bottle", 6e5)
    return made.run(0.1)
