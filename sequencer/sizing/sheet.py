"""What a sizing sheet is: sections of lines, each a number with its unit, source, unfavourable end and margin.

Frozen and free of any screen: the terminal, JSON and the plots are three views of these objects.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from sequencer.errors import Place
from sequencer.quantities import UNITS, factor, show

Judgement = Literal["", "holds", "thin", "fails"]

BLIND = (
    "This sheet computes a model of the file; it has seen no hardware and certifies nothing.",
    "Stored gas can kill: keep people away whatever it says. A hardware relief, a locking pin and a vent "
    "that opens on power loss are not optional. Follow the local code, the site's rules and the range "
    "safety officer, and get qualified advice on pressure equipment.",
    "Blind to: strength of parts and welds, fragments, the flying vehicle, ice, dirt beyond the friction given, "
    "ageing, and every value marked 'assumed' until it is measured.",
)
FLOW_KEYS = ("line.conductance", "line.critical_ratio", "line.discharge")
"""Defaults that a flow path leans on."""
BLAST_ONLY = "blast only; fragments, hoses and the vehicle go further"


@dataclass(frozen=True)
class Line:
    """One line of the sheet.

    `value` and `worst` are SI (point pressures gauge), `unit` is how they are shown (a spelling of the file, or '' for
    a bare number). `margin` says how many times what is needed there is; below `limit` it is thin, below 1 it fails.
    `brief` lines need no second line on the screen. `source` names formula and origin. `assumed` lists the defaults it leans on.
    """

    name: str
    value: float | None
    unit: str
    source: str
    worst: float | None = None
    worst_is: str = ""
    margin: float | None = None
    limit: float | None = None
    against: str = ""
    assumed: tuple[str, ...] = ()
    note: str = ""
    words: str = ""
    warning: str = ""
    brief: bool = False
    place: Place = field(default=Place(), compare=False)

    @property
    def judgement(self) -> Judgement:
        """'fails' below 1, 'thin' below `limit`, else 'holds'; '' where nothing is required."""
        if self.margin is None:
            return ""
        if self.margin < 1.0 or math.isnan(self.margin):
            return "fails"
        return "thin" if self.limit is not None and self.margin < self.limit else "holds"

    @property
    def shown(self) -> str:
        """The value as text with its unit, or its words."""
        return self.words or shown(self.value, self.unit)

    @property
    def worst_shown(self) -> str:
        """The unfavourable end as text; '' where there is none."""
        return "" if self.worst is None else shown(self.worst, self.unit)


@dataclass(frozen=True)
class Section:
    """One screen of the sheet."""

    name: str
    about: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Sheet:
    """The whole sheet of one file."""

    title: str
    revision: int
    file: str
    blind: tuple[str, ...]
    sections: tuple[Section, ...]
    assumed: tuple[tuple[str, str, str], ...]

    @property
    def lines(self) -> tuple[Line, ...]:
        return tuple(line for section in self.sections for line in section.lines)

    def line(self, name: str) -> Line:
        """The line of that name; raises KeyError if there is none."""
        for line in self.lines:
            if line.name == name:
                return line
        raise KeyError(name)

    def judged(self, judgement: Judgement) -> tuple[Line, ...]:
        """Lines with this judgement, thinnest first."""
        found = [line for line in self.lines if line.judgement == judgement]
        return tuple(sorted(found, key=lambda line: line.margin or 0.0))

    @property
    def warned(self) -> tuple[Line, ...]:
        """Lines with a warning that neither fail nor are thin."""
        return tuple(line for line in self.lines if line.warning and line.judgement not in ("fails", "thin"))

    @property
    def holds(self) -> bool:
        """True when no line fails (thin ones are only warned of)."""
        return not self.judged("fails")


_MORE = {"kJ": 1e3}


def shown(si: float | None, unit: str) -> str:
    """A number in SI shown in `unit` with three digits; 'never' for infinite times, '-' for none."""
    if si is None or math.isnan(si):
        return "-"
    if math.isinf(si):
        return "never" if unit in ("s", "ms", "min") else "without end"
    if unit in _MORE:
        return f"{si / _MORE[unit]:.3g} {unit}"
    if not unit:
        return f"{si:z.3g}" if abs(si) < 1000 else f"{si:.0f}"
    least = 0.001 * (factor(unit)[0] if unit != "degC" else 1.0)
    if 0.0 < abs(si) < least and UNITS[unit][0] not in ("ratio", "conductance", "rate"):
        return f"< 0.001 {unit}"
    return show(si, unit)


def ratio(have: float, need: float) -> float:
    """have / need; infinite when nothing is needed, 0 when something is needed and nothing there."""
    if need <= 0.0:
        return math.inf
    if math.isinf(need):
        return 0.0
    return max(0.0, have) / need
