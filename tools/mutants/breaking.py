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

import numpy as np

from mutants.permissives import Permissive
from sequencer.description import loads
from sequencer.description.sequence import Lasts, Must, Reaction
from sequencer.proof import controller
from sequencer.proof.draft import Draft
from sequencer.proof.engine import Engine, Words
from sequencer.proof.judging import Breach, Court
from sequencer.proof.kept import masks
from sequencer.proof.plainly import Plain, nominal
from sequencer.proof.prove import Options, Work, judged
from sequencer.proof.replay import TRIES, replay
from sequencer.proof.result import Replay
from sequencer.proof.standing_in import there
from sequencer.proof.stories import StoryStep, path
from sequencer.proof.system import Bad, Row, System
from sequencer.table import Table, compile_table

DEPARTED = 1_000_000
"""Situations along the crew's own day that are looked at first."""
MOST_WAYS = 8
"""Ways to a breach that are played until one is confirmed."""
FEW = 5
"""Readings of each but the first."""


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
        best, played, stood = Broken(""), 0, set[str]()
        for name, steps in self._ways(whole, new):
            used = [whole.rows[s.row] for s in steps]
            if any(r.scan and r.at[0] in here and replace(r, origin=None) not in bare and not self._covered(r, rows) for r in used):
                continue  # the way rests on a scan that the broken file has not
            best = _better(best, name, replay(draft, whole, steps, name, tries=FEW if played else TRIES), len(steps))
            played += 1
            if name not in stood and (not best.confirmed or len(best.besides) > 1):
                stood.add(name)
                for more, bad in self._standing(draft, whole, name):
                    best = _better(best, name, replay(draft, whole, more, name, tries=FEW, aimed=[bad]), len(more))
                    if best.confirmed and len(best.besides) < 2:
                        break
            if best.confirmed and (not best.besides or played > 1) or played == MOST_WAYS:
                break
        return best if best.rule else self._proved(one)

    def _standing(self, draft: Draft, whole: System, rule: str) -> Iterator[tuple[list[StoryStep], Bad]]:
        """Ways along the crew's own day to where a failed part would break the rule, one to each of some states."""
        check = next(check for check in whole.rules if check.name == rule)
        idle: dict[int, tuple[int, Row]] = {r.at[0]: (n, r) for n, r in enumerate(whole.rows) if r.scan and r.to is None and r.origin is None}
        shift = np.uint64(self.system.layout.shift)
        for bad in check.bad if self.plain is not None else ():
            seen: set[int] = set()
            for depth, layer in enumerate(self.plain.layers if self.plain is not None else ()):
                for place in bad.places & set(np.unique(layer.words >> shift).tolist()) & set(idle):
                    state = draft.places[place].state
                    if state in seen or len(seen) == MOST_WAYS or not there(draft, bad, idle[place][1]):
                        continue
                    seen.add(state)
                    word = int(layer.words[layer.words >> shift == np.uint64(place)][0])
                    assert self.plain is not None
                    steps = self.plain.path(Breach(-1, depth, word, None, word), None)
                    yield [*steps, StoryStep("so it stands", "box", idle[place][0], place, word)], bad

    def _covered(self, row: Row, rows: list[Row]) -> bool:
        """Whether one of these scans may be taken wherever this one may, and leaves the same word."""
        asked, kept = ~self.system.free, ~self.system.spent

        def same(other: Row) -> bool:
            if other.at != row.at or other.to != row.to or not set(other.unless) <= set(row.unless):
                return False
            care = other.guard.care & asked
            looser = not care & ~row.guard.care and not care & (other.guard.want ^ row.guard.want)
            return looser and not (other.set ^ row.set) & kept and not (other.clear ^ row.clear) & kept

        return any(map(same, rows))

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
        """(rule, steps) of the ways to a breach, those along the crew's own day first, one each of every rule; the
        shortest ways of the rules that have none; then along the day to other places."""
        if not new:
            return
        engine, named = Engine(whole, new), dict(new)
        plain: list[Breach] = []
        if self.plain is not None:
            plain = self._breaches(whole, engine, named, [layer.words for layer in self.plain.layers])
        tried = {breach.rule for breach in plain}
        short = [b for b in self._breaches(whole, engine, named, self.work.explored.layers) if b.rule not in tried]
        states = {(b.rule, self.draft.places[whole.layout.place_of(b.word)].state): b for b in reversed(plain)}
        others = [b for b in plain if b in states.values() and b not in _first(plain)]
        for some in (_first(plain), _first(short), others):
            for breach in some:
                assert breach.row is not None
                if breach.rule in tried:
                    assert self.plain is not None
                    yield whole.rules[breach.rule].name, self.plain.path(breach, named[breach.row])
                else:
                    yield whole.rules[breach.rule].name, path(whole, self.work.explored, breach, self.work.engine)

    @staticmethod
    def _breaches(whole: System, engine: Engine, named: dict[int, Row], layers: list[Words]) -> list[Breach]:
        court = Court(whole, named)
        for depth, words in enumerate(layers):
            court.depth = depth + 1
            engine.images(words, court.images)
        return court.found


def _better(best: Broken, rule: str, answer: Replay, steps: int) -> Broken:
    """The one that is confirmed, and with less besides."""
    fewer = answer.confirmed and (not best.confirmed or len(answer.besides) < len(best.besides))
    return Broken(rule, answer.confirmed, answer.says, steps, answer.besides) if fewer or not best.rule else best


def _first(breaches: list[Breach]) -> list[Breach]:
    """One of each rule."""
    return list({breach.rule: breach for breach in reversed(breaches)}.values())[::-1]


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
