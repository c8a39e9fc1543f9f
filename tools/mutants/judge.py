"""Who notices a mutant, cheapest first: the reader, `check`, the nominal day, `prove`, `prove` with single faults,
the drills, `steps`, `shakedown`; or why it is the same pad, or a better one.

A notice is something that speaks against the mutant and did not speak against the original: never a mere difference.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from mutants.same import alike, bare, same, states
from sequencer.crew.slips import slips
from sequencer.description import Pad, loads
from sequencer.description.reading import read_critically
from sequencer.description.sequence import Always
from sequencer.errors import SequencerError
from sequencer.proof import house
from sequencer.proof.build import draft_of
from sequencer.proof.prove import Options, Work, judged
from sequencer.proof.result import InterlockResult
from sequencer.simulation import simulate
from sequencer.table import compile_table
from sequencer.trials.campaign import Budget, shake
from sequencer.trials.crowd import answers

SAME = "the same pad"
MENDED = "mended"
"""Nothing speaks against it, and something that spoke against the original no more does: a mistake planted there is gone."""
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


def explored(pad: Pad, how: How, faults: int) -> Work:
    work = Work(pad, Options(faults=faults, replays=False, stories=0, seconds=0.0, budget=how.budget), lambda says: None)
    work.explore()
    return work


def verdicts(work: Work, names: Iterable[str]) -> Iterator[InterlockResult]:
    """One after the other, those that ask for every situation last: whoever has seen enough asks for no more."""
    rules = [(name, work.pad.interlocks[name]) for name in names if name in work.pad.interlocks]
    for name, rule in sorted(rules, key=lambda one: isinstance(one[1], Always)):
        yield judged(work, name, rule)


def worse(old: InterlockResult, now: InterlockResult) -> str:
    """What `prove` holds against a mutant's rule that it did not hold against the original's."""
    if old.outcome in GOOD and now.outcome not in GOOD:
        return f"{now.name}: {now.outcome}"
    if old.withstands and now.withstands and any(a < b for a, b in zip(now.withstands, old.withstands, strict=True)):
        return f"{now.name}: withstands less"
    cuts = [frozenset(cut.faults) for cut in old.cuts]
    new = [cut.faults for cut in now.cuts if not any(some <= frozenset(cut.faults) for some in cuts)]
    return f"{now.name}: breaks by {' and '.join(new[0])}" if new and now.outcome != "broken" else ""


def against_house(pad: Pad) -> dict[str, tuple[str, ...]]:
    """What speaks against each house rule of a pad; what the file waives is left out."""
    return {rule.name: rule.against for rule in house.judged(draft_of(pad)) if rule.outcome not in GOOD}


Said = dict[str, InterlockResult] | str
"""What `prove` says of each rule; or why it says nothing."""


@dataclass
class Judge:
    """Judges mutants of one original, which it has to `look` at first, on `jobs` processes."""

    name: str
    text: str
    how: How
    jobs: int = 1
    notes: list[str] = field(default_factory=list)

    def look(self) -> None:
        """What each stage says of the original."""
        self.pad = loads(self.text, self.name)
        self.table = compile_table(self.pad)
        self.findings = findings(self.pad)
        self.house = against_house(self.pad)
        days: list[str | None] = [*([None] if self.pad.crew.steps else []), *self.pad.drills]
        self.days = dict(zip(days, answers(lambda day: _day(self.pad, day), days, self.jobs), strict=True))
        self.said = {faults: self._said(faults) for faults in range(2)}  # on processes of their own, as are the slips
        self.slips = set(self._slips(self.pad))
        self.shaken = self._shaken(self.pad, self.jobs)
        self.seldom = Counter(state for _, visited in self.days.values() for state in visited)
        self.notes = [f"{day or 'the day'} of the original: {one}" for day, (found, _) in self.days.items() for one in sorted(found)]
        self.notes += [f"not proved with {faults} faults: {said}" for faults, said in self.said.items() if isinstance(said, str) and said]

    def _said(self, faults: int) -> Said:
        if not (self.how.singles if faults else self.how.prove):
            return ""
        try:
            return {one.name: one for one in verdicts(explored(self.pad, self.how, faults), self.pad.interlocks)}
        except SequencerError as error:
            return error.message

    def _slips(self, pad: Pad) -> Iterator[str]:
        if self.how.steps and pad.crew.steps:
            for slip in slips(pad).slips:
                yield from (f"{slip.kind} {slip.number}: {rule}" for rule in slip.asked)

    def _shaken(self, pad: Pad, jobs: int = 1) -> set[str]:
        if not self.how.runs or not self.pad.interlocks:
            return set()
        return {one.rule for one in shake(pad, Budget(self.how.runs), seed=1, jobs=jobs, most_faults=0).failures}

    def notice(self, text: str, last: Notice | None = None) -> Notice:
        """Who notices this text first; whoever did `last` time (with an older program) is asked first."""
        try:
            pad = loads(text, self.name)
        except SequencerError as error:
            return Notice("reading", error.message.splitlines()[0])
        reason = self._same(pad)
        if reason:
            return Notice(SAME, reason)
        last = last or Notice(NOBODY)
        first = last.says.partition(":")[0]
        stages: list[tuple[str, Callable[[], str]]] = [
            ("check", lambda: self._checked(pad)), ("the day", lambda: self._ran(pad, [None])), ("prove", lambda: self._proved(pad, 0, first)),
            ("prove with singles", lambda: self._proved(pad, 1, first)), ("drills", lambda: self._ran(pad, self._likely(pad, first))),
            ("steps", lambda: min(set(self._slips(pad)) - self.slips, default="")),
            ("shakedown", lambda: min(self._shaken(pad) - self.shaken - self._broken(), default="")),
        ]  # fmt: skip
        for who, stage in sorted(stages, key=lambda one: one[0] != last.who):
            says = stage()
            if says:
                return Notice(who, says)
        now = against_house(pad)
        gone = [f"{rule}: {one}" for rule, some in self.house.items() for one in some if one not in now.get(rule, ())]
        return Notice(MENDED, f"no more {gone[0]}") if gone else Notice(NOBODY)

    def _broken(self) -> set[str]:
        """Rules that `prove` calls broken in the original: a campaign that comes upon them tells nothing new."""
        said = self.said[0]
        return set() if isinstance(said, str) else {name for name, one in said.items() if one.outcome not in GOOD}

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

    def _likely(self, pad: Pad, first: str) -> list[str | None]:
        """The drills, those first that come through a changed state which few others see."""
        touched = self._touched(pad) or frozenset()

        def rank(day: str) -> tuple[bool, int]:
            return day != first, min((self.seldom[state] for state in self.days[day][1] & touched), default=0)

        return [*sorted(self.pad.drills, key=rank)]

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

    def _proved(self, pad: Pad, faults: int, first: str) -> str:
        before = self.said[faults]
        if isinstance(before, str):
            return ""
        if not faults:
            now = against_house(pad)
            found = [f"{rule}: {one}" for rule, some in now.items() for one in some if one not in self.house.get(rule, ())]
            if found:
                return found[0]
        try:
            rules = sorted(before, key=lambda name: name != first)
            return next(filter(None, (worse(before[one.name], one) for one in verdicts(explored(pad, self.how, faults), rules))), "")
        except SequencerError:
            return ""  # too large now: nothing is shown by that
