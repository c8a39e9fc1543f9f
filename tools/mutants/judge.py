"""Who notices a mutant: reading, check, run, prove, shakedown; or why it is the same pad."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace

from sequencer.description import Pad, loads
from sequencer.description.reading import read_critically
from sequencer.errors import SequencerError
from sequencer.proof.prove import Options, prove
from sequencer.simulation import simulate
from sequencer.table import Table, compile_table
from sequencer.trials.campaign import Budget, shake

EQUIVALENT = "same pad"


def findings(pad: Pad) -> Counter[str]:
    """What `check` says, without the places."""
    return Counter(f"{one.name}: {one.found}" for one in read_critically(pad) if one.severity != "note")


def ran(pad: Pad) -> dict[str, tuple[str, ...]]:
    """{day or drill: what speaks against it}."""
    days: dict[str, str | None] = {"the day": None} if pad.crew.steps else {}
    days |= {name: name for name in pad.drills}
    return {name: tuple(sorted(r.split(" at ")[0].split(" broken")[0] for r in simulate(pad, crew=True, drill=drill, trace=False).against)) for name, drill in days.items()}


def proved(pad: Pad, faults: int, seconds: float) -> dict[str, tuple[str, frozenset[frozenset[str]]]]:
    """{rule: (outcome, smallest fault sets that break it)}."""
    made = prove(pad, Options(faults=faults, replays=False, stories=0, seconds=seconds, budget=1_500_000))
    return {one.name: (one.outcome, frozenset(frozenset(cut.faults) for cut in one.cuts)) for one in made.interlocks}


def behaviour(pad: Pad) -> tuple[object, ...]:
    """Everything that decides what the pad does: the compiled controller without its wording, the site, the people, the rules."""
    table: Table = compile_table(pad)
    bare = replace(
        table, title="", revision=0, roundings=(), rows=tuple(replace(row, origin="", path=()) for row in table.rows),
        inhibits=tuple(replace(one, name="") for one in table.inhibits),
    )  # fmt: skip
    people = tuple((name, state.people) for name, state in pad.states.items())
    return (bare, pad.inputs, pad.outputs, pad.site, pad.interlocks, people, pad.crew)


@dataclass
class Judge:
    """What each looks like on the original. prove_faults: None where the proof is not asked (no interlocks, or too large)."""

    name: str
    text: str
    runs: int
    prove_faults: int | None
    prove_seconds: float = 20.0
    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.pad = loads(self.text, self.name)
        self.findings, self.ran, self.bare = findings(self.pad), ran(self.pad), behaviour(self.pad)
        self.proof: dict[str, tuple[str, frozenset[frozenset[str]]]] = {}
        if not self.pad.interlocks:
            self.prove_faults = None
        if self.prove_faults is not None:
            try:
                self.proof = proved(self.pad, self.prove_faults, self.prove_seconds)
            except SequencerError as error:
                self.notes.append(f"{self.name}: not proved: {error.message}")
                self.prove_faults = None
        self.shaken = self._shaken(self.pad)

    def _shaken(self, pad: Pad) -> set[str]:
        return {one.rule for one in shake(pad, Budget(self.runs), seed=1, jobs=1, most_faults=0).failures} if pad.interlocks and self.runs else set()

    def notices(self, text: str) -> str:
        """'reading', 'check', 'run', 'prove', 'shakedown', `EQUIVALENT`, or '' where nobody does."""
        try:
            pad = loads(text, self.name)
        except SequencerError:
            return "reading"
        if behaviour(pad) == self.bare:
            return EQUIVALENT
        if findings(pad) - self.findings:
            return "check"
        if any(set(against) - set(self.ran.get(day, ())) for day, against in ran(pad).items()):
            return "run"
        if self.prove_faults is not None and self._proof_is_worse(pad):
            return "prove"
        return "shakedown" if self._shaken(pad) - self.shaken else ""

    def _proof_is_worse(self, pad: Pad) -> bool:
        """A rule holds no longer, or breaks by faults that did not break it before."""
        try:
            now = proved(pad, self.prove_faults or 0, self.prove_seconds)
        except SequencerError:
            return False  # too large now: nothing is shown by that
        for rule, (outcome, cuts) in now.items():
            before, known = self.proof.get(rule, ("holds", frozenset()))
            if outcome == "broken" and before != "broken":
                return True
            if any(not any(old <= cut for old in known) for cut in cuts):
                return True
        return False
