"""One trial: a plan played on the pad, every interlock watched, and what it visited.

A hand does only what it can reach, and an act against the procedure is counted as the slip it is: walking in while
the lamps or a dial say no, shutting the gate on someone (whoever does it). What cannot be done is left out of the plan
that comes back.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from sequencer.description import terms as t
from sequencer.description.box import ContactInput, LampOutput
from sequencer.description.crew import Step
from sequencer.description.grounds import DialPart, LinePart, PadPart, PinPart
from sequencer.description.pad import Pad
from sequencer.simulation.events import (
    Action,
    At,
    Event,
    HandValve,
    Hold,
    Latch,
    Pin,
    Press,
    Strike,
    Switch,
    Walk,
)
from sequencer.simulation.session import Session
from sequencer.simulation.steps import held_on_pad, slipped
from sequencer.table import Table
from sequencer.trials.menu import Menu
from sequencer.trials.plan import SETTLE_MS, Plan, with_values

LOOK = 10  # periods between two looks at what is visited and broken
QUIET_MS = 65_000  # with `settle_ms`: so long without a word from anyone or anything ends a trial
Key = tuple[object, ...]


@dataclass(frozen=True)
class Breach:
    """One interlock broken in one trial. equipment, slips: what had gone wrong until then, by name.
    asked: the rule is asked to withstand that much, and nobody waived it."""

    rule: str
    ms: int
    says: str
    equipment: tuple[str, ...]
    slips: tuple[str, ...]
    asked: bool

    @property
    def faults(self) -> tuple[str, ...]:
        return self.equipment + self.slips


@dataclass(frozen=True)
class Trial:
    """plan: as it was really done. breaches: earliest first. keys: what was visited. moves: (ms, state entered)."""

    plan: Plan
    breaches: tuple[Breach, ...]
    keys: frozenset[Key]
    moves: tuple[tuple[int, str], ...]
    ended_ms: int


class _Site(Session):
    """A session in which plan events pass the procedure first. Their `who` is '#' and their number."""

    def __init__(self, pad: Pad, plan: Plan, table: Table, steps: Sequence[Step] | None) -> None:
        events = [replace(e, who=f"#{i}") for i, e in enumerate(plan.ordered)]
        super().__init__(pad, events, seed=plan.seed, steps=steps, table=table, record=False)
        self.left_out: set[int] = set()
        self.lapses: list[tuple[int, str]] = []
        self.struck_at: list[tuple[int, str]] = []
        self.ground = next(iter(pad.parts(PadPart).items()), None)
        self._lamps = [i for i, output in enumerate(pad.outputs.values()) if isinstance(output, LampOutput)]
        self._kind = [name for name, output in pad.outputs.items() if isinstance(output, LampOutput)]
        self._welcome = {
            tuple(pad.output_positions[lamp].index(pad.commanded(name, lamp)) for lamp in self._kind)
            for name, state in pad.states.items() if state.people == "allowed"
        }  # fmt: skip
        self._dials = _dials(pad)

    def act(self, who: str, action: Action) -> None:
        planned = who.startswith("#")
        if planned and not self._possible(action):
            self.left_out.add(int(who[1:]))
            return
        if planned or not isinstance(action, Walk):  # the crew's own way in is a step of the day
            self._note(self._lapse(action))
        super().act("someone" if planned else who, action)

    def _note(self, slip: str) -> None:
        if slip and self.ground is not None:
            self.struck[1] += 1
            self.lapses.append((self.ms, f"{self.ground[0]}: {slip}"))

    def _strike(self, action: Strike) -> None:
        super()._strike(action)
        self.struck_at.append((self.ms, self.faults[-1]))

    def _possible(self, action: Action) -> bool:
        """Whether someone can reach it now, with what they carry."""
        if self.ground is None:
            return True
        near = any(self.world.place(role) == "pad" for role in self.pad.crew.roles)
        if isinstance(action, Latch):
            return near
        if isinstance(action, Pin):
            part = self.pad.site[action.name]
            return near or (not action.inside and isinstance(part, PinPart) and "lanyard" in part.pulled)
        if isinstance(action, HandValve):
            part = self.pad.site[action.name]
            return near or not (isinstance(part, LinePart) and part.from_place == "pad")
        if isinstance(action, Walk):
            gate = self.ground[1].gate
            return action.direction == "out" or gate is None or not self.world.wiring.contacts[gate].stands
        if isinstance(action, Switch | Press | Hold):
            return not held_on_pad(self.pad, self.place, action.input, _word(self.pad, action))
        return True

    def _lapse(self, action: Action) -> str:
        """The slip that this act is, '' for none."""
        assert self.ground is not None or not isinstance(action, Walk)
        if isinstance(action, Walk) and action.direction == "in" and self.world.place(action.role) == "line":
            return "" if self._invited() else "walks in"
        if isinstance(action, Switch | Press | Hold) and self.ground is not None and action.input == self.ground[1].gate:
            gate = self.pad.inputs[action.input]
            if self.world.someone_on_pad and isinstance(gate, ContactInput) and _word(self.pad, action) == gate.contact.word:
                return "miscounts"
        return ""

    def _invited(self) -> bool:
        """Whether lamps and dials let a person walk in, as the file's states and steps tell it."""
        if self._lamps:
            codes = self.codes
            shown = tuple(0 if f"{n}: dead" in self.faults else codes[i] for i, n in zip(self._lamps, self._kind, strict=True))
            if shown not in self._welcome:
                return False
        elif not self.state_name or self.pad.states[self.state_name].people != "allowed":
            return False
        return all(self.world.read_dial(dial) < limit for dial, limit in self._dials)


def _word(pad: Pad, action: Switch | Press | Hold) -> str:
    return action.word if isinstance(action, Switch) else "" if isinstance(action, Hold) and action.let_go else pad.inputs[action.input].contact.word  # type: ignore[union-attr]  # what is pressed or held is a contact


def _dials(pad: Pad) -> list[tuple[str, float]]:
    """(dial, gauge pascal it must show less than) from the crew's steps."""
    found = []
    for step in pad.crew.steps:
        dial = pad.site.get(step.read or "")
        if isinstance(dial, DialPart) and step.shows is not None and step.read:
            found += [
                (step.read, leaf.limit.si) for leaf in t.leaves(step.shows.expression)
                if isinstance(leaf, t.PressureIs) and not leaf.at_least and leaf.volume == dial.dial
            ]  # fmt: skip
    return found


def probe(pad: Pad, table: Table, menu: Menu, plan: Plan, longest_ms: int, enough: Callable[[Breach], bool] = lambda b: b.asked) -> Trial:
    """Play a plan until all is settled, `longest_ms` are over, or a breach is `enough`."""
    steps = list(pad.crew.steps) if plan.steps else []
    for slip in plan.slips:
        steps = slipped(steps, slip)
    site = _Site(with_values(pad, plan.values), plan, table, steps or None)
    site.struck[1] += len(plan.slips)
    watched = [watch for watch in site.watches if watch.rule.waive is None]
    keys: set[Key] = set()
    breaches: dict[str, Breach] = {}
    pressures = [(name, edges) for name, edges in menu.edges.items() if edges]
    latest = max((e.moment.ms for e in plan.events if isinstance(e.moment, At)), default=0)
    tick, box, driver, turn, log = site.tick, site.box, site.driver, 0, 0
    told, stirred_ms, patience, brief = 0, 0, plan.settle_ms + QUIET_MS, plan.settle_ms < SETTLE_MS
    while site.ms < longest_ms:
        tick()
        turn += 1
        if turn % LOOK and len(box.log) == log:
            continue
        log = len(box.log)
        if len(site.lines) != told:
            told, stirred_ms = len(site.lines), site.ms
        bands = tuple(bisect_right(edges, site.world.pressure(name)) for name, edges in pressures)
        keys.add((box.state, bands, ""))
        for fault in site.faults:
            keys.add((box.state, bands, fault))
        for watch in watched:
            if watch.broken_ms is not None and watch.name not in breaches:
                breaches[watch.name] = _breach(site, plan, watch.name, watch.broken_ms)
        if any(map(enough, breaches.values())) or (driver.idle and site.ms >= max(latest, site.last_act_ms) + plan.settle_ms):
            break
        if site.ms >= max(latest, stirred_ms) + patience:  # the crew waits for what does not come
            break
        if brief and site.ms > latest and site.ms >= box.since_ms + plan.settle_ms and _over(site, bands):
            break
    for watch in watched:
        watch.finish(site.ms)
        if watch.broken_ms is not None and watch.name not in breaches:
            breaches[watch.name] = _breach(site, plan, watch.name, watch.broken_ms)
    for entry in box.log:
        if entry.kind == "move":
            keys.update((entry.row, "row", fault) for fault in ("", *site.faults))
    done = tuple(e for i, e in enumerate(plan.ordered) if i not in site.left_out)
    moves = tuple((ms, entry.to or pad.first_state) for ms, entry in zip(box.log_ms, box.log, strict=True))
    return Trial(replace(plan, events=done), tuple(sorted(breaches.values(), key=lambda b: b.ms)), frozenset(keys), moves, site.ms)


def _over(site: _Site, bands: tuple[int, ...]) -> bool:
    """The day is as good as over: the box has come back to its first state, no gas, nobody near."""
    return site.box.state == 0 and len(site.box.log) > 2 and not any(bands) and not site.world.someone_on_pad


def _breach(site: _Site, plan: Plan, name: str, ms: int) -> Breach:
    watch = next(w for w in site.watches if w.name == name)
    until = [fault for at, fault in site.struck_at if at <= ms]
    equipment = tuple(f for f in until if site.kinds[f].kind == "equipment")
    slips = (*plan.slips, *(f for f in until if site.kinds[f].kind == "slip"), *(f for at, f in site.lapses if at <= ms))
    allowed = watch.rule.withstand
    asked = len(equipment) <= allowed.equipment and len(slips) <= allowed.slips
    return Breach(name, ms, watch.says, equipment, slips, asked)


def happened(trial: Trial, events: Sequence[Event]) -> list[Event]:
    """Those events of a plan that can have happened at all: their state was entered, or their time came."""
    entered = {state for _, state in trial.moves}
    return [e for e in events if (e.moment.ms <= trial.ended_ms if isinstance(e.moment, At) else getattr(e.moment, "state", "") in entered)]
