"""Gas between volumes: which way pressures may move in each situation, and when they must have fallen.

Pressure goes up only while some path from something higher is open, and never above what the set of open paths can
reach; down it may go at any moment (a leak, cooling), which only adds behaviour. When it MUST have fallen is a
bounded race against a state timer or a walk.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from sequencer.description.grounds import HeadPart, LinePart, SupplyPart, VolumePart
from sequencer.proof.bands import comparison
from sequencer.proof.draft import Draft
from sequencer.proof.durations import FACTOR, LEAK, WATCHDOG
from sequencer.proof.system import Race, Row
from sequencer.table import Kind


def valve(output: str) -> str:
    """Name of the bit 'this valve truly stands open'."""
    return f"{output} truly open"


def overshoot(output: str) -> str:
    """Name of the bit 'gas has passed an edge through this valve since the last scan that commanded it open'."""
    return f"gas passed {output} just now"


def fillers(draft: Draft) -> list[str]:
    """Valves that let gas in from somewhere."""
    if "fillers" in draft.found:
        return draft.found["fillers"]  # type: ignore[no-any-return]  # kept there by this function
    found: list[str] = []
    for volume in draft.bands.edges:
        for line in draft.durations.around(volume):
            part = draft.pad.site[line]
            assert isinstance(part, LinePart)
            if draft.durations.feeds(line, volume) and part.opened_by in draft.pad.outputs:
                found.append(part.opened_by)
    draft.found["fillers"] = list(dict.fromkeys(found))
    return draft.found["fillers"]  # type: ignore[no-any-return]  # kept there by this function


def lay_out(draft: Draft) -> None:
    """Bits of every volume's bands and of every driven valve."""
    for volume, edges in draft.bands.edges.items():
        for edge in edges:
            draft.layout.new(draft.bands.name(volume, edge))
    for line in draft.pad.parts(LinePart).values():
        if line.opened_by in draft.pad.outputs:
            draft.layout.new(valve(line.opened_by))
    for output in fillers(draft):
        draft.layout.new(overshoot(output))


def heads_on(draft: Draft, volume: str) -> list[str]:
    """The release heads that hold a volume which flies."""
    part = draft.pad.site[volume]
    assert isinstance(part, VolumePart)
    return [n for n, head in draft.pad.parts(HeadPart).items() if head.release_head == volume] if part.flies else []


def opened(draft: Draft, line: str) -> dict[str, bool | int]:
    """What must hold for the line to pass gas at all."""
    part = draft.pad.site[line]
    assert isinstance(part, LinePart)
    needs: dict[str, bool | int] = {}
    if part.opened_by in draft.pad.outputs:
        needs[valve(part.opened_by)] = True
    return needs


def dumps(draft: Draft, volume: str) -> list[str]:
    """Driven or always open lines from a volume to air, which the box can rely on."""
    found = []
    for name in draft.durations.around(volume):
        part = draft.pad.site[name]
        assert isinstance(part, LinePart)
        if draft.durations.other(name, volume) == "air" and part.opened_by != "hand" and not part.parts_with:
            found.append(name)
    return found


def lets_back(line: str) -> str:
    """Name of the failure 'the check valve of this line lets gas back'."""
    return f"{line} lets gas back"


def failed_supply(draft: Draft, failures: frozenset[str]) -> bool:
    """Whether more than the supplies' set pressure may come: a regulator does not hold, or gas comes back through a
    check valve from where the pressure is higher."""
    return bool(failures & {*draft.pad.parts(SupplyPart), *map(lets_back, draft.pad.parts(LinePart))})


def ceiling(draft: Draft, volume: str, failures: frozenset[str] = frozenset()) -> float:
    """Highest pressure: supply or a working relief valve, whichever comes first. `failures` name supplies whose
    regulator does not hold, reliefs that are stuck, lines to air that are blocked, check valves that let gas back."""
    failed = failed_supply(draft, failures)
    back = any(lets_back(line) in failures for line in draft.durations.around(volume))
    reliefs = [n for n in draft.durations.reliefs(volume) if n not in failures and not back]
    tops = [draft.durations.relieved_to(volume, name, failed) for name in reliefs]
    return min([draft.durations.ceiling(volume, failed), *tops])


def settles(draft: Draft, volume: str, line: str) -> float:
    """Where a volume settles whose line to air is open while every line in blows, with a tenth to spare (gauge Pa)."""
    return draft.durations.held_down_to(volume, [line]) / 0.9


def asked_below(draft: Draft, volume: str) -> float:
    """The least pressure that gas must be under for some condition to say for certain that it is low (gauge Pa)."""
    found = [comparison(draft.pad, draft.table, bit, None, draft.durations) for bit in draft.table.bits if bit.kind in (Kind.AT_LEAST, Kind.BELOW)]
    return min((made.low for made in found if made is not None and made.volume == volume and made.low > 0.0), default=math.inf)


def at_its_end(draft: Draft, volume: str, low: float) -> dict[str, bool | int]:
    """What must be so that a volume in its lowest band comes below `low` as well, given time."""
    out = [settles(draft, volume, line) for line in dumps(draft, volume)]
    return {} if min(out, default=math.inf) < low else no_inflow(draft, volume)


def against(line: str) -> str:
    """Tag of the rows by which gas leaves through a line while more comes in."""
    return f"vent {line} against what comes"


def rows(draft: Draft) -> None:
    """All moves of pressure."""
    draft.rows.extend(rising(draft))
    for volume, edges in draft.bands.edges.items():
        names = [draft.bands.name(volume, edge) for edge in edges]
        for k in range(len(edges)):
            down: dict[str, bool | int] = {names[k]: True, **({names[k + 1]: False} if k + 1 < len(edges) else {})}
            below = names[k].removeprefix(f"{volume} at least ")
            draft.row(f"{volume} falls below {below}", "gas", down, {names[k]: False}, sure=False, tag="fall")
            for line in (n for n in dumps(draft, volume) if draft.durations.keeps(n) < edges[k]):
                draft.row(
                    f"gas leaves through {line}: {volume} below {below}", "gas",
                    down | opened(draft, line) | no_inflow(draft, volume), {names[k]: False}, forward=False, tag=f"vent {line}",
                )  # fmt: skip
                if settles(draft, volume, line) < edges[k]:
                    draft.row(
                        f"gas leaves through {line} faster than it comes: {volume} below {below}", "gas",
                        down | opened(draft, line), {names[k]: False}, forward=False, tag=against(line),
                    )  # fmt: skip


def rising(draft: Draft, failures: frozenset[str] = frozenset(), leaking: frozenset[str] = frozenset()) -> list[Row]:
    """Rows by which pressure rises, with these supplies and reliefs failed and these valves leaking."""
    kept, draft.rows = draft.rows, []
    for volume, edges in draft.bands.edges.items():
        names = [draft.bands.name(volume, edge) for edge in edges]
        top = ceiling(draft, volume, failures)
        for k, edge in enumerate(edges):
            here: dict[str, bool | int] = {names[k]: False, **({names[k - 1]: True} if k else {})}
            if edge >= top:
                continue
            for line in draft.durations.around(volume):
                for needs in _rises(draft, volume, line, edge, failures):
                    _rise(draft, volume, line, k, here | needs)
                part = draft.pad.site[line]
                assert isinstance(part, LinePart)
                if part.opened_by in leaking:
                    for needs in _rises(draft, volume, line, edge, failures, leaks=True):
                        name = draft.bands.name(volume, edge)
                        draft.row(f"gas leaks through {line}: {name}", "gas", here | needs, {name: True}, tag=f"up {line}")
    made, draft.rows = draft.rows, kept
    return made


def _rise(draft: Draft, volume: str, line: str, k: int, guard: dict[str, bool | int]) -> None:
    """Gas passes edge k. Between two scans, and while the valve is commanded shut and still moves, it can pass one
    edge, not a whole band (where the band is wide enough for that by the physics)."""
    edges = draft.bands.edges[volume]
    name = draft.bands.name(volume, edges[k])
    says, tag = f"gas comes through {line}: {name}", f"up {line}"
    part = draft.pad.site[line]
    assert isinstance(part, LinePart)
    if part.opened_by not in draft.pad.outputs or not draft.durations.feeds(line, volume):
        draft.row(says, "gas", guard, {name: True}, tag=tag)
        return
    number = list(draft.pad.outputs).index(part.opened_by)
    code = draft.table.outputs[number].positions.index("open")
    bit, most = overshoot(part.opened_by), draft.durations.stroke(part.opened_by)
    crosses = _crosses(draft, volume, k)
    wide = FACTOR * most <= crosses
    for places, cube, opens in [*((p, c, True) for p, c in draft.command(number, code)), *((p, c, False) for p, c in draft.command(number, code, False))]:
        both = cube.meet(draft.layout.cube(guard))
        assert both is not None
        if opens:
            # no scan comes between two edges while the box starts
            draft.row(says, "gas", both, {name: True}, (p for p in places if p not in draft.running), tag=tag)
            places = tuple(p for p in places if p in draft.running)
        entered = _entered(draft, volume, part.opened_by, line, k)
        held = [] if entered is None else [(draft.layout.cube({bit: True}), entered)]
        draft.row(says, "gas", both, {name: True, **({bit: True} if wide else {})}, places, unless=held, tag=tag)


def _crosses(draft: Draft, volume: str, k: int) -> float:
    """Least time from edge k to the next."""
    edges = draft.bands.edges[volume]
    return math.inf if k + 1 >= len(edges) else draft.durations.fill_least(volume, edges[k], edges[k + 1])


def _entered(draft: Draft, volume: str, output: str, line: str, k: int) -> int | None:
    """Number of the race that keeps gas from passing edge k right after the edge below it; None where no band is wide."""
    most = draft.durations.stroke(output)
    least = min([_crosses(draft, volume, j) for j in range(k) if FACTOR * most <= _crosses(draft, volume, j)], default=math.inf)
    if least == math.inf:
        return None
    outlasts = FACTOR * (most + WATCHDOG) <= least
    sound = frozenset({output, line, *([] if outlasts else ["box"]), *draft.pad.parts(SupplyPart)})
    second = f"{volume} rising from one threshold to the next"
    return draft.race(Race(f"{output} shuts", most, second, least, "physics", sound))


def no_inflow(draft: Draft, volume: str) -> dict[str, bool | int]:
    """The driven valves that let gas in, all shut."""
    shut: dict[str, bool | int] = {}
    for line in draft.durations.around(volume):
        part = draft.pad.site[line]
        assert isinstance(part, LinePart)
        if draft.durations.feeds(line, volume) and part.opened_by in draft.pad.outputs:
            shut[valve(part.opened_by)] = False
    return shut


def _rises(
    draft: Draft, volume: str, line: str, edge: float, failures: frozenset[str], *, leaks: bool = False
) -> Iterator[dict[str, bool | int]]:
    """Guards under which gas through `line` can bring the volume over the edge (`leaks`: through its shut valve)."""
    back = lets_back(line) in failures and draft.durations.other(line, volume) != "air"
    if not draft.durations.feeds(line, volume) and not back:
        return
    needs = opened(draft, line)
    here = draft.pad.site[line]
    assert isinstance(here, LinePart)
    if leaks:
        needs.pop(valve(here.opened_by), None)
    failed = failed_supply(draft, failures)
    for head in heads_on(draft, volume) if edge > draft.durations.lifts_at(volume) else ():
        needs[f"{head} latched"] = True
    far = draft.durations.other(line, volume)
    if isinstance(draft.pad.site.get(far), SupplyPart):
        if draft.durations.supply(far, far in failures) <= edge:
            return
    else:
        lower = [e for e in draft.bands.edges[far] if e <= edge]
        exact = draft.bands.at(far, edge)
        if exact is not None:
            needs[draft.bands.name(far, exact)] = True
        elif lower:
            needs[draft.bands.name(far, lower[-1])] = True
    for out in dumps(draft, volume):
        part = draft.pad.site[out]
        assert isinstance(part, LinePart)
        alone = line if leaks or back else None
        if out not in failures and draft.durations.held_down_to(volume, [out], failed, alone, LEAK if leaks else 1.0) <= edge:
            if part.opened_by not in draft.pad.outputs:
                return
            needs[valve(part.opened_by)] = False
    yield needs
