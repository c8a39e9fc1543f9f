"""Names and fields: every name a file uses is declared in it, every number fits what must carry it.

Runs inside `load`; its findings are errors, so everything above may trust a `Pad` it is given.
"""

from __future__ import annotations

from sequencer.description.pad import Pad
from sequencer.description.resolve.box import check as box
from sequencer.description.resolve.conditions import check as conditions
from sequencer.description.resolve.day import check as day
from sequencer.description.resolve.fits import check as fits
from sequencer.description.resolve.names import Names
from sequencer.description.resolve.rules import check as rules
from sequencer.description.resolve.sequence import check as sequence
from sequencer.description.resolve.site import check as site
from sequencer.description.tree import Tree, Where
from sequencer.errors import Finding


def check_names(pad: Pad, tree: Tree, aside: set[Where]) -> list[Finding]:
    """Every finding about names and fields; `aside` are the parts that were already refused."""
    names = Names(pad, tree, aside)
    for look in (box, conditions, sequence, rules, site, day):
        look(names)
    if not names.findings and not aside:
        fits(names)
    return names.findings


__all__ = ["check_names"]
