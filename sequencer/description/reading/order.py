"""Written order: time above a condition, and a bolder way out above a safer one."""

from __future__ import annotations

from sequencer.description.box import ServoOutput
from sequencer.description.reading.logic import clash
from sequencer.description.reading.view import Exit, View

_RANKS = ("lets the gas out, or moves nothing", "keeps gas in", "moves what can hurt")


def look(view: View) -> None:
    """Every finding about the order of a state's own ways out; only those that can fire count."""
    for state, exits in view.live.items():
        own = [one for one in exits if not one.trip]
        _time_first(view, own)
        _bold_first(view, state, own)


def _time_first(view: View, own: list[Exit]) -> None:
    for number, one in enumerate(own):
        below = [other for other in own[number + 1 :] if other.way and other.to != one.to and other.least <= one.least]
        if not one.way and below:
            view.say(
                "time-before-condition", one.path, f"{one.label} is by time alone and stands above {below[0].label} ({below[0].says}): in the scan in which both hold, time wins",
                "the way by time alone written last", f"write {below[0].label} above it",
            )  # fmt: skip


def _bold_first(view: View, state: str, own: list[Exit]) -> None:
    for number, one in enumerate(own):
        for other in own[number + 1 :]:
            if not (one.way and other.way) or _rank(view, state, other.to) >= _rank(view, state, one.to):
                continue
            before = tuple(earlier.way for earlier in own[:number] if earlier.way and earlier.least <= one.least)
            if clash(view.pad, state, (*one.way, *other.way), before):
                continue
            view.say(
                "safer-way-below", other.path, f"{other.label} {_RANKS[_rank(view, state, other.to)]}, and {one.label}, which {_RANKS[_rank(view, state, one.to)]}, is looked at before it: when both hold, the bolder one is taken",
                "of two ways out that can hold at once, the safer one first", f"write {other.label} above {one.label}",
            )  # fmt: skip
            return


def _rank(view: View, origin: str, to: str) -> int:
    """How bold a move is: an index of `_RANKS`."""
    if view.starts_hazard(origin, to) or _powers(view, origin, to):
        return 2
    return 1 if view.holds_gas(to) else 0


def _powers(view: View, origin: str, to: str) -> bool:
    """Whether a move switches the supply of a servo on."""
    pad = view.pad
    for part in pad.outputs.values():
        if isinstance(part, ServoOutput) and part.powered_by:
            idle = pad.output_positions[part.powered_by][0]
            if pad.commanded(origin, part.powered_by) == idle != pad.commanded(to, part.powered_by):
                return True
    return False
