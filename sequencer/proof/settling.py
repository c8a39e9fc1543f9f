"""Whether one set of faults breaks one rule: a slice of the system is widened until it decides.

Where the slice reaches no breach, the whole system does not either. Where it does, the whole system is searched along
the slice's shortest ways; if it cannot follow, the bits that held it back are added, and the slice is asked again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sequencer.proof.brought import Set
from sequencer.proof.closing import Break, Closing, Level, Sets
from sequencer.proof.engine import Words
from sequencer.proof.slices import Everything, Flags, Ints, Judged, Slice
from sequencer.proof.system import RuleCheck

SIDE = 2_000
"""Most words asked for what holds them back."""
ALL = (1 << 64) - 1


@dataclass(frozen=True)
class Settled:
    """mask: bits of the slice that decided. way: (row number, word afterwards) of a breach, or None: the rule holds."""

    mask: int
    way: tuple[tuple[int, int], ...] | None
    situations: int


def settle(whole: Everything, rule: RuleCheck, some: Set, mask: int, budget: int) -> Settled:
    """Raises TooLarge beyond the budget of situations of a slice."""
    own = whole.under(some)
    judged = Judged(own, rule)
    mask |= judged.bits
    sets = Sets(None, 0)
    exact: Slice | None = None
    situations = 0
    while True:
        view = Slice(own, judged, mask, 1)
        closing = Closing(view, sets, budget)
        level = closing.start()
        situations += closing.count
        if not level.breaks:
            return Settled(mask, None, situations)
        ways = _ways(closing, level, level.breaks[0])
        if exact is None:
            exact = Slice(own, judged, _everything(own), 1)
        search = Closing(exact, sets, budget, _corridor(exact, view, unique_of(ways)))
        found = search.start()
        situations += search.count
        if found.breaks:
            return Settled(mask, tuple(_way(search, found, found.breaks[0])), situations)
        missing = _missing(view, closing, exact, found, ways)
        if not missing:
            # nothing single stands in the way: the whole word decides
            missing = _everything(own) & ~mask
        mask |= missing


def _corridor(exact: Slice, view: Slice, ways: Words) -> Callable[[Words], Flags]:
    """Which words of the whole system lie on the slice's ways."""
    return lambda words: _isin(_seen(exact, view, words), ways)


def _everything(own: Everything) -> int:
    return (1 << len(own.system.layout.index)) - 1 & ~own.system.free & ~own.system.spent


def unique_of(pieces: list[Words]) -> Words:
    """All words of some pieces, sorted."""
    return np.unique(np.concatenate(pieces)) if pieces else np.empty(0, np.uint64)


def _isin(words: Words, known: Words) -> Flags:
    if not len(known):
        return np.zeros(len(words), np.bool_)
    at = np.searchsorted(known, words)
    at[at == len(known)] = 0
    found: Flags = known[at] == words
    return found


def _seen(exact: Slice, view: Slice, words: Words) -> Words:
    """Words of the whole system as the slice sees them."""
    out = (words >> exact.shift) << view.shift
    place = {bit: i for i, bit in enumerate(exact.kept)}
    for i, bit in enumerate(view.kept):
        out |= (words >> np.uint64(place[bit]) & np.uint64(1)) << np.uint64(i)
    return out


def _ways(closing: Closing, level: Level, found: Break) -> list[Words]:
    """Per layer: the words on some shortest way to the breach."""
    goal = found.word if found.source is None else found.source
    depth = next(d for d, layer in enumerate(level.layers) if _isin(np.array([goal], np.uint64), layer)[0])
    ways = [np.array([goal], np.uint64)]
    for layer in reversed(level.layers[:depth]):
        hits = []
        for _, group, rows, sources in closing.matches(layer):
            images = sources & group.keep[rows] | group.put[rows]
            hits.append(sources[_isin(images, ways[-1])])
        ways.append(unique_of(hits))
    return ways[::-1]


def _way(search: Closing, level: Level, found: Break) -> list[tuple[int, int]]:
    """Rows and words of the whole system from a start to the breach."""
    view = search.view
    steps: list[tuple[int, int]] = []
    word = found.word
    if found.row is not None:
        group = view.groups[found.row[0]]
        steps.append((_number(view, int(group.key[found.row[1]])), _unpacked(view, word)))
        assert found.source is not None
        word = found.source
    depth = next(d for d, layer in enumerate(level.layers) if _isin(np.array([word], np.uint64), layer)[0])
    for layer in reversed(level.layers[:depth]):
        before = None
        for _, group, rows, sources in search.matches(layer):
            hit = np.flatnonzero((sources & group.keep[rows] | group.put[rows]) == np.uint64(word))
            if len(hit):
                before = int(sources[hit[0]]), int(group.key[rows[hit[0]]])
                break
        assert before is not None
        steps.append((_number(view, before[1]), _unpacked(view, word)))
        word = before[0]
    return steps[::-1]


def _number(view: Slice, key: int) -> int:
    return int(view.whole.number[view.judged.entries[view.members[key][0]]])


def _unpacked(view: Slice, word: int) -> int:
    out = (word >> int(view.shift)) << view.whole.system.layout.shift
    for i, bit in enumerate(view.kept):
        out |= (word >> i & 1) << bit
    return out


def _missing(view: Slice, closing: Closing, exact: Slice, level: Level, ways: list[Words]) -> int:
    """Fewest bits that hold the whole system back where it came furthest along the ways."""
    seen = _seen(exact, view, level.whole)
    for depth in range(len(ways) - 1, -1, -1):
        here = level.whole[_isin(seen, ways[depth])]
        if len(here):
            break
    else:
        return 0
    here = here[:SIDE]
    following = ways[depth + 1] if depth + 1 < len(ways) else None
    best = 0
    for place, group, rows, sources in closing.matches(ways[depth]):
        if following is not None:
            rows = rows[_isin(sources & group.keep[rows] | group.put[rows], following)]
        else:
            rows = rows[view.oks[group.ok[rows]].any(axis=1)]
        words = _unpack_all(exact, here[(here >> exact.shift).astype(np.int64) == place])
        if len(rows) and len(words):
            for key in np.unique(group.key[rows]):
                best = _fewest(view, words, _family(view, int(key)), best)
    return best


def _unpack_all(view: Slice, words: Words) -> Words:
    out = np.zeros(len(words), np.uint64)
    for i, bit in enumerate(view.kept):
        out |= (words >> np.uint64(i) & np.uint64(1)) << np.uint64(bit)
    return out


def _family(view: Slice, key: int) -> Ints:
    """Entries of the whole system with a key's effect and no wider guard."""
    keys, own = view.keys, view.keys[key]
    same = np.ones(len(keys), np.bool_)
    for column in (0, 3, 4, 5, 7, 8):
        same &= keys[:, column] == own[column]
    same &= ((own[1] & ~keys[:, 1]) == 0) & ((keys[:, 2] & own[1]) == own[2])
    return np.concatenate([view.members[i] for i in np.flatnonzero(same)])


def _fewest(view: Slice, words: Words, entries: Ints, best: int) -> int:
    whole = view.whole
    at = view.judged.entries[entries]
    free, mask = np.uint64(~whole.system.free & ALL), np.uint64(view.mask)
    off = (words[:, None] ^ whole.want[at]) & whole.care[at] & free
    blocked = np.zeros(off.shape, np.uint64)
    for column, entry in enumerate(at):
        for c, w, _ in whole.unless[whole.held[entry]]:
            blocked[:, column] |= np.where((words & np.uint64(c)) == np.uint64(w), np.uint64(c), np.uint64(0))
    wanted = np.where(off != 0, off, blocked & ~mask)
    wanted[(off & mask) != 0] = 0
    some = [int(v) for v in np.unique(wanted[wanted != 0])]
    return min([*some, *([best] if best else [])], key=lambda v: (v.bit_count(), v), default=0)
