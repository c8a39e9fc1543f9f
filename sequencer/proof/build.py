"""From a pad to its `System`: every part lays out its bits, then writes its rows."""

from __future__ import annotations

from sequencer.description.box import AnalogInput
from sequencer.description.pad import Pad
from sequencer.proof import controller, feeding, gas, interlocks, parts, people
from sequencer.proof.bands import volume_of
from sequencer.proof.draft import Draft
from sequencer.proof.system import System
from sequencer.table import Table, compile_table


def draft_of(pad: Pad, table: Table | None = None) -> Draft:
    """The finished draft: all bits and rows."""
    draft = _world_of(pad, table)
    controller.rows(draft)
    return draft


def races_of(pad: Pad, table: Table | None = None) -> Draft:
    """A draft with the races but without the controller's rows: twenty times as quick. A state that always moves on
    before a threshold of its timer is not noticed here, so that such a threshold's races are there in vain."""
    draft = _world_of(pad, table)
    controller.races(draft)
    return draft


def _world_of(pad: Pad, table: Table | None) -> Draft:
    draft = Draft(pad, table or compile_table(pad))
    for room in (gas, parts, people, controller):
        room.lay_out(draft)
    for room in (gas, parts, feeding, people):
        room.rows(draft)
    quick = [n for n, part in draft.pad.inputs.items() if isinstance(part, AnalogInput) and part.lag is None and volume_of(draft.pad, n)]
    if quick:
        draft.assumed.append(f"{' and '.join(quick)} follow{'s' if len(quick) == 1 else ''} the pressure within a scan: the file gives no lag")
    return draft


def system_of(draft: Draft) -> System:
    """The system of a draft."""
    return System(
        draft.layout, draft.places, tuple(draft.rows), starts(draft), tuple(draft.races), tuple(interlocks.checks(draft)),
        free=draft.layout.mask(draft.by_hand.values()),
        spent=draft.layout.mask(f"the box says {n}" for n in controller.said(draft)),
    )


def starts(draft: Draft) -> tuple[int, ...]:
    """The first situation of a day: no power, no gas, valves at rest, the gate open, someone on the pad where the
    crew begins there. Everything else is reached from it by rows."""
    wanted = 0
    for output, code, bit, _ in parts.movers(draft):
        if draft.table.outputs[list(draft.pad.outputs).index(output)].idle == code:
            wanted |= draft.layout.mask([bit])
    begins = [draft.layout.at(0, wanted)]
    if draft.layout.has(people.ON_PAD):
        begins.append(draft.layout.at(0, wanted | draft.layout.mask([people.ON_PAD])))
    return tuple(begins)
