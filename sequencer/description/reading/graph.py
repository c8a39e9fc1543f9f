"""States and ways between them: unreachable, no way out, waiting for ever, trips that leave one out."""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.description.reading.view import View


def look(view: View) -> None:
    """Every finding about the graph of states; only moves that can fire count."""
    _reachable(view)
    _ways_out(view)
    _trips(view)
    _top_up(view)


def _from(view: View, start: str) -> set[str]:
    live, found, todo = view.live, {start}, [start]
    while todo:
        for one in live[todo.pop()]:
            if one.to not in found:
                found.add(one.to)
                todo.append(one.to)
    return found


def _reachable(view: View) -> None:
    found = _from(view, view.pad.first_state)
    for name in view.pad.states:
        if name not in found:
            asked = [one for exits in view.exits.values() for one in exits if one.to == name]
            why = "no way out and no trip leads to it" if not asked else "only rules that can never fire, or other such states, lead to it"
            view.say("unreachable-state", ("states", name), f"'{name}' is never entered: {why}", "a way to every state", "add the way to it, or take the state out")


def _ways_out(view: View) -> None:
    pad, live = view.pad, view.live
    never = [volume for volume in view.volumes if not any(view.vents(volume, view.opened_in(name)) for name in pad.states)]
    for volume in never:  # said once of the volume, not of every state
        view.say("no-way-out", ("site", volume), f"no state lets the gas out of '{volume}'", "a state that opens a way from it to the air", "add a dump, and a state that opens it")
    for name, state in pad.states.items():
        ways = [one for one in live[name] if one.to != name]
        own = [one for one in ways if not one.trip]
        if not own and (state.stays is None or not ways and view.holds_gas(name)):
            gas = " while it keeps gas in" if view.holds_gas(name) else ""
            only = "only trips lead out of" if ways else "nothing ever leaves"
            view.say("no-way-out", ("states", name), f"{only} '{name}'{gas}", "a way out, or a state that lets the gas out and says why it `stays`", "add a way out under 'leave:'")
        elif not never and view.holds_gas(name) and all(view.holds_gas(one) for one in _from(view, name)):
            view.say("no-way-out", ("states", name), f"from '{name}' no state that lets the gas out can be reached", "a way to a state that lets the gas out", "add a way out to such a state")
        elif state.stays is None and not any(not one.way for one in live[name]):
            view.say(
                "waits-for-ever", ("states", name), f"'{name}' is left only when {_spoken(view, name)}; if that never comes, it waits for ever",
                "a timed way out (at_latest), or a reason (stays)", "add e.g. '{go_to: …, at_latest: 60 s}', or 'stays: WHY'",
            )  # fmt: skip


def _spoken(view: View, state: str) -> str:
    ways = list(dict.fromkeys(one.says for one in view.live[state] if not one.trip)) or [one.says for one in view.live[state]]
    return ", or ".join(ways[:3]) + (", …" if len(ways) > 3 else "")


def _trips(view: View) -> None:
    pad = view.pad
    for name, trip in pad.trips.items():
        held = [state for state in trip.everywhere_but if view.holds_gas(state) and state not in trip.because]
        if held:
            view.say(
                "trip-leaves-out-state", ("trips", name, "everywhere_but", trip.everywhere_but.index(held[0])),
                f"trip '{name}' is not looked at in {_listed(held)}, where gas is kept in",
                "every trip in every state that keeps gas in, or a reason for each state", f"take them out of the list, or add 'because: {{{held[0]}: WHY}}' to the trip",
            )  # fmt: skip
        if trip.go_to not in trip.everywhere_but and _matters(view, name):
            view.say(
                "trip-restarts-itself", ("trips", name, "go_to"), f"trip '{name}' is also looked at in '{trip.go_to}', where it leads: while it holds, that state's time never passes",
                f"'{trip.go_to}' among the states where this trip is not looked at", f"add '{trip.go_to}' to 'everywhere_but'",
            )  # fmt: skip


def _listed(names: list[str]) -> str:
    quoted = [f"'{name}'" for name in names]
    return " and ".join([", ".join(quoted[:-1]), quoted[-1]]) if len(quoted) > 1 else quoted[0]


def _matters(view: View, trip: str) -> bool:
    """A trip that is a press alone cannot hold on."""
    ways = t.alternatives(view.pad.trips[trip].once.expression)
    presses = {name for name, one in view.pad.conditions.items() if isinstance(one.term, t.Becomes)}
    return any(not any(isinstance(leaf, t.Name) and leaf.name in presses and value for leaf, value in way.items()) for way in ways)


def _top_up(view: View) -> None:
    """A way from a state that only holds gas back to one that fills, and round again, with nothing counting."""
    memories = {name for name, one in view.pad.conditions.items() if isinstance(one.term, t.Memory)}
    people = {name for name, one in view.pad.conditions.items() if isinstance(one.term, t.Becomes)}
    free: dict[str, list[str]] = {}
    for state, exits in view.live.items():
        for one in exits:
            if view.holds_gas(state) and view.holds_gas(one.to) and not any(name in memories | people for name, _ in one.way):
                free.setdefault(state, []).append(one.to)
    for state, exits in view.live.items():
        for one in exits:
            if one.trip or one.to not in free.get(state, []) or not view.fills(one.to) or view.fills(state) or not view.holds_gas(state):
                continue
            found, todo = {one.to}, [one.to]
            while todo:
                for to in free.get(todo.pop(), []):
                    if to not in found:
                        found.add(to)
                        todo.append(to)
            if state in found:
                view.say(
                    "endless-top-up", one.path, f"'{state}' goes back to '{one.to}', and that back to '{state}', as often as it likes",
                    "a limit on how often, or a press each time", "let a memory count it: 'remembers …', and ask 'not' of it here",
                )  # fmt: skip
