"""When gas must have left: bounded races of a vent against a state timer or a walk, and what keeps a volume from emptying."""

from __future__ import annotations

import math

from sequencer.description.grounds import LinePart, SupplyPart
from sequencer.proof.draft import Draft
from sequencer.proof.durations import FACTOR
from sequencer.proof.gas import asked_below, dumps, settles
from sequencer.proof.system import Race
from sequencer.proof.words import Cube


def comes(draft: Draft, output: str, position: str) -> bool:
    """Whether a valve that is commanded there comes there, as far as switches before its supply go."""
    from sequencer.proof.feeding import certain

    return certain(draft, output, position == "open")


def relied_on(draft: Draft, volume: str) -> frozenset[str]:
    """Parts that a vent of this volume rests on: valves and lines around it, and the supply's pressure."""
    found: set[str] = set(draft.pad.parts(SupplyPart))
    for line in draft.durations.around(volume):
        part = draft.pad.site[line]
        assert isinstance(part, LinePart)
        found |= {line} | ({part.opened_by} if part.opened_by in draft.pad.outputs else set())
    return frozenset(found)


def empties(draft: Draft, volume: str, edge: float, place: int, start: float | None = None) -> tuple[float, frozenset[str]] | None:
    """(most seconds from entering a place until the volume is below the edge, parts it rests on), if that place alone
    brings it about: however the fills stand where the dump outruns them, else with the fills commanded shut."""
    strong = _outrun(draft, volume, edge, place)
    weak = _empties(draft, volume, edge, place, start)
    if strong is not None and (weak is None or strong[0] <= FACTOR * weak or start is None):
        return strong
    return None if weak is None else (weak, relied_on(draft, volume))


def _outrun(draft: Draft, volume: str, edge: float, place: int) -> tuple[float, frozenset[str]] | None:
    """As `empties`, with every line in blowing: from a regulator that does not hold, else from one that does."""
    out = []
    p = draft.places[place]
    for line in dumps(draft, volume):
        part = draft.pad.site[line]
        assert isinstance(part, LinePart)
        if part.opened_by not in draft.pad.outputs:
            out.append(line)
            continue
        number = list(draft.pad.outputs).index(part.opened_by)
        code = draft.unpowered_code(number) if p.kind == "off" else draft.certain(0 if p.kind == "settling" else p.state, number)
        if code is not None and draft.table.outputs[number].positions[code] == "open" and comes(draft, part.opened_by, "open"):
            out.append(line)
    if not out:
        return None
    first = draft.pad.site[out[0]]
    assert isinstance(first, LinePart)
    stroke = draft.durations.stroke(first.opened_by) if first.opened_by in draft.pad.outputs else 0.0
    for failed in (True, False):
        settles = draft.durations.held_down_to(volume, out[:1], failed=failed)
        most = stroke + draft.durations.vent_time(volume, (out[0],), edge - settles, None, failed) if settles < 0.9 * edge else math.inf
        if most < math.inf:
            # both conductances are at their unfavourable ends here; the time found is doubled where it is used
            supplies = set() if failed else set(draft.pad.parts(SupplyPart))
            return most, frozenset({out[0], first.opened_by} | supplies)
    return None


def _empties(draft: Draft, volume: str, edge: float, place: int, start: float | None = None) -> float | None:
    """Most seconds from entering a place until the volume is below the edge, if that place alone brings it about;
    from its highest pressure, or from `start` (gauge Pa).

    Needs: a line to air commanded open whatever inhibits say, and every line in commanded shut or blocked.
    """
    p = draft.places[place]
    state = 0 if p.kind == "settling" else p.state
    names = list(draft.pad.outputs)

    def command(output: str) -> str | None:
        number = names.index(output)
        code = draft.unpowered_code(number) if p.kind == "off" else draft.certain(state, number)
        position = None if code is None else draft.table.outputs[number].positions[code]
        return position if position is not None and comes(draft, output, position) else None

    stroke = 0.0
    for line in draft.durations.around(volume):
        part = draft.pad.site[line]
        assert isinstance(part, LinePart)
        if draft.durations.feeds(line, volume):
            if part.opened_by not in draft.pad.outputs or command(part.opened_by) in (None, "open"):
                return None
            stroke = max(stroke, draft.durations.stroke(part.opened_by))
    out = []
    for line in dumps(draft, volume):
        part = draft.pad.site[line]
        assert isinstance(part, LinePart)
        if part.opened_by not in draft.pad.outputs:
            out.append(line)
        elif command(part.opened_by) == "open":
            out.append(line)
            stroke = max(stroke, draft.durations.stroke(part.opened_by))
    if not out:
        return None
    if start is not None:
        start = draft.durations.after_filling(volume, start, stroke)
    return stroke + draft.durations.vent_time(volume, tuple(out), edge, start)


def must_be_below(draft: Draft, volume: str, place: int, seconds: float, second: str) -> list[tuple[Cube, int]]:
    """What cannot be after `seconds` in this place: the volume still at its lowest edge that the vent reaches."""
    for edge in draft.bands.edges[volume]:
        found = empties(draft, volume, edge, place)
        if found is not None and FACTOR * found[0] <= seconds:
            most = found[0]
            name = draft.bands.name(volume, edge)
            race = Race(f"{volume} vents from its highest pressure to below {name.split('least ')[1]}", most, second, seconds, "physics", found[1])
            return [(draft.layout.cube({name: True}), draft.race(race))]
    return []


def held_up(draft: Draft, line: str) -> list[str]:
    """What keeps a volume from being seen empty when this line in stays open: in words, one for each line to air."""
    found = []
    for volume in draft.bands.edges:
        if not draft.durations.feeds(line, volume) or volume not in (draft.durations.lines[line].source, draft.durations.lines[line].target):
            continue
        for out in dumps(draft, volume):
            least = min([*draft.bands.edges[volume][:1], asked_below(draft, volume)])
            if settles(draft, volume, out) >= least:
                found.append(
                    f"with {line} open, {volume} may stay at {draft.durations.held_down_to(volume, [out]) / 1e5:.2f} bar however long {out} is open "
                    f"(every number at the end that hurts), and only below {least * 0.9 / 1e5:.2f} bar it would for certain be seen to be low"
                )
    return found
