"""One trial: a plan played on the pad, every interlock watched, and what it visited.

What cannot be done is left out of the plan that comes back (see hands.py).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from sequencer.description import terms as t
from sequencer.description.pad import Pad
from sequencer.description.sequence import Interlock, Start
from sequencer.simulation.events import Action, At, Event, InState, Moment
from sequencer.simulation.monitors import Watch
from sequencer.table import Table
from sequencer.trials.hands import Hands
from sequencer.trials.menu import Menu
from sequencer.trials.plan import SETTLE_MS, Plan, with_values

LOOK = 10  # periods between two looks at what is visited and broken
QUIET_MS = 65_000  # with `settle_ms`: so long without a word from anyone or anything ends a trial
NEVER = 1 << 62
Key = tuple[object, ...]
"""(state, bands of the pressures, what had gone wrong or ''), (row, 'row', what had gone wrong or ''), (state, 'bit',
(a bit that a row of the state looks at, its value)), or, with nothing wrong, (state, 'level', (contact, its raw level))."""
SOUND = ("",)


@dataclass(frozen=True)
class Breach:
    """One interlock broken in one trial. equipment, slips: what had gone wrong until then, by name.
    unpowered: the rule looks at the box, and the box had no power or was starting: every output stands at rest then, whatever
    a rule says, and the proof does not judge it. asked: else, and the rule is asked to withstand that much."""

    rule: str
    ms: int
    says: str
    equipment: tuple[str, ...]
    slips: tuple[str, ...]
    asked: bool
    unpowered: bool = False

    @property
    def faults(self) -> tuple[str, ...]:
        return self.equipment + self.slips


@dataclass(frozen=True)
class Trial:
    """plan: as it was really done. breaches: earliest first. keys: what was visited. moves: (ms, state entered).
    wrong: faults and slips in it, acts against the procedure too. came: (key, ms) of the values of bits first seen in it.
    from_ms: where it was forked from another, 0 for one that was played from the beginning."""

    plan: Plan
    breaches: tuple[Breach, ...]
    keys: frozenset[Key]
    moves: tuple[tuple[int, str], ...]
    ended_ms: int
    wrong: int = 0
    came: tuple[tuple[Key, int], ...] = ()
    from_ms: int = 0


@dataclass(frozen=True)
class Patience:
    """How long a branch is followed: until `ms` have passed since its last own event and since it last came upon a
    situation not in `known`. The one who plays a plan to its end has none."""

    ms: int
    known: frozenset[Key] | set[Key]


def asked(breach: Breach) -> bool:
    """Whether the rule had to withstand it."""
    return breach.asked


class Playing:
    """A trial under way. It may be paused before any period, and go on by another plan that is the same until then."""

    def __init__(self, pad: Pad, table: Table, menu: Menu, plan: Plan, enough: Callable[[Breach], bool] = asked) -> None:
        self.site = site = Hands(with_values(pad, plan.values), plan, table)
        site.struck[1] += len(plan.slips)
        self.first_state, self.enough = pad.first_state, enough
        self.watched = [watch for watch in site.watches if watch.rule.waive is None]
        self.keys: set[Key] = set()
        self.came: list[tuple[Key, int]] = []
        self._cares, self._bits_seen = menu.cares, set[tuple[int, int]]()
        self.breaches: dict[str, Breach] = {}
        self.pressures = [(name, edges) for name, edges in menu.edges.items() if edges]
        self.patience: Patience | None = None
        self.from_ms = 0
        self.own: set[tuple[Moment, Action]] = set()
        self.pause_ms = self.pause_step = NEVER
        self.pause_since = -1  # a state entered at another time pauses as well
        self._waiting, self._waits = -1, list[Event]()
        self._stood: tuple[int, tuple[int, ...]] = (-1, ())
        self._turn = self._log = self._told = self._stirred_ms = self._fresh_ms = 0

    def branch(self, plan: Plan, own: Sequence[Event], patience: Patience | None) -> None:
        """Go on by `plan`; `own`: its events that were not in the plan until now."""
        self.site.replan(plan)
        self.patience, self.own = patience, {(e.moment, e.action) for e in own}
        self._waiting, self._waits = -1, []
        self._fresh_ms = self.from_ms = self.site.ms
        self.pause_ms = self.pause_step = NEVER
        self.pause_since = -1

    def go(self, longest_ms: int) -> bool:
        """Play until all is settled, `longest_ms` are over, or a breach is `enough`: True. False at a pause."""
        site, box, driver, steps = self.site, self.site.box, self.site.driver, self.site.steps
        plan, tick, turn = site.plan, site.tick, self._turn
        latest = max((e.moment.ms for e in plan.events if isinstance(e.moment, At)), default=0)
        settle, quiet = plan.settle_ms, plan.settle_ms + QUIET_MS
        brief = settle < SETTLE_MS
        pausing, log = self.pause_since >= 0, self._log
        while site.ms < longest_ms:
            if pausing and (site.ms >= self.pause_ms or box.since_ms != self.pause_since or steps.come_to >= self.pause_step):
                self._turn, self._log = turn, log
                return False
            tick()
            turn += 1
            if turn % LOOK and len(box.log) == log:
                continue
            if len(site.lines) != self._told:
                self._told, self._stirred_ms = len(site.lines), site.ms
            bands = self._look(log)
            log = len(box.log)
            if any(map(self.enough, self.breaches.values())) or (driver.idle and site.ms >= max(latest, site.last_act_ms) + settle):
                break
            if site.ms >= max(latest, self._stirred_ms) + quiet:  # the crew waits for what does not come
                break
            if brief and site.ms > latest and site.ms >= box.since_ms + settle and _over(site, bands):
                break
            if self.patience is not None and self._spent(self.patience):
                break
        self._turn, self._log = turn, log
        return True

    def _look(self, log: int) -> tuple[int, ...]:
        """Note what is visited and broken now; the bands of the pressures."""
        site, box = self.site, self.site.box
        bands = tuple([bisect_right(edges, site.world.pressure(name)) for name, edges in self.pressures])
        wrong: tuple[str, ...] = (*site.faults, *(slip for _, slip in site.lapses), *site.plan.slips) or SOUND
        for one in wrong:
            self._visit((box.state, bands, one))
        if wrong is SOUND and (box.state, levels := site.world.wiring.levels) != self._stood:
            self._stood = (box.state, levels)
            for contact, level in enumerate(levels):
                self._visit((box.state, "level", (contact, level)))
        self._bits(box.state, box.bits)
        for entry in box.log[log:]:
            if entry.kind == "move":
                self._bits(self.site.table.rows[entry.row].state, entry.bits)
                for one in wrong:
                    self._visit((entry.row, "row", one))
        for watch in self.watched:
            if watch.broken_ms is not None and watch.name not in self.breaches:
                self.breaches[watch.name] = _breach(site, watch, watch.broken_ms)
        return bands

    def _bits(self, state: int, bits: int) -> None:
        """Note the values of what the rows of a state look at."""
        care = self._cares[state] if state >= 0 else 0
        if (state, bits & care) in self._bits_seen:
            return
        self._bits_seen.add((state, bits & care))
        for i in range(care.bit_length()):
            if care >> i & 1:
                key = (state, "bit", (i, bits >> i & 1))
                if key not in self.keys:
                    self._visit(key)
                    if self.patience is None or key not in self.patience.known:
                        self.came.append((key, self.site.ms))

    def _visit(self, key: Key) -> None:
        if key not in self.keys:
            self.keys.add(key)
            # a fault or a level in one more place is noted, but nothing to wait for
            if self.patience is not None and (not key[2] or key[1] == "bit") and key not in self.patience.known:
                self._fresh_ms = self.site.ms

    def _spent(self, patience: Patience) -> bool:
        """Whether nothing new came for long enough."""
        ms, waiting = self.site.ms, self.site.schedule.waiting
        if len(waiting) != self._waiting:
            self._waiting = len(waiting)
            waits = [e for e in waiting if (e.moment, e.action) in self.own]
            if len(waits) != len(self._waits):
                self._fresh_ms, self._waits = ms, waits
        state = self.site.state_name
        if any(isinstance(e.moment, At) or (isinstance(e.moment, InState) and e.moment.state == state) for e in self._waits):
            return False  # it will come, and soon
        return ms >= self._fresh_ms + patience.ms

    def trial(self) -> Trial:
        """What became of it, once it is over."""
        site = self.site
        for watch in self.watched:
            watch.finish(site.ms)
            if watch.broken_ms is not None and watch.name not in self.breaches:
                self.breaches[watch.name] = _breach(site, watch, watch.broken_ms)
        self._look(self._log)
        done = tuple(e for i, e in enumerate(site.plan.ordered) if i not in site.left_out)
        moves = tuple((ms, entry.to or self.first_state) for ms, entry in zip(site.box.log_ms, site.box.log, strict=True))
        breaches = tuple(sorted(self.breaches.values(), key=lambda b: b.ms))
        return Trial(replace(site.plan, events=done), breaches, frozenset(self.keys), moves, site.ms, sum(site.struck), tuple(self.came), self.from_ms)


def _over(site: Hands, bands: tuple[int, ...]) -> bool:
    """The day is as good as over: the box has come back to its first state, no gas, nobody near."""
    return site.box.state == 0 and len(site.box.log) > 2 and not any(bands) and not site.world.someone_on_pad


def _breach(site: Hands, watch: Watch, ms: int) -> Breach:
    until = [fault for at, fault in site.struck_at if at <= ms]
    equipment = tuple(f for f in until if site.kinds[f].kind == "equipment")
    slips = (*site.plan.slips, *(f for f in until if site.kinds[f].kind == "slip"), *(f for at, f in site.lapses if at <= ms))
    allowed, unpowered = watch.rule.withstand, _looks_at_the_box(watch.rule) and not _ran(site, ms)
    within = len(equipment) <= allowed.equipment and len(slips) <= allowed.slips
    return Breach(watch.name, ms, watch.says, equipment, slips, within and not unpowered, unpowered)


def _ran(site: Hands, ms: int) -> bool:
    """Whether the box ran at a time."""
    told = [line.what for line in site.lines if line.kind == "power" and line.ms <= ms and line.what]
    return bool(told) and told[-1].startswith("the box runs")


def _looks_at_the_box(rule: Interlock) -> bool:
    written = (value.expression for value in vars(rule).values() if isinstance(value, t.Written))
    kinds = t.CommandedTo | t.StateIs | t.PeopleAllowed | t.BoxSays
    return isinstance(rule, Start) or any(isinstance(leaf, kinds) for one in written for leaf in t.leaves(one))


def probe(pad: Pad, table: Table, menu: Menu, plan: Plan, longest_ms: int, enough: Callable[[Breach], bool] = asked) -> Trial:
    """Play a plan until all is settled, `longest_ms` are over, or a breach is `enough`."""
    playing = Playing(pad, table, menu, plan, enough)
    playing.go(longest_ms)
    return playing.trial()


def happened(trial: Trial, events: Sequence[Event]) -> list[Event]:
    """Those events of a plan that can have happened at all: their state was entered, or their time came."""
    entered = {state for _, state in trial.moves}
    return [e for e in events if (e.moment.ms <= trial.ended_ms if isinstance(e.moment, At) else getattr(e.moment, "state", "") in entered)]
