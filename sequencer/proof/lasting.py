"""`lasts`: how long a state or a command stands at least and at most, by the table's own times.

No input can lengthen a way through states that each end by the clock, so no fault of one does. A box that hangs holds
its outputs until the watchdog; one that loses its supply ends them at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sequencer.description import terms as t
from sequencer.description.box import RelayOutput
from sequencer.description.grounds import PowerPart
from sequencer.description.sequence import Lasts
from sequencer.proof.draft import Draft
from sequencer.proof.durations import WATCHDOG
from sequencer.proof.reacting import Cut, of_part


@dataclass
class Lasting:
    """longest: s, None for ever; shortest: s; inside: the states; at: the state in which it is longest."""

    inside: set[int] = field(default_factory=set)
    longest: float | None = None
    shortest: float = 0.0
    long: bool = False
    short: bool = False
    cuts: list[Cut] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    why_not: str = ""


def judged(draft: Draft, rule: Lasts) -> Lasting:
    """The longest and shortest stay, whether they are beyond what is wanted, and what defeats the rule."""
    expression, found = rule.lasts.expression, Lasting()
    output = ""
    if isinstance(expression, t.StateIs) and expression.wanted:
        found.inside = {list(draft.pad.states).index(expression.state)}
    elif isinstance(expression, t.CommandedTo) and expression.wanted and expression.output in draft.pad.outputs:
        output = expression.output
        number = list(draft.pad.outputs).index(output)
        code = draft.pad.output_positions[output].index(expression.position)
        found.inside = {s for s, spec in enumerate(draft.table.states) if spec.outputs[number] == code}
        if any(i.output == number and i.position == code for i in draft.table.inhibits):
            found.why_not = f"an inhibit holds {output} there too, for as long as its inputs say"
            return found
        if draft.unpowered_code(number) in (code, None):
            found.why_not = f"{output} stands there without power, for as long as there is none"
            return found
        if any(i.output == number for i in draft.table.inhibits):
            found.shortest = -1.0  # an inhibit may end it at any scan
    else:
        found.why_not = "only a state or a command is worked out"
        return found
    cut_short = found.shortest < 0
    found.longest, found.shortest = longest(draft, found.inside), 0.0 if cut_short else shortest(draft, found.inside)
    found.long = rule.at_most is not None and (found.longest is None or found.longest > rule.at_most.si + 1e-9)
    found.short = rule.at_least is not None and found.shortest < rule.at_least.si - 1e-9
    if found.long or found.short:
        return found
    if rule.at_most is not None and found.longest is not None and found.longest + WATCHDOG > rule.at_most.si + 1e-9:
        found.cuts += [(f,) for f in of_part(draft, "box")]
    if rule.at_least is not None:
        found.cuts += [(f,) for f in of_part(draft, "box")]
        found.cuts += [(f,) for name in draft.pad.parts(PowerPart) for f in of_part(draft, name)]
        found.notes.append("while power lasts: a blink ends it at once")
    if output and isinstance(draft.pad.outputs[output], RelayOutput):
        stuck = of_part(draft, output, {"welded"} if rule.at_most is not None else {"stuck off"})
        if stuck:
            found.notes.append(f"judged by the command; the relay itself does not follow with {', or '.join(f.name for f in stuck)}")
    found.cuts = list(dict.fromkeys(found.cuts))
    return found


def stay(draft: Draft, state: int) -> float | None:
    """Most seconds in a state: its first row without a condition, one scan more for the move."""
    spec = draft.table.states[state]
    sure = [r.least for r in draft.table.rows[spec.first_row : spec.end_row] if r.care == 0]
    return None if not sure else (min(sure) + 1) * draft.durations.scan


def longest(draft: Draft, inside: set[int]) -> float | None:
    """Most seconds on any way through these states; None where it may go round or stay for ever."""
    ways: dict[int, set[int]] = {}
    for state in inside:
        spec = draft.table.states[state]
        ways[state] = {r.to for r in draft.table.rows[spec.first_row : spec.end_row] if r.to in inside}

    def walk(state: int, seen: tuple[int, ...]) -> float | None:
        here = stay(draft, state)
        if here is None or state in seen:
            return None
        rest = [walk(to, (*seen, state)) for to in ways[state]]
        if any(r is None for r in rest):
            return None
        return here + max((r for r in rest if r is not None), default=0.0)

    found = [walk(s, ()) for s in inside]
    return None if any(f is None for f in found) else max((f for f in found if f is not None), default=0.0)


def shortest(draft: Draft, inside: set[int]) -> float:
    """Least seconds: the smallest least time of a row that leaves."""
    leasts = []
    for state in inside:
        spec = draft.table.states[state]
        leasts += [r.least for r in draft.table.rows[spec.first_row : spec.end_row] if r.to not in inside]
    return min(leasts, default=0) * draft.durations.scan
