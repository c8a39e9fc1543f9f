"""Timed rules: cause and effect, must, lasts. The worst case is computed by path over the table and shown by its parts.

Cause and effect: from every state in which the box runs, a row or an inhibit that the cause brings about must lead to
a state that commands the effect (and keep it there). The worst case is contact filter + condition delay + two scans +
actuator. `must` and physical ends are shown by their parts and left to the simulator where physics decides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sequencer.description import terms as t
from sequencer.description.box import ContactInput, ServoOutput
from sequencer.description.grounds import HeadPart, LinkPart, ServoPart, WirePart
from sequencer.description.sequence import Lasts, Must, Reaction
from sequencer.proof.draft import Draft
from sequencer.proof.explore import Explored
from sequencer.proof.result import InterlockResult, Part
from sequencer.proof.system import System
from sequencer.site.assumed import assumed, given_or_assumed
from sequencer.table import Kind


def judged(draft: Draft, system: System, explored: Explored, base: InterlockResult, rule: Reaction | Must | Lasts) -> InterlockResult:
    """The verdict of a timed rule."""
    if isinstance(rule, Lasts):
        return _lasts(draft, base, rule)
    result = _reaction(draft, explored, base, rule) if isinstance(rule, Reaction) else _must(draft, base, rule)
    if result.outcome == "holds" and base.asked != (0, 0):
        return replace(result, outcome="not shown", level=f"{result.level}; with faults this kind of rule is not worked out")
    return result


# ---- cause and effect -------------------------------------------------------------------------


def _reaction(draft: Draft, explored: Explored, base: InterlockResult, rule: Reaction) -> InterlockResult:
    cause, effects = rule.cause.expression, _commands(rule.effect.expression)
    wanted = True
    if isinstance(cause, t.Not):
        cause, wanted = cause.item, False
    if not isinstance(cause, t.SwitchIs) or effects is None or not isinstance(draft.pad.inputs.get(cause.input), ContactInput):
        return replace(base, outcome="not examined", level="not examined: the cause is not one contact, or the effect is no command")
    contact = draft.pad.inputs[cause.input]
    assert isinstance(contact, ContactInput)
    at_word = cause.wanted == wanted
    level = at_word == contact.contact.closed_means_word
    number = [c.name for c in draft.table.contacts].index(cause.input)
    bits = turned(draft, number, level)
    missing = [draft.table.states[s].name for s in _states(draft, explored) if not brings(draft, s, bits, effects)]
    parts = list(_parts(draft, cause.input, number, level, effects))
    total = sum(p.seconds for p in parts)
    if missing:
        level_ = f"broken: in {', '.join(missing)} nothing brings it about at once"
        return replace(base, outcome="broken", level=level_, parts=tuple(parts))
    late = total > rule.within.si + 1e-9
    text = f"at the latest {total * 1000:.0f} ms from every state that is reached ({' + '.join(f'{p.seconds * 1000:.0f} ms {p.says}' for p in parts)})"
    return replace(base, outcome="broken" if late else "holds", level=text, parts=tuple(parts), withstands=(0, 0))


def _states(draft: Draft, explored: Explored) -> list[int]:
    """States that are reached."""
    import numpy as np

    shift = np.uint64(draft.layout.shift)
    reached = {int(p) for layer in explored.layers for p in np.unique(layer >> shift)}
    return sorted({draft.places[p].state for p in reached if draft.places[p].kind == "run"})


def _commands(expression: t.Expression) -> dict[int, int] | str | None:
    """Effects as 'OUTPUT POSITION' facts joined by and; None where it is something else."""
    items = expression.items if isinstance(expression, t.And) else (expression,)
    if not all(isinstance(i, t.CommandedTo) and i.wanted for i in items):
        return None
    return " ".join(f"{i.output}={i.position}" for i in items if isinstance(i, t.CommandedTo))


def turned(draft: Draft, contact: int, level: bool) -> dict[int, int]:
    """{condition bit: value} that the contact standing at this level brings about, whatever else is true."""
    found: dict[int, int] = {}
    for i, bit in enumerate(draft.table.bits):
        if bit.kind == Kind.CONTACT and bit.source == contact:
            found[i] = int(level == bit.wanted)
        elif bit.kind == Kind.ALL:
            values = [(found.get(j), bit.set.want >> j & 1) for j in range(i) if bit.set.care >> j & 1]
            if any(v is not None and v != w for v, w in values):
                found[i] = int(bit.set.invert)
            elif all(v is not None for v, _ in values):
                found[i] = int(not bit.set.invert)
    return found


def _effect(effects: object, draft: Draft) -> dict[int, int]:
    pairs = (one.split("=", 1) for one in str(effects).split(" ") if "=" in one)
    names = [o.name for o in draft.table.outputs]
    return {names.index(o): draft.table.outputs[names.index(o)].positions.index(p) for o, p in pairs if o in names}


def brings(draft: Draft, state: int, bits: dict[int, int], effects: object) -> bool:
    """Whether in this state the cause surely commands the effect: by its outputs, an inhibit, or a row that fires."""
    wanted = _effect(effects, draft)
    if _holds(draft, state, bits, wanted):
        return True
    spec = draft.table.states[state]
    for row in draft.table.rows[spec.first_row : spec.end_row]:
        literals = {i: row.want >> i & 1 for i in range(len(draft.table.bits)) if row.care >> i & 1}
        if row.least == 0 and all(bits.get(i) == v for i, v in literals.items()):
            return _holds(draft, row.to, bits, wanted)
        possible = all(bits.get(i, v) == v for i, v in literals.items())
        if possible and not _holds(draft, row.to, bits, wanted):
            # an earlier row may fire first and lead where the effect is not commanded: the next scan counts there
            if row.to == state:
                return False
            continue
    return False


def _holds(draft: Draft, state: int, bits: dict[int, int], wanted: dict[int, int]) -> bool:
    """Whether a state commands the effect, inhibits that the cause surely brings counted."""
    for output, code in wanted.items():
        held = draft.table.states[state].outputs[output]
        others = [i for i in draft.table.inhibits if i.output == output]
        for inhibit in others:
            literals = {j: inhibit.want >> j & 1 for j in range(len(draft.table.bits)) if inhibit.care >> j & 1}
            if all(bits.get(j) == v for j, v in literals.items()):
                held = inhibit.position
        if held != code or any(i.position != code and held != i.position for i in others):
            return False
    return True


def _parts(draft: Draft, contact: str, number: int, level: bool, effects: object) -> Iterator[Part]:
    part = draft.pad.inputs[contact]
    assert isinstance(part, ContactInput)
    yield Part("contact bounce", assumed("contact.bounce").high)
    for link in draft.pad.parts(LinkPart).values():
        if contact in link.carries:
            yield Part("radio", given_or_assumed(link.latency, "link.latency").high)
    steady = draft.table.contacts[number].steady
    yield Part("contact filter", steady * draft.durations.scan)
    delays = [b.hold if (level == b.wanted) else b.drop for b in draft.table.bits if b.kind == Kind.CONTACT and b.source == number]
    if any(delays):
        yield Part("condition delay", min(delays) * draft.durations.scan)
    yield Part("two scans", 2 * draft.durations.scan)


# ---- must and lasts ---------------------------------------------------------------------------


def _must(draft: Draft, base: InterlockResult, rule: Must) -> InterlockResult:
    cause, effect = rule.cause.expression, rule.must.expression
    heads = draft.pad.parts(HeadPart)
    if not (isinstance(cause, t.CommandedTo) and isinstance(effect, t.HeadIs) and effect.head in heads):
        return replace(base, outcome="not examined", level="not examined: only a servo's command that lets a head go is worked out")
    wires = {p.wire.end: p.wire.origin for p in draft.pad.parts(WirePart).values()}
    servo = draft.pad.outputs.get(cause.output)
    if wires.get(effect.head) != cause.output or not isinstance(servo, ServoOutput):
        return replace(base, outcome="broken", level=f"no wire leads from {cause.output} to {effect.head}")
    described = next((n for n, p in draft.pad.parts(ServoPart).items() if p.servo_data == cause.output), None)
    if described is None:
        return replace(base, outcome="not examined", level="not examined: the file describes no servo_data for it")
    from sequencer.site import resolve_head
    from sequencer.site.letting_go import highest_load, letting_go_parts

    head, values = resolve_head.head(draft.pad, effect.head), resolve_head.servo(draft.pad, described)
    pull = head.head("least", "most", "most", "least").pull_force(highest_load(draft.pad, effect.head, head))
    made = letting_go_parts(draft.pad, head, values, pull, slowest=True)
    parts = [Part("scan", draft.durations.scan), *(Part(says, seconds) for says, seconds in made)]
    total = sum(p.seconds for p in parts)
    text = f"{total * 1000:.0f} ms at the unfavourable end ({' + '.join(f'{p.seconds * 1000:.0f} ms {p.says}' for p in parts)}), while servo, wire and head are sound"
    return replace(base, outcome="holds" if total <= rule.within.si else "broken", level=text, parts=tuple(parts), withstands=(0, 0))


def _lasts(draft: Draft, base: InterlockResult, rule: Lasts) -> InterlockResult:
    expression = rule.lasts.expression
    inside: set[int]
    if isinstance(expression, t.StateIs) and expression.wanted:
        inside = {list(draft.pad.states).index(expression.state)}
    elif isinstance(expression, t.CommandedTo) and expression.wanted and expression.output in draft.pad.outputs:
        number = list(draft.pad.outputs).index(expression.output)
        code = draft.pad.output_positions[expression.output].index(expression.position)
        inside = {s for s, spec in enumerate(draft.table.states) if spec.outputs[number] == code}
    else:
        return replace(base, outcome="not examined", level="not examined: only a state or a command is worked out")
    longest, shortest = _longest(draft, inside), _shortest(draft, inside)
    texts, fine = [], True
    if rule.at_most is not None:
        fine &= longest is not None and longest <= rule.at_most.si + 1e-9
        texts.append("may last for ever" if longest is None else f"lasts at most {longest:.2f} s")
    if rule.at_least is not None:
        fine &= shortest >= rule.at_least.si - 1e-9
        texts.append(f"lasts at least {shortest:.2f} s")
    # state times are the table's own: no fault of a part and no slip changes them
    return replace(base, outcome="holds" if fine else "broken", level=" and ".join(texts) + " by the table's own times, whatever fails but the box", withstands=base.asked if fine else (0, 0))


def _stay(draft: Draft, state: int) -> float | None:
    """Most seconds in a state: its first row without a condition, one scan more for the move."""
    spec = draft.table.states[state]
    sure = [r.least for r in draft.table.rows[spec.first_row : spec.end_row] if r.care == 0]
    return None if not sure else (min(sure) + 1) * draft.durations.scan


def _longest(draft: Draft, inside: set[int]) -> float | None:
    """Most seconds on any way through these states; None where it may go round or stay for ever."""
    ways: dict[int, set[int]] = {}
    for state in inside:
        spec = draft.table.states[state]
        ways[state] = {r.to for r in draft.table.rows[spec.first_row : spec.end_row] if r.to in inside}

    def walk(state: int, seen: tuple[int, ...]) -> float | None:
        stay = _stay(draft, state)
        if stay is None or state in seen:
            return None
        rest = [walk(to, (*seen, state)) for to in ways[state]]
        if any(r is None for r in rest):
            return None
        return stay + max((r for r in rest if r is not None), default=0.0)

    found = [walk(s, ()) for s in inside]
    return None if any(f is None for f in found) else max((f for f in found if f is not None), default=0.0)


def _shortest(draft: Draft, inside: set[int]) -> float:
    """Least seconds: the smallest least time of a row that leaves."""
    leasts = []
    for state in inside:
        spec = draft.table.states[state]
        leasts += [r.least for r in draft.table.rows[spec.first_row : spec.end_row] if r.to not in inside]
    return min(leasts, default=0) * draft.durations.scan

