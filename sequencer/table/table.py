"""The compiled controller: integers only, frozen, the same for Python and for the chip.

Bits are numbered in file order. A literal list is a pair (care, want) of bit masks: it holds when
`bits & care == want`. Durations are whole scans. Positions of outputs are small codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

NO_TARGET = 0xFFFF
MAX_BITS = 128
MAX_SCANS = 0xFFFF_FFFE  # timers saturate one above
MAX_DELAY = 0xFFFE


class Kind(IntEnum):
    """What a bit is made from."""

    CONTACT = 0
    PRESS = 1
    AT_LEAST = 2
    BELOW = 3
    VALID = 4
    HEARD = 5
    DIFFERS = 6
    CHANGE = 7
    TARGET = 8
    STATE = 9
    COMMAND = 10
    ALL = 11
    MEMORY = 12


@dataclass(frozen=True)
class Literals:
    """Holds when `(bits & care == want) != invert`."""

    care: int = 0
    want: int = 0
    invert: bool = False

    def hold(self, bits: int) -> bool:
        return ((bits & self.care) == self.want) != self.invert


@dataclass(frozen=True)
class Bit:
    """One condition bit.

    source, second: index of the input, state, output or bit it is made from
    on, off:        AT_LEAST true from counts >= on until < off; BELOW true from < on until >= off;
                    HEARD age in scans <= on; DIFFERS |difference| >= on (scaled units);
                    CHANGE signed rise in counts >= on, after `off` scans of bit `second`;
                    TARGET drop-out `off` counts; COMMAND position `on`; MEMORY expires `on` scans (0 never)
    wanted:         the value of contact, validity, state or command that makes the bit true; for
                    DIFFERS and CHANGE 1 is 'at least', 0 is 'less than'
    sign:           CHANGE: 1 rises, -1 falls (in counts)
    hold, drop:     on-delay and off-delay in scans
    set, clear:     ALL uses `set`; MEMORY both
    """

    name: str
    kind: Kind
    source: int = 0
    second: int = 0
    on: int = 0
    off: int = 0
    wanted: bool = True
    sign: int = 1
    hold: int = 0
    drop: int = 0
    set: Literals = Literals()
    clear: Literals = Literals()
    hidden: bool = False


@dataclass(frozen=True)
class ContactSpec:
    """A contact: filtered level changes after `steady` scans (see scan.py)."""

    name: str
    steady: int


@dataclass(frozen=True)
class AnalogSpec:
    """A converter channel; valid when low <= counts <= high. gain * counts + offset is its value in
    the scaled units of DIFFERS (signed 32-bit)."""

    name: str
    bits: int
    low: int
    high: int
    gain: int = 0
    offset: int = 0


@dataclass(frozen=True)
class OutputSpec:
    """An output: position names in code order; rest is its code without power (None: stays)."""

    name: str
    positions: tuple[str, ...]
    rest: int | None
    idle: int


@dataclass(frozen=True)
class StateSpec:
    """A state: outputs' codes, target counts per analog (NO_TARGET: none), its rows' range."""

    name: str
    outputs: tuple[int, ...]
    targets: tuple[int, ...]
    first_row: int
    end_row: int


@dataclass(frozen=True)
class Row:
    """state + literals + least scans in state -> next state. Rows stand grouped by state, in order."""

    state: int
    care: int
    want: int
    least: int
    to: int
    origin: str  # 'trip NAME' or 'STATE exit N', for stories
    path: tuple[str | int, ...] = ()  # where in the file


@dataclass(frozen=True)
class InhibitSpec:
    """When the literals hold, `output` stays at `position`; later ones win."""

    output: int
    position: int
    care: int
    want: int
    name: str


@dataclass(frozen=True)
class Rounding:
    """How a threshold became counts: what was asked and what the chip does (SI, gauge)."""

    bit: str
    asked: float
    counts: int
    done: float
    kind: str


@dataclass(frozen=True)
class Table:
    """The whole controller. Order of inputs: contacts, analogs, heartbeats, each in file order."""

    title: str
    revision: int
    scan_ms: int
    contacts: tuple[ContactSpec, ...]
    analogs: tuple[AnalogSpec, ...]
    heartbeats: tuple[str, ...]
    outputs: tuple[OutputSpec, ...]
    bits: tuple[Bit, ...]
    states: tuple[StateSpec, ...]
    rows: tuple[Row, ...]
    inhibits: tuple[InhibitSpec, ...]
    roundings: tuple[Rounding, ...] = ()

    def bit_index(self, name: str) -> int:
        """Index of a bit by name; raises ValueError if there is none."""
        return [bit.name for bit in self.bits].index(name)

    def state_index(self, name: str) -> int:
        """Index of a state by name; raises ValueError if there is none."""
        return [state.name for state in self.states].index(name)

    def output_index(self, name: str) -> int:
        """Index of an output by name; raises ValueError if there is none."""
        return [output.name for output in self.outputs].index(name)
