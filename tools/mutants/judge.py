"""Who notices a mutant, cheapest first: the reader, `check`, the nominal day, `prove`, `prove` with single faults,
the drills, `steps`, `shakedown`; or why it is the same pad.

A notice is something that speaks against the mutant and did not speak against the original: never a mere difference.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from mutants.same import alike, bare, same, states
from sequencer.crew.slips import slips
from sequencer.description import Pad, loads
from sequencer.description.reading import read_critically
from sequencer.errors import SequencerError
from sequencer.proof.prove import Options, prove
from sequencer.proof.result import Proof
from sequencer.simulation import simulate
from sequencer.table import compile_table
from sequencer.trials.campaign import Budget, shake

SAME = "the same pad"
NOBODY = "nobody"
STAGES = ("reading", "check", "the day", "prove", "prove with singles", "drills", "steps", "shakedown")
GOOD = ("holds", "waived")


@dataclass(frozen=True)
class Notice:
    """who: one of STAGES, SAME or NOBODY. says: what speaks against the mutant, or why it is the same pad."""

    who: str
    says: str = ""


@dataclass(frozen=True)
class How:
    """How far each stage looks. prove: without faults; singles: with each single one; steps: lines done wrong; runs: of
    `shakedown`, 0 for none."""

    prove: bool = True
    singles: bool = False
    steps: bool = False
    runs: int = 0
    budget: int = 1_500_000


def findings(pad: Pad) -> Counter[str]:
    """How often `check` tells each of its findings."""
    return Counter(one.name for one in read_critically(pad) if one.severity != "note")


def _day(pad: Pad, drill: str | None) -> tuple[frozenset[str], frozenset[str]]:
    """What speaks against one run, without its moments; and the states that it comes through."""
    run = simulate(pad, crew=True, drill=drill, trace=False)
    against = frozenset(one.split(" broken at ")[0].split(" waited ")[0] for one in run.against)
    return against, frozenset({pad.first_state, *(entry.to for entry in run.log if entry.to)})


def proved(pad: Pad, how: How, faults: int) -> Proof:
    return prove(pad, Options(faults=faults, replays=False, stories=0, seconds=0.0, budget=how.budget))


def worse(before: Proof, now: Proof) -> str:
    """What `prove` holds against the second that it did not hold against the first."""
    known = {one.name: one for one in before.interlocks}
    for one in now.interlocks:
        old = known.get(one.name)
        if old is None:
            continue
        if old.outcome in GOOD and one.outcome not in GOOD:
            return f"{one.name}: {one.outcome}"
        fewer = old.withstands and one.withstands and any(a < b for a, b in zip(one.withstands, old.withstands, strict=True))
        if fewer:
            return f"{one.name}: withstands less"
        cuts = [frozenset(cut.faults) for cut in old.cuts]
        new = [cut.faults for cut in one.cuts if not any(some <= frozenset(cut.faults) for some in cuts)]
        if new and one.outcome != "broken":
            return f"{one.name}: breaks by {' and '.join(new[0])}"
    rules = {rule.name: rule for rule in before.house}
    for rule in now.house:
        found = [one for one in rule.against if one not in rules[rule.name].against]
        if found and rule.outcome not in GOOD:
            return f"{rule.name}: {found[0]}"
    return ""


@dataclass
class Judge:
    """What each stage says of the original, looked at once, when it is first needed."""

    name: str
    text: str
    how: How
    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.pad = loads(self.text, self.name)
        self.table = compile_table(self.pad)
        self.findings = findings(self.pad)
        self.days = {None: _day(self.pad, None)} if self.pad.crew.steps else {}
        self.days |= {drill: _day(self.pad, drill) for drill in self.pad.drills}
        for drill, (found, _) in self.days.items():
            self.notes += [f"{drill or 'the day'} of the original: {one}" for one in sorted(found)]
        self.proofs = {faults: self._proof(faults) for faults in range(2) if (self.how.prove, self.how.singles)[faults] and self.pad.interlocks}
        self.slips = set(self._slips(self.pad)) if self.how.steps and self.pad.crew.steps else None
        self.shaken = self._shaken(self.pad) if self.how.runs and self.pad.interlocks else None

    def _proof(self, faults: int) -> Proof | None:
        try:
            return proved(self.pad, self.how, faults)
        except SequencerError as error:
            self.notes.append(f"not proved with {faults} faults: {error.message}")
            return None

    def _slips(self, pad: Pad) -> Iterator[str]:
        for slip in slips(pad).slips:
            yield from (f"{slip.kind} {slip.number}: {rule}" for rule in slip.asked)

    def _shaken(self, pad: Pad) -> set[str]:
        return {one.rule for one in shake(pad, Budget(self.how.runs), seed=1, jobs=1, most_faults=0).failures}

    def notice(self, text: str) -> Notice:
        """Who notices this text first."""
        try:
            pad = loads(text, self.name)
        except SequencerError as error:
            return Notice("reading", error.message.splitlines()[0])
        reason = self._same(pad)
        if reason:
            return Notice(SAME, reason)
        stages: tuple[tuple[str, Callable[[Pad], str]], ...] = (
            ("check", self._checked), ("the day", lambda pad: self._ran(pad, [None])), ("prove", lambda pad: self._proved(pad, 0)),
            ("prove with singles", lambda pad: self._proved(pad, 1)), ("drills", lambda pad: self._ran(pad, list(self.pad.drills))),
            ("steps", self._stepped), ("shakedown", self._shook),
        )  # fmt: skip
        for who, stage in stages:
            says = stage(pad)
            if says:
                return Notice(who, says)
        return Notice(NOBODY)

    def _same(self, pad: Pad) -> str:
        """Everything but the table must be the same letter by letter."""
        if self._rest(pad) != self._rest(self.pad):
            return ""
        table = compile_table(pad)
        return "the compiled table is the same" if bare(table) == bare(self.table) else same(self.pad, self.table, table)

    @staticmethod
    def _rest(one: Pad) -> tuple[object, ...]:
        """All that decides what a pad does, beside its table."""
        return (one.inputs, one.outputs, one.site, one.interlocks, {n: s.people for n, s in one.states.items()}, one.crew, one.cards, one.drills)

    def _checked(self, pad: Pad) -> str:
        return ", ".join(sorted(findings(pad) - self.findings))

    def _ran(self, pad: Pad, days: list[str | None]) -> str:
        touched = self._touched(pad)
        for day in days:
            against, visited = self.days.get(day, (frozenset(), frozenset()))
            if touched is None or touched & visited:  # else it is the same run, to the bit
                found = _day(pad, day)[0] - against
                if found:
                    return f"{day or 'the plain day'}: {min(found)}"
        return ""

    def _touched(self, pad: Pad) -> frozenset[str] | None:
        """The states in which a run can differ at all: those whose rows or outputs were changed; None for any."""
        table = compile_table(pad)
        if self._rest(pad) != self._rest(self.pad) or not alike(self.table, table):
            return None
        pairs = zip(states(self.table), states(table), strict=True)
        return frozenset(one.name for one, pair in zip(self.table.states, pairs, strict=True) if pair[0] != pair[1])

    def _proved(self, pad: Pad, faults: int) -> str:
        before = self.proofs.get(faults)
        if before is None:
            return ""
        try:
            return worse(before, proved(pad, self.how, faults))
        except SequencerError:
            return ""  # too large now: nothing is shown by that

    def _stepped(self, pad: Pad) -> str:
        return "" if self.slips is None else min(set(self._slips(pad)) - self.slips, default="")

    def _shook(self, pad: Pad) -> str:
        return "" if self.shaken is None else min(self._shaken(pad) - self.shaken, default="")
