"""Critical reading: what an experienced colleague would say about a file that can be read.

Each module looks at one topic through one `View` of the pad; nothing here changes or runs anything.
"""

from __future__ import annotations

from sequencer.description.pad import Pad
from sequencer.description.reading.analog import look as analog
from sequencer.description.reading.graph import look as graph
from sequencer.description.reading.inputs import look as inputs
from sequencer.description.reading.order import look as order
from sequencer.description.reading.outputs import look as outputs
from sequencer.description.reading.people_and_gas import look as people_and_gas
from sequencer.description.reading.promises import look as promises
from sequencer.description.reading.rows import look as rows
from sequencer.description.reading.time import look as time
from sequencer.description.reading.view import View
from sequencer.description.reading.wires import look as wires
from sequencer.errors import Finding


def read_critically(pad: Pad) -> tuple[Finding, ...]:
    """Every finding about a pad, in the order of the file; the reader's own remarks are among them."""
    view = View(pad)
    for topic in (rows, graph, order, time, analog, people_and_gas, outputs, inputs, wires, promises):
        topic(view)
    found = dict.fromkeys([*pad.remarks, *view.findings])
    return tuple(sorted(found, key=lambda one: (one.place.line, one.place.column, one.name)))


__all__ = ["read_critically"]
