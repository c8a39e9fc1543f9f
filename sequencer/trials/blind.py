"""Days drawn blindly: any acts and faults at any times, beside nobody, the crew's day, or the same as acts of anyone.

A share of a campaign is drawn so: what guides it may be blind itself. `tools/bench trials` sets whole campaigns of them
beside guided ones.
"""

from __future__ import annotations

import random
from dataclasses import replace

from sequencer.simulation.events import At, Press, Strike
from sequencer.trials.menu import HELD_MS, Menu
from sequencer.trials.plan import Plan, event

LONGEST_MS, MOST_ACTS = 240_000, 10
AFTER_MS = 60_000


def blind(rng: random.Random, menu: Menu, day: Plan | None, most: int) -> Plan:
    """One such day, with at most `most` faults. day: the crew's day as acts at times, where there is one."""
    last = max((e.moment.ms for e in day.events if isinstance(e.moment, At)), default=0) + AFTER_MS if day else 0
    longest = max(LONGEST_MS, last)
    acts = [rng.choice(menu.acts) for _ in range(rng.randint(1, MOST_ACTS))]
    acts = [Press(a.input, rng.choice(HELD_MS)) if isinstance(a, Press) else a for a in acts]
    faults = rng.sample(menu.faults, min(rng.randint(0, most), len(menu.faults)))
    struck = [Strike(fault.part, fault.mode) for fault in faults if [f.part for f in faults].count(fault.part) == 1]
    events = tuple(event(At(rng.randrange(0, longest, menu.scan_ms)), action) for action in (*acts, *struck))
    base = rng.choice([Plan(), Plan(steps=True), *([day] if day else [])])
    return replace(base, events=(*base.events, *events))
