"""How wrong may each number be: changed alone, how far until a line of the sheet gets worse, each way.

Every quantity of the file is scaled in the read `Pad` itself, the sheet is worked out again, and the edge is bisected.
A line gets worse when its judgement falls (holds, thin, fails); a finding of critical reading that was not there, and a
file that can no longer be worked with, count too. So does a race that the proof leans on and that is lost: its moment is
there, and it is not won by its factor; and one that the proof no longer leans on, because it waits for another moment.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cached_property

from sequencer.description.pad import Pad
from sequencer.description.reading.analog import look as analog_topic
from sequencer.description.reading.outputs import look as outputs_topic
from sequencer.description.reading.people_and_gas import look as gas_topic
from sequencer.description.reading.view import View
from sequencer.errors import SequencerError
from sequencer.sizing.build import numbers_sheet
from sequencer.sizing.changing import Number, changed, is_zero, numbers_of, value_at
from sequencer.sizing.races import Standing, leaned_on, standings

UP = (1.02, 1.05, 1.1, 1.2, 1.35, 1.6, 2.03, 2.97, 3.97)
"""Factors tried outward before bisecting; downward their reciprocals. Beyond the last nothing is claimed. No round
ones: times of a file are often in round ratios, and two moments of a state that fall together would look like one lost."""
SCREEN = 1.35
TOPICS: tuple[Callable[[View], None], ...] = (analog_topic, gas_topic, outputs_topic)
"""What critical reading says about values; its other topics are about logic and about how a time is written."""
_RANK = {"": 0, "holds": 0, "thin": 1, "fails": 2}


@dataclass(frozen=True)
class Edge:
    """One way of one number: the factor (or kelvin) at which something flips, the value there, and what flips."""

    factor: float
    value: str
    flips: str


@dataclass(frozen=True)
class Slack:
    """How far one number may be off, up and down; None: nothing flips within a factor of four."""

    number: Number
    up: Edge | None
    down: Edge | None

    @property
    def thinnest(self) -> float:
        """Least relative error that flips something; infinite when none does."""
        return min((abs(edge.factor - 1.0) for edge in (self.up, self.down) if edge is not None), default=float("inf"))


@dataclass(frozen=True)
class HowWrong:
    """Every number that can flip something, thinnest first; how many were looked at; zeros that cannot be scaled."""

    slacks: tuple[Slack, ...]
    looked_at: int
    zeros: tuple[str, ...]
    limits: str = (
        "each number alone, up to nearly four times or a quarter, temperatures by 50 K; against this sheet, the races that the proof "
        "leans on, and what check says about values; crew and drills are not looked at, the proof's search is not run again"
    )


def judgements(pad: Pad) -> dict[str, str]:
    """{line: judgement} of the sheet, and of the findings of critical reading about values ('fails' for an error,
    'thin' for a warning); a pad that cannot be worked with fails in one word."""
    try:
        found = {line.name: line.judgement for line in numbers_sheet(pad).lines}
        view = View(pad)
        for topic in TOPICS:
            topic(view)
        words = {"error": "fails", "warning": "thin"}
        return found | {f"check: {f.name} at line {f.place.line}": words[f.severity] for f in view.findings if f.severity in words}
    except (SequencerError, ArithmeticError, ValueError, AssertionError):
        return {"the file": "fails"}


def worse(before: dict[str, str], after: dict[str, str]) -> str:
    """The first line that is worse after than before, with its judgement; '' when none is."""
    if "the file" in after:
        return "the file can no longer be worked with"
    for name, word in after.items():
        if _RANK[word] > _RANK[before.get(name, "")]:
            return f"{name}: {before.get(name, '') or 'not there'} -> {word}"
    gone = next((name for name, word in before.items() if word in ("holds", "thin") and name not in after), "")
    return f"{gone}: can no longer be worked out" if gone else ""


class Asker:
    """The questions about one pad: what gets worse when one number is scaled."""

    def __init__(self, pad: Pad) -> None:
        self.pad = pad
        self.before = judgements(pad)
        self.leaned = leaned_on(pad)

    @cached_property
    def races(self) -> dict[str, Standing]:
        """The races of the unchanged pad that the proof leans on and that are won."""
        if not self.leaned:
            return {}
        return {key: one for key, one in standings(self.pad).races.items() if key in self.leaned and one.won}

    def flips(self, number: Number, by: float) -> str:
        """What gets worse in words, '' when nothing does: on the sheet, else among the races."""
        return self.worse(number, by) or self.lost(number, by)

    def worse(self, number: Number, by: float) -> str:
        """The line of the sheet that gets worse."""
        return worse(self.before, judgements(changed(self.pad, number, by)))

    def lost(self, number: Number, by: float) -> str:
        """The race that is lost, or that the proof does not lean on any more."""
        if not self.races:
            return ""
        try:
            now = standings(changed(self.pad, number, by))
        except (SequencerError, ArithmeticError, ValueError, AssertionError, KeyError):
            return "the proof can no longer take the file"
        gone = [key for key, one in self.races.items() if one.lost(now.races.get(key))]
        for what in ("lost", "no longer leaned on"):  # what is lost is told first
            for key in gone:
                if now.says_of(key) == what:
                    return f"race {what}: {self.leaned[key]}"
        return ""

    def slack(self, number: Number) -> Slack:
        """Both edges of one number."""
        return Slack(number, self._edge(number, 1.0), self._edge(number, -1.0))

    def _edge(self, number: Number, sign: float) -> Edge | None:
        """The sheet's edge, which is quick to find; nearer than that, the races'."""
        sheet = _bisected(lambda by: bool(self.worse(number, by**sign)), UP)
        reach = UP[-1] if sheet is None else sheet[0]
        steps = [*(by for by in UP if by < reach), reach]
        race = _bisected(lambda by: bool(self.lost(number, by**sign)), steps) if reach > 1.0 else None
        found = race or sheet
        if found is None:
            return None
        by = found[1] ** sign
        return Edge(by, value_at(number, by), self.flips(number, by))


def _bisected(flips: Callable[[float], bool], steps: Sequence[float]) -> tuple[float, float] | None:
    """(last factor without, first factor with a flip), from 1 outward; None where nothing flips at the last step nor
    at the one nearest to SCREEN: what flips only between two of them is not looked for."""
    near = max((by for by in steps if by <= SCREEN), default=steps[-1])
    if not flips(steps[-1]) and not (near < steps[-1] and flips(near)):
        return None
    inner, outer = 1.0, steps[-1]
    for by in steps:
        if flips(by):
            outer = by
            break
        inner = by
    while outer / inner > 1.0005:
        middle = (inner * outer) ** 0.5
        if flips(middle):
            outer = middle
        else:
            inner = middle
    return inner, outer


def how_wrong(pad: Pad, progress: Callable[[int, int], None] = lambda done, of: None, jobs: int = 1) -> HowWrong:
    """Scale every number of the pad each way until something gets worse; thinnest first. `progress(done, of)`.

    jobs: processes at once; the answer is the same.
    """
    found = numbers_of(pad)
    zeros = tuple(number.name for number in found if is_zero(number))
    asked = [number for number in found if not is_zero(number)]
    slacks = []
    progress(0, len(found))
    for done, slack in enumerate(_slacks(pad, asked, jobs), 1):
        progress(done, len(found))
        if slack.up is not None or slack.down is not None:
            slacks.append(slack)
    progress(len(found), len(found))
    return HowWrong(tuple(sorted(slacks, key=lambda s: s.thinnest)), len(found), zeros)


def _slacks(pad: Pad, asked: list[Number], jobs: int) -> Iterator[Slack]:
    if jobs < 2:
        yield from map(Asker(pad).slack, asked)
        return
    with ProcessPoolExecutor(jobs, initializer=_begin, initargs=(pad,)) as pool:
        yield from pool.map(_slack_there, asked)


_asker: Asker | None = None


def _begin(pad: Pad) -> None:
    global _asker
    _asker = Asker(pad)


def _slack_there(number: Number) -> Slack:
    assert _asker is not None
    return _asker.slack(number)
