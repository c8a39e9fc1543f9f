"""How long a command may stay wrong while the box has not yet had time to react.

Used as the allowance of `never` rules that hold a command against something that changes by itself:
message latency + contact filter + on- or off-delay of the conditions that look at it + two scans.
"""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.description.box import AnalogInput, ContactInput
from sequencer.description.grounds import HeadPart, PinPart
from sequencer.description.pad import Pad
from sequencer.description.sequence import Never
from sequencer.site.reaction import link_latency, sensor_lag


def allowance_ms(pad: Pad, rule: Never) -> int:
    """Milliseconds for which `rule` may be true: `longer_than`, or the computed reaction time; 0 for a
    rule without a command in it, and for one of commands alone."""
    if rule.longer_than is not None:
        return round(rule.longer_than.si * 1000)
    leaves = t.leaves(rule.never.expression)
    commands = [leaf for leaf in leaves if isinstance(leaf, t.CommandedTo) and leaf.output in pad.outputs]
    others = [leaf for leaf in leaves if leaf not in commands]
    if not commands or not others:
        return 0
    seconds = max(_sensed_after(pad, leaf) for leaf in others)
    return round(seconds * 1000) + 2 * pad.scan_ms


def sensed_ms(pad: Pad, fact: t.Expression) -> int:
    """Reaction time (ms) to a change of a fact that a contact senses; 0 for a fact that none does."""
    return round(_sensed_after(pad, fact) * 1000) + 2 * pad.scan_ms if _contacts(pad, fact) else 0


def _sensed_after(pad: Pad, fact: t.Expression) -> float:
    """Longest time (s) from the fact coming true until a condition that looks at it has turned."""
    if isinstance(fact, t.PressureIs):
        names = [n for n, p in pad.inputs.items() if isinstance(p, AnalogInput) and p.reads == fact.volume]
        lag = max((3 * sensor_lag(pad, name)[0].high for name in names), default=0.0)
        return lag + max((_delay(c, names, fact.at_least) for c in pad.conditions.values()), default=0.0)
    sensing = _contacts(pad, fact)
    longest = 0.0
    for name in sensing:
        part = pad.inputs[name]
        assert isinstance(part, ContactInput)
        carried = link_latency(pad, name)[0]
        latency = carried.high if carried is not None else 0.0
        delays = max((_delay(c, [name], None) for c in pad.conditions.values()), default=0.0)
        longest = max(longest, latency + part.steady_for.si + delays)
    return longest


def _contacts(pad: Pad, fact: t.Expression) -> list[str]:
    if isinstance(fact, t.SwitchIs):
        return [fact.input] if isinstance(pad.inputs.get(fact.input), ContactInput) else []
    name = fact.head if isinstance(fact, t.HeadIs) else fact.pin if isinstance(fact, t.PinIs) else ""
    part = pad.site.get(name)
    seen = part.seen_by if isinstance(part, HeadPart | PinPart) else None
    return [seen] if seen else []


def _delay(condition: t.Condition, inputs: list[str], rising: bool | None) -> float:
    """The delay of one condition if it looks at one of these inputs. A permissive's on-delay does not slow its loss."""
    term = condition.term
    if isinstance(term, t.AtLeast | t.Below) and term.reading in inputs:
        slower = condition.held if isinstance(term, t.AtLeast) == rising else condition.lingers
    elif isinstance(term, t.ContactIs) and term.input in inputs:
        slower = condition.lingers
    else:
        return 0.0
    return slower.si if slower else 0.0
