"""Outputs: what nothing moves, what moves by itself, what a boot may do."""

from __future__ import annotations

from sequencer.description.box import RelayOutput, ServoOutput, positions
from sequencer.description.reading.view import View


def look(view: View) -> None:
    """Every finding about outputs."""
    pad = view.pad
    for name, output in pad.outputs.items():
        idle = positions(output)[0]
        moved = any(pad.commanded(state, name) != idle for state in pad.states)
        inhibited = any(one.startswith(f"{name} stays ") and one != f"{name} stays {idle}" for one in pad.inhibits)
        if not moved and not inhibited:
            view.say("output-never-moves", ("outputs", name), f"'{name}' is '{idle}' in every state", "an output that some state moves", "name its other position in a state, or take it out")
        if isinstance(output, ServoOutput) and output.powered_by is None:
            view.say(
                "servo-always-powered", ("outputs", name), f"the supply of '{name}' cannot be switched off", "its own relay, on only where it may move",
                "add a relay output, and 'powered_by: RELAY' here",
            )  # fmt: skip
        _boot(view, name)


def _boot(view: View, name: str) -> None:
    output = view.pad.outputs[name]
    idle = positions(output)[0]
    pulled = "pull" in (output.terminal or "")
    boots = output.while_booting if output.while_booting is not None else idle
    feed = view.pad.outputs.get(output.powered_by) if isinstance(output, ServoOutput) and output.powered_by else None
    fed = isinstance(feed, RelayOutput) and (feed.while_booting in (None, positions(feed)[0]))
    if boots != idle and not fed:
        view.say(
            "boots-released", ("outputs", name, "while_booting"), f"while the board boots '{name}' may stand at '{boots}', with gas in the vessel",
            f"'{idle}' while booting", "hold the pin with a resistor, or feed it by a relay that is off while booting",
        )  # fmt: skip
    elif output.drive == "low" and not pulled:
        view.say(
            "active-low-boot", ("outputs", name, "drive"), f"'{name}' acts on a low pin, and nothing is said to hold the pin high while the board boots", "a pull-up, said in 'terminal:'",
            "fit a pull-up and write e.g. 'terminal: D8 pull-up', or drive it high",
        )  # fmt: skip
