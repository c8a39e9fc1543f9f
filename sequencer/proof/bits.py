"""What each condition bit may be in a scan: certain, impossible or free, branch by branch.

Free inputs do not live in the word: a branch chooses them, and the choice is forgotten after the scan. A branch
carries what it has assumed about the word (a cube), the values already chosen, and whether it took a delay as not
yet over.
"""

from __future__ import annotations

import numpy as np

from sequencer.description.box import AnalogInput, ContactInput
from sequencer.proof.bands import Comparison, comparison, late, volume_of
from sequencer.proof.branches import LAZY, LIES, ONE, Branches, Choices, assume, together
from sequencer.proof.draft import Draft, counts_from
from sequencer.proof.durations import error_of
from sequencer.proof.gas import at_its_end
from sequencer.proof.kept import kept
from sequencer.proof.words import EVERYTHING, Cube
from sequencer.table import Kind
from sequencer.table.compile import calibration
from sequencer.table.table import AnalogSpec, Bit, Literals

Split = tuple[Branches, Branches]
"""Branches in which something is not so, and those in which it is; a branch may stand in both."""


class Reading:
    """The conditions of one pad as seen at one place."""

    def __init__(self, draft: Draft, place: int, *, sure: bool = False, loose: frozenset[str] = frozenset(), most: int = 0) -> None:
        self.draft = draft
        self.table = draft.table
        self.place = place
        self.state = draft.places[place].state
        self.region = draft.places[place].region
        self.sure = sure
        self.loose = loose
        self.most = most
        steps = [0, *draft.steps[self.state]]
        self.timer = steps[self.region]
        self._names = sorted(loose)
        self._numbers = {name: 1 << i for i, name in enumerate(self._names)}
        self._contacts = len(self.table.bits)  # keys of contacts follow those of bits
        self.kept = kept(draft, self.state)
        self._made: dict[int, Comparison | None] = {}
        self.choices = Choices(self._contacts + len(self.table.contacts))

    def values(self, i: int, branches: Branches) -> Split:
        """The branches in which bit i is 0, and those in which it is 1."""
        choices = self.choices
        if not branches.shape[1]:
            return branches, branches
        known = choices.known(branches, i)
        sure: Split | None = None
        if known.any():
            value = choices.chosen(branches, i)
            sure = branches[:, known & ~value], branches[:, known & value]
            if known.all():
                return sure
            branches = branches[:, ~known]
        bit = self.table.bits[i]
        if bit.kind == Kind.MEMORY:
            made = self._memory(bit, branches)
        elif bit.kind == Kind.PRESS:
            made = self._press(bit, branches)
        else:
            made = self._delayed(bit, branches, i)
        off, on = (choices.choose(part, i, value) for value, part in enumerate(made))
        return (off, on) if sure is None else (together([sure[0], off]), together([sure[1], on]))

    def literals(self, wanted: Literals, branches: Branches) -> Split:
        """Those in which a literal list does not hold, and those in which it does."""
        fails, holds = self.all_of(wanted.care, wanted.want, branches)
        return (holds, fails) if wanted.invert else (fails, holds)

    def all_of(self, care: int, want: int, branches: Branches) -> Split:
        """Those with `bits & care != want`, which ask no further than the first bit that differs, and those with it."""
        fails = [self.choices.empty()]
        if want & ~care:
            return branches, fails[0]
        while care and branches.shape[1]:
            lowest = (care & -care).bit_length() - 1
            care &= care - 1
            off, on = self.values(lowest, branches)
            branches, other = (on, off) if want >> lowest & 1 else (off, on)
            fails.append(other)
        return together(fails), branches

    def needs(self, bits: int) -> frozenset[str]:
        """Keys of everything that these bits (a mask) are made from."""
        known: dict[int, frozenset[str]] = self.draft.found.setdefault("needs", {})
        if bits not in known:
            known[bits] = self._needs(bits)
        return known[bits]

    def live(self, bits: int) -> int:
        """The same as the mask of keys of choices."""
        known: dict[int, int] = self.draft.found.setdefault("live", {})
        if bits not in known:
            names = self.needs(bits)
            known[bits] = sum(1 << i for i in range(len(self.table.bits)) if f"bit {i}" in names)
            known[bits] |= sum(1 << self._contacts + i for i, c in enumerate(self.table.contacts) if f"contact {c.name}" in names)
        return known[bits]

    def _needs(self, bits: int) -> frozenset[str]:
        found: set[str] = set()
        todo = [i for i in range(len(self.table.bits)) if bits >> i & 1]
        while todo:
            i = todo.pop()
            if f"bit {i}" in found:
                continue
            found.add(f"bit {i}")
            bit = self.table.bits[i]
            care = bit.set.care | bit.clear.care
            if bit.kind == Kind.CHANGE:
                care |= 1 << bit.second
            if bit.kind in (Kind.CONTACT, Kind.PRESS):
                found.add(f"contact {self.table.contacts[bit.source].name}")
            todo += [j for j in range(len(self.table.bits)) if care >> j & 1]
        return frozenset(found)

    # ---- readings that lie --------------------------------------------------------------------

    def _lie(self, branches: Branches, name: str) -> Branches:
        """The branches with this reading showing anything, where it may (not sound, and not too many lie already)."""
        number = self._numbers.get(name, 0)
        if not number:
            return branches[:, :0]
        lies = branches[LIES]
        many = np.zeros(len(lies), np.int64)
        for i in range(len(self._names)):
            many += (lies >> np.uint64(i) & ONE).astype(np.int64)
        made = branches[:, (lies & np.uint64(number) != 0) | (many < self.most)]
        made[LIES] |= np.uint64(number)
        return made

    def _apart(self, branches: Branches, *names: str) -> Split:
        """Those in which all these readings are sound so far, and the others."""
        mask = sum(self._numbers.get(n, 0) for n in set(names))
        lying = branches[LIES] & np.uint64(mask) != 0
        return branches[:, ~lying], branches[:, lying]

    def lying(self, lies: int) -> frozenset[str]:
        """The readings of a mask of them."""
        return frozenset(name for name, number in self._numbers.items() if lies & number)

    # ---- kinds --------------------------------------------------------------------------------

    def _delayed(self, bit: Bit, branches: Branches, i: int) -> Split:
        off, on = self._raw(bit, branches, i)
        if self.sure:
            return off, on
        late_on = [_lazy(on)] if bit.hold and not self.kept >> i & 1 else []
        late_off = [_lazy(off)] if bit.drop else []
        return together([off, *late_on]), together([on, *late_off])

    def _memory(self, bit: Bit, branches: Branches) -> Split:
        kept, cleared = self.literals(bit.clear, branches)
        stored, set_ = self.literals(bit.set, kept)
        off, on = (assume(stored, self.draft.layout.cube({memory(bit.name): v})) for v in (0, 1))
        forgotten = [on] if bit.on and not self.sure else []
        return together([cleared, off, *forgotten]), together([set_, on])

    def _press(self, bit: Bit, branches: Branches) -> Split:
        seen = self._contact(bit.source, branches)
        return together(seen), seen[self._level(bit.source, 1) == bit.wanted]

    def _level(self, source: int, word: int) -> int:
        part = self.draft.pad.inputs[self.table.contacts[source].name]
        assert isinstance(part, ContactInput)
        return word if part.contact.closed_means_word else 1 - word

    def _contact(self, source: int, branches: Branches) -> Split:
        """Those in which the box does not see the contact at its word, and those in which it does."""
        name, cube = self.table.contacts[source].name, self.draft.layout.cube
        if name in self.draft.tracked:
            seen = self.draft.seen(name)
            off, on = assume(branches, cube({seen: 0})), assume(branches, cube({seen: 1}))
            if name not in self._numbers:
                return off, on
            return together([off, self._lie(on, name)]), together([on, self._lie(off, name)])  # what it sees is not what it has seen
        if name in self.draft.by_hand:
            stands = self.draft.by_hand[name]
            return assume(branches, cube({stands: 0})), assume(self._carried(branches, name), cube({stands: 1}))
        key = self._contacts + source
        known = self.choices.known(branches, key)
        value, fresh = self.choices.chosen(branches, key), branches[:, ~known]
        off, on = self.choices.choose(fresh, key, 0), self.choices.choose(self._carried(fresh, name), key, 1)
        return together([branches[:, known & ~value], off]), together([branches[:, known & value], on])

    def _carried(self, branches: Branches, name: str) -> Branches:
        """Ways in which the box may see a contact at its word here although someone may have carried its key onto the pad."""
        needs = self.draft.away(name, self.place)
        if not needs:
            return branches
        return together([assume(branches, self.draft.layout.cube(needs)), self._lie(branches, name)])

    def _raw(self, bit: Bit, branches: Branches, i: int) -> Split:
        kind = bit.kind
        if kind == Kind.CONTACT:
            seen = self._contact(bit.source, branches)
            return (seen[0], seen[1]) if self._level(bit.source, 1) == bit.wanted else (seen[1], seen[0])
        if kind in (Kind.AT_LEAST, Kind.BELOW, Kind.TARGET):
            return self._compare(bit, branches, i)
        if kind == Kind.ALL:
            return self.literals(bit.set, branches)
        if kind == Kind.STATE:
            none = branches[:, :0]
            return (none, branches) if (bit.source == self.state) == bit.wanted else (branches, none)
        if kind == Kind.COMMAND:
            off, on = (self._commanded(bit, branches, bit.wanted == value) for value in (0, 1))
            return off, on
        if kind == Kind.VALID:
            return self._valid(bit, branches)
        if kind == Kind.DIFFERS:
            return self._differing(bit, branches)
        if kind == Kind.CHANGE:
            return self._change(bit, branches)
        return branches, branches

    def _commanded(self, bit: Bit, branches: Branches, wanted: bool) -> Branches:
        cubes = [cube for places, cube in self.draft.command(bit.source, bit.on, wanted) if self.place in places]
        return together([branches[:, :0], *(assume(branches, cube) for cube in cubes)])

    def _compare(self, bit: Bit, branches: Branches, i: int) -> Split:
        if i not in self._made:
            self._made[i] = comparison(self.draft.pad, self.table, bit, self.state, self.draft.durations)
        made, name = self._made[i], self.table.analogs[bit.source].name
        sound, lying = (branches[:, :0], branches) if made is None else self._apart(branches, name)
        found: list[list[Branches]] = [[lying], [lying if bit.kind != Kind.TARGET or self._has_target(bit) else lying[:, :0]]]
        if made is not None:
            for high_side in (True, False):
                value = int(high_side == made.rising)
                cube = self._band(made, high_side)
                if cube is not None:
                    found[value].append(assume(sound, cube))
                if cube != EVERYTHING:
                    # a lie is told only where the sound sensor could not show the same
                    other = self._lie(sound, name)
                    found[value].append(other if cube is None else assume(other, Cube(cube.care, cube.care & ~cube.want)))
            for head in late(self.draft, name, made.volume) if not self.sure else ():
                gone = assume(sound, self.draft.layout.cube({f"{head} latched": 0}))
                found = [[*some, gone] for some in found]
        return together(found[0]), together(found[1])

    def _has_target(self, bit: Bit) -> bool:
        from sequencer.table.table import NO_TARGET

        return self.table.states[self.state].targets[bit.source] != NO_TARGET

    def _band(self, made: Comparison, high_side: bool) -> Cube | None:
        """Where the reading may (with `sure`: must) show the high (low) side of the threshold; None: nowhere."""
        bands, volume = self.draft.bands, made.volume
        top = self.draft.durations.ceiling(volume, True)
        if self.sure:
            edge = bands.up(volume, made.high) if high_side else bands.down(volume, made.low)
            if edge is None:
                # nothing lies beyond: the highest (lowest) band, where pressure can settle at its end
                edges = bands.edges[volume]
                more = {} if high_side else at_its_end(self.draft, volume, made.low)
                if not edges:
                    return self.draft.layout.cube(more)
                return self.draft.layout.cube({bands.name(volume, edges[-1 if high_side else 0]): high_side, **more})
        else:
            if high_side and made.low > top or not high_side and made.high <= 0.0:
                return None
            edge = bands.down(volume, made.low) if high_side else bands.up(volume, made.high)
            if edge is None:
                return EVERYTHING
        return self.draft.layout.cube({bands.name(volume, edge): high_side})

    def _valid(self, bit: Bit, branches: Branches) -> Split:
        reading = self.table.analogs[bit.source]
        volume = volume_of(self.draft.pad, reading.name)
        sound, lying = self._apart(branches, reading.name)
        if volume is None or not self._always_valid(reading, volume):
            return branches, branches
        other = self._lie(sound, reading.name)
        wrong, right = together([lying, other]), together([lying, sound])
        return (wrong, right) if bit.wanted else (right, wrong)

    def _always_valid(self, reading: AnalogSpec, volume: str) -> bool:
        """Whether a sound sensor stays within its band at any pressure that can be."""
        slope, zero = calibration(self.draft.pad, reading.name)
        error = error_of(self.draft.pad, reading.name, slope)
        low, high = sorted((slope * reading.low + zero, slope * reading.high + zero))
        return low < -error and high - error > self.draft.durations.ceiling(volume, True)

    def _differing(self, bit: Bit, branches: Branches) -> Split:
        names = [self.table.analogs[i].name for i in (bit.source, bit.second)]
        certain = self._differs(bit)
        if certain is None:
            return branches, branches
        sound, lying = self._apart(branches, *names)
        other = together([lying, *(self._lie(sound, name) for name in names)])
        same = together([lying, sound])
        return (same, other) if certain == 0 else (other, same)

    def _differs(self, bit: Bit) -> int | None:
        """0 or 1 where the two readings' accuracies decide it, else None."""
        pad, first, second = self.draft.pad, self.table.analogs[bit.source], self.table.analogs[bit.second]
        volume = volume_of(pad, first.name)
        if volume is None or volume != volume_of(pad, second.name) or any(late(self.draft, a.name, volume) for a in (first, second)):
            return None
        most = sum(error_of(pad, a.name, calibration(pad, a.name)[0]) for a in (first, second))
        most += sum(self.draft.durations.behind(a.name, volume) for a in (first, second))
        slope = abs(calibration(pad, first.name)[0])
        part = pad.inputs[first.name]
        assert isinstance(part, AnalogInput)
        limit = bit.on / max(abs(first.gain), 1) * slope
        if limit > most:
            return int(not bit.wanted)
        return None

    def _change(self, bit: Bit, branches: Branches) -> Split:
        state = counts_from(self.table, bit)
        off, on = self.values(bit.second, branches)
        early = state is not None and self.timer < bit.off and bit.off in self.draft.steps[self.state]
        return together([off, on]), on[:, :0] if early else on


def _lazy(branches: Branches) -> Branches:
    made = branches.copy()
    made[LAZY] = ONE
    return made


def memory(name: str) -> str:
    """Name of the bit that keeps a memory."""
    return f"remembered: {name}"
