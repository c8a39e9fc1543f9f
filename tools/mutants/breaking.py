"""What each permissive keeps from happening: left out, the rule that breaks, and the exact simulator's word on it.

All of them share one exploration of the sound file. A permissive left out adds scans; those are applied to every
situation that the sound pad reaches. A way that leads there by rows which the broken file has as well, and then by one
of its own scans to a breach, is a way of the broken file: `prove` on it cannot miss that breach. It is then played in
the exact simulator with the broken file.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass, replace

from mutants.permissives import Permissive
from sequencer.description import loads
from sequencer.description.sequence import Lasts, Must, Reaction
from sequencer.proof import controller
from sequencer.proof.engine import Engine, Words
from sequencer.proof.judging import Breach, Court
from sequencer.proof.kept import masks
from sequencer.proof.plainly import Plain, nominal
from sequencer.proof.prove import Options, Work, judged
from sequencer.proof.replay import replay
from sequencer.proof.stories import StoryStep, path
from sequencer.proof.system import Row, System
from sequencer.table import Table, compile_table

DEPARTED = 400_000
"""Situations along the crew's own day that are looked at first."""


@dataclass(frozen=True)
class Broken:
    """rule: the one that the story breaks, '' where none breaks without faults. says: what the
    simulator makes of it, besides what. steps: how many."""

    rule: str
    confirmed: bool = False
    says: str = ""
    steps: int = 0
    besides: tuple[str, ...] = ()


class Sound:
    """The sound file, explored once."""

    def __init__(self, text: str, name: str) -> None:
        self.name = name
        self.work = Work(loads(text, name), Options(faults=0), lambda says: None)
        self.work.explore()
        self.draft, self.system = self.work.draft, self.work.system
        assert not self.work.explored.breaches, "the sound file breaks its own rules"
        self.plain = Plain(self.draft, self.system) if nominal(self.draft) else None
        if self.plain is not None:
            for _ in self.plain.grow(DEPARTED):
                pass

    def without(self, one: Permissive) -> Broken:
        """The file without this permissive."""
        pad = loads(one.text, self.name)
        table = _numbered_as(self.draft.table, compile_table(pad))
        draft = copy.copy(self.draft)
        draft.table, draft.pad = table, pad
        states = _changed(self.draft.table, table)
        here = {p for s in states for p in draft.regions(s)}
        rows = [row for place in sorted(here) for row in controller.scan_rows(draft, place)]
        bare = {replace(row, origin=None) for row in rows}
        old = {replace(r, origin=None) for r in self.system.rows if r.scan and r.at[0] in here}
        start = len(self.system.rows)
        new = [(start + i, r) for i, r in enumerate(r for r in rows if replace(r, origin=None) not in old)]
        whole = replace(self.system, rows=(*_named_in(self.system.rows, self.draft.table, table), *(r for _, r in new)))
        best = Broken("")
        for name, steps in self._ways(whole, new):
            used = (whole.rows[s.row] for s in steps)
            if any(r.scan and r.at[0] in here and replace(r, origin=None) not in bare for r in used):
                continue  # the way rests on a scan that the broken file has not
            answer = replay(draft, whole, steps, name)
            if answer.confirmed or not best.rule:
                best = Broken(name, answer.confirmed, answer.says, len(steps), answer.besides)
            if answer.confirmed:
                return best
        return self._proved(one) if not best.rule else best

    def _proved(self, one: Permissive) -> Broken:
        """Where no scan breaks a rule at once: `prove` on the broken file, its rules about time first."""
        work = Work(loads(one.text, self.name), Options(faults=0), lambda says: None)
        work.explore()
        rules = work.pad.interlocks.items()
        best = Broken("")
        for name, rule in sorted(rules, key=lambda item: not isinstance(item[1], Reaction | Must | Lasts)):
            result = judged(work, name, rule)
            if result.outcome != "broken":
                continue
            answer = None if result.story is None else result.story.replay
            best = Broken(name, answer is not None and answer.confirmed, answer.says if answer is not None else "", 0, answer.besides if answer is not None else ())
            if best.confirmed:
                break
        return best

    def _ways(self, whole: System, new: list[tuple[int, Row]]) -> Iterator[tuple[str, list[StoryStep]]]:
        """(rule, steps) of the ways to a breach, those along the crew's own day first, one each of every rule;
        the shortest ways of the rules that have none."""
        if not new:
            return
        engine, named = Engine(whole, new), dict(new)
        tried = set()
        if self.plain is not None:
            for breach in self._breaches(whole, engine, named, [layer.words for layer in self.plain.layers]):
                assert breach.row is not None
                tried.add(breach.rule)
                yield whole.rules[breach.rule].name, self.plain.path(breach, named[breach.row])
        for breach in self._breaches(whole, engine, named, self.work.explored.layers):
            if breach.rule in tried:
                continue
            yield whole.rules[breach.rule].name, path(whole, self.work.explored, breach, self.work.engine)

    @staticmethod
    def _breaches(whole: System, engine: Engine, named: dict[int, Row], layers: list[Words]) -> list[Breach]:
        court = Court(whole, named)
        for depth, words in enumerate(layers):
            court.depth = depth + 1
            engine.images(words, court.images)
        first: dict[int, Breach] = {}
        for breach in court.found:
            first.setdefault(breach.rule, breach)
        return list(first.values())


def _numbered_as(sound: Table, broken: Table) -> Table:
    """The broken table; it must differ in rows, inhibits and what is said of states alone."""
    assert replace(broken, rows=sound.rows, inhibits=sound.inhibits, states=sound.states) == sound
    return broken


def _named_in(rows: tuple[Row, ...], sound: Table, broken: Table) -> tuple[Row, ...]:
    """Rows of the sound system, each naming the row of the broken table that stands where its own stood: a trip that is
    gone, or an alternative, moves the numbers of all behind it."""
    if len(sound.rows) == len(broken.rows):
        return rows
    left = list(enumerate(broken.rows))
    number: dict[int, int | None] = {}
    for exact in (True, False):
        for n, one in enumerate(sound.rows):
            if n not in number or number[n] is None:
                at = next((k for k, (_, r) in enumerate(left) if r == one or not exact and (r.state, r.origin) == (one.state, one.origin)), None)
                number[n] = None if at is None else left.pop(at)[0]
    return tuple(r if r.origin is None else replace(r, origin=number[r.origin]) for r in rows)


def _changed(sound: Table, broken: Table) -> list[int]:
    """States whose scans may differ."""
    if sound.inhibits != broken.inhibits:
        return list(range(len(sound.states)))

    def rows(table: Table, state: int) -> list[tuple[int, int, int, int]]:
        return [(r.care, r.want, r.least, r.to) for r in table.rows if r.state == state]

    pairs = zip(masks(sound), masks(broken), strict=True)
    return [s for s, (a, b) in enumerate(pairs) if a != b or rows(sound, s) != rows(broken, s)]


__all__ = ["Broken", "Sound"]
