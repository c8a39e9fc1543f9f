"""The trace of a run: a sample at least every tenth of a second, and at every change."""

from __future__ import annotations

from typing import Any

from sequencer.description.grounds import HeadPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.simulation.result import Trace
from sequencer.table import Table

EVERY_MS = 100
CLOSE_MS = 400  # so long after a change every period is kept


class Recorder:
    """Takes samples; `trace()` gives the columns."""

    def __init__(self, pad: Pad, table: Table) -> None:
        self.outputs = list(pad.outputs)
        self.volumes, self.heads = list(pad.parts(VolumePart)), list(pad.parts(HeadPart))
        self.rows: list[tuple[Any, ...]] = []
        self._next = self._close_until = 0

    def take(self, ms: int, state: int, codes: tuple[int, ...], world: Any, changed: bool) -> None:
        """Keep this period if it is time to, or something changed."""
        if changed:
            self._close_until = ms + CLOSE_MS
        elif ms < self._next and ms > self._close_until:
            return
        self._next = ms + EVERY_MS
        pressures = [world.pressure(name) for name in self.volumes]
        loads = [world.load(name) for name in self.heads]
        self.rows.append((ms, state, world.someone_on_pad, codes, pressures, loads))

    def trace(self) -> Trace:
        """The columns as numpy arrays."""
        import numpy as np

        ms, state, people, codes, pressures, loads = zip(*self.rows, strict=True) if self.rows else ((),) * 6
        grid = np.array(codes, dtype=np.int8).reshape(len(ms), len(self.outputs))
        gas = np.array(pressures, dtype=float).reshape(len(ms), len(self.volumes))
        force = np.array(loads, dtype=float).reshape(len(ms), len(self.heads))
        return Trace(
            np.array(ms, dtype=np.int64), np.array(state, dtype=np.int16),
            {name: grid[:, i] for i, name in enumerate(self.outputs)},
            {name: gas[:, i] for i, name in enumerate(self.volumes)},
            {name: force[:, i] for i, name in enumerate(self.heads)},
            np.array(people, dtype=bool),
        )  # fmt: skip
