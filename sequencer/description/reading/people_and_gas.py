"""People and gas: who may be near what, what power-up does, what is left without power, what rules and lines let pass."""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput
from sequencer.description.grounds import DialPart
from sequencer.description.reading.view import View, Where
from sequencer.description.sequence import Never
from sequencer.description.thresholds import point
from sequencer.quantities import show

APPROACH = 50_000.0  # Pa; over 0.5 bar even a bottle neck throws (trade: "zero on the gauge matters")
PEOPLE = (t.Someone(), t.PeopleAllowed())


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
    _below_air(view)
    _rules(view)
    _lines(view)


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


def _facts(view: View) -> Iterator[tuple[Where, t.Written]]:
    """Every statement about the pad in the rules and in what the crew reads off."""
    for name, rule in view.pad.interlocks.items():
        for key in ("never", "needs", "cause", "effect", "must", "lasts"):
            written = getattr(rule, key, None)
            if written is not None:
                yield ("interlocks", name, key), written
    for number, step in enumerate(view.pad.crew.steps):
        if step.shows is not None:
            yield ("crew", "steps", number, "shows"), step.shows


def _below_air(view: View) -> None:
    for path, written in _facts(view):
        for fact in t.leaves(written.expression):
            if isinstance(fact, t.PressureIs) and point(view.pad, fact.limit) <= 0:
                always = "an open vessel is always above it" if fact.at_least else "an open vessel never gets there"
                view.say(
                    "never-below-air", path, f"'{fact.limit.text}' is {_gauge(view, fact)} against the air outside; {always}",
                    "a value a little above the air outside", "write it as gauge, e.g. '0.2 bar gauge'", text=written.text, word=fact.limit.text,
                )  # fmt: skip


def _gauge(view: View, fact: t.PressureIs) -> str:
    return show(point(view.pad, fact.limit), fact.limit.unit or "bar")


def _rules(view: View) -> None:
    """Volumes of which the rules keep people away only above a pressure that already throws things."""
    lowest: dict[tuple[str, t.Expression], tuple[str, t.Written, t.PressureIs]] = {}
    for name, rule in view.pad.interlocks.items():
        for way in t.alternatives(rule.never.expression) if isinstance(rule, Never) else []:
            high = [fact for fact, value in way.items() if isinstance(fact, t.PressureIs) and fact.at_least == value]
            near = [one for one in PEOPLE if way.get(one)]
            if len(high) == 1 and len(way) == 2 and near and isinstance(rule, Never):
                known = lowest.get((high[0].volume, near[0]))
                if known is None or point(view.pad, high[0].limit) < point(view.pad, known[2].limit):
                    lowest[high[0].volume, near[0]] = name, rule.never, high[0]
    for name, written, fact in lowest.values():
        if point(view.pad, fact.limit) > APPROACH:
            _say(view, ("interlocks", name, "never"), f"no rule keeps people away from '{fact.volume}' at less than {_gauge(view, fact)}", written, fact)


def _lines(view: View) -> None:
    """What a dial may show at most for people to be on the pad."""
    inside: set[str] = set()
    for number, step in enumerate(view.pad.crew.steps):
        inside = inside | {step.who} if step.walk == "in" else inside - {step.who} if step.walk == "out" else inside
        allowed = step.during is not None and view.pad.states[step.during].people == "allowed"
        for fact in t.leaves(step.shows.expression) if step.shows is not None and (inside or allowed) else []:
            if isinstance(fact, t.PressureIs) and not fact.at_least and point(view.pad, fact.limit) > APPROACH:
                assert step.shows is not None
                _say(view, ("crew", "steps", number, "shows"), f"'{step.do}' goes on with people on the pad at anything below {_gauge(view, fact)}", step.shows, fact)


def _say(view: View, path: Where, found: str, written: t.Written, fact: t.PressureIs) -> None:
    view.say(
        "approach-under-pressure", path, f"{found} over the air outside", f"at most {show(APPROACH, fact.limit.unit or 'bar', 2)}",
        "lower it; if it was meant absolute, write 'abs' after it", text=written.text, word=fact.limit.text,
    )  # fmt: skip
