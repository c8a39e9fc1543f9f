"""What each fault changes in the system: rows it adds, races it takes away, readings it sets free.

A faulted system holds all the rows of the sound one (a fault may come and go at any moment), so its behaviour is at
least what the fault can do. Faults that add nothing (a button that stays open, a servo that does not move) leave the
reached set as it is; faults with the same edit are explored once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from sequencer.description.box import ContactInput, HeartbeatInput, LampOutput
from sequencer.description.faults import Fault, faults
from sequencer.description.grounds import (
    HeadPart,
    LinePart,
    LinkPart,
    PadPart,
    PinPart,
    PowerPart,
    ReliefPart,
    SupplyPart,
    VolumePart,
)
from sequencer.proof import controller, feeding, gas, interlocks, parts, people
from sequencer.proof.draft import READING, Draft
from sequencer.proof.durations import LEAK
from sequencer.proof.parts import driven, horn, moves
from sequencer.proof.people import STRANGER
from sequencer.proof.system import Row, System


@dataclass(frozen=True)
class Edit:
    """rows: added. relax: parts whose races are gone. blind: free bits whose truth the box no longer sees. loose:
    readings that may show anything. failures, leaking: what `gas.rising` takes as failed or leaking."""

    rows: tuple[Row, ...] = ()
    relax: frozenset[str] = frozenset()
    blind: int = 0
    loose: frozenset[str] = frozenset()
    failures: frozenset[str] = frozenset()
    leaking: frozenset[str] = frozenset()

    @property
    def inert(self) -> bool:
        """Whether nothing new can happen."""
        return self == Edit()

    def __or__(self, other: Edit) -> Edit:
        rows = self.rows + tuple(r for r in other.rows if r not in self.rows)
        return Edit(
            rows, self.relax | other.relax, self.blind | other.blind, self.loose | other.loose,
            self.failures | other.failures, self.leaking | other.leaking,
        )  # fmt: skip


def edits(draft: Draft) -> dict[Fault, Edit]:
    """Every fault of the pad that the file does not leave out, with what it changes."""
    out = {one.fault for one in draft.pad.left_out}
    return {fault: _edit(draft, fault) | _followed(draft, fault) for fault in faults(draft.pad) if fault.name not in out}


def _followed(draft: Draft, fault: Fault) -> Edit:
    """What contacts see of an output at its other positions, when it or its line has failed."""
    part = draft.pad.site.get(fault.part)
    output = part.opened_by if isinstance(part, LinePart) else fault.part
    rows = _rows(draft, lambda: parts.beside(draft, [output]))
    return Edit(rows, relax=frozenset({output} if rows else ()))


def _rows(draft: Draft, write: Callable[[], object]) -> tuple[Row, ...]:
    """The rows that `write` adds to the draft, taken out again."""
    kept, draft.rows = draft.rows, []
    write()
    made, draft.rows = draft.rows, kept
    return tuple(made)


def _edit(draft: Draft, fault: Fault) -> Edit:
    pad, name, mode = draft.pad, fault.part, fault.mode
    if name == "box":
        return Edit(relax=frozenset({"box"}))
    if name in pad.inputs:
        return _input(draft, name, mode)
    if name in pad.outputs:
        return _output(draft, name, mode)
    part = pad.site[name]
    if isinstance(part, LinePart):
        return _line(draft, name, part, mode)
    if isinstance(part, SupplyPart):
        return Edit(relax=frozenset({name}), failures=frozenset({name})) if mode in ("creeps", "fails open") else Edit()
    if isinstance(part, ReliefPart):
        return Edit(failures=frozenset({name})) if mode == "stuck" else Edit()
    if isinstance(part, HeadPart):
        return _head(draft, name, part, mode)
    if isinstance(part, PinPart) and mode == "falls out":
        return Edit(_rows(draft, lambda: moves(draft, f"{name} falls out", "part", f"{name} in", False, tag=f"fault {name}: {mode}")))
    if isinstance(part, PadPart):
        return _people(draft, part, name, mode)
    if isinstance(part, PowerPart) and mode == "fails":
        return _power(draft, name)
    return Edit()


def _input(draft: Draft, name: str, mode: str) -> Edit:
    part = draft.pad.inputs[name]
    if isinstance(part, HeartbeatInput):
        return _link(draft, name)
    if not isinstance(part, ContactInput):
        return Edit(loose=frozenset({name})) if name in [a.name for a in draft.table.analogs] else Edit()
    closed = {"wire cut": False, "stuck open": False, "shorted": True, "stuck closed": True}.get(mode)
    shown = {True, False} if closed is None else {closed == part.contact.closed_means_word}
    if mode == "held":
        shown = {True}
    loose = frozenset({name}) if True in shown and name in people.carried(draft) else frozenset()
    if name in draft.by_hand:
        return Edit(blind=draft.layout.mask([draft.by_hand[name]]), loose=loose)
    if name not in draft.tracked:
        return Edit(loose=loose)
    seen, fresh = draft.seen(name), draft.fresh(name)

    def write() -> None:
        for value in sorted(shown):
            says = f"the box sees {name} {'' if value else 'not '}at its word, whatever is true"
            draft.row(says, "reading", {seen: not value}, {seen: value, fresh: False, READING: True}, draft.running)

    rows = tuple(replace(r, tag=f"misread {name}") for r in _rows(draft, write))
    if any((not value) in shown for value in interlocks.awaited(draft, draft.tracked[name])):
        # a rule waits until the box has seen this truth: with the fault it may never see it, and what it sees is free
        loose = frozenset({name})
    return Edit(rows, relax=frozenset({name}), loose=loose)


def _output(draft: Draft, name: str, mode: str) -> Edit:
    number = list(draft.pad.outputs).index(name)
    if isinstance(draft.pad.outputs[name], LampOutput):
        return Edit(_rows(draft, lambda: people.walks(draft, people.allowed(draft, dead=frozenset({number})))))
    if mode == "twitches":
        return Edit(_rows(draft, lambda: parts.jumps(draft, name)))
    if mode == "limp":
        return Edit(_rows(draft, lambda: draft.row(f"the servo {name} goes limp", "part", {horn(name): True}, {horn(name): False}, tag="limp")))
    if mode == "welded":
        return _welded(draft, name)
    if mode == "stuck off" and name in driven(draft):
        return Edit(_rows(draft, lambda: feeding.drops(draft, name, "does not stay on", f"stick {name}")), relax=frozenset({name}))
    return Edit(relax=frozenset({name})) if mode == "slow" and name in driven(draft) else Edit()


def _power(draft: Draft, name: str) -> Edit:
    """A supply fails: what it feeds stands where it does without power, and its lamps are dark."""
    fed = [o for o in feeding.fed(draft, name) if feeding.matters(draft, o)]

    def write() -> None:
        for output in fed:
            feeding.drops(draft, output, f"has no power: {name} fails", f"stick {output}")
        dark = feeding.lamps(draft, name)
        if dark:
            people.walks(draft, people.allowed(draft, dead=dark))

    return Edit(_rows(draft, write), relax=frozenset(fed))


def _link(draft: Draft, name: str) -> Edit:
    """A link that does not pass our own messages: what it carries stays as the box has last heard it."""
    edit = Edit()
    for part in draft.pad.parts(LinkPart).values():
        for carried in part.carries if part.link == name else ():
            if isinstance(draft.pad.inputs.get(carried), ContactInput):
                edit |= _input(draft, carried, "bounces")
    return edit


def _welded(draft: Draft, name: str) -> Edit:
    if name in driven(draft):
        bit = driven(draft)[name][1]
        on = driven(draft)[name][2] == draft.pad.output_positions[name][1]
        if bit in draft.tracked.values():
            rows = _rows(draft, lambda: moves(draft, f"{name} is welded on", "part", bit, on))
        else:
            rows = _rows(draft, lambda: draft.row(f"{name} is welded on", "part", {bit: not on}, {bit: on}))
        return Edit(rows, relax=frozenset({name}))
    return Edit(_rows(draft, lambda: parts.servos(draft, welded=name)))


def _line(draft: Draft, name: str, part: LinePart, mode: str) -> Edit:
    output = part.opened_by
    if output not in draft.pad.outputs:
        return _blocked(draft, name, part, mode)
    bit = gas.valve(output)
    if mode in ("stuck open", "stuck shut"):
        value = mode == "stuck open"
        rows = _rows(draft, lambda: draft.row(f"{output} sticks {'open' if value else 'shut'}", "part", {bit: not value}, {bit: value}, tag=f"stick {output}"))
        return Edit(rows, relax=frozenset({output}))
    if mode == "slow":
        return Edit(relax=frozenset({output}))
    if mode == "leaks":
        into = [v for v in draft.bands.edges if draft.durations.feeds(name, v) and v in (part.line.origin, part.line.end)]
        return Edit(leaking=frozenset({output}), relax=frozenset({name}) if _outruns(draft, into, name) else frozenset()) if into else Edit()
    return _blocked(draft, name, part, mode)


def _blocked(draft: Draft, name: str, part: LinePart, mode: str) -> Edit:
    """A line that passes less than it should, or gas back through its check valve."""
    if mode in ("kinked", "traps"):
        return Edit(relax=frozenset({name}), failures=frozenset({name} if part.line.end == "air" else ()))
    if mode == "leaks back":
        into = isinstance(draft.pad.site.get(part.line.origin), VolumePart) and part.line.end != "air"
        return Edit(relax=frozenset({name}), failures=frozenset({gas.lets_back(name)} if into else ()))
    return Edit()


def _outruns(draft: Draft, volumes: list[str], line: str) -> bool:
    """Whether a leak could hold a volume above its lowest edge against its open dumps."""
    for volume in volumes:
        for edge in draft.bands.edges[volume][:1]:
            dumps = gas.dumps(draft, volume)
            if not dumps or draft.durations.held_down_to(volume, dumps[:1], alone=line, share=LEAK) > 0.5 * edge:
                return True
    return False


def _head(draft: Draft, name: str, part: HeadPart, mode: str) -> Edit:
    bit = f"{name} latched"
    if mode not in ("lets go early", "half latched", "latched on dirt"):
        return Edit()
    rows = _rows(draft, lambda: moves(draft, f"{name} lets go by itself", "part", bit, False, tag=f"lets go {name}"))
    if mode == "lets go early" or not part.seen_by or part.seen_by not in draft.tracked:
        return Edit(rows)
    half = _input(draft, part.seen_by, "held")
    return Edit(rows) | half


def _people(draft: Draft, part: PadPart, name: str, mode: str) -> Edit:
    if mode == "walks in":
        return Edit(_rows(draft, lambda: draft.row("someone whom nobody counted walks in", "slip", {STRANGER: False}, {STRANGER: True}, tag="slip walks in")))
    if mode == "misreads":
        return Edit(_rows(draft, lambda: people.walks(draft, people.allowed(draft), dials=False)))
    left = lambda: draft.row("everyone is counted out, but one is still there", "slip", {people.ON_PAD: True}, {people.ON_PAD: False, STRANGER: True}, tag="slip miscounts")  # noqa: E731 (one line, used once)
    return Edit(_rows(draft, left))


def changed(draft: Draft, system: System, edit: Edit) -> list[Row]:
    """The rows that a fault (or several) brings besides those of the sound system."""
    rows = list(edit.rows)
    if edit.failures or edit.leaking:
        old = {r for r in system.rows if r.tag.startswith("up ")}
        rows += [r for r in gas.rising(draft, edit.failures, edit.leaking) if r not in old]
    if edit.loose:
        for place in draft.running:
            if controller.reads(draft, place, edit.loose):
                old = {r for r in system.rows if r.scan and r.at == (place,)}
                rows += [r for r in loosened(draft, place, edit.loose) if r not in old]
    if edit.relax:
        pool = [*system.rows, *rows]
        rows = [relaxed(draft, r, edit.relax) for r in rows]
        rows += [new for r in pool if r.unless and (new := relaxed(draft, r, edit.relax)) != r and new not in rows]
    return rows


def loosened(draft: Draft, place: int, loose: frozenset[str]) -> list[Row]:
    """Scans of a place with these readings free, worked out once."""
    asked = frozenset(n for n in loose if controller.reads(draft, place, frozenset({n})))
    key = f"loose {place} {sorted(asked)}"
    if key not in draft.found:
        draft.found[key] = controller.scan_rows(draft, place, loose=asked, most=len(asked))
    return draft.found[key]  # type: ignore[no-any-return]  # kept there by this function


def relaxed(draft: Draft, row: Row, gone: frozenset[str]) -> Row:
    """The row without the races that rest on these parts."""
    unless = tuple((cube, n) for cube, n in row.unless if not draft.races[n].parts & gone)
    return row if unless == row.unless else replace(row, unless=unless)
