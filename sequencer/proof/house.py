"""House rules: what must be so in every file, written or not. Each has a name, its source, and can be waived in the
file with a written reason, which is printed.

They are judged on the compiled table and the described parts, so they hold whatever the world does.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from sequencer.description.box import ContactInput, RelayOutput, ServoOutput
from sequencer.description.grounds import LinePart, VolumePart
from sequencer.proof import certain
from sequencer.proof.bands import volume_of
from sequencer.proof.bits import Reading
from sequencer.proof.draft import Draft
from sequencer.proof.gas import dumps, fillers
from sequencer.proof.kept import at_row
from sequencer.proof.result import HouseResult
from sequencer.table import Kind
from sequencer.table.table import Row

AT_ONCE = 1 << 62
"""Scans: bits that a stop brings about count however late (how late is for the file's own rules)."""


@dataclass(frozen=True)
class House:
    """One house rule before it is judged."""

    name: str
    says: str
    source: str


RULES = (
    House("quiet-at-power-up", "at power-up and reset no hazardous output leaves its rest, and people are kept out", "NPR 7150.2 SWE-134; ISO 14118 (from memory)"),
    House("two-inputs-to-start", "no single input starts a hazardous output: at least two must agree", "NASA independent inhibits (from memory)"),
    House("stop-from-everywhere", "every stop leads to fills shut, dumps open and servo power off from every state", "IEC 60204-1 9.2.3.4.2; ISO 13850 (from memory)"),
    House("no-trapped-gas", "every volume has a way to air without power, or a sensor", "ISO 4414 (from memory)"),
    House("held-button-does-nothing", "a hazard begins on a press, never on a button that is simply down", "common practice, no published source"),
    House("link-never-resumes", "the return of a lost link alone starts nothing", "IEC 60204-1 9.2.4 (from memory)"),
    House("reset-starts-nothing", "no hazardous output begins out of the first state", "ISO 13850 (from memory)"),
    House("approach-shown-empty", "people are let in only when a reading of every volume says it is empty", "common practice, no published source"),
)  # fmt: skip


def judged(draft: Draft) -> tuple[HouseResult, ...]:
    """Every house rule, with what speaks against it."""
    against = {
        "quiet-at-power-up": _power_up, "two-inputs-to-start": _two_inputs, "stop-from-everywhere": _stops,
        "no-trapped-gas": _trapped, "held-button-does-nothing": _held, "link-never-resumes": _link,
        "reset-starts-nothing": _reset, "approach-shown-empty": _approach,
    }  # fmt: skip
    results = []
    for rule in RULES:
        found = tuple(dict.fromkeys(against[rule.name](draft)))
        waived = draft.pad.waived.get(rule.name)
        result = HouseResult(rule.name, rule.says, rule.source, "holds" if not found else "broken", found)
        results.append(replace(result, outcome="waived", waived=waived) if found and waived else result)
    return tuple(results)


def hazards(draft: Draft) -> dict[int, set[int]]:
    """{output: hazardous codes}: fills open, servo power on, servos away from idle, and what the file calls hazardous."""
    found: dict[int, set[int]] = {}
    powering = {o.powered_by for o in draft.pad.outputs.values() if isinstance(o, ServoOutput)}
    for number, (name, output) in enumerate(draft.pad.outputs.items()):
        codes = set(range(len(draft.pad.output_positions[name])))
        if output.hazardous == "no":
            continue
        if name in fillers(draft):
            found[number] = {draft.pad.output_positions[name].index("open")}
        elif isinstance(output, ServoOutput) or (isinstance(output, RelayOutput) and name in powering) or output.hazardous == "yes":
            found[number] = codes - {0}
    return found


def _begins(draft: Draft) -> Iterator[tuple[Row, str]]:
    """(row, output) of every row that begins a hazardous output."""
    for row in draft.table.rows:
        for output, codes in hazards(draft).items():
            before, after = (draft.table.states[s].outputs[output] for s in (row.state, row.to))
            if after in codes and before not in codes:
                yield row, draft.table.outputs[output].name


def _bits(draft: Draft, care: int) -> list[int]:
    """Condition bits that a literal mask rests on, the bits they are made from included."""
    keys = Reading(draft, draft.running[0]).needs(care)
    return [i for i in range(len(draft.table.bits)) if f"bit {i}" in keys]


def _inputs(draft: Draft, care: int) -> set[str]:
    """Inputs that these literals rest on."""
    found: set[str] = set()
    for i in _bits(draft, care):
        bit = draft.table.bits[i]
        if bit.kind in (Kind.CONTACT, Kind.PRESS):
            found.add(draft.table.contacts[bit.source].name)
        elif bit.kind == Kind.HEARD:
            found.add(draft.table.heartbeats[bit.source])
        elif bit.kind in (Kind.AT_LEAST, Kind.BELOW, Kind.VALID, Kind.TARGET, Kind.CHANGE, Kind.DIFFERS):
            found.add(draft.table.analogs[bit.source].name)
    return found


def _guards(draft: Draft, row: Row) -> set[str]:
    """Inputs that must agree for a row to fire: its own and those of the trips looked at before it."""
    spec = draft.table.states[row.state]
    care = row.care
    for one in draft.table.rows[spec.first_row : spec.end_row]:
        if one is row:
            break
        if one.origin.startswith("trip "):
            care |= one.care
    return _inputs(draft, care)


def _told(draft: Draft, row: Row) -> str:
    return f"{draft.table.states[row.state].name} -> {draft.table.states[row.to].name} ({row.origin})"


def _power_up(draft: Draft) -> Iterator[str]:
    first = draft.table.states[0]
    if next(iter(draft.pad.states.values())).people == "allowed":
        yield f"the first state, {first.name}, allows people"
    for output, codes in hazards(draft).items():
        spec = draft.table.outputs[output]
        part = draft.pad.outputs[spec.name]
        if spec.idle in codes:
            yield f"{spec.name} is {spec.positions[spec.idle]} without power"
        if first.outputs[output] in codes:
            yield f"{first.name} commands {spec.name} to {spec.positions[first.outputs[output]]}"
        if part.while_booting is not None and spec.positions.index(part.while_booting) in codes:
            yield f"{spec.name} is {part.while_booting} while the board boots"
    for volume in draft.bands.edges:
        for line in dumps(draft, volume):
            valve = draft.pad.site[line]
            assert isinstance(valve, LinePart)
            if valve.opened_by in draft.pad.outputs:
                number = list(draft.pad.outputs).index(valve.opened_by)
                spec = draft.table.outputs[number]
                if spec.positions[first.outputs[number]] != "open" or spec.positions[spec.idle] != "open":
                    yield f"{line} is not open at power-up: gas stays in {volume}"


def _two_inputs(draft: Draft) -> Iterator[str]:
    for row, output in _begins(draft):
        inputs = _guards(draft, row)
        if len(inputs) < 2:
            yield f"{output} begins by {_told(draft, row)} on {', '.join(sorted(inputs)) or 'time'} alone"


def stops(draft: Draft) -> list[str]:
    """Contacts that open when their word is true and that a trip looks at: stop buttons."""
    care = 0
    for row in draft.table.rows:
        if row.origin.startswith("trip "):
            care |= row.care
    tripping = _inputs(draft, care)
    return [n for n, i in draft.pad.inputs.items() if isinstance(i, ContactInput) and not i.contact.closed_means_word and n in tripping]


def _stops(draft: Draft) -> Iterator[str]:
    names = draft.table.outputs
    effects = [(n, "shut") for n in fillers(draft)]
    for volume in draft.bands.edges:
        for line in dumps(draft, volume):
            part = draft.pad.site[line]
            assert isinstance(part, LinePart)
            if part.opened_by in draft.pad.outputs:
                effects.append((part.opened_by, "open"))
    effects += [(names[o].name, names[o].positions[0]) for o in hazards(draft) if isinstance(draft.pad.outputs[names[o].name], RelayOutput)]
    found = stops(draft)
    if not found and hazards(draft):
        yield "no contact that opens when pressed stops anything: a cut stop wire would go unseen"
    for contact in found:
        number = [c.name for c in draft.table.contacts].index(contact)
        bits = certain.by(certain.turned(draft, {number: False}), AT_ONCE)
        for state in range(len(draft.table.states)):
            got = certain.answer(draft, state, bits, certain.positions(draft, effects))
            if got.moves is None:
                yield f"{contact} does nothing about it in {draft.table.states[state].name}"
            elif got.lets_go:
                ends = draft.table.states[min(got.lets_go)].name
                yield f"{contact} pressed in {draft.table.states[state].name}: the box may still go on to {ends}"


def _trapped(draft: Draft) -> Iterator[str]:
    sensed = {volume_of(draft.pad, a.name) for a in draft.table.analogs}
    for volume in draft.pad.parts(VolumePart):
        ways = []
        for line in dumps(draft, volume):
            part = draft.pad.site[line]
            assert isinstance(part, LinePart)
            number = list(draft.pad.outputs).index(part.opened_by) if part.opened_by in draft.pad.outputs else None
            spec = None if number is None else draft.table.outputs[number]
            if spec is None or spec.positions[spec.idle] == "open":
                ways.append(line)
        if not ways and volume not in sensed:
            yield f"{volume} can hold gas without a way to air and without a sensor"


def _held(draft: Draft) -> Iterator[str]:
    for row, output in _begins(draft):
        bits = _bits(draft, row.care)
        if any(draft.table.bits[i].kind == Kind.PRESS for i in bits):
            continue
        for i in bits:
            bit = draft.table.bits[i]
            if bit.kind != Kind.CONTACT:
                continue
            name = draft.table.contacts[bit.source].name
            part = draft.pad.inputs[name]
            assert isinstance(part, ContactInput)
            closed = bit.wanted == (bool(row.want >> i & 1) if row.care >> i & 1 else True)
            if part.contact.word == "pressed" and closed == part.contact.closed_means_word:
                yield f"{output} begins by {_told(draft, row)} while {name} is simply down"


def _link(draft: Draft) -> Iterator[str]:
    heard = {i for i, b in enumerate(draft.table.bits) if b.kind == Kind.HEARD}
    lost = {r.to for r in draft.table.rows if any(r.care >> i & 1 and not r.want >> i & 1 for i in heard)}
    for row, output in _begins(draft):
        back = any(row.care >> i & 1 and row.want >> i & 1 for i in heard)
        pressed = any(draft.table.bits[i].kind == Kind.PRESS for i in _bits(draft, row.care))
        if row.state in lost and back and not pressed:
            yield f"{output} begins by {_told(draft, row)} when the link is heard again"


def _reset(draft: Draft) -> Iterator[str]:
    for row, output in _begins(draft):
        if row.state == 0:
            yield f"{output} begins out of the first state by {_told(draft, row)}"


def _approach(draft: Draft) -> Iterator[str]:
    people = [s.people == "allowed" for s in draft.pad.states.values()]
    for row in draft.table.rows:
        if not people[row.to] or people[row.state]:
            continue
        shown = set()
        for i in _bits(draft, row.care | at_row(draft.table, row)):
            bit = draft.table.bits[i]
            if bit.kind == Kind.BELOW:
                shown.add(volume_of(draft.pad, draft.table.analogs[bit.source].name))
        for volume in draft.pad.parts(VolumePart):
            if volume not in shown:
                yield f"{_told(draft, row)} lets people in although nothing shows {volume} empty"
