"""A story of the abstraction as events for the exact simulator.

Only the box's moves, hands, power and faults become events. What gas and parts do follows from them in the simulator;
a story waits for it where `Style.waits` says so. What the last scan needs of switches and sayings that no row of the
story asks for is taken from the rule that breaks there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sequencer.description import terms as t
from sequencer.description.faults import Fault
from sequencer.description.grounds import HeadPart, PadPart
from sequencer.proof import standing_in
from sequencer.proof.bringing import Bringing
from sequencer.proof.draft import Draft
from sequencer.proof.gas import fillers
from sequencer.proof.gas_told import awaited, falls, falls_early, pressed_by
from sequencer.proof.people import ON_PAD
from sequencer.proof.stories import StoryStep
from sequencer.proof.system import Bad, Row, System
from sequencer.quantities import Quantity
from sequencer.simulation import Event, story
from sequencer.simulation.events import (
    InState,
    Latch,
    Once,
    Pin,
    PowerOff,
    PowerOn,
    SetPressure,
    Strike,
    Then,
    Wait,
    Walk,
)

SHORT_OF_MS = 2_000
"""How long before a state would end by itself hands that are slow move."""


@dataclass(frozen=True)
class Style:
    """How freely a story is read. waits: until gas has passed each edge that the story names. late: hands on gate and
    pin as late as they may be. lead: bar above the edge at which the last press comes, where gas must fall through it
    just after; 0: the fall begins when the story says. bad: which way of breaking the rule is aimed at. hangs: a head
    that the story leaves latched is held by a jammed servo, and so on (standing_in.py). full: gas is in when the power comes, as after a blink.
    ahead: hands that the last scan needs move as soon as the box is in that state. reshut: and the gate, which it needs
    shut, is opened before and shut again only after them. anew: only what comes after the last power-up is told, with
    head, pin and gate as they stand then. sooner: hands let go of buttons before the box comes to where the rule breaks:
    of one that the last scan is to see pressed anew, and of one whose press the rule misses. over: ms after which a link
    that is silent comes back behind a press, which it delivers before it is heard; 0: the press comes by a shorted wire.
    slow: hands wait as long as each state lets them."""

    waits: bool = False
    late: bool = True
    lead: float = 0.0
    bad: int = 0
    hangs: bool = False
    full: bool = False
    ahead: bool = False
    reshut: bool = False
    anew: bool = False
    sooner: bool = False
    over: int = 0
    slow: bool = False


def ways_to_break(system: System, steps: list[StoryStep], rule: str) -> list[Bad]:
    """The ways in which the last step may break the rule."""
    check = next((c for c in system.rules if c.name == rule), None)
    if check is None or not steps:
        return []
    last, row = steps[-1], system.rows[steps[-1].row]
    loose = system.free | system.spent
    found = []
    for bad in check.bad:
        apart = (row.guard.want ^ bad.cube.want) & row.guard.care & bad.cube.care & system.free
        said = bad.cube.care & system.spent & (row.set ^ bad.cube.want) & (row.set | row.clear)
        fits = last.word & bad.cube.care & ~loose == bad.cube.want & ~loose
        if fits and not apart and not said and system.layout.place_of(last.word) in bad.places:
            found.append(bad)
    return found


def events_of(
    draft: Draft, system: System, steps: list[StoryStep], strikes: Mapping[int, tuple[Fault, ...]],
    style: Style | None = None, bad: Bad | None = None,
) -> list[Event]:  # fmt: skip
    """The events that should make the simulator tell the same story; `strikes`: faults before a step's number."""
    script, style = Bringing(draft), style or Style()
    script.over, script.slow = style.over, style.slow
    roles = list(draft.pad.crew.roles)
    walker = next((s.who for s in draft.pad.crew.steps if s.walk), roles[0] if roles else "")
    if draft.layout.has(ON_PAD) and steps and not steps[0].word & draft.layout.mask([ON_PAD]):
        for role, person in draft.pad.crew.roles.items():
            if person.starts == "pad" and system.rows[steps[0].row].tag != "walk out":
                script.add(Walk(role, "out"), who=role)
    if style.anew:
        _hands(script, draft, steps[0].word, 0)
    if style.full:
        for volume, edges in draft.bands.edges.items():
            script.add(SetPressure(volume, 0.8 * edges[-1]))
    early = falls_early(draft, system, steps, bad) if style.lead else {}
    moves = [n for n, s in enumerate(steps[:-1]) if system.rows[s.row].origin is not None or system.rows[s.row].tag == "settle"]
    for number, step in enumerate(steps):
        row, tag = system.rows[step.row], system.rows[step.row].tag
        script.note = row.says
        if style.reshut and moves and number == moves[-1]:
            _gates(script, draft, system.rows[steps[-1].row], False)
        if style.sooner and bad is not None and len(moves) > 1 and number == moves[-2] + 1:
            for contact in pressed_before(draft, system, steps, bad):
                script.put(contact, False)
                script.stand(script.state, 300)  # seen before the link may fall silent
        if style.hangs and bad is not None and moves and number == moves[-1]:
            for action in standing_in.before(draft, bad, steps[number].place):
                script.add(action)
        if style.ahead and bad is not None and moves and number == moves[-1] + 1:
            script.stand(script.state, 300 if style.reshut else 0)
            _hands_to(script, draft, system.rows[steps[-1].row], bad)
            if style.reshut:
                _gates(script, draft, system.rows[steps[-1].row], True)
            if style.hangs:
                free = any(system.rows[s.row].tag.startswith("lets go ") for s in steps)
                for action in standing_in.there(draft, bad, system.rows[steps[-1].row], stays=bool(script.jammed), free=free):
                    script.add(action)
        for fault in strikes.get(number, ()):
            script.add(Strike(fault.part, fault.mode))
        if tag == "boot":
            if script.started:
                script.add(PowerOn(), Then(200))
            script.started = True
            script.stand("")
        elif tag == "settle":
            script.stand(draft.pad.first_state)
        elif tag == "blink":
            script.add(PowerOff())
            script.stand("")
        elif row.scan:
            if style.hangs:
                for output in standing_in.jammed(draft, system, steps, number):
                    if output not in script.jammed:
                        script.jammed.add(output)
                        script.after = 0  # as soon as the box is there: it may leave in the scan in which its time is over
                        script.add(Strike(output, "jammed"))
            if number in early:
                for volume in early[number]:
                    script.vent(volume)
            last = number == len(steps) - 1
            _scan(script, draft, row, bad if last else None, early.get(number, {}), style.lead)
            if row.origin is not None and not last:
                _keep_filling(script, draft, draft.table.rows[row.origin].to)
        elif tag == "walk in":
            script.add(Walk(walker, "in"), who=walker)
        elif tag == "walk out":
            script.add(Walk(walker, "out"), who=walker)
        elif tag == "arrive":
            script.wait_for(t.Someone())
        elif tag.startswith("up "):
            if style.waits:
                awaited(script, draft, row.set, True)
        elif row.actor == "gas" and row.forward:
            gone = standing_in.there(draft, bad, system.rows[steps[-1].row]) if style.hangs and style.ahead and bad is not None else []
            if not any(isinstance(action, SetPressure) for action in gone):
                falls(script, draft, row.clear, step, system, steps[number + 1 :], wait=not any(number > n for n in early))
        elif tag.startswith("stroke "):
            _let_open(script, draft, tag.removeprefix("stroke "), step)
        elif tag.startswith("lets go ") and not script.jammed:
            script.wait_for(t.HeadIs(tag.removeprefix("lets go "), "let go"))
        elif row.actor == "crew":
            _hands(script, draft, row.set, row.clear)
    if script.waits:
        script.add(Wait())
    return list(story(*script.events))


def _scan(script: Bringing, draft: Draft, row: Row, bad: Bad | None, falling: Mapping[str, float], lead: float) -> None:
    presses: list[str] = []
    origin = None if row.origin is None else draft.table.rows[row.origin]
    _hands_to(script, draft, row, bad)
    if bad is not None:
        for i, one in enumerate(draft.table.bits):
            name = f"the box says {one.name}"
            if draft.layout.has(name) and bad.cube.care & draft.layout.mask([name]):
                value, open_ = bool(bad.cube.want & draft.layout.mask([name])), len(script.open)
                script.bring(i, value, None)
                if len(script.open) > open_ and origin is not None or script.slow and value and one.hold:
                    script.wait_for(t.BoxSays(one.name, value))  # gas takes its time
    if origin is None:
        if row.to is not None:
            place = draft.places[row.to]
            script.stand(script.state, draft.steps[place.state][place.region - 1] * draft.pad.scan_ms)
        return
    script.literals(origin.care, origin.want, presses)
    for volume, edge in falling.items():
        limit = edge + lead * 1e5
        script.wait_for(t.PressureIs(volume, False, Quantity(limit, "pressure", f"{limit / 1e5:g} bar", "bar", "gauge")))
    if presses:
        # what has to have stood for a time is given that time before the button goes down
        delays = [b.hold for i, b in enumerate(draft.table.bits) if script.asked(origin.care) >> i & 1]
        script.stand(script.state, max(script.after, 0 if falling else max(delays, default=0) * draft.pad.scan_ms + 300))
        if script.slow:
            ends = [r.least * draft.pad.scan_ms for r in draft.table.rows if r.state == origin.state and not r.care]
            script.stand(script.state, max([script.after, *(end - SHORT_OF_MS for end in ends)]))
    for contact in dict.fromkeys(presses):
        script.press(contact)
    script.stand(draft.table.states[origin.to].name)


def _hands_to(script: Bringing, draft: Draft, row: Row, bad: Bad | None) -> None:
    """Hands put contacts where a scan, and the way of breaking that is aimed at, want them."""
    origin = None if row.origin is None else draft.table.rows[row.origin]
    pressed = set() if origin is None else pressed_by(draft, row)
    pressed |= set() if bad is None else standing_in.held(draft, bad)
    for contact, name in draft.by_hand.items():
        bit = draft.layout.mask([name])
        for cube in (row.guard, *([] if bad is None else [bad.cube])):
            if cube.care & bit and contact not in pressed:
                script.put(contact, bool(cube.want & bit))
                break


def pressed_before(draft: Draft, system: System, steps: list[StoryStep], bad: Bad) -> list[str]:
    """Contacts pressed earlier in the story that its last scan is to see let go of, or pressed anew."""
    layout, last = draft.layout, system.rows[steps[-1].row]
    before = {c for s in steps[:-1] if system.rows[s.row].origin is not None for c in pressed_by(draft, system.rows[s.row])}
    again = set() if last.origin is None else pressed_by(draft, last)
    named = {c: layout.mask([name]) for c, name in draft.by_hand.items()}
    loose = {c for c, bit in named.items() if bad.cube.care & ~bad.cube.want & bit}
    return sorted(before & (again | loose))


def _gates(script: Bringing, draft: Draft, row: Row, shut: bool) -> None:
    """Hands move the gates that a scan needs shut."""
    for part in draft.pad.parts(PadPart).values():
        if part.gate in draft.tracked and row.guard.care & row.guard.want & draft.layout.mask([draft.seen(part.gate)]):
            script.put(part.gate, shut)
            script.stand(script.state, script.after + (600 if shut else 0))


def _hands(script: Bringing, draft: Draft, put: int, clear: int) -> None:
    """Hands on head, pin or gate."""
    layout = draft.layout
    for name, part in draft.pad.site.items():
        if isinstance(part, HeadPart) and put & layout.mask([f"{name} latched"]):
            script.add(Latch(name))
        if layout.has(f"{name} in"):
            bit = layout.mask([f"{name} in"])
            if (put | clear) & bit:
                script.add(Pin(name, bool(put & bit)))
        if isinstance(part, PadPart) and part.gate and part.gate in draft.tracked:
            bit = layout.mask([draft.tracked[part.gate]])
            if (put | clear) & bit:
                script.put(part.gate, bool(put & bit))


def _let_open(script: Bringing, draft: Draft, output: str, step: StoryStep) -> None:
    """A valve opens: hands release what would inhibit it."""
    opened = draft.layout.mask([f"{output} truly open"]) if draft.layout.has(f"{output} truly open") else 0
    if step.word & opened:
        _lift(script, draft, list(draft.pad.outputs).index(output))


def _lift(script: Bringing, draft: Draft, output: int) -> None:
    for inhibit in draft.table.inhibits:
        if inhibit.output == output:
            script.literals(inhibit.care, ~inhibit.want, None)


def _keep_filling(script: Bringing, draft: Draft, state: int) -> None:
    """Where a state lets gas in, hands keep the valve from being inhibited: a story need not say so."""
    for output in fillers(draft):
        number = list(draft.pad.outputs).index(output)
        if draft.table.outputs[number].positions[draft.table.states[state].outputs[number]] == "open":
            _lift(script, draft, number)


def late(draft: Draft, system: System, steps: list[StoryStep]) -> list[StoryStep]:
    """The steps with hands on gate and pin as late as they may be: the box's filters leave them little time."""
    moved = list(steps)
    for contact, truth in draft.tracked.items():
        bit = draft.layout.mask([truth])
        for at in reversed(range(len(moved))):
            row = system.rows[moved[at].row]
            if row.actor != "crew" or not (row.set | row.clear) & bit:
                continue
            to = at
            while to + 2 < len(moved) and not _needs(system.rows[moved[to + 1].row], contact, bit):
                to += 1
            moved.insert(to, moved.pop(at))
    return moved


def _needs(row: Row, contact: str, bit: int) -> bool:
    """Whether a step may not come before a hand's move on this contact."""
    touched = (row.guard.care | row.set | row.clear) & bit
    return bool(touched) or row.tag in (f"follow {contact}", "blink", "boot", "settle", "walk in", "walk out", "arrive")


__all__ = ["InState", "Once", "Style", "events_of", "late", "pressed_before", "ways_to_break"]
