"""Whether sets of faults break one rule: a slice of the system is widened until it decides each of them.

Where the slice reaches no breach, the whole system does not either. Where it does, the whole system is searched along
the slice's shortest ways from the starts, then from what is reached without faults towards the breach; if it cannot
follow, the bits that held it back are added, and the slice is asked again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from sequencer.proof.brought import Set
from sequencer.proof.closing import Closing, Level
from sequencer.proof.engine import Ints, Words, isin
from sequencer.proof.everything import Everything, Judged
from sequencer.proof.following import Following, Ways
from sequencer.proof.sets import Sets
from sequencer.proof.slices import CARE, CLEAR, HELD, NEED, OK, PLACE, PUT, TO, WANT, Slice
from sequencer.proof.sound import Sound
from sequencer.proof.words import ALL, WORD, TooLarge

NEAR = 3_000
"""Most words of the sound system from which the whole system is searched for the breach of one set."""
STRIDE = 4
"""Bits by which a slice has grown before that is tried again."""
SIDE = 2_000
"""Most words asked for what holds them back."""
BATCH = 64
"""Most sets settled together."""

Way = tuple[tuple[int, int], ...]
"""(row number, word afterwards) of a breach."""


@dataclass
class Settled:
    """ways: of the sets that break the rule. holds: those that do not, with the bits of the slice that decided it. Sets
    beyond the budget are in neither."""

    ways: dict[Set, Way] = field(default_factory=dict)
    holds: dict[Set, int] = field(default_factory=dict)
    situations: int = 0


def settle(whole: Everything, judged: Judged, some: Sequence[Set], mask: int, budget: int, sound: Sound | None = None) -> Settled:
    """Sets of faults against one rule. mask: bits to begin with. budget: most situations looked at in one slice. sound:
    what is reached without faults, if known."""
    found = Settled()
    room = WORD - whole.system.layout.place_bits - every_bit(whole).bit_count()
    most = min(BATCH, 1 << room)
    todo = [list(some[i : i + most]) for i in range(0, len(some), most)]
    while todo:
        batch = todo.pop()
        try:
            _batch(whole, judged, batch, mask | judged.bits, budget, found, sound)
        except TooLarge:
            if len(batch) > 1:
                rest = [s for s in batch if s not in found.ways and s not in found.holds]
                todo += [rest[: len(rest) // 2], rest[len(rest) // 2 :]]
    return found


def every_bit(whole: Everything) -> int:
    """All bits that a word keeps."""
    used = (1 << len(whole.system.layout.index)) - 1
    return used & ~whole.system.free & ~whole.system.spent


def _batch(whole: Everything, judged: Judged, some: list[Set], mask: int, budget: int, found: Settled, sound: Sound | None) -> None:
    sets = Sets(whole.brought, some)
    can = np.asarray(whole.enough_for(sets).any(axis=1), np.bool_)
    todo = {mask: list(range(len(some)))}
    exact: Closing | None = None
    again = 0
    while todo:
        mask = min(todo, key=int.bit_count)
        tags = todo.pop(mask)
        view = Slice(whole, judged, mask, len(some), can)
        closing = Closing(view, sets, budget)
        level = closing.each(tags)
        found.situations += closing.count
        found.holds |= {some[tag]: mask for tag in tags if tag not in level.breaks}
        tags = [tag for tag in tags if tag in level.breaks]
        if not tags:
            continue
        if exact is None:
            exact = Closing(Slice(whole, judged, every_bit(whole), len(some), can), sets, budget)
        ways = Ways.of(closing, level)
        search = Following(exact, view, ways)
        search.search(tags)
        found.situations += len(search.seen)
        found.ways |= {some[tag]: search.way(tag) for tag in search.court.breaks}
        tags = [tag for tag in tags if tag not in search.court.breaks]
        if tags and sound is not None and mask.bit_count() >= again:
            again = mask.bit_count() + STRIDE
            near = _near(closing, level, exact, tags, sound)
            found.situations += len(near.seen)
            there = {tag: way for tag in near.court.breaks if (way := _whole_way(near, tag, sound)) is not None}
            found.ways |= {some[tag]: way for tag, way in there.items()}
            tags = [tag for tag in tags if tag not in there]
        for tag in tags:
            # where nothing single stands in the way, the whole word decides; narrow slices matter for pairs only
            wider = mask | (_lacking(closing, search, ways, tag, whole.sets.most < 2) or every_bit(whole))
            todo.setdefault(wider, []).append(tag)


def _near(closing: Closing, level: Level, exact: Closing, tags: list[int], sound: Sound) -> Following:
    """The whole system searched from words that are reached without faults, those nearest to the breach as the slice sees
    it, and of those the ones that are reached soonest. What it finds is a breach; that it finds none says nothing."""
    view, whole = closing.view, closing.view.whole
    ways = Ways.all_of(closing, level)
    place = np.uint64(whole.system.layout.shift)
    seen, which = view.kinds(sound.words)
    begin = []
    for tag in tags:
        mark = np.uint64(tag)
        left = ways.left(seen | mark << view.tag)
        some = np.flatnonzero((left >= 0)[which])
        words = sound.words[some[_least(left[which[some]] * (int(sound.depth.max()) + 1) + sound.depth[some], NEAR)]]
        begin.append(words >> place << exact.view.shift | mark << exact.view.tag | exact.view.packed(words))
    search = Following(exact, view, ways)
    search.search(tags, np.unique(np.concatenate(begin)), 4 * NEAR * len(tags))
    return search


def _least(ranks: Ints, most: int) -> Ints:
    """Where the least ranks stand, at most so many, the least first."""
    some = np.arange(len(ranks))
    if len(ranks) > most:
        worst = np.partition(ranks, most - 1)[most - 1]
        some = np.concatenate([np.flatnonzero(ranks < worst), np.flatnonzero(ranks == worst)])[:most]
    return np.asarray(some[np.argsort(ranks[some], kind="stable")], np.int64)


def _whole_way(near: Following, tag: int, sound: Sound) -> Way | None:
    """The way to a breach of a set with the way to where it begins; None where the set bars a step of that."""
    steps = []
    for word, image in pairwise(sound.way(near.begin(tag))):
        row = near.row(tag, word, image)
        if row is None:
            return None
        steps.append((row, image))
    return (*steps, *near.way(tag))


def _lacking(closing: Closing, search: Following, ways: Ways, tag: int, eager: bool) -> int:
    """Fewest bits that hold the whole system back where it came furthest along the ways of one set; eager: those of
    every row that would have led on."""
    view, exact = closing.view, search.exact.view
    mine = search.seen[exact.sets_of(search.seen) == tag]
    layers = [layer[view.sets_of(layer) == tag] for layer in ways.layers]
    deepest = max((d for d, layer in enumerate(layers) if len(layer)), default=-1)
    seen = view.seen(exact, mine)
    for depth in range(deepest, -1, -1):
        here = mine[isin(seen, layers[depth])]
        if len(here):
            break
    else:
        return 0
    here = here[:SIDE]
    words, places = exact.unpacked(here), exact.places_of(here)
    best = 0
    for rows, sources in view.matches(layers[depth], closing.enough):
        if depth < deepest:
            able = isin(view.images(sources, rows), layers[depth + 1])
        else:
            able = np.asarray(view.judged.oks[view.table.ok[rows]].any(axis=1), np.bool_)
        for row in np.unique(rows[able]).tolist():
            stand = words[places == int(view.keys[PLACE, view.table.key[row]])]
            if len(stand):
                one = _fewest(view, stand, _family(view, closing, int(view.table.key[row]), tag), 0 if eager else best)
                best = best | one if eager else one
    return best


def _family(view: Slice, closing: Closing, key: int, tag: int) -> Ints:
    """Entries of the whole system with a key's effect and no wider guard, that the set may take."""
    keys, own = view.keys, view.keys[:, key]
    same = np.asarray(closing.enough[keys[NEED].astype(np.int64), tag], np.bool_)
    for line in (PLACE, CLEAR, PUT, TO, OK, HELD):
        same &= keys[line] == own[line]
    same &= ((own[CARE] & ~keys[CARE]) == 0) & ((keys[WANT] & own[CARE]) == own[WANT])
    return np.concatenate([view.members(i) for i in np.flatnonzero(same).tolist()])


def _fewest(view: Slice, words: Words, entries: Ints, best: int) -> int:
    whole = view.whole
    at = view.judged.entries[entries]
    free, mask = np.uint64(~whole.system.free & ALL), np.uint64(view.mask)
    off = (words[:, None] ^ whole.want[at]) & whole.care[at] & free
    blocked = np.zeros(off.shape, np.uint64)
    for column, entry in enumerate(at):
        for c, w in whole.unless[whole.held[entry]]:
            blocked[:, column] |= np.where((words & np.uint64(c)) == np.uint64(w), np.uint64(c), np.uint64(0))
    lacking = np.where(off != 0, off, blocked & ~mask)
    lacking[(off & mask) != 0] = 0
    some = [int(v) for v in np.unique(lacking[lacking != 0])]
    return min([*some, *([best] if best else [])], key=lambda v: (v.bit_count(), v), default=0)
