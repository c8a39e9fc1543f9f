"""What is true of the pad at this moment: each fact of the world as a small bound function."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from sequencer.description.terms import Expression, HeadIs, LineIs, PinIs, PressureIs, Someone, SwitchIs
from sequencer.errors import SequencerError
from sequencer.quantities import to_gauge
from sequencer.site.flow import P_ATM

if TYPE_CHECKING:
    from sequencer.site.world import World

Truth = Callable[[], bool]


def judge(world: World, fact: Expression) -> Truth:
    """The truth of a fact about the world as a function of no arguments.

    Raises SequencerError for a name that the pad does not have, and for facts of the controller.
    """
    if isinstance(fact, PressureIs):
        return _pressure(world, fact)
    if isinstance(fact, Someone):
        people = world.people
        return (lambda: people.present > 0) if fact.wanted else (lambda: people.present == 0)
    if isinstance(fact, HeadIs):
        return _head(world, fact.head, fact.what == "latched", fact.wanted)
    if isinstance(fact, SwitchIs):
        return _switch(world, fact)
    if isinstance(fact, LineIs):
        return _line(world, fact.line, fact.open)
    if isinstance(fact, PinIs):
        return _pin(world, fact.pin, fact.inside)
    raise SequencerError(f"this is not for the pad to judge: {fact}")


def _pressure(world: World, fact: PressureIs) -> Truth:
    p, i = world.net.p, world.volume_index(fact.volume)
    limit = to_gauge(fact.limit, world.pad.pressures) + P_ATM
    return (lambda: p[i] >= limit) if fact.at_least else (lambda: p[i] < limit)


def _head(world: World, name: str, latched: bool, wanted: bool) -> Truth:
    head = world.head(name)
    if latched:
        return (lambda: head.holding) if wanted else (lambda: not head.holding)
    return (lambda: head.freed) if wanted else (lambda: not head.freed)


def _line(world: World, name: str, wanted: bool) -> Truth:
    line = world.line(name)
    return (lambda: line.is_open) if wanted else (lambda: not line.is_open)


def _pin(world: World, name: str, inside: bool) -> Truth:
    pin = world.pin_state(name)
    return (lambda: pin.inside) if inside else (lambda: not pin.inside)


def _switch(world: World, fact: SwitchIs) -> Truth:
    """'gate is shut'; the same sentence may also be said of a hand line, a pin or a head."""
    name, word, wanted = fact.input, fact.word, fact.wanted
    contact = world.wiring.contacts.get(name)
    if contact is not None:
        if word != contact.word:
            raise SequencerError(f"'{name}' does not speak of '{word}'; it stands at '{contact.word}' or not")
        return (lambda: contact.stands) if wanted else (lambda: not contact.stands)
    if name in world.lines and word in ("open", "shut"):
        return _line(world, name, (word == "open") == wanted)
    if name in world.pins and word in ("in", "out"):
        return _pin(world, name, (word == "in") == wanted)
    if name in world.heads and word == "latched":
        return _head(world, name, True, wanted)
    raise SequencerError(f"'{name} is {word}' names nothing of this pad")
