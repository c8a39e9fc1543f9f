"""If this wire is cut: for every terminal and every state, what the table then does, in words.

The table is evaluated with three values. Before the cut the box stood still in its state, so only bits that come from
the cut input have changed; a row whose changed literals all fit fires at once when it needs nothing else, or as soon
as the rest holds; a row that the cut contradicts is blocked. Bits: True, False, or None (not known).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from sequencer.description.box import AnalogInput, ContactInput, ServoOutput
from sequencer.description.grounds import LinePart, ServoPart
from sequencer.description.pad import Pad
from sequencer.sizing.sheet import Line, Section
from sequencer.table import Kind, Table, compile_table
from sequencer.table.table import Literals

Bits = dict[int, bool | None]
CUT, SHORTED = "If this wire is cut", "If this wire is shorted"


@dataclass(frozen=True)
class Outcome:
    """What one cut wire does in one state."""

    state: str
    goes_to: str
    may_go_to: tuple[str, ...]
    blocked: tuple[str, ...]
    held: tuple[str, ...]

    @property
    def words(self) -> str:
        parts = []
        if self.goes_to:
            parts.append(f"goes to {self.goes_to}")
        else:
            if self.held:
                parts.append(", ".join(self.held))
            if self.blocked:
                parts.append(f"no longer to {', '.join(self.blocked)}")
            if self.may_go_to:
                parts.append(f"counts as a yes for {', '.join(self.may_go_to)}")
        return "; ".join(parts) or "stays"


def changed_bits(table: Table, name: str, level: int = 0) -> Bits:
    """Bits that come from input `name` and their value once its wire is cut (or, `level` 1, shorted).

    A contact reads `level`; a reading is invalid, so its comparisons are false; a heartbeat is silent. A press whose
    word is that very level is made once by the cut.
    """
    contacts = [c.name for c in table.contacts]
    analogs = [a.name for a in table.analogs]
    bits: Bits = {}
    for i, bit in enumerate(table.bits):
        if bit.kind in (Kind.CONTACT, Kind.PRESS) and name in contacts and bit.source == contacts.index(name):
            bits[i] = level == int(bit.wanted)
        elif bit.kind == Kind.HEARD and name in table.heartbeats and bit.source == table.heartbeats.index(name):
            bits[i] = False
        elif bit.kind == Kind.VALID and name in analogs and bit.source == analogs.index(name):
            bits[i] = not bit.wanted
        elif bit.kind in (Kind.AT_LEAST, Kind.BELOW, Kind.CHANGE, Kind.TARGET, Kind.DIFFERS) and name in analogs:
            if bit.source == analogs.index(name) or (bit.kind == Kind.DIFFERS and bit.second == analogs.index(name)):
                bits[i] = False
            elif bit.kind == Kind.CHANGE and bit.second in bits:
                bits[i] = None
        elif bit.kind == Kind.CHANGE and bit.second in bits:
            bits[i] = False if bits[bit.second] is False else None
        elif bit.kind == Kind.ALL and _touches(bit.set, bits):
            bits[i] = _value(bit.set, bits)
        elif bit.kind == Kind.MEMORY and (_touches(bit.set, bits) or _touches(bit.clear, bits)):
            cleared, made = _value(bit.clear, bits), _value(bit.set, bits)
            if cleared:
                bits[i] = False
            elif made and cleared is False:
                bits[i] = True
            elif made is False and not _touches(bit.clear, bits):
                continue  # it can no longer be set, and keeps what it has
            else:
                bits[i] = None
    return bits


def _touches(literals: Literals, bits: Bits) -> bool:
    return any(literals.care >> i & 1 for i in bits)


def _value(literals: Literals, bits: Bits) -> bool | None:
    """Three-valued truth of a literal list; unchanged bits are not known."""
    if literals.care == 0:
        return (literals.want == 0) != literals.invert
    known = True
    for i in range(literals.care.bit_length()):
        if not literals.care >> i & 1:
            continue
        value = bits.get(i)
        if value is None:
            known = False
        elif value != bool(literals.want >> i & 1):
            return literals.invert
    return (not literals.invert) if known else None


def outcome(pad: Pad, table: Table, state: int, bits: Bits) -> Outcome:
    """What the table does in one state once these bits have changed."""
    spec = table.states[state]
    may: list[str] = []
    blocked: list[str] = []
    goes_to = ""
    for row in table.rows[spec.first_row : spec.end_row]:
        to = table.states[row.to].name
        touched = [i for i in bits if row.care >> i & 1]
        if not touched:
            continue
        fits = [bits[i] is not None and bits[i] == bool(row.want >> i & 1) for i in touched]
        against = [bits[i] is not None and bits[i] != bool(row.want >> i & 1) for i in touched]
        if any(against):
            blocked.append(to)
        elif all(fits) and row.care == sum(1 << i for i in touched) and row.least == 0:
            goes_to = to
            break
        elif to not in may:
            may.append(to)
    open_ways = {table.states[r.to].name for r in table.rows[spec.first_row : spec.end_row] if not _contradicted(r.care, r.want, bits)}
    gone = tuple(dict.fromkeys(b for b in blocked if b not in open_ways))
    return Outcome(spec.name, goes_to, tuple(may), gone, _inhibited(pad, table, state, bits))


def _contradicted(care: int, want: int, bits: Bits) -> bool:
    return any(care >> i & 1 and v is not None and v != bool(want >> i & 1) for i, v in bits.items())


def _inhibited(pad: Pad, table: Table, state: int, bits: Bits) -> tuple[str, ...]:
    """Outputs that an inhibit now certainly holds, where the state would have them elsewhere."""
    found = []
    for inhibit in table.inhibits:
        cared = [i for i in range(inhibit.care.bit_length()) if inhibit.care >> i & 1]
        if cared and all(bits.get(i) is not None and bits[i] == bool(inhibit.want >> i & 1) for i in cared):
            output = table.outputs[inhibit.output]
            if table.states[state].outputs[inhibit.output] != inhibit.position:
                text = f"{output.name} goes {output.positions[inhibit.position]}"
                if text not in found:
                    found.append(text)
    return tuple(found)


def cut_outcomes(pad: Pad, table: Table, name: str, level: int = 0) -> tuple[Outcome, ...]:
    """Outcomes of cutting the wire of an input (of shorting that of a contact: `level` 1), one per state."""
    bits = changed_bits(table, name, level)
    return tuple(outcome(pad, table, s, bits) for s in range(len(table.states)))


def output_outcomes(pad: Pad, name: str) -> tuple[Outcome, ...]:
    """Outcomes of cutting the wire of an output: it falls to the position it has without power."""
    part = pad.outputs[name]
    found = []
    for state in pad.states:
        if isinstance(part, ServoOutput):
            data = next((p for p in pad.parts(ServoPart).values() if p.servo_data == name), None)
            does = "holds" if data is not None and data.without_pulses == "holds" else "goes limp"
            powered = part.powered_by is None or pad.commanded(state, part.powered_by) == pad.output_positions[part.powered_by][1]
            words = (f"{name} {does}",) if powered else ()
        else:
            idle = pad.output_positions[name][0]
            words = (f"{name} falls to {idle}{_lines(pad, name, idle)}",) if pad.commanded(state, name) != idle else ()
        found.append(Outcome(state, "", (), (), words))
    return tuple(found)


def _lines(pad: Pad, name: str, position: str) -> str:
    lines = [n for n, p in pad.parts(LinePart).items() if p.opened_by == name]
    if not lines:
        return ""
    return f" ({', '.join(lines)} {'lets gas through' if position == 'open' else 'is shut'})"


def wire_sections(pad: Pad) -> tuple[Section, ...]:
    """A section each for switches, for readings and links, and for outputs: one line per wire and outcome with the
    states that share it; wires with equal outcomes stand together."""
    table = compile_table(pad)
    alike: dict[str, dict[tuple[str, tuple[Outcome, ...]], list[str]]] = {"switches": {}, "sensors and link": {}, "outputs": {}}
    for name, part in pad.inputs.items():
        if isinstance(part, ContactInput):
            kind, reads = "switches", f"reads open: {'not ' if part.contact.closed_means_word else ''}{part.contact.word}"
        else:
            kind, reads = "sensors and link", "reading is invalid" if isinstance(part, AnalogInput) else "silent"
        alike[kind].setdefault((reads, cut_outcomes(pad, table, name)), []).append(name)
    for name in pad.outputs:
        alike["outputs"].setdefault(("no drive", output_outcomes(pad, name)), []).append(name)
    sections = []
    for kind, found in alike.items():
        lines = [line for (reads, outcomes), names in found.items() for line in _grouped(pad, names, reads, outcomes)]
        targets = {one.goes_to for _, outcomes in found for one in outcomes if one.goes_to}
        legend = [Line(f"state {s}", None, "", "the file", words=pad.states[s].says) for s in pad.states if s in targets]
        about = "Worked on the table from a box that stood still in the state."
        sections.append(Section(f"{CUT}: {kind}", about, (*legend, *lines)))
    return tuple(sections)


def short_section(pad: Pad) -> Section:
    """The same for a contact whose two wires touch; what it only blocks is left out, and said to be."""
    table = compile_table(pad)
    lines: list[Line] = []
    for name, part in pad.inputs.items():
        if isinstance(part, ContactInput):
            reads = f"reads closed: {'' if part.contact.closed_means_word else 'not '}{part.contact.word}"
            moving = tuple(replace(one, blocked=()) for one in cut_outcomes(pad, table, name, 1))
            lines += _grouped(pad, [name], reads, moving, "shorted")
    about = "As above, both wires of a contact touching. Only what moves or passes for a yes: what it blocks is left out."
    return Section(SHORTED, about, tuple(lines))


def _grouped(pad: Pad, names: list[str], reads: str, outcomes: tuple[Outcome, ...], how: str = "cut") -> list[Line]:
    known = {**pad.inputs, **pad.outputs}
    title = ", ".join(f"{n} ({known[n].terminal})" if known[n].terminal else n for n in names) + f" {how}, {reads}"
    groups: dict[str, list[str]] = {}
    for one in outcomes:
        groups.setdefault(one.words, []).append(one.state)
    told = {words: states for words, states in groups.items() if words != "stays"} or {"nothing moves": list(pad.states)}
    place = pad.place("inputs" if names[0] in pad.inputs else "outputs", names[0])
    return [
        Line(title, None, "", "compiled table, rows in order, three-valued", words=words, place=place,
             note="every state" if len(states) == len(pad.states) else ", ".join(states))
        for words, states in told.items()
    ]  # fmt: skip
