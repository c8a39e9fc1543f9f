"""Gas in a story: waited for, let out by hand, or on its way out already when the last press comes."""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.proof.bands import comparison
from sequencer.proof.bringing import Bringing
from sequencer.proof.draft import Draft
from sequencer.proof.standing_in import said
from sequencer.proof.stories import StoryStep
from sequencer.proof.system import Bad, Row, System
from sequencer.quantities import Quantity
from sequencer.table import Kind


def edge_of(draft: Draft, mask: int) -> tuple[str, float] | None:
    """(volume, edge) of the band bit in a mask."""
    for volume, edges in draft.bands.edges.items():
        for edge in edges:
            if mask & draft.layout.mask([draft.bands.name(volume, edge)]):
                return volume, edge
    return None


def awaited(script: Bringing, draft: Draft, mask: int, up: bool) -> None:
    found = edge_of(draft, mask)
    if found is not None:
        volume, edge = found
        script.wait_for(t.PressureIs(volume, up, Quantity(edge, "pressure", f"{edge / 1e5:g} bar", "bar", "gauge")))


def falls(script: Bringing, draft: Draft, mask: int, step: StoryStep, system: System, rest: list[StoryStep], *, wait: bool) -> None:
    """Pressure falls: by itself where the box lets gas out, else somebody opens a hand valve for it."""
    found = edge_of(draft, mask)
    if found is None:
        return
    opened = script.leaving(found[0])
    leaves = any(step.word & draft.layout.mask([bit]) for bit in opened)
    if not leaves:
        script.vent(found[0])
    if wait:
        awaited(script, draft, mask, False)
    again = any(system.rows[s.row].actor == "gas" for s in rest[:3])
    if not leaves and not again:
        script.shut_vent(found[0])


def falls_early(draft: Draft, system: System, steps: list[StoryStep], bad: Bad | None = None) -> dict[int, dict[str, float]]:
    """{number of the last press before a fall: {volume: edge}}: gas has to be on its way out already."""
    found: dict[int, dict[str, float]] = {}
    for number, step in enumerate(steps):
        row = system.rows[step.row]
        if row.actor != "gas" or row.tag.startswith("up ") or not row.forward:
            continue
        edge = edge_of(draft, row.clear)
        if edge is not None and any(step.word & draft.layout.mask([bit]) for bit in Bringing(draft).leaving(edge[0])):
            continue  # the box lets it out
        pressed = [i for i in range(number) if system.rows[steps[i].row].origin is not None and pressed_by(draft, system.rows[steps[i].row])]
        if edge is not None and pressed:
            found.setdefault(pressed[-1], {})[edge[0]] = edge[1]
    if not found and bad is not None:
        pressed = [i for i, s in enumerate(steps[:-1]) if system.rows[s.row].origin is not None and pressed_by(draft, system.rows[s.row])]
        sinks = lost(draft, bad)
        if pressed and sinks and not pressed_by_last(draft, system, steps):
            found[pressed[-1]] = sinks
    return {max(found): found[max(found)]} if found else {}


def pressed_by_last(draft: Draft, system: System, steps: list[StoryStep]) -> bool:
    """Whether the last step is a press: gas can be waited for before it."""
    last = system.rows[steps[-1].row]
    return last.origin is not None and bool(pressed_by(draft, last))


def lost(draft: Draft, bad: Bad) -> dict[str, float]:
    """{volume: gauge Pa} whose fall below makes the box no longer say what the rule breaks without."""
    for i, value in said(draft, bad):
        asked = Bringing(draft).asked(1 << i)
        for k, bit in enumerate(draft.table.bits):
            if value or not asked >> k & 1 or bit.kind != Kind.AT_LEAST:
                continue
            reads = comparison(draft.pad, draft.table, bit)
            if reads is not None and any(p.opened_by == "hand" for p in Bringing(draft).lines_out(reads.volume).values()):
                return {reads.volume: 0.5 * (reads.low + reads.high)}
    return {}


def pressed_by(draft: Draft, row: Row) -> set[str]:
    """Contacts whose press a move of the box asks for."""
    assert row.origin is not None
    care = Bringing(draft).asked(draft.table.rows[row.origin].care)
    bits = (b for i, b in enumerate(draft.table.bits) if care >> i & 1)
    return {draft.table.contacts[b.source].name for b in bits if b.kind.name == "PRESS"}


__all__ = ["awaited", "edge_of", "falls", "falls_early", "lost", "pressed_by"]
