"""Valves, relays, servos, release heads, pins, and the contacts that see them: bits and rows."""

from __future__ import annotations

import math
from collections.abc import Iterable

from sequencer.description.box import RelayOutput, ServoOutput
from sequencer.description.grounds import HeadPart, PadPart, PinPart, SwitchPlace, VolumePart, WirePart
from sequencer.proof.draft import READING, Draft
from sequencer.proof.gas import overshoot, valve
from sequencer.proof.system import Actor, Race
from sequencer.proof.words import EVERYTHING, Cube
from sequencer.site import resolve_head


def driven(draft: Draft) -> dict[str, tuple[int, str, str]]:
    """{output: (code, bit name, position)} of the outputs whose true position is a bit."""
    found: dict[str, tuple[int, str, str]] = {}
    for spec in draft.table.outputs:
        if draft.parts_lines(spec.name):
            found[spec.name] = (spec.positions.index("open"), valve(spec.name), "open")
    for part in draft.pad.parts(SwitchPlace).values():
        output, _, position = part.follows.partition(" at ")
        if output in draft.pad.outputs and output not in found:
            code = draft.pad.output_positions[output].index(position)
            found[output] = (code, f"{output} truly {position}", position)
    return found


def movers(draft: Draft) -> list[tuple[str, int, str, str]]:
    """(output, code, bit, position) of every bit that says an output truly stands at a position: the driven one, and one
    more for every other position that a contact follows, which moves by itself."""
    found = [(output, *of) for output, of in driven(draft).items()]
    bits = {bit for _, _, bit, _ in found}
    for part in draft.pad.parts(SwitchPlace).values():
        output, _, position = part.follows.partition(" at ")
        bit = f"{output} truly {position}"
        if output in draft.pad.outputs and bit not in bits:
            bits.add(bit)
            found.append((output, draft.pad.output_positions[output].index(position), bit, position))
    return found


def beside(draft: Draft, outputs: Iterable[str]) -> None:
    """Rows: what contacts follow besides the driven bit of these outputs may stand anyhow."""
    for output, _, bit, position in movers(draft):
        if output in outputs and bit != driven(draft)[output][1]:
            for value in (True, False):
                moves(draft, f"{output} stands {'' if value else 'not '}at {position}", "part", bit, value, tag=f"stick {output}")


def jumps(draft: Draft, output: str) -> None:
    """A servo that gets power jumps to the end of its travel, and a contact that follows it sees that."""
    draft.row(f"the servo {output} jumps", "part", {horn(output): False}, {horn(output): True}, draft.running, tag="jump")
    if output in driven(draft):
        code, bit, _ = driven(draft)[output]
        moves(draft, f"{output} jumps", "part", bit, code != 0, tag="jump")


def horn(output: str) -> str:
    """Name of the bit 'this servo's horn stands away from its idle position'."""
    return f"{output} horn drawn"


def lay_out(draft: Draft) -> None:
    """Bits of parts and of the contacts that see them."""
    for _, _, bit, _ in movers(draft):
        draft.layout.new(bit)
    for name, output in draft.pad.outputs.items():
        if isinstance(output, ServoOutput):
            draft.layout.new(horn(name))
    for name in draft.pad.parts(HeadPart):
        draft.layout.new(f"{name} latched")
    for name in draft.pad.parts(PinPart):
        draft.layout.new(f"{name} in")
    for number, spec in enumerate(draft.table.outputs):
        for code in draft.inhibited(number):
            draft.layout.new(draft.stays(number, code))
        del spec
    for contact, truth in draft.tracked.items():
        draft.layout.new(truth)
        draft.layout.new(draft.seen(contact))
        draft.layout.new(draft.fresh(contact))
    for truth in draft.by_hand.values():
        draft.layout.new(truth)


def rows(draft: Draft) -> None:
    """Everything that parts do, and what hands on the pad may do to them."""
    for output, code, bit, position in movers(draft):
        number = list(draft.pad.outputs).index(output)
        away = next(p for p in draft.pad.output_positions[output] if p != position)
        for wanted in (True, False):
            for places, cube in draft.command(number, code, wanted):
                guard = cube.meet(draft.layout.cube({bit: not wanted}))
                assert guard is not None
                says = f"{output} moves to {position if wanted else away}"
                done = {overshoot(output): False} if not wanted and draft.layout.has(overshoot(output)) else {}
                if bit in draft.tracked.values():
                    moves(draft, says, "part", bit, wanted, guard, places)
                    if done:
                        shut = cube.meet(draft.layout.cube({bit: False, overshoot(output): True}))
                        assert shut is not None
                        draft.row(f"{output} stands shut", "part", shut, done, places, tag=f"stroke {output}")
                else:
                    draft.row(says, "part", guard, {bit: wanted, **done}, places, tag=f"stroke {output}")
        if isinstance(draft.pad.outputs[output], ServoOutput):
            moves(draft, f"{output} is drawn back without power", "part", bit, code == 0)
            beside(draft, [output])
    servos(draft)
    _heads(draft)
    _pins(draft)
    for contact, truth in draft.tracked.items():
        for value in (True, False):
            draft.row(
                f"the box now sees {contact} {'' if value else 'not '}at its word", "reading",
                {truth: value, draft.seen(contact): not value},
                {draft.seen(contact): value, draft.fresh(contact): False, READING: True}, draft.running,
                tag=f"follow {contact}",
            )  # fmt: skip
    for truth in draft.by_hand.values():
        for value in (True, False):
            draft.row(f"{truth}{'' if value else ' no longer'}", "crew", {truth: not value}, {truth: value}, tag="hand", forward=False)


def moves(
    draft: Draft, says: str, actor: Actor, truth: str, value: bool, guard: Cube | None = None,
    at: tuple[int, ...] | None = None, *, tag: str = "",
) -> None:
    """A truth that contacts see changes: those contacts lag behind it, or are back in step with it."""
    contacts = [c for c, bit in draft.tracked.items() if bit == truth]
    where = tuple(draft.everywhere if at is None else at)
    dark = tuple(p for p in where if p not in draft.running)
    if dark and contacts:
        whole = (guard or EVERYTHING).meet(draft.layout.cube({truth: not value}))
        if whole is not None:
            draft.row(says, actor, whole, {truth: value}, dark, tag=tag)
        where = tuple(p for p in where if p in draft.running)
    ways: list[tuple[Cube | None, dict[str, bool]]] = [(guard or EVERYTHING, {})]
    for contact in contacts:
        ways = [
            (cube.meet(draft.layout.cube({draft.seen(contact): seen})), {**change, draft.fresh(contact): seen != value})
            for cube, change in ways
            if cube is not None
            for seen in (True, False)
        ]
    for cube, change in ways:
        whole = None if cube is None else cube.meet(draft.layout.cube({truth: not value}))
        if whole is not None:
            draft.row(says, actor, whole, {truth: value, **change}, where, tag=tag)


def servos(draft: Draft, welded: str | None = None) -> None:
    """Servos move to where they are commanded while they have power (`welded`: this relay gives it always)."""
    for number, (name, output) in enumerate(draft.pad.outputs.items()):
        if not isinstance(output, ServoOutput):
            continue
        idle = next(iter(output.servo))
        for position in output.servo:
            code = list(output.servo).index(position)
            for places, cube in draft.command(number, code):
                for powered, more in _powered(draft, output, welded):
                    at = tuple(p for p in places if p in powered and (draft.places[p].kind != "off" or draft.booting(number) == code))
                    guard = cube.meet(more)
                    full = None if guard is None else guard.meet(draft.layout.cube({horn(name): position == idle}))
                    if full is not None:
                        draft.row(
                            f"the servo {name} moves to {position}", "part", full, {horn(name): position != idle}, at,
                            tag=f"servo {name}",
                        )  # fmt: skip


def _powered(draft: Draft, output: ServoOutput, welded: str | None) -> list[tuple[tuple[int, ...], Cube]]:
    """(places, cube) in which the servo has power."""
    if output.powered_by is None or output.powered_by == welded or output.powered_by not in draft.pad.outputs:
        return [(draft.everywhere, EVERYTHING)]
    relay = draft.pad.outputs[output.powered_by]
    number = list(draft.pad.outputs).index(output.powered_by)
    if output.powered_by in driven(draft):
        return [(draft.everywhere, draft.layout.cube({driven(draft)[output.powered_by][1]: True}))]
    assert isinstance(relay, RelayOutput)
    return draft.command(number, 1)


def _heads(draft: Draft) -> None:
    pins = {part.pin: name for name, part in draft.pad.parts(PinPart).items()}
    wires = [part.wire for part in draft.pad.parts(WirePart).values()]
    hands = on_pad_guard(draft)
    for name in draft.pad.parts(HeadPart):
        bit = f"{name} latched"
        for origin in (w.origin for w in wires if w.end == name):
            guard: dict[str, bool | int] = {horn(origin): True}
            if name in pins:
                guard[f"{pins[name]} in"] = False
            moves(draft, f"{name} lets go", "part", bit, False, draft.layout.cube(guard), tag=f"lets go {name}")
        weak = gives_way_at(draft, name)
        if weak is not None:
            edge = draft.bands.down(draft.durations.held(name), weak)
            guard = {} if edge is None else {draft.bands.name(draft.durations.held(name), edge): True}
            if name in pins:
                guard[f"{pins[name]} in"] = False
            moves(draft, f"the catch of {name} gives way", "part", bit, False, draft.layout.cube(guard), tag=f"lets go {name}")
        moves(draft, f"{name} is closed by hand", "crew", bit, True, draft.layout.cube(hands))
        moves(draft, f"{name} is opened by hand", "crew", bit, False, draft.layout.cube(hands))


def gives_way_at(draft: Draft, name: str) -> float | None:
    """Least pressure (gauge Pa) at which the load on a catch exceeds its strength, both at the end that hurts; None where
    no pressure without a fault does."""
    volume = draft.durations.held(name)
    part, values = draft.pad.site[name], resolve_head.head(draft.pad, name)
    if not isinstance(draft.pad.site.get(volume), VolumePart) or not isinstance(part, HeadPart):
        return None
    head, seat = values.head("least"), math.pi / 4.0 * part.seat.high**2
    low, high = 0.0, draft.durations.ceiling(volume)

    def breaks(pressure: float) -> bool:
        return head.hold_force(max(0.0, pressure * seat - values.weight.low)) > values.strength.low

    if not breaks(high):
        return None
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if breaks(middle) else (middle, high)
    return low


def _pins(draft: Draft) -> None:
    hands = on_pad_guard(draft)
    for name, part in draft.pad.parts(PinPart).items():
        from_line = "lanyard" in part.pulled
        out = {} if from_line else hands
        moves(draft, f"{name} is pulled{' by the lanyard' if from_line else ''}", "crew", f"{name} in", False, draft.layout.cube(out))
        moves(draft, f"{name} is put in", "crew", f"{name} in", True, draft.layout.cube(hands))


def on_pad_guard(draft: Draft) -> dict[str, bool | int]:
    """What must hold for hands to reach the vehicle (nothing where the file describes no pad)."""
    return {"someone is on the pad": True} if draft.pad.parts(PadPart) else {}


def _cut_off(draft: Draft, output: str, bit: str, value: bool) -> bool:
    """Whether a switch before its supply may keep an output from standing where it is commanded."""
    from sequencer.proof.feeding import certain, cut, matters

    if bit != driven(draft)[output][1]:
        return output in cut(draft)
    return matters(draft, output) and not certain(draft, output, value)


def races(draft: Draft, state: int, seconds: float, second: str) -> list[tuple[Cube, int]]:
    """What cannot be when a state's timer passes `seconds`: a valve still moving, a contact not yet seen. A box that
    hangs counts no time either, and is reset after it: the contact's race does not rest on it."""
    found = []
    for output, code, bit, _ in movers(draft):
        own = draft.certain(state, list(draft.pad.outputs).index(output))
        most = draft.durations.stroke(output)
        if own is None or most >= seconds or isinstance(draft.pad.outputs[output], ServoOutput) or _cut_off(draft, output, bit, own == code):
            continue
        race = Race(f"{output} moves to its commanded position", most, second, seconds, "file", frozenset({output}))
        found.append((draft.layout.cube({bit: own != code}), draft.race(race)))
    for contact, truth in draft.tracked.items():
        most = draft.durations.follows(contact)
        if most >= seconds:
            continue
        race = Race(f"the box sees {contact} change", most, second, seconds, "file", frozenset({contact}))
        for value in (True, False):
            cube = draft.layout.cube({truth: value, draft.seen(contact): not value, draft.fresh(contact): False})
            found.append((cube, draft.race(race)))
    return found
