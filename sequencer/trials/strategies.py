"""Hypothesis strategies for one pad, for your own tests: what hands do, what fails, which values the pad has, its link.

    pad = sequencer.description.load("pad.yaml")

    @given(days(pad))
    def test_nobody_is_near_gas(day):
        assert "nobody_near_gas" not in broken(pad, day)

Every strategy draws plain values that `sequencer.simulation.simulate` or `broken` takes. Examples shrink towards no
act, no fault, nominal values and time 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from hypothesis import strategies as st

from sequencer.description.box import HeartbeatInput
from sequencer.description.pad import Pad
from sequencer.simulation.events import Action, At, Event, Hold, InState, Mend, Moment, Press, Strike
from sequencer.table import compile_table
from sequencer.trials.menu import HELD_MS, Menu, menu
from sequencer.trials.plan import Plan, Value, event, ranges
from sequencer.trials.probe import Trial, probe

LONGEST_MS = 5 * 60_000


def moments(pad: Pad, longest_ms: int = LONGEST_MS) -> st.SearchStrategy[Moment]:
    """Moments of a day: times of day up to `longest_ms`, entries of states, and times in a state near those at which
    one of its rows falls due. All are whole periods of the controller."""
    return _moments(menu(pad), longest_ms)


def _moments(found: Menu, longest_ms: int) -> st.SearchStrategy[Moment]:
    scan = found.scan_ms
    at = st.integers(0, longest_ms // scan).map(lambda n: At(n * scan))
    kinds: list[st.SearchStrategy[Moment]] = [at]
    for state, times in found.timers.items():
        near = [ms + d * scan for ms in (0, *times) for d in (-2, -1, 0, 1, 2) if ms + d * scan >= 0]
        kinds.append(st.sampled_from(sorted(set(near))).map(partial(InState, state)))
    return st.one_of(kinds)


def acts(pad: Pad) -> st.SearchStrategy[Action]:
    """One act of hands, feet or the supply: switches, presses of any length, holding, walking, hand valves, a blink."""
    return _acts(menu(pad))


def _acts(found: Menu) -> st.SearchStrategy[Action]:
    plain = [a for a in found.acts if not isinstance(a, Press)]
    inputs = [a.input for a in found.acts if isinstance(a, Press)]
    pressed = st.builds(Press, st.sampled_from(inputs), st.sampled_from(HELD_MS)) if inputs else st.nothing()
    return st.one_of(pressed, st.sampled_from(plain))


def operators(pad: Pad, most: int = 12, longest_ms: int = LONGEST_MS) -> st.SearchStrategy[tuple[Event, ...]]:
    """Operator behaviour: up to `most` acts in any order, at any time, buttons held through anything."""
    found = menu(pad)
    one = st.builds(event, _moments(found, longest_ms), _acts(found))
    return st.lists(one, max_size=most).map(tuple)


def held_buttons(pad: Pad) -> st.SearchStrategy[tuple[Event, ...]]:
    """Buttons held from before power-up, from an act or from a state on, and maybe let go at some time."""
    found = menu(pad)
    inputs = [a.input for a in found.acts if isinstance(a, Hold)]
    if not inputs:
        return st.just(())
    held = st.builds(lambda moment, name: event(moment, Hold(name)), _moments(found, LONGEST_MS), st.sampled_from(inputs))
    return st.lists(held, min_size=1, max_size=3).map(tuple)


def fault_schedules(pad: Pad, equipment: int = 1, slips: int = 0) -> st.SearchStrategy[tuple[Event, ...]]:
    """Up to so many equipment faults and slips, each at any moment; never two modes of one part, none that the file
    leaves out."""
    found = menu(pad)
    moment = _moments(found, LONGEST_MS)

    def some(names: Sequence[tuple[str, str]], most: int) -> st.SearchStrategy[list[tuple[str, str]]]:
        if not names or most == 0:
            return st.just([])
        return st.lists(st.sampled_from(names), max_size=most, unique_by=lambda one: one[0])

    chosen = st.tuples(some([(f.part, f.mode) for f in found.equipment], equipment), some([(f.part, f.mode) for f in found.slips], slips))

    @st.composite
    def schedule(draw: st.DrawFn) -> tuple[Event, ...]:
        failing, erring = draw(chosen)
        parts = {part for part, _ in failing}
        both = failing + [one for one in erring if one[0] not in parts]
        return tuple(event(draw(moment), Strike(part, mode)) for part, mode in both)

    return schedule()


def links(pad: Pad) -> st.SearchStrategy[tuple[Event, ...]]:
    """Link behaviour: each heartbeat lost, flapping or replayed at any moment, and maybe well again later; () for none."""
    found = menu(pad)
    names = [name for name, part in pad.inputs.items() if isinstance(part, HeartbeatInput)]
    moment = _moments(found, LONGEST_MS)

    @st.composite
    def behaviour(draw: st.DrawFn) -> tuple[Event, ...]:
        made: list[Event] = []
        for name in names:
            mode = draw(st.sampled_from(["", "lost", "flapping", "replayed"]))
            if mode:
                made.append(event(draw(moment), Strike(name, mode)))
                if draw(st.booleans()):
                    made.append(event(draw(moment), Mend(name)))
        return tuple(made)

    return behaviour()


def values(pad: Pad, most: int = 3) -> st.SearchStrategy[tuple[Value, ...]]:
    """World parameters: up to `most` numbers of the site, each within the range that the file gives it (SI)."""
    known = ranges(pad)
    if not known:
        return st.just(())

    @st.composite
    def some(draw: st.DrawFn) -> tuple[Value, ...]:
        chosen = draw(st.lists(st.sampled_from(sorted(known)), max_size=most, unique=True))
        return tuple((name, key, draw(st.floats(known[name, key].low, known[name, key].high))) for name, key in chosen)

    return some()


def days(pad: Pad, equipment: int = 0, slips: int = 0, most: int = 8) -> st.SearchStrategy[Plan]:
    """Whole days: the crew's steps or none, acts beside them, faults, link, values and the seed of all that is drawn."""
    events = st.tuples(operators(pad, most), fault_schedules(pad, equipment, slips)).map(lambda both: both[0] + both[1])
    steps = st.booleans() if pad.crew.steps else st.just(False)
    return st.builds(Plan, events=events, steps=steps, seed=st.integers(0, 99), values=values(pad))


def play(pad: Pad, day: Plan, longest_ms: int = 20 * 60_000) -> Trial:
    """Play a day, every interlock watched, as `shakedown` does."""
    table = compile_table(pad)
    return probe(pad, table, menu(pad, table), day, longest_ms)


def broken(pad: Pad, day: Plan) -> tuple[str, ...]:
    """Names of the interlocks that a day breaks within what they are asked to withstand."""
    return tuple(breach.rule for breach in play(pad, day).breaches if breach.asked)
