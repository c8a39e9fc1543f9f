"""Every race the proof leans on, with both durations: what it takes to be over in time must be over in time."""

from __future__ import annotations

import re
from dataclasses import dataclass

from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.proof.build import draft_of, races_of
from sequencer.proof.controller import races as timed
from sequencer.proof.draft import Draft
from sequencer.proof.durations import FACTOR
from sequencer.proof.system import Race
from sequencer.sizing.sheet import Line, Section, ratio

WON = {
    "file": "the file's own durations: first at most < second at least",
    "physics": f"physics at its bad end: {FACTOR:g} x first at most < second at least",
    "scans": "counted in scans: first at most < second at least",
}


def race_section(pad: Pad) -> Section:
    """One line per thing that must be over, against the nearest of all it must be over before; the others named."""
    about = "What the proof assumes about time. Value: first at most; worst: the nearest second, at least."
    try:
        races = draft_of(pad).races
    except SequencerError as error:
        none = Line("races", None, "s", "the proof's abstraction", words="not worked out", note=error.message,
                    warning="the proof cannot take this pad, so its races are not known")  # fmt: skip
        return Section("Races the proof leans on", about, (none,))
    groups: dict[tuple[str, float, str], list[Race]] = {}
    for race in races:
        groups.setdefault((race.first, race.first_most, race.source), []).append(race)
    seen: dict[str, int] = {}
    lines = []
    for (first, most, source), same in groups.items():
        seen[first] = seen.get(first, 0) + 1
        lines.append(_line(f"{first}{'' if seen[first] == 1 else f' ({seen[first]})'}", most, source, same))
    return Section("Races the proof leans on", about, tuple(lines))


@dataclass(frozen=True)
class Standing:
    """How a race stands: its two durations, whether it is won by its factor, and for a vent the level it comes below
    (its number from the lowest, and gauge Pa)."""

    first_most: float
    second_least: float
    won: bool
    level: int = 0
    pressure: float = 0.0

    def lost(self, now: Standing | None) -> bool:
        """Whether the race is lost in a changed pad: not there, not won, or it only comes below a higher level."""
        return now is None or not now.won or (now.level > self.level and now.pressure > 1.1 * self.pressure)


def leaned_on(pad: Pad) -> dict[str, str]:
    """{name that stays when a number of the file changes: the race in words} of every race the proof leans on.
    Empty for a pad that the proof cannot take."""
    try:
        draft = draft_of(pad)
    except SequencerError:
        return {}
    races = tuple(draft.races)
    moments = timed(draft)
    return {_key(moments, race): str(race) for race in races}


@dataclass(frozen=True)
class Standings:
    """{the same names: how the race stands}, the worst where one name has several; and every moment that a thing could
    have to be over before, by the same names, whether something is over before it or not."""

    races: dict[str, Standing]
    moments: frozenset[str]

    def says_of(self, key: str) -> str:
        """What has become of a race that was there in the unchanged pad: 'lost' where its moment is there and the thing is
        not over in time, 'no longer leaned on' where the proof does not wait for that moment any more."""
        return "lost" if key in self.races or key.rpartition(_BEFORE)[2] in self.moments else "no longer leaned on"


def standings(pad: Pad) -> Standings:
    """The races of a pad; some may be there that the proof does not come to. Raises SequencerError for a pad that the
    proof cannot take."""
    draft = races_of(pad)
    moments, levels = timed(draft), _levels(draft)
    found: dict[str, Standing] = {}
    for race in draft.races:
        key, vents = _key(moments, race), _VENTS.match(race.first)
        level = levels.get(f"{vents[1]} {vents[3]}", (0, 0.0)) if vents is not None else (0, 0.0)
        one = Standing(race.first_most, race.second_least, _margin(race.source, race.first_most, race.second_least) >= 1.0, *level)
        if key not in found or one.second_least < found[key].second_least:
            found[key] = one
    rising = (f"{volume} rising from one threshold to the next" for volume in draft.bands.edges)
    there = {moments.get(race.second, race.second) for race in draft.races}
    return Standings(found, frozenset({*moments.values(), *rising, *there}))


def _margin(source: str, most: float, least: float) -> float:
    return ratio(least, (FACTOR if source == "physics" else 1.0) * most)


_BEFORE = " before "
_VENTS = re.compile(r"(\w+) (vents from .*) to below (.+)$")


def _levels(draft: Draft) -> dict[str, tuple[int, float]]:
    """{a level as the races say it: its number from the lowest, gauge Pa}."""
    return {
        f"{volume} {draft.bands.name(volume, edge).split('least ')[1]}": (number, edge)
        for volume, edges in draft.bands.edges.items() for number, edge in enumerate(edges, 1)
    }  # fmt: skip


def _key(moments: dict[str, str], race: Race) -> str:
    vents = _VENTS.match(race.first)
    first = race.first if vents is None else f"{vents[1]} {vents[2]}"
    return f"{first}{_BEFORE}{moments.get(race.second, race.second)}"


def _line(name: str, most: float, source: str, races: list[Race]) -> Line:
    nearest = min(races, key=lambda race: race.second_least)
    others = [race.second for race in sorted(races, key=lambda race: race.second_least) if race is not nearest]
    return Line(
        name, most, "s", WON[source], nearest.second_least, nearest.second, _margin(source, most, nearest.second_least), 1.2,
        f"before {nearest.second}", note=f"also before {', '.join(others)}" if others else "",
    )  # fmt: skip
