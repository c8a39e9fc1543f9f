"""Every interlock of the file, watched on the true world during a run.

`never` is allowed the reaction time (see reaction.py) only where it holds a command against something that
changes by itself. A cause that ends before its effect is due is not judged. A `must` counts from the command on, also
when a fault takes the command back; it ends with a command that is taken back with all that was looked at for it sound
(someone calls stop). `always possible` is beyond a run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from sequencer.description import terms as t
from sequencer.description.pad import Pad
from sequencer.description.sequence import Always, Interlock, Lasts, Must, Never, Reaction, Start
from sequencer.simulation.facts import Facts, Statement
from sequencer.simulation.reaction import allowance_ms, sensed_ms
from sequencer.simulation.result import Judged, Outcome

LONG_AGO = -(1 << 40)  # ms


@dataclass
class Watch:
    """One interlock under watch; `broken_ms` is the time of the first breach."""

    name: str
    rule: Interlock
    broken_ms: int | None = None
    says: str = ""
    measured_ms: int | None = None
    unseen: list[Statement] = field(default_factory=list)  # parts of the rule that were never true so far
    exercised: bool = False
    since: int | None = None  # when what it times began; None while it times nothing
    quiet: bool = False  # looks at the box alone: nothing new while the box writes the same and it times nothing

    def step(self, ms: int, cmd: tuple[int, ...], state: int, bits: int) -> None:
        """Judge the moment `ms`."""
        raise NotImplementedError

    def look(self, cmd: tuple[int, ...], state: int, bits: int) -> None:
        """Note which parts of the rule have been true at some time."""
        if self.unseen:
            self.unseen = [part for part in self.unseen if not part(cmd, state, bits)]
            self.exercised = self.exercised or not self.unseen

    def breach(self, ms: int, says: str) -> None:
        if self.broken_ms is None:
            self.broken_ms, self.says = ms, says

    def finish(self, ms: int) -> None:
        """The run is over."""

    def result(self, asked: bool) -> Judged:
        outcome: Outcome = "broken" if self.broken_ms is not None else "held" if self.exercised else "not exercised"
        says = self.says or ("" if self.exercised else "its situation did not arise in this run")
        return Judged(self.name, outcome, says, self.rule.severity, self.broken_ms, asked, self.measured_ms, self.rule.waive)


class NeverWatch(Watch):
    def __init__(self, name: str, rule: Never, facts: Facts, pad: Pad) -> None:
        super().__init__(name, rule)
        expression = rule.never.expression
        self.test = facts.statement(expression)
        self.allowed = allowance_ms(pad, rule)
        self.text = rule.never.text
        self.quiet = of_the_box(pad, expression)
        parts = expression.items if isinstance(expression, t.And) else (expression,)
        self.unseen = [facts.statement(part) for part in parts] if len(parts) > 1 else []
        self.exercised = not self.unseen

    def step(self, ms: int, cmd: tuple[int, ...], state: int, bits: int) -> None:
        if not self.test(cmd, state, bits):
            self.since = None
            return
        self.exercised = True
        if self.since is None:
            self.since = ms
        if ms - self.since >= self.allowed:
            extra = f", longer than the {self.allowed} ms allowed" if self.allowed else ""
            self.breach(ms, f"{self.text}{extra}")


class Recent:
    """When the facts that contacts sense were last otherwise; looked at once a scan for all start rules together."""

    def __init__(self, facts: Facts, leaves: list[t.Expression]) -> None:
        self.number = {leaf: i for i, leaf in enumerate(dict.fromkeys(leaves))}
        self.all = facts.statements(self.number)
        self.values: tuple[bool, ...] = ()
        self.left = [LONG_AGO] * len(self.number)  # when a leaf last had the other value
        self.looked = LONG_AGO

    def look(self, ms: int, cmd: tuple[int, ...], state: int, bits: int) -> None:
        values = self.all(cmd, state, bits)
        if values != self.values:
            if self.values:
                for i, (old, new) in enumerate(zip(self.values, values, strict=True)):
                    if old != new:
                        self.left[i] = self.looked
            self.values = values
        self.looked = ms

    def been(self, leaf: t.Expression, wanted: bool, ms: int, allowed: int) -> bool:
        """Whether the leaf is as wanted, or was within the allowed time."""
        i = self.number[leaf]
        return bool(self.values[i]) == wanted or ms - self.left[i] <= allowed


class StartWatch(Watch):
    """Judged at the moment of starting. What a contact senses is allowed that contact's reaction time, for a hand
    that moves just before the scan beats every controller; pressures and people are judged at the instant.
    `leads`: it is the one of a pad's start rules that looks at `recent` in every scan, before the others."""

    def __init__(self, name: str, rule: Start, facts: Facts, pad: Pad, recent: Recent, leads: bool) -> None:
        super().__init__(name, rule)
        output, _, position = rule.start.partition(" to ")
        # an output's command, or the state the box is in
        self.output = facts.table.output_index(output) if output in pad.outputs else None
        self.code = facts.table.state_index(position) if self.output is None else pad.output_positions[output].index(position)
        self.origin = facts.table.state_index(output) if self.output is None and output in pad.states else None
        self.needs = rule.needs.expression
        self.text = f"{rule.start} began although not: {rule.needs.text}"
        self.was: int | None = None
        leaves = list(dict.fromkeys(t.leaves(self.needs)))
        self.leaf = {leaf: facts.statement(leaf) for leaf in leaves}
        self.allowed = {leaf: late for leaf in leaves if (late := sensed_ms(pad, leaf))}
        self.recent, self.leads = recent, leads
        self.quiet = not leads

    def step(self, ms: int, cmd: tuple[int, ...], state: int, bits: int) -> None:
        if self.leads:
            self.recent.look(ms, cmd, state, bits)
        now = state if self.output is None else cmd[self.output]
        if now == self.code and self.was is not None and self.was != now and self.origin in (None, self.was):
            self.exercised = True
            if not self._met(self.needs, True, ms, cmd, state, bits):
                self.breach(ms, self.text)
        self.was = now

    def _met(self, expression: t.Expression, wanted: bool, ms: int, cmd: tuple[int, ...], state: int, bits: int) -> bool:
        """Whether the expression is `wanted`, sensed leaves taken as they were at best within their time."""
        if isinstance(expression, t.Not):
            return self._met(expression.item, not wanted, ms, cmd, state, bits)
        if isinstance(expression, t.And | t.Or):
            met = (self._met(item, wanted, ms, cmd, state, bits) for item in expression.items)
            return all(met) if isinstance(expression, t.And) == wanted else any(met)
        if expression in self.allowed:
            return self.recent.been(expression, wanted, ms, self.allowed[expression])
        return bool(self.leaf[expression](cmd, state, bits)) == wanted


class ReactionWatch(Watch):
    """cause/effect (the effect must hold while the cause lasts) and `must` (it must have happened once)."""

    def __init__(self, name: str, rule: Reaction | Must, facts: Facts, pad: Pad) -> None:
        super().__init__(name, rule)
        self.must = isinstance(rule, Must)
        effect = rule.must if isinstance(rule, Must) else rule.effect
        self.cause, self.effect = facts.statement(rule.cause.expression), facts.statement(effect.expression)
        self.within = round(rule.within.si * 1000)
        self.text = f"{rule.cause.text}, and after {rule.within.text} still not: {effect.text}"
        # a cause in the world may have come at any time since the last look: the whole period counts
        self.by_command = self.quiet = of_the_box(pad, rule.cause.expression)
        self.looked = 0
        self.reached = self.was = False
        self.by_fault: Callable[[], bool] = lambda: True
        """For a `must`: whether what the box wrote just now may be a fault's doing."""

    def step(self, ms: int, cmd: tuple[int, ...], state: int, bits: int) -> None:
        cause = self.cause(cmd, state, bits)
        if self.must and self.was and not cause and self.by_command and not self.by_fault():
            self.since = None
        if cause and not self.was:
            self.since, self.reached, self.exercised = ms if self.by_command else self.looked, False, True
        self.looked = ms
        self.was = cause
        if self.since is None or (not cause and not self.must):
            self.since = None
            return
        if self.must and self.reached:
            return
        effect = self.effect(cmd, state, bits)
        if effect and not self.reached:
            self.reached = True
            self.measured_ms = max(self.measured_ms or 0, ms - self.since)
        if not effect and ms - self.since > self.within:
            self.breach(ms, self.text)


class LastsWatch(Watch):
    def __init__(self, name: str, rule: Lasts, facts: Facts, pad: Pad) -> None:
        super().__init__(name, rule)
        self.test = facts.statement(rule.lasts.expression)
        self.least = None if rule.at_least is None else round(rule.at_least.si * 1000)
        self.most = None if rule.at_most is None else round(rule.at_most.si * 1000)
        self.text = rule.lasts.text
        self.quiet = of_the_box(pad, rule.lasts.expression)

    def step(self, ms: int, cmd: tuple[int, ...], state: int, bits: int) -> None:
        if self.test(cmd, state, bits):
            if self.since is None:
                self.since, self.exercised = ms, True
            lasted = ms - self.since
            if self.most is not None and lasted > self.most:
                self.breach(ms, f"{self.text} for more than {self.most} ms")
            return
        if self.since is not None:
            lasted = ms - self.since
            self.measured_ms = max(self.measured_ms or 0, lasted)
            if self.least is not None and lasted < self.least:
                self.breach(ms, f"{self.text} for {lasted} ms only, at least {self.least} ms wanted")
        self.since = None


class AlwaysWatch(Watch):
    """What must always be possible cannot be seen in one run."""

    def __init__(self, name: str, rule: Always) -> None:
        super().__init__(name, rule, quiet=True, says="one run cannot show what is always possible; `prove` looks at it")

    def step(self, ms: int, cmd: tuple[int, ...], state: int, bits: int) -> None:
        pass


def of_the_box(pad: Pad, expression: t.Expression) -> bool:
    """Whether a statement is about commands, state and bits of the box alone."""
    leaves = t.leaves(expression)
    alone = t.StateIs | t.PeopleAllowed | t.BoxSays
    return all(isinstance(leaf, alone) or (isinstance(leaf, t.CommandedTo) and leaf.output in pad.outputs) for leaf in leaves)


def watches(pad: Pad, facts: Facts) -> list[Watch]:
    """One watch for every interlock, in file order."""
    made: list[Watch] = []
    starts = [leaf for rule in pad.interlocks.values() if isinstance(rule, Start) for leaf in t.leaves(rule.needs.expression)]
    recent = Recent(facts, [leaf for leaf in starts if sensed_ms(pad, leaf)])
    for name, rule in pad.interlocks.items():
        if isinstance(rule, Never):
            made.append(NeverWatch(name, rule, facts, pad))
        elif isinstance(rule, Start):
            first = not any(isinstance(watch, StartWatch) for watch in made)
            made.append(StartWatch(name, rule, facts, pad, recent, leads=first and bool(recent.number)))
        elif isinstance(rule, Reaction | Must):
            made.append(ReactionWatch(name, rule, facts, pad))
        elif isinstance(rule, Lasts):
            made.append(LastsWatch(name, rule, facts, pad))
        else:
            made.append(AlwaysWatch(name, rule))
    return made
