"""What happens from outside during a run: a moment, and what is done then.

The crew driver, drills, `--fault` and the proof's replays all speak this one vocabulary. A moment is
judged at the start of every period of the controller, before the physics of that period.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sequencer.description.terms import Expression

# ---- moments ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class At:
    """`ms` after the first application of power (0: before anything ran)."""

    ms: int


@dataclass(frozen=True)
class InState:
    """Once the box has stood in `state` for `after_ms` (0: the period after it entered).

    `visit` counts entries since the event was looked at first; 1 is the present or the next one.
    """

    state: str
    after_ms: int = 0
    visit: int = 1


@dataclass(frozen=True)
class Once:
    """Once this statement about the pad has been true for `after_ms` without a break."""

    fact: Expression
    after_ms: int = 0


@dataclass(frozen=True)
class Then:
    """`ms` after the event before it in the list."""

    ms: int = 0


Moment = At | InState | Once | Then

# ---- actions ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Switch:
    """A switch is put to a word ('turned') or away from it ('not turned'), and stays."""

    input: str
    word: str


@dataclass(frozen=True)
class Press:
    """A contact is moved to its word and let go after `held_ms`."""

    input: str
    held_ms: int = 300


@dataclass(frozen=True)
class Hold:
    """A contact is held at its word (`let_go=False`) or let go."""

    input: str
    let_go: bool = False


@dataclass(frozen=True)
class Walk:
    """A person of the crew starts to walk onto the pad ('in') or off it ('out')."""

    role: str
    direction: str


@dataclass(frozen=True)
class HandValve:
    """A hand valve of a line or of a supply is opened or shut."""

    name: str
    open: bool


@dataclass(frozen=True)
class Latch:
    """The release head is closed by hand."""

    head: str


@dataclass(frozen=True)
class Pin:
    """A locking pin is put in or pulled out."""

    name: str
    inside: bool


@dataclass(frozen=True)
class Strike:
    """A fault of `description.faults` begins and stays."""

    part: str
    mode: str


@dataclass(frozen=True)
class Mend:
    """Every fault of a part ends."""

    part: str


@dataclass(frozen=True)
class Blink:
    """The supply goes away and comes back after `off_ms`."""

    off_ms: int = 200


@dataclass(frozen=True)
class PowerOff:
    """The supply goes away and stays away."""


@dataclass(frozen=True)
class PowerOn:
    """The supply comes back."""


@dataclass(frozen=True)
class SetPressure:
    """The pressure of a volume is set, gauge pascal; for starts that no one brought about in the run."""

    volume: str
    gauge_pa: float


@dataclass(frozen=True)
class SetLoad:
    """A test jack is pumped to a load (N)."""

    jack: str
    newtons: float


@dataclass(frozen=True)
class Wait:
    """Nothing is done: the story pauses until its moment."""


Action = Wait | Switch | Press | Hold | Walk | HandValve | Latch | Pin | Strike | Mend | Blink | PowerOff | PowerOn | SetPressure | SetLoad


@dataclass(frozen=True)
class Event:
    """One action at one moment.

    who:   who does it, for the story ('' for what happens by itself)
    after_previous:  looked at only once the event before it in the list has happened, so that a list
                     of such events is a story in order
    note:  a word for the story, e.g. the proof's name of the step
    """

    moment: Moment
    action: Action
    who: str = ""
    after_previous: bool = False
    note: str = field(default="", compare=False)


def story(*events: Event) -> tuple[Event, ...]:
    """The same events, each waiting for the one before it."""
    from dataclasses import replace

    return tuple(replace(event, after_previous=index > 0) for index, event in enumerate(events))


def in_words(event: Event) -> str:
    """An event as a person would write it: 'release: jammed in counting', 'press stop at 90 s'."""
    return " ".join(part for part in (event.who, _action(event.action), _moment(event.moment)) if part)


def _moment(moment: Moment) -> str:
    if isinstance(moment, At):
        return f"at {moment.ms / 1000:g} s"
    if isinstance(moment, Then):
        return f"{moment.ms / 1000:g} s after the one before"
    after = f" after {moment.after_ms / 1000:g} s" if moment.after_ms else ""
    return f"in {moment.state}{after}" if isinstance(moment, InState) else f"once something is true{after}"


def _action(action: Action) -> str:
    match action:
        case Strike(part, mode):
            return f"{part}: {mode}"
        case Switch(name, word):
            return f"set {name}: {word}"
        case Press(name):
            return f"press {name}"
        case Hold(name, let_go):
            return f"let go {name}" if let_go else f"hold {name}"
        case Walk(role, direction):
            return f"{role} walks {direction}"
        case HandValve(name, is_open):
            return f"{'open' if is_open else 'shut'} {name}"
        case Latch(head):
            return f"latch {head}"
        case Pin(name, inside):
            return f"{name} {'in' if inside else 'out'}"
        case Mend(part):
            return f"mend {part}"
        case Blink(off_ms):
            return f"blink power for {off_ms} ms"
        case SetPressure(volume, pascal):
            return f"{volume} at {pascal / 1e5:z.2f} bar"
        case SetLoad(jack, newtons):
            return f"{jack} at {newtons:z.0f} N"
        case Wait():
            return "go on"
        case PowerOff():
            return "cut power"
        case PowerOn():
            return "power on"
