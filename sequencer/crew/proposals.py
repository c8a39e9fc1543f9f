"""Lines that the pad implies but nobody wrote, each proposed with its reason.

Every rule reads what the steps *do* (set, press, walk, read). Only where the file has no word for an act (bleeding a
hose, counting people, a card's topic) does it look for the word in the text, and then it says so.
Sources: common practice, no published source, unless named.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.crew.figures import dump_time, highest
from sequencer.crew.words import bar, clock, spoken
from sequencer.description.crew import Step
from sequencer.description.grounds import (
    DialPart,
    LinePart,
    LinkPart,
    PadPart,
    PinPart,
    PowerPart,
    SupplyPart,
    VolumePart,
)
from sequencer.description.pad import Pad
from sequencer.quantities import QuantityError
from sequencer.site import resolve

LEAST_WAIT = 60.0
"""Least wait after a misfire, s; the longer of it and dump time plus the same again (common practice)."""


@dataclass(frozen=True)
class Proposal:
    """One line worth adding: its worded name, where it belongs, what it says, and why."""

    name: str
    where: str
    do: str
    because: str


def proposals(pad: Pad) -> tuple[Proposal, ...]:
    """Every proposed line, in the order of the day; each (name, where) once."""
    found: dict[tuple[str, str, str], Proposal] = {}
    for rule in (_power_on, _walks, _before_gas, _poll, _afterwards, _cards, _waits):
        for proposal in rule(pad):
            found.setdefault((proposal.name, proposal.where, proposal.do), proposal)
    return tuple(found.values())


def _before(number: int) -> str:
    return f"before line {number}"


def _says(steps: list[Step] | tuple[Step, ...], *words: str) -> bool:
    return any(word in f"{step.do} {step.see or ''}".lower() for step in steps for word in words)


def first_gas(pad: Pad) -> int | None:
    """Index of the first step that lets gas towards a vessel: the first button pressed or held in a state from which a
    filling state is entered; None where no step does."""
    filling = {state for state in pad.states if _fills(pad, state)}
    for index, step in enumerate(pad.crew.steps):
        here = pad.states.get(step.during or "")
        if step.press and here is not None and any(leave.go_to in filling for leave in here.leave if leave.once):
            return index
    return None


def _fills(pad: Pad, state: str) -> bool:
    """Whether a state opens a driven way from a supply."""
    return any(
        pad.commanded(state, line.opened_by) == "open"
        for line in pad.parts(LinePart).values()
        if line.line.origin in pad.parts(SupplyPart) and line.opened_by in pad.outputs
    )


def _set_before(pad: Pad, index: int, name: str) -> str | None:
    """The word that the steps before `index` last set `name` to."""
    for step in reversed(pad.crew.steps[:index]):
        if name in step.set:
            return step.set[name]
    return None


def _power_on(pad: Pad) -> Iterator[Proposal]:
    keys = {part.cut_by for part in pad.parts(PowerPart).values() if part.cut_by}
    head = pad.crew.steps[: (first_gas(pad) or len(pad.crew.steps))]
    if head and not _says(head, "box on", "power on", "switch on"):
        key = f" with the {spoken(sorted(keys)[0])} out" if keys else ", then the servo's power"
        yield Proposal(
            "power-on-order", _before(1), f"Switch the box on{key} and wait for {spoken(pad.first_state)}",
            "outputs may move before the program has said anything; no line speaks of switching on",
        )  # fmt: skip


def _walks(pad: Pad) -> Iterator[Proposal]:
    """What must stand before people walk in: supply shut, key out, every volume shown empty, hoses bled."""
    steps = pad.crew.steps
    inside: set[str] = {name for name, role in pad.crew.roles.items() if role.starts == "pad"}
    since = 0  # first step after which gas may have come in
    gas = first_gas(pad)
    for index, step in enumerate(steps):
        if step.walk == "out":
            inside.discard(step.who)
        if gas is not None and index == gas:
            since = index
        if step.walk == "in" and not inside:
            yield from _one_walk(pad, index, since)
        if step.walk == "in":
            inside.add(step.who)
    if steps and inside:
        yield Proposal(
            "still-inside", f"after line {len(steps)}", f"Walk out: {', '.join(spoken(w) for w in sorted(inside))}",
            "the steps end with someone on the pad",
        )  # fmt: skip


def _one_walk(pad: Pad, index: int, since: int) -> Iterator[Proposal]:
    where, number = _before(index + 1), index + 1
    for name, supply in pad.parts(SupplyPart).items():
        if supply.hand_valve and _set_before(pad, index, name) not in ("shut", "closed"):
            yield Proposal("supply-open", where, f"Shut the {spoken(name)}", f"line {number} walks in beside an open supply")
        elif supply.hand_valve and since and not _says(pad.crew.steps[since:index], "bleed"):
            yield from _bleed(pad, name, where)
    for part in pad.parts(PowerPart).values():
        if part.cut_by and _set_before(pad, index, part.cut_by) not in (None, *_away(pad, part.cut_by)):
            yield Proposal("key-in", where, f"Take the {spoken(part.cut_by)} out", f"line {number} walks in while fill and servo have power")
    shown = {step.read for step in pad.crew.steps[since:index] if step.read}
    for volume in pad.parts(VolumePart):
        dials = {name for name, dial in pad.parts(DialPart).items() if dial.dial == volume}
        if not dials and _charged(pad, volume):
            yield Proposal(
                "no-dial", where, f"Show that {spoken(volume)} is empty by an instrument apart from the box",
                f"no dial shows {spoken(volume)}; a sensor alone may be cut off from what it stands for",
            )  # fmt: skip
        elif dials and not dials & shown:
            yield Proposal(
                "dial-not-read", where, f"Read {spoken(sorted(dials)[0])}", f"line {number} walks in and nobody has read it since gas could come in"
            )


def _charged(pad: Pad, volume: str) -> bool:
    return any(volume in (line.line.origin, line.line.end) for line in pad.parts(LinePart).values())


def _away(pad: Pad, name: str) -> tuple[str, ...]:
    part = pad.inputs[name]
    word = getattr(getattr(part, "contact", None), "word", "")
    return (f"not {word}", "out", "off")


def _bleed(pad: Pad, supply: str, where: str) -> Iterator[Proposal]:
    for name, line in pad.parts(LinePart).items():
        if line.line.origin != supply or line.hose is None:
            continue
        try:
            litres = resolve.line(pad, name).hose_volume * 1000.0
        except QuantityError:
            continue  # the description room reports the text itself
        yield Proposal(
            "bleed-hose", where, f"Bleed the hose of {spoken(name)}",
            f"with {spoken(supply)} and {spoken(line.opened_by)} shut, {litres:.2f} l stay charged at up to "
            f"{bar(resolve.supply(pad, supply).most)}, and no sensor sees it; no line speaks of bleeding",
        )  # fmt: skip


def _before_gas(pad: Pad) -> Iterator[Proposal]:
    gas = first_gas(pad)
    if gas is None:
        return
    steps, where = pad.crew.steps, _before(gas + 1)
    for name, ground in pad.parts(PadPart).items():
        out = [i for i, step in enumerate(steps[:gas]) if step.walk == "out"]
        counted = [i for i, step in enumerate(steps[:gas]) if "count" in step.do.lower()]
        if out and (not counted or counted[-1] < out[-1]):
            who = spoken(ground.counted_by or "the range safety officer")
            yield Proposal(
                "count-out", f"after line {out[-1] + 1}", f"{who}: count everyone out of {spoken(name)}",
                "a gate shut with someone inside looks the same to the box; no line speaks of counting",
            )  # fmt: skip
    for name, line in pad.parts(LinePart).items():
        if line.opened_by == "hand" and name not in {key for step in steps[:gas] for key in step.set}:
            yield Proposal("hand-valve", where, f"See that {spoken(name)} is shut", "nobody has set it before gas, and the box cannot")
    for name, pin in pad.parts(PinPart).items():
        if _set_before(pad, gas, name) != "in":
            yield Proposal("pin-in", where, f"Put {spoken(name)} in", f"nothing locks {spoken(pin.pin)} while pressure rises")


def _release_presses(pad: Pad) -> list[int]:
    """Indices of the steps whose press leads towards a state that moves a servo away from its first position."""
    from sequencer.description.box import ServoOutput

    servos = [name for name, output in pad.outputs.items() if isinstance(output, ServoOutput)]
    pulls = {s for s in pad.states if any(pad.commanded(s, o) != pad.output_positions[o][0] for o in servos)}
    near = pulls | {s for s, state in pad.states.items() if any(leave.go_to in pulls for leave in state.leave)}
    return [
        index
        for index, step in enumerate(pad.crew.steps)
        if step.press and any(leave.go_to in near for leave in getattr(pad.states.get(step.during or ""), "leave", []))
    ]


def _poll(pad: Pad) -> Iterator[Proposal]:
    presses = _release_presses(pad)
    if presses and not any(step.poll for step in pad.crew.steps[: presses[-1]]):
        yield Proposal("no-poll", _before(presses[0] + 1), "Ask every role for go", "a silent role counts as no go, but nobody is asked")


def _afterwards(pad: Pad) -> Iterator[Proposal]:
    steps = pad.crew.steps
    if not steps:
        return
    for name, part in pad.parts(PowerPart).items():
        key = part.cut_by
        if key and _set_before(pad, len(steps), key) not in (None, *_away(pad, key)):
            yield Proposal("key-left", f"after line {len(steps)}", f"Take the {spoken(key)} out", f"the day ends with {spoken(name)} switched through")
    for name, supply in pad.parts(SupplyPart).items():
        if supply.hand_valve and _set_before(pad, len(steps), name) not in ("shut", "closed"):
            yield Proposal(
                "supply-left", f"after line {len(steps)}", f"Shut the {spoken(name)}", "the day ends with gas up to the fill valve"
            )


TOPICS = {
    "stop": (("stop", "abort"), "Anyone may call stop; everyone must know what follows", None),
    "misfire": (("misfire", "stuck", "stays shut"), "A release that was asked for and did not come", None),
    "hang-up": (("hang", "hung", "misfire", "stuck", "stays shut"), "It may still go by itself", None),
    "link loss": (("link", "radio"), "The console can go silent at any moment", LinkPart),
    "power loss": (("power",), "After a power loss the box knows nothing of before", PowerPart),
    "person on the pad": (("person", "pad", "inside", "people"), "Someone may walk in", PadPart),
}


def _cards(pad: Pad) -> Iterator[Proposal]:
    for topic, (words, because, needs) in TOPICS.items():
        if needs is not None and not pad.parts(needs):
            continue
        if not any(word in f"{name} {card.when}".lower() for name, card in pad.cards.items() for word in words):
            yield Proposal("no-card", "cards", f"Write a card for {topic}", f"{because}; no card's name or 'when' speaks of it")


def _waits(pad: Pad) -> Iterator[Proposal]:
    """The wait on misfire and hang-up cards against the dump time from the highest pressure."""
    slowest, of = 0.0, ""
    for volume in pad.parts(VolumePart):
        seconds = dump_time(pad, volume, highest(pad, volume)[0]) if _charged(pad, volume) else None
        if seconds is not None and seconds > slowest:
            slowest, of = seconds, volume
    if not of:
        return
    least = max(LEAST_WAIT, slowest + LEAST_WAIT)
    for name, card in pad.cards.items():
        if any(word in f"{name} {card.when}".lower() for word in ("misfire", "hang", "hung")) and (card.wait is None or card.wait.si < least):
            written = card.wait.text if card.wait else "none"
            yield Proposal(
                "wait-longer", f"card {spoken(name)}", f"Wait at least {clock(least)}",
                f"{spoken(of)} needs up to {clock(slowest)} to empty, and 60 s more (common practice); written: {written}",
            )  # fmt: skip
