"""The crew and whoever else is on the pad: places, walks, the head-count, slips.

A walk takes exactly the least time the file gives ('walk: at least T'): nobody is faster, and the quickest walk is the
one that brings people to the gas. From the first step in to the last step out a person counts as on the pad.
"""

from __future__ import annotations

from typing import Literal

from sequencer.description.grounds import PadPart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.site.build import Ground

Where = Literal["line", "walking", "pad"]


class People:
    """Who is where. ``present`` counts everyone on the pad or on the way, counted or not."""

    def __init__(self, ground: Ground, pad: Pad) -> None:
        self.ground = ground
        part = next(iter(pad.parts(PadPart).values()), None)
        self.walk_ticks = max(1, round(part.walk.si / ground.dt)) if part is not None else 1
        self.places: dict[str, Where] = {name: role.starts for name, role in pad.crew.roles.items()}
        self.walking: list[tuple[int, str, Where]] = []
        self.uncounted = 0
        self.misread = False
        self.present = 0
        self._count()

    def _count(self) -> None:
        self.present = self.uncounted + sum(place != "line" for place in self.places.values())

    def walk(self, role: str, direction: str) -> None:
        """Start a walk; turning round on the way takes the whole walk. Raises SequencerError for an unknown role."""
        if role not in self.places:
            raise SequencerError(f"nobody of the crew is called '{role}'; there are {', '.join(self.places)}")
        goal: Where = "pad" if direction == "in" else "line"
        if self.places[role] == goal:
            return
        self.walking = [one for one in self.walking if one[1] != role]
        self.walking.append((self.ground.ticks + self.walk_ticks, role, goal))
        self.places[role] = "walking"
        self._count()

    def step(self) -> None:
        """Let walkers arrive; called while someone walks."""
        now = self.ground.ticks
        for due, role, goal in [one for one in self.walking if one[0] <= now]:
            self.walking.remove((due, role, goal))
            self.places[role] = goal
            self.ground.tell(role, "is on the pad" if goal == "pad" else "is at the line")
        self._count()

    def strike(self, mode: str) -> None:
        """A slip: someone nobody counted, or a dial read wrongly."""
        if mode == "misreads":
            self.misread = True
        else:
            self.uncounted += 1
            self._count()

    def mend(self) -> None:
        self.uncounted, self.misread = 0, False
        self._count()
