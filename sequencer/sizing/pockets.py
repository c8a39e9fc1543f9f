"""Gas in hoses: what a hose holds between two shut valves, and what it does when it is let into the vessel after that.

The file does not say at which end of its hose a valve sits, so the sheet takes the end that hurts each line: the
shortest fill has no hose behind the valve; the longest fill and every vent have all of them; stored energy has each at
the highest pressure of its ends. The proof vents in the same way and never trusts a supply that was shut by hand, so a
pocket's gas is in its answers. A simulation counts a hose's room to the volume it leads to; a pocket stands in it only
where the file describes it as a volume.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.description.grounds import LinePart, SupplyPart
from sequencer.description.pad import Pad
from sequencer.quantities import show
from sequencer.site import energy, resolve
from sequencer.sizing.levels import Levels, is_open
from sequencer.sizing.sheet import Line

LET_IN = "isothermal, p V of hose and vessel"


@dataclass(frozen=True)
class Charged:
    """The hose of one line: its room in m3, and the highest pressure that either of its ends can have, gauge Pa."""

    line: str
    room: float
    highest: float

    @property
    def energy(self) -> float:
        """Stored energy in J, ASME PCC-2 Art. 501 (II-2)."""
        return energy.pcc2_energy(self.highest + energy.P_ATM_PCC2, self.room)


def charged(pad: Pad, volumes: dict[str, Levels]) -> list[Charged]:
    """Every line that has a hose, in file order."""
    found = []
    for name, part in pad.parts(LinePart).items():
        line = resolve.line(pad, name)
        if line.hose_volume > 0.0:
            ends = [_highest(pad, volumes, end) for end in (part.line.origin, part.line.end)]
            found.append(Charged(name, line.hose_volume, max(ends)))
    return found


def pockets(pad: Pad, volumes: dict[str, Levels]) -> Iterator[Line]:
    """Per line, what stays shut in between its valve and a supply's own valve or a check valve."""
    for name, part in pad.parts(LinePart).items():
        line = resolve.line(pad, name)
        supplied = part.line.origin in pad.parts(SupplyPart)
        valved = part.opened_by != "nothing, always open"
        if valved and (supplied or part.one_way):
            yield from _pocket(pad, volumes, name, line, supplied)
        if part.one_way:
            yield Line(f"{name}: kept by the check valve", line.cracks_at.nominal, "bar", "cracking difference", line.cracks_at.high,
                       "its high end", assumed=tuple(k for k in line.assumed if k == "line.cracks_at"),
                       note=f"{line.hose_volume * 1000:.2g} l of hose stay above the vessel by this")  # fmt: skip


def _pocket(pad: Pad, volumes: dict[str, Levels], name: str, line: resolve.ResolvedLine, supplied: bool) -> Iterator[Line]:
    top = _highest(pad, volumes, line.source)
    part = pad.site[name]
    assert isinstance(part, LinePart)
    opened = [state for state in pad.states if is_open(pad, state, part)]
    where = f"in every state but {', '.join(opened)}" if opened else "in every state"
    behind = f"{line.source} is shut by hand" if supplied else f"the check valve has shut behind {line.source}"
    size = "the pipe"
    if line.hose_volume:
        size = f"{line.hose_volume * 1000:.2g} l of hose ({energy.pcc2_energy(top + energy.P_ATM_PCC2, line.hose_volume):.3g} J)"
    yield Line(f"{name}: pocket before its valve", top, "bar", "no line leads it to air while the valve is shut",
               note=f"{size} up to the valve stays charged {where} after {behind}: bleed it",
               warning="nothing senses it")  # fmt: skip
    level = volumes.get(line.target)
    if level is None or not line.hose_volume:
        return
    after = _let_in(top, line.hose_volume, level.gas(pad))
    above = after > level.vented
    yield Line(f"{name}: pocket let into {line.target}", after, "bar", LET_IN, note=f"by {line.opened_by}, no gas in it before",
               warning=f"more than 'vented' ({show(level.vented, 'bar')}, {level.vented_from})" if above else "")  # fmt: skip


def _let_in(gauge: float, hose: float, vessel: float) -> float:
    """Gauge pressure (Pa) once a hose at `gauge` and a vessel at the air's pressure, m3 each, stand as one, isothermal."""
    return gauge * hose / (hose + vessel)


def _highest(pad: Pad, volumes: dict[str, Levels], end: str) -> float:
    if end in pad.parts(SupplyPart):
        return resolve.supply(pad, end).most
    return volumes[end].highest if end in volumes else 0.0
