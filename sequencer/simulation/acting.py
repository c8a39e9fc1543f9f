"""What an action does to the site, and how the story tells it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sequencer.description.box import ContactInput
from sequencer.errors import SequencerError
from sequencer.quantities import show
from sequencer.simulation.events import (
    Action,
    Blink,
    HandValve,
    Hold,
    Latch,
    Mend,
    Pin,
    PowerOff,
    PowerOn,
    Press,
    SetLoad,
    SetPressure,
    Switch,
    Wait,
    Walk,
)

if TYPE_CHECKING:
    from sequencer.simulation.session import Session


def do(session: Session, who: str, action: Action) -> None:
    """Carry out one action. Raises SequencerError when the pad has no such part."""
    world = session.world
    if isinstance(action, Wait):
        return
    if isinstance(action, Press):
        do(session, who, Hold(action.input))
        session.follow(action.held_ms, who, Hold(action.input, let_go=True))
        return
    if isinstance(action, Blink):
        world.set_power(False)
        session.supply_cut = True
        session.follow(action.off_ms, who, PowerOn())
        session.tell("power", who or "supply", f"the supply is away for {action.off_ms} ms")
        return
    if isinstance(action, Switch):
        world.set_switch(_contact(session, action.input), action.word)
        session.tell("act", who, f"{action.input}: {action.word}")
    elif isinstance(action, Hold):
        word = _word(session, action.input)
        world.set_switch(_contact(session, action.input), f"not {word}" if action.let_go else word)
        session.tell("act", who, f"{action.input} {'let go' if action.let_go else word}")
    elif isinstance(action, Walk):
        world.walk(action.role, action.direction)
        session.tell("act", who or action.role, f"{action.role} walks {'onto the pad' if action.direction == 'in' else 'off the pad'}")
    elif isinstance(action, HandValve):
        world.set_hand_valve(action.name, action.open)
        session.tell("act", who, f"{action.name} {'open' if action.open else 'shut'} by hand")
    elif isinstance(action, Latch):
        world.latch(action.head)
        session.tell("act", who, f"{action.head} latched")
    elif isinstance(action, Pin):
        world.pin(action.name, action.inside)
        session.tell("act", who, f"{action.name} {'put in' if action.inside else 'pulled out'}")
    elif isinstance(action, Mend):
        world.clear(action.part)
        session.tell("fault", action.part, "is mended")
    elif isinstance(action, SetPressure):
        world.set_pressure(action.volume, action.gauge_pa)
        session.tell("pad", action.volume, f"stands at {show(action.gauge_pa, 'bar')}")
    elif isinstance(action, SetLoad):
        world.set_load(action.jack, action.newtons)
        session.tell("act", who, f"{action.jack} pumped to {show(action.newtons, 'kgf')}")
    elif isinstance(action, PowerOff | PowerOn):
        world.set_power(isinstance(action, PowerOn))
        session.supply_cut = isinstance(action, PowerOff)
        if isinstance(action, PowerOff):
            session.tell("power", who or "supply", "the supply goes away")
    else:
        raise SequencerError(f"{action} is not done here")


def _contact(session: Session, name: str) -> str:
    _word(session, name)
    return name


def _word(session: Session, name: str) -> str:
    part = session.pad.inputs.get(name)
    if not isinstance(part, ContactInput):
        raise SequencerError(f"there is no switch '{name}'")
    return part.contact.word
