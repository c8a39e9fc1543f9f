"""Every race the proof leans on, with both durations: what it takes to be over in time must be over in time."""

from __future__ import annotations

from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.proof.build import draft_of
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


def _line(name: str, most: float, source: str, races: list[Race]) -> Line:
    nearest = min(races, key=lambda race: race.second_least)
    others = [race.second for race in races if race is not nearest]
    factor = FACTOR if source == "physics" else 1.0
    return Line(
        name, most, "s", WON[source], nearest.second_least, nearest.second, ratio(nearest.second_least, factor * most), 1.2,
        f"before {nearest.second}", note=f"also before {', '.join(others)}" if others else "",
    )  # fmt: skip
