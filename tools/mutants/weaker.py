"""Permissives that no rule misses while every part is sound: the faults that each is kept for, or what carries it.

Left out, such a word may let a rule break by fewer faults than before: the set of faults is told, and its story played
with the broken file. Or another row does the same in the same scan, whatever the inputs say.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from mutants.permissives import Permissive
from sequencer.description import Pad, loads
from sequencer.proof.levels import Cut, counts, minimal
from sequencer.proof.prove import Options, Work, cut_told
from sequencer.simulation import simulate
from sequencer.table import Table, compile_table
from sequencer.table.table import InhibitSpec, Row

MOST_STORIES = 6
"""New sets of faults whose stories are played until one is confirmed."""


@dataclass(frozen=True)
class Weaker:
    """rule: one that fewer faults break, '' where none does. faults: a smallest set that does now and did not. says: what
    the simulator makes of its story, with what besides. more: how many such sets there are, over all rules."""

    rule: str = ""
    faults: tuple[str, ...] = ()
    confirmed: bool = False
    says: str = ""
    besides: tuple[str, ...] = ()
    more: int = 0


def cuts(pad: Pad, most: int) -> dict[str, list[Cut]]:
    """The minimal sets of up to `most` faults that break each rule about situations."""
    return _cuts(_work(pad, most))


def weaker(one: Permissive, file: str, sound: dict[str, list[Cut]], most: int) -> Weaker:
    """The smallest sets of faults that break a rule without this permissive and do not with it."""
    for faults in range(1, most + 1):
        work = _work(loads(one.text, file), faults)
        found = [(rule, cut) for rule, some in _cuts(work).items() for cut in some if not any(set(old) <= set(cut) for old in sound[rule])]
        found = [(rule, cut) for rule, cut in found if len(cut) == faults]
        best: Weaker | None = None
        for rule, cut in sorted(found, key=lambda f: (counts(f[1])[1], sum(one.part in work.pad.inputs for one in f[1])))[:MOST_STORIES]:
            number = next(n for n, check in enumerate(work.system.rules) if check.name == rule)
            told = cut_told(work, cut, number, rule, True).story
            answer = told.replay if told is not None else None
            made = Weaker(rule, tuple(f.name for f in cut), answer is not None and answer.confirmed, answer.says if answer else "", answer.besides if answer else (), len(found))
            if best is None or made.confirmed and (not best.confirmed or len(made.besides) < len(best.besides)):
                best = made
            if made.confirmed and not made.besides:
                break
        if best is not None:
            return best
    return Weaker()


def _work(pad: Pad, faults: int) -> Work:
    work = Work(pad, Options(faults=faults, stories=1), lambda says: None)
    work.explore()
    return work


def _cuts(work: Work) -> dict[str, list[Cut]]:
    assert work.campaign is not None
    return {work.system.rules[number].name: minimal(some) for number, some in work.campaign.cuts.items()}


def carried(sound: Table, one: Permissive, file: str) -> tuple[str, ...]:
    """Rows that leave, in the very scan in which what this inhibit waits for is so, every state in which its output is
    commanded otherwise; () where any scan may end in such a state. Nothing that any input or fault of an input says can
    tell such an inhibit's absence from its presence."""
    broken = compile_table(loads(one.text, file))
    gone = [i for i in sound.inhibits if i not in broken.inhibits]
    if one.kind != "inhibit" or len(gone) != 1 or len(sound.inhibits) != len(broken.inhibits) + 1:
        return ()
    found: dict[str, None] = {}
    for state in range(len(sound.states)):
        some = list(_leaving(sound, gone[0], state))
        if None in some:
            return ()
        found |= dict.fromkeys(row.origin for row in some if row is not None)
    return tuple(found)


def _leaving(table: Table, inhibit: InhibitSpec, state: int) -> Iterator[Row | None]:
    """Rows of this state that the inhibit's own words fire; None where a scan in which they hold may end in a state that
    commands its output otherwise."""

    def otherwise(number: int) -> bool:
        return table.states[number].outputs[inhibit.output] != inhibit.position

    for row in table.rows:
        if row.state != state:
            continue
        apart = row.care & inhibit.care & (row.want ^ inhibit.want)
        if not row.least and not row.care & ~inhibit.care and not apart:
            if otherwise(row.to):
                yield None
            elif otherwise(state):
                yield row
            return
        if otherwise(row.to) and not apart:
            yield None
    if otherwise(state):
        yield None


def drilled(one: Permissive, file: str, sound: Pad) -> tuple[str, str]:
    """(run, what speaks against it) of the first that goes wrong without this permissive and does not with it: the crew's
    own day, then every drill; ('', '') where all of them end as before."""
    broken = loads(one.text, file)
    for drill in (None, *sound.drills):
        said = _against(broken, drill)
        new = said - _against(sound, drill) if said else said
        if new:
            return drill or "the crew's own day", min(new)
    return "", ""


def _against(pad: Pad, drill: str | None) -> frozenset[str]:
    """What speaks against a drill, without its moments."""
    run = simulate(pad, crew=True, drill=drill, trace=False)
    return frozenset(one.split(" broken at ")[0].split(" waited ")[0] for one in run.against)


__all__ = ["Weaker", "carried", "cuts", "drilled", "weaker"]
