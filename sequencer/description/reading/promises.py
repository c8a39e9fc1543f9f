"""What the rest of the file promises about the states: the crew's lines, the cards, the rules of what must follow."""

from __future__ import annotations

import heapq

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.grounds import HeadPart
from sequencer.description.reading.view import View
from sequencer.description.sequence import Must
from sequencer.quantities import show


def look(view: View) -> None:
    """Every finding about the states' times and people, held against steps, cards and interlocks."""
    _walks(view)
    _takes(view)
    _holds(view)
    _cards(view)
    _due(view)
    _let_in(view)


def _walks(view: View) -> None:
    for number, step in enumerate(view.pad.crew.steps):
        if step.walk == "in" and step.during is not None and view.pad.states[step.during].people != "allowed":
            view.say(
                "walks-in-where-kept-out", ("crew", "steps", number, "walk"), f"'{step.do}' walks in during '{step.during}', which keeps people out",
                "a state with 'people: allowed'", f"write 'people: allowed' in '{step.during}', or do this line in a state that has it",
            )  # fmt: skip


def _shortest_stay(view: View, state: str) -> int | None:
    """Scans after which a state is left by time alone; None where it is not."""
    return min((one.least for one in view.live[state] if not one.way), default=None)


def _takes(view: View) -> None:
    """Lines done one after the other in a state: the time the crew may take for them, and the time the box gives."""
    pad = view.pad
    state, first, seconds = "", 0, 0.0
    for number, step in enumerate([*pad.crew.steps, None]):
        if step is not None and step.during == state and state:
            seconds += step.takes.si if step.takes else 0.0
            continue
        least = _shortest_stay(view, state) if seconds else None
        if least is not None and pad.scans(seconds) > least:
            lines = f"lines {first + 1} to {number}" if number - first > 1 else f"line {number}"
            view.say(
                "state-ends-before-its-steps", ("crew", "steps", first, "takes"),
                f"the crew may take {show(seconds, 's')} over {lines} in '{state}', but the box leaves '{state}' by itself after {view.time(least)}",
                "a state that lasts as long as its lines may take", f"give '{state}' more time (at_latest), or the crew less (takes)",
            )  # fmt: skip
        if step is not None:
            state, first, seconds = step.during or "", number, step.takes.si if step.takes and step.during else 0.0


def _holds(view: View) -> None:
    """A button that the crew may hold for longer than the box stays in the state that the press leads to."""
    pad = view.pad
    for number, step in enumerate(pad.crew.steps):
        if not (step.held and step.press and step.during and step.wait_for):
            continue
        presses = {name for name, one in pad.conditions.items() if isinstance(one.term, t.Becomes) and one.term.input == step.press}
        for one in view.live[step.during]:
            stay = _shortest_stay(view, one.to)
            leads = one.to != step.wait_for and any(after.to == step.wait_for and after.way for after in view.live[one.to])
            if leads and stay is not None and stay < pad.scans(step.held.si) and any(value and name in presses for name, value in one.way):
                view.say(
                    "state-ends-before-its-steps", ("crew", "steps", number, "held"),
                    f"the crew may hold {step.press} for {step.held.text} until '{step.wait_for}', but the box leaves '{one.to}' by itself after {show(stay * pad.scan_ms / 1000, 's')}",
                    "a state that lasts as long as its lines may take", f"give '{one.to}' more time (at_latest), or the crew less (held)",
                )  # fmt: skip
                break


def _to_people(view: View) -> dict[str, int]:
    """{state: least scans until the box can let people in, by the least times along the way}; states from which it cannot are left out."""
    into: dict[str, list[tuple[str, int]]] = {}
    for state, exits in view.live.items():
        for one in exits:
            into.setdefault(one.to, []).append((state, one.least))
    found: dict[str, int] = {}
    queue = [(0, name) for name, state in view.pad.states.items() if state.people == "allowed"]
    heapq.heapify(queue)
    while queue:
        scans, here = heapq.heappop(queue)
        if here in found:
            continue
        found[here] = scans
        for origin, least in into.get(here, []):
            if origin not in found:
                heapq.heappush(queue, (scans + least, origin))
    return found


def _cards(view: View) -> None:
    pad, least = view.pad, _to_people(view)
    for name, card in pad.cards.items():
        if card.wait is None:
            continue
        for number, state in enumerate(card.states):
            if state in least and least[state] < pad.scans(card.wait.si):
                view.say(
                    "card-waits-longer", ("cards", name, "states", number),
                    f"card '{name}' keeps everyone away for {card.wait.text}, but from '{state}' the box may let people in after {view.time(least[state])}",
                    "a box that keeps people out at least as long as the card", "give the states on the way a longer least time (not_before), or the card a shorter wait",
                )  # fmt: skip


def _due(view: View) -> None:
    """A state that commands the cause of a `must` rule and gives up before the effect is due and seen."""
    pad = view.pad
    for name, rule in pad.interlocks.items():
        cause = rule.cause.expression if isinstance(rule, Must) else None
        if not isinstance(rule, Must) or not isinstance(cause, t.CommandedTo) or cause.output not in pad.outputs:
            continue
        due = pad.scans(rule.within.si + _seen_after(view, rule.must.expression))
        for state in pad.states:
            stay = _shortest_stay(view, state)
            if pad.commanded(state, cause.output) == cause.position and stay is not None and stay < due:
                view.say(
                    "gives-up-before-due", ("states", state), f"'{state}' gives up after {view.time(stay)}, but by interlock '{name}' it is in time until {rule.within.text}, and seen a little later",
                    f"at least {view.time(due)}", "give the state a longer at_latest",
                )  # fmt: skip


def _seen_after(view: View, effect: t.Expression) -> float:
    """Seconds until the contact that sees a release head has been filtered."""
    part = view.pad.site.get(effect.head) if isinstance(effect, t.HeadIs) else None
    contact = view.pad.inputs.get(part.seen_by) if isinstance(part, HeadPart) and part.seen_by else None
    return contact.steady_for.si if isinstance(contact, ContactInput) else 0.0


def _let_in(view: View) -> None:
    """A trip that leads where people may be."""
    for name, trip in view.pad.trips.items():
        if view.pad.states[trip.go_to].people == "allowed":
            view.say(
                "trip-lets-people-in", ("trips", name, "go_to"), f"trip '{name}' leads to '{trip.go_to}', where people may be on the pad",
                "a state that keeps people out until someone has looked", "let it lead to a state that lets the gas out and keeps people out",
            )  # fmt: skip
