"""People and gas: who may be near what, what power-up does, what is left without power."""

from __future__ import annotations

from sequencer.description.box import AnalogInput
from sequencer.description.grounds import DialPart
from sequencer.description.reading.view import View


def look(view: View) -> None:
    """Every finding about people near gas; the site's lines say where gas can go."""
    pad, first = view.pad, view.pad.first_state
    if pad.states[first].people == "allowed":
        view.say(
            "power-up-lets-people-in", ("states", first, "people"), f"every power-up lands in '{first}', which allows people on the pad",
            "a first state that keeps people out: the vessel may be full", "put a state that lets the gas out first, with 'people: keep out'",
        )  # fmt: skip
    shut = [volume for volume in view.volumes if not view.vents(volume, view.opened_in(first))]
    if shut or view.fills(first):
        view.say(
            "power-up-keeps-gas-in", ("states", first), f"every power-up lands in '{first}', which leaves no open way out of '{(shut or view.volumes)[0]}'",
            "a first state that lets the gas out", "let its outputs open the dump and shut the fill",
        )  # fmt: skip
    for volume in view.volumes:
        if not view.vents(volume, view.opened_at_rest):
            view.say(
                "rest-traps-gas", ("site", volume), f"without power '{volume}' has no open way to the air", "a valve that opens without power",
                "give the dump valve 'rest: open'",
            )  # fmt: skip
    for name, state in pad.states.items():
        if state.people == "allowed":
            _people(view, name)


def _people(view: View, state: str) -> None:
    is_open = view.opened_in(state)
    shown = {part.reads for part in view.pad.inputs.values() if isinstance(part, AnalogInput)} | {one.dial for one in view.pad.parts(DialPart).values()}
    for volume in view.volumes:
        if view.fed(volume, is_open):
            view.say(
                "people-where-gas-enters", ("states", state), f"'{state}' allows people on the pad and lets gas into '{volume}'", "people out whenever gas can enter",
                "write 'people: keep out', or shut the fill here",
            )  # fmt: skip
        elif not view.vents(volume, is_open):
            if volume in shown:
                view.say(
                    "people-where-gas-stays", ("states", state), f"'{state}' allows people on the pad and leaves '{volume}' no open way to the air",
                    "an open dump wherever people may be", "leave the dump at rest (open) here, or write 'people: keep out'",
                )  # fmt: skip
            else:
                view.say(
                    "trapped-volume", ("states", state), f"'{state}' allows people on the pad, but '{volume}' has no open way to the air, and no sensor or dial shows its pressure",
                    "every volume open to the air, or shown", "open a way from it here, or give it a dial and a hand dump, and a step of the crew",
                )  # fmt: skip
