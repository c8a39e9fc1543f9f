"""What feeds the driven parts: a valve or relay whose supply is gone moves to where it stands without power, whatever
the box commands. A switch before a supply in hardware (`cut_by`) may do that at any moment, before the box has seen it.
"""

from __future__ import annotations

from dataclasses import replace

from sequencer.description.box import LampOutput
from sequencer.description.grounds import PowerPart
from sequencer.proof.bands import facts
from sequencer.proof.draft import Draft
from sequencer.proof.gas import overshoot
from sequencer.proof.parts import beside, driven, movers, moves


def of_the_box(draft: Draft) -> str | None:
    """The supply that the box itself runs on (as in the simulator: the first that no switch cuts)."""
    powers = draft.pad.parts(PowerPart)
    return next((n for n, p in powers.items() if p.cut_by is None), next(iter(powers), None))


def fed(draft: Draft, power: str) -> list[str]:
    """Outputs whose true position is a bit and that this supply feeds while the box may go on without it."""
    part = draft.pad.site[power]
    assert isinstance(part, PowerPart)
    return [] if power == of_the_box(draft) else [o for o in part.feeds if o in driven(draft)]


def cut(draft: Draft) -> set[str]:
    """Outputs that a switch before their supply may leave without power at any moment."""
    if "cut" not in draft.found:
        draft.found["cut"] = {o for n, p in draft.pad.parts(PowerPart).items() if p.cut_by for o in fed(draft, n)}
    return draft.found["cut"]  # type: ignore[no-any-return]  # kept there by this function


def unpowered(draft: Draft, output: str) -> bool:
    """Value of the bit of a driven output without power: where it stands at its first position."""
    return driven(draft)[output][0] == 0


def certain(draft: Draft, output: str, value: bool) -> bool:
    """Whether an output that is commanded so comes there, as far as switches before its supply go."""
    return output not in cut(draft) or unpowered(draft, output) == value


def matters(draft: Draft, output: str) -> bool:
    """Whether it makes a difference that a part without power does not stand where it is commanded: it no longer lets
    gas out, or a contact or a rule asks where it stands. Else gas need not pass a valve that is open, and it may leave
    past one that is shut."""
    if any(bit in draft.tracked.values() for o, _, bit, _ in movers(draft) if o == output):
        return True
    lines = draft.parts_lines(output)
    if not unpowered(draft, output) and any("air" in (draft.durations.lines[n].source, draft.durations.lines[n].target) for n in lines):
        return True
    return any(getattr(fact, "line", None) in lines or getattr(fact, "output", None) in lines for fact in facts(draft.pad))


def drops(draft: Draft, output: str, why: str, tag: str) -> None:
    """Rows: the part goes to where it stands without power."""
    beside(draft, [output])
    bit, value = driven(draft)[output][1], unpowered(draft, output)
    if bit in draft.tracked.values():
        moves(draft, f"{output} {why}", "part", bit, value, tag=tag)
    else:
        # what has passed while it stood open is not forgotten here: it may come back before the next scan
        draft.row(f"{output} {why}", "part", {bit: not value}, {bit: value}, tag=tag)


def rows(draft: Draft) -> None:
    """What the switches before supplies do."""
    for name, part in draft.pad.parts(PowerPart).items():
        for output in (o for o in fed(draft, name) if part.cut_by and matters(draft, o)):
            kept, draft.rows = draft.rows, []
            drops(draft, output, f"has no power: {part.cut_by} cuts {name}", f"cut {output}")
            _shut(draft, output)
            draft.rows = kept + [replace(r, sure=False) for r in draft.rows]


def lamps(draft: Draft, power: str) -> frozenset[int]:
    """Numbers of the lamps that go dark with this supply."""
    part = draft.pad.site[power]
    assert isinstance(part, PowerPart)
    return frozenset(i for i, (n, o) in enumerate(draft.pad.outputs.items()) if n in part.feeds and isinstance(o, LampOutput))


def _shut(draft: Draft, output: str) -> None:
    """A valve that stands shut without power has let nothing pass once it is commanded shut as well."""
    if not draft.layout.has(overshoot(output)):
        return
    code, bit, _ = driven(draft)[output]
    for places, cube in draft.command(list(draft.pad.outputs).index(output), code, False):
        shut = cube.meet(draft.layout.cube({bit: False, overshoot(output): True}))
        assert shut is not None
        draft.row(f"{output} stands shut", "part", shut, {overshoot(output): False}, places, tag=f"cut {output}")
