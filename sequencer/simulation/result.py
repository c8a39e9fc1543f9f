"""What a run leaves behind: plain and frozen; story, JSON, plot and box log are views of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from sequencer.table.boxlog import Entry

Outcome = Literal["held", "broken", "not exercised"]


@dataclass(frozen=True)
class Line:
    """One line of the story. `kind`: who speaks (box, crew, pad, fault, power, rule); `why`: reasons, in words."""

    ms: int
    kind: str
    who: str
    what: str
    state: str
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judged:
    """What became of one interlock in this run.

    ms:      first breach (None: none)
    asked:   False when the run carries more faults than the rule is asked to withstand
    measured_ms: slowest reaction seen, where the rule has one
    waived: the file's written reason why a breach is accepted; a run fails all the same
    """

    name: str
    outcome: Outcome
    says: str
    severity: str
    ms: int | None = None
    asked: bool = True
    measured_ms: int | None = None
    waived: str | None = None


@dataclass(frozen=True)
class Trace:
    """Columns over time, equal in length. Pressures gauge pascal, loads newton, states and outputs codes."""

    ms: Any
    state: Any
    outputs: dict[str, Any]
    pressures: dict[str, Any]
    loads: dict[str, Any]
    people: Any


@dataclass(frozen=True)
class Run:
    """One simulated run.

    state_at_end is '' when the box was off; `log_ms` are the times of the log's lines; `waiting` are events whose moment never came; `first_out` is
    the first trip that fired; `against` are the reasons of a failed verdict; `blind` says what it cannot know, `pressures` what zero
    means in its pressures.
    """

    title: str
    file: str
    story_name: str
    seed: int
    scan_ms: int
    ended_ms: int
    state_at_end: str
    people_allowed: bool
    lines: tuple[Line, ...]
    log: tuple[Entry, ...]
    log_ms: tuple[int, ...]
    judged: tuple[Judged, ...]
    faults: tuple[str, ...]
    waiting: tuple[str, ...]
    first_out: str
    crew_finished: bool
    against: tuple[str, ...]
    blind: str
    pressures: str
    checksum: int
    bit_names: tuple[str, ...]
    trace: Trace | None = field(default=None, compare=False, repr=False)

    @property
    def broken(self) -> tuple[Judged, ...]:
        """Interlocks broken on the true world, earliest first, also those not asked to withstand this run's faults."""
        return tuple(sorted((j for j in self.judged if j.outcome == "broken"), key=lambda j: j.ms or 0))

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """'pass' when nothing speaks against it."""
        return "fail" if self.against else "pass"
