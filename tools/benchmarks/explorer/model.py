"""Rows of a system and of its sets of faults as plain masks, for explorers that know nothing else.

`whole=False`: switches that any scan may find either way are left out of the word, as the product does. `whole=True`:
they are bits like any other, with a row for a hand in each direction; so an explorer without reductions sees it.
"""

from __future__ import annotations

import json
import subprocess
import sys
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sequencer.firmware.toolchain import build, zig
from sequencer.proof.draft import Draft
from sequencer.proof.faults import Edit, changed
from sequencer.proof.system import Bad, Row, System
from sequencer.proof.words import Cube

ALL = (1 << 64) - 1
FLAGS = ("-O3", "-march=native", "-std=gnu11", "-Wall", "-Wextra", "-Werror")


@dataclass(frozen=True)
class Entry:
    """A row at one place: a word there with `word & care == want` becomes `word & keep | put`."""

    place: int
    care: int
    want: int
    keep: int
    put: int
    idle: bool
    unless: tuple[tuple[int, int], ...]
    judged: tuple[int, ...]
    """Numbers of the bad cubes that the image is judged on."""


class Model:
    """One system and some sets of faults."""

    def __init__(self, draft: Draft, system: System, sets: Sequence[Edit] = (), *, whole: bool = False) -> None:
        self.system, self.whole = system, whole
        self.left = 0 if whole else system.free
        self.bads: list[tuple[int, Bad]] = [(n, bad) for n, rule in enumerate(system.rules) for bad in rule.bad]
        self.starts = sorted({s & ~self.left for s in system.starts} | ({s | system.free for s in system.starts} if whole else set()))
        sound = [r for r in system.rows if r.forward]
        self.rows = [e for row in [*sound, *self._hands()] for e in self._entries(row, 0)]
        self.sets = [list(self._own(draft, sound, edit)) for edit in sets]

    def _hands(self) -> Iterator[Row]:
        """A hand at each switch, both ways."""
        for bit in range(self.system.layout.shift):
            if self.whole and self.system.free >> bit & 1:
                for value in (0, 1):
                    guard = Cube(1 << bit, (1 - value) << bit)
                    yield Row("a hand", "crew", tuple(range(len(self.system.places))), guard, (1 - value) << bit, value << bit)

    def _own(self, draft: Draft, sound: list[Row], edit: Edit) -> Iterator[Entry]:
        for row in changed(draft, self.system, edit):
            yield from self._entries(row, edit.blind)
        for row in sound if edit.blind else ():
            if self._known(row, edit.blind) != self._known(row, 0):
                yield from self._entries(row, edit.blind)  # judged anew: the box does not see the switch

    def _known(self, row: Row, blind: int) -> int:
        return row.guard.care & self.system.free & ~blind

    def _entries(self, row: Row, blind: int) -> Iterator[Entry]:
        system = self.system
        care = row.guard.care & ~self.left & ~blind
        low = system.layout.low
        for place in row.at:
            put, keep = row.set & ~self.left, ~row.clear & ALL
            if row.to is not None:
                keep, put = keep & low, put | row.to << system.layout.shift
            judged = tuple(n for n, (_, bad) in enumerate(self.bads) if self._judged(row, bad, blind))
            unless = tuple((c.care, c.want) for c, _ in row.unless)
            yield Entry(place, care, row.guard.want & care, keep & ~put & ~self.left & ALL, put, row.idle, unless, judged)

    def _judged(self, row: Row, bad: Bad, blind: int) -> bool:
        if not bad.after_scan or not (row.scan or row.tag in ("settle", "boot")) or (row.lazy and bad.starts is None):
            return False
        return self.whole or not (row.guard.want ^ bad.cube.want) & bad.cube.care & self._known(row, blind)

    def data(self) -> bytes:
        """The file that explorer.c reads."""
        system = self.system
        out = array("Q", [system.layout.shift, ~system.spent & ALL, len(system.places), len(self.starts), *self.starts, len(self.bads)])

        def cube(places: frozenset[int], cube: Cube) -> list[int]:
            mask = sum(1 << p for p in places)
            return [*(mask >> 64 * i & ALL for i in range(4)), cube.care & ~self.left, cube.want & ~self.left]

        for _, bad in self.bads:
            out.extend([*cube(bad.places, bad.cube), bad.after_scan, bad.starts is not None, len(bad.sources)])
            for places, source in bad.sources:
                out.extend(cube(places, source))

        def entries(some: list[Entry]) -> None:
            out.append(len(some))
            for e in some:
                out.extend([e.place, e.care, e.want, e.keep, e.put, e.idle, len(e.unless), *(m for u in e.unless for m in u), len(e.judged), *e.judged])

        entries(self.rows)
        out.append(len(self.sets))
        for some in self.sets:
            entries(some)
        if sys.byteorder == "big":
            out.byteswap()
        return out.tobytes()

    def rules(self, broken: int) -> frozenset[int]:
        """Numbers of the rules whose bad cubes are marked."""
        return frozenset(rule for n, (rule, _) in enumerate(self.bads) if broken >> n & 1)


@dataclass(frozen=True)
class Answer:
    """What an explorer found. seconds: the run without faults, best of its turns; sets: (situations, rules broken)."""

    seconds: float
    count: int
    transitions: int
    broken: frozenset[int]
    sets: tuple[tuple[int, frozenset[int]], ...]
    sets_seconds: float
    peak: int
    """Largest resident memory, bytes."""


def compiled(model: Model, folder: Path, mode: str, turns: int = 3) -> Answer:
    """Run the C explorer; raises Missing without a compiler."""
    path = build(zig(), {"explorer.c": (Path(__file__).parent / "explorer.c").read_text()}, FLAGS, "explorer")
    file = folder / "model.bin"
    file.write_bytes(model.data())
    said = subprocess.run([str(path), str(file), mode, str(turns)], capture_output=True, text=True, check=True)
    got: dict[str, Any] = json.loads(said.stdout)
    sets = tuple((int(count), model.rules(int(broken))) for count, broken in got["sets"])
    return Answer(got["seconds"], got["count"], got["transitions"], model.rules(got["broken"]), sets, got["sets_seconds"], got["peak"] * 1024)


def plain(model: Model) -> int:
    """How many situations a plain Python loop over rows reaches, with ints, a set and a dict; nothing is judged."""
    shift, kept = model.system.layout.shift, ~model.system.spent & ALL
    rows: dict[int, list[tuple[int, int, int, int, tuple[tuple[int, int], ...]]]] = {}
    for e in model.rows:
        if not e.idle:
            rows.setdefault(e.place, []).append((e.care, e.want, e.keep, e.put, e.unless))
    seen = set(model.starts)
    frontier = list(seen)
    while frontier:
        fresh = []
        for word in frontier:
            for care, want, keep, put, unless in rows.get(word >> shift, ()):
                if word & care != want or (unless and any(word & c == w for c, w in unless)):
                    continue
                image = (word & keep | put) & kept
                if image not in seen:
                    seen.add(image)
                    fresh.append(image)
        frontier = fresh
    return len(seen)


__all__ = ["Answer", "Entry", "Model", "compiled", "plain"]
