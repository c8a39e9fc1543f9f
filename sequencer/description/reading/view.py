"""The pad as critical reading sees it: ways out in the order they are looked at, and where gas can go."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from sequencer.description import terms as t
from sequencer.description.findings import READING
from sequencer.description.grounds import HeadPart, LinePart, SupplyPart, VolumePart, WirePart
from sequencer.description.pad import Pad
from sequencer.description.spelling import offset_of
from sequencer.errors import Finding
from sequencer.quantities import show

Where = tuple[str | int, ...]


@dataclass(frozen=True)
class Exit:
    """One compiled row: literals, least scans in the state, next state, and where it is written."""

    state: str
    way: tuple[tuple[str, bool], ...]
    least: int
    to: str
    path: Where
    label: str
    trip: str = ""

    @property
    def says(self) -> str:
        """The literals in words."""
        return " and ".join(name if value else f"not {name}" for name, value in self.way) or "its time"


class View:
    """What the topics look at, and the findings they make. `dead` exits never fire."""

    def __init__(self, pad: Pad) -> None:
        self.pad = pad
        self.findings: list[Finding] = []
        self.dead: set[Exit] = set()
        self.exits: dict[str, list[Exit]] = {name: list(self._exits(name)) for name in pad.states}

    def say(self, name: str, path: Where, found: str, required: str, mend: str, *, text: str = "", word: str = "") -> None:
        """Report a finding at a path, or at a word of the text there."""
        place = self.pad.word_place(path, text, offset_of(word, text)) if word else self.pad.place(*path)
        self.findings.append(Finding(name, READING[name][0], place, found, required, mend))

    def _exits(self, state: str) -> Iterator[Exit]:
        pad = self.pad
        for name, trip in pad.trips.items():
            if state in trip.everywhere_but:
                continue
            least = pad.scans(trip.not_before.si) if trip.not_before else 0
            for way in t.alternatives(trip.once.expression):
                yield Exit(state, _named(way), least, trip.go_to, ("trips", name, "once"), f"trip '{name}'", name)
        for number, leave in enumerate(pad.states[state].leave):
            path: Where = ("states", state, "leave", number)
            label = f"way out {number + 1} of '{state}', to '{leave.go_to}'"
            if leave.once is not None:
                least = pad.scans(leave.not_before.si) if leave.not_before else 0
                for way in t.alternatives(leave.once.expression):
                    yield Exit(state, _named(way), least, leave.go_to, (*path, "once"), label)
            late = leave.at_latest or (leave.not_before if leave.once is None else None)
            if late is not None:
                key = "at_latest" if leave.at_latest else "not_before"
                yield Exit(state, (), pad.scans(late.si), leave.go_to, (*path, key), label)

    @property
    def live(self) -> dict[str, list[Exit]]:
        """The exits that can fire."""
        return {state: [one for one in exits if one not in self.dead] for state, exits in self.exits.items()}

    def spread(self, way: Iterable[tuple[str, bool]], every: bool = False) -> list[tuple[str, bool]]:
        """The literals and those they are combined from: what surely holds, or (`every`) what may be asked."""
        found = dict.fromkeys(way)
        todo = list(found)
        while todo:
            name, value = todo.pop()
            condition = self.pad.conditions[name]
            if not isinstance(condition.term, t.Combination):
                continue
            ways = t.alternatives(condition.term.expression, value)
            for one in ways if every or len(ways) == 1 else []:
                for literal in _named(one):
                    if literal not in found:
                        found[literal] = None
                        todo.append(literal)
        return list(found)

    def time(self, scans: int) -> str:
        """So many scans as a time: '150 ms', '5.00 s'."""
        ms = scans * self.pad.scan_ms
        return f"{ms} ms" if ms < 1000 else show(ms / 1000, "s")

    # -- gas

    @cached_property
    def lines(self) -> dict[str, LinePart]:
        return self.pad.parts(LinePart)

    @cached_property
    def volumes(self) -> list[str]:
        """Volumes of the site that gas can enter by some line."""
        ends = {one for line in self.lines.values() for one in (line.line.origin, line.line.end)}
        return [name for name in self.pad.parts(VolumePart) if name in ends]

    def opened_in(self, state: str) -> Callable[[LinePart], bool]:
        """Whether a line is open as the state commands; hand valves count as shut."""
        return lambda line: line.opened_by in self.pad.outputs and self.pad.commanded(state, line.opened_by) == "open" or line.opened_by.startswith("nothing")

    def opened_at_rest(self, line: LinePart) -> bool:
        """Whether a line is open without power; hand valves count as shut."""
        if line.opened_by in self.pad.outputs:
            return self.pad.outputs[line.opened_by].rest == "open"
        return line.opened_by.startswith("nothing")

    def reach(self, start: str, is_open: Callable[[LinePart], bool], backward: bool = False) -> set[str]:
        """Where gas from `start` can go through open lines (or, backward, where it can come from)."""
        found, todo = {start}, [start]
        while todo:
            here = todo.pop()
            for line in self.lines.values():
                one, two = line.line.origin, line.line.end
                if not is_open(line):
                    continue
                ways = [(one, two)] if line.one_way else [(one, two), (two, one)]
                for origin, end in ways:
                    origin, end = (end, origin) if backward else (origin, end)
                    if origin == here and end not in found and here != "air":
                        found.add(end)
                        todo.append(end)
        return found

    def vents(self, volume: str, is_open: Callable[[LinePart], bool]) -> bool:
        """Whether gas can leave a volume to the air."""
        return "air" in self.reach(volume, is_open)

    def fed(self, volume: str, is_open: Callable[[LinePart], bool]) -> bool:
        """Whether gas can enter a volume from a supply."""
        supplies = self.pad.parts(SupplyPart)
        return any(one in supplies for one in self.reach(volume, is_open, backward=True))

    def holds_gas(self, state: str) -> bool:
        """Whether some volume has no open way to the air in this state."""
        return any(not self.vents(volume, self.opened_in(state)) for volume in self.volumes)

    def fills(self, state: str) -> bool:
        """Whether some volume is fed in this state."""
        return any(self.fed(volume, self.opened_in(state)) for volume in self.volumes)

    @cached_property
    def releases(self) -> list[str]:
        """Outputs that work a release head."""
        heads = self.pad.parts(HeadPart)
        wired = [part.wire.origin for part in self.pad.parts(WirePart).values() if part.wire.end in heads]
        return list(dict.fromkeys(one for one in wired if one in self.pad.outputs))

    def starts_hazard(self, origin: str, to: str) -> str:
        """What a move starts that can hurt someone: '' when nothing."""
        for output in self.releases:
            idle = self.pad.output_positions[output][0]
            if self.pad.commanded(origin, output) == idle != self.pad.commanded(to, output):
                return f"moves {output} to {self.pad.commanded(to, output)}"
        if self.fills(to) and not self.fills(origin):
            return "lets gas in"
        return ""


def _named(way: dict[t.Expression, bool]) -> tuple[tuple[str, bool], ...]:
    return tuple((leaf.name, value) for leaf, value in way.items() if isinstance(leaf, t.Name))
