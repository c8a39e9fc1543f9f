"""What each condition bit may be in a scan: certain, impossible or free, branch by branch.

Free inputs do not live in the word: a branch chooses them, and the choice is forgotten after the scan. A branch
carries what it has assumed about the word (a cube), the values already chosen, and whether it took a delay as not
yet over.
"""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.description.box import AnalogInput, ContactInput
from sequencer.proof.bands import Comparison, comparison, volume_of
from sequencer.proof.branches import Branch
from sequencer.proof.draft import Draft, counts_from
from sequencer.proof.durations import error_of
from sequencer.proof.words import EVERYTHING, Cube
from sequencer.table import Kind
from sequencer.table.compile import calibration
from sequencer.table.table import Bit, Literals


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
        self._made: dict[int, Comparison | None] = {}

    def values(self, i: int, branch: Branch) -> Iterator[tuple[Branch, int]]:
        """Every value bit i may have, with the branch in which it has it."""
        if branch.known >> i & 1:
            yield branch, branch.chosen >> i & 1
            return
        bit = self.table.bits[i]
        if bit.kind == Kind.MEMORY:
            source = self._memory(i, bit, branch)
        elif bit.kind == Kind.PRESS:
            source = self._press(bit, branch)
        else:
            source = self._delayed(bit, branch, i)
        for after, value in source:
            yield after.choose(i, value), value

    def literals(self, wanted: Literals, branch: Branch) -> Iterator[tuple[Branch, int]]:
        """Whether a literal list holds."""
        for after, holds in self.all_of(wanted.care, wanted.want, branch):
            yield after, int(bool(holds) != wanted.invert)

    def all_of(self, care: int, want: int, branch: Branch) -> Iterator[tuple[Branch, int]]:
        """Whether `bits & care == want`, bit by bit, stopping at the first that fails."""
        if want & ~care:
            yield branch, 0
            return
        if not care:
            yield branch, 1
            return
        lowest = (care & -care).bit_length() - 1
        for after, value in self.values(lowest, branch):
            if value != want >> lowest & 1:
                yield after, 0
            else:
                yield from self.all_of(care & ~(1 << lowest), want & ~(1 << lowest), after)

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

    def _lie(self, branch: Branch, name: str) -> Branch | None:
        """The branch in which this reading shows anything; None where it may not (sound, or too many lie already)."""
        number = self._numbers.get(name, 0)
        if branch.lies & number:
            return branch
        if not number or branch.lies.bit_count() >= self.most:
            return None
        return branch._replace(lies=branch.lies | number)

    def lying(self, branch: Branch) -> frozenset[str]:
        """The readings that lie in a branch."""
        return frozenset(name for name, number in self._numbers.items() if branch.lies & number)

    # ---- kinds --------------------------------------------------------------------------------

    def _delayed(self, bit: Bit, branch: Branch, i: int) -> Iterator[tuple[Branch, int]]:
        for after, raw in self._raw(bit, branch, i):
            yield after, raw
            if not self.sure and ((raw and bit.hold) or (not raw and bit.drop)):
                yield after._replace(lazy=True), 1 - raw

    def _memory(self, i: int, bit: Bit, branch: Branch) -> Iterator[tuple[Branch, int]]:
        name = memory(bit.name)
        for cleared, clears in self.literals(bit.clear, branch):
            if clears:
                yield cleared, 0
                continue
            for after, sets in self.literals(bit.set, cleared):
                if sets:
                    yield after, 1
                    continue
                for stored in (0, 1):
                    kept = after.assume(self.draft.layout.cube({name: stored}))
                    if kept is None:
                        continue
                    yield kept, stored
                    if stored and bit.on and not self.sure:
                        yield kept, 0

    def _press(self, bit: Bit, branch: Branch) -> Iterator[tuple[Branch, int]]:
        for after, word in self._contact(bit.source, branch):
            pressed = self._level(bit.source, word) == bit.wanted
            if pressed:
                yield after, 1
            yield after, 0

    def _level(self, source: int, word: int) -> int:
        part = self.draft.pad.inputs[self.table.contacts[source].name]
        assert isinstance(part, ContactInput)
        return word if part.contact.closed_means_word else 1 - word

    def _contact(self, source: int, branch: Branch) -> Iterator[tuple[Branch, int]]:
        """Whether the box sees the contact at its word."""
        name = self.table.contacts[source].name
        if name in self.draft.tracked:
            for value in (0, 1):
                seen = branch.assume(self.draft.layout.cube({self.draft.seen(name): value}))
                if seen is not None:
                    yield seen, value
            return
        if name in self.draft.by_hand:
            for value in (0, 1):
                for way in self._carried(branch, name, value):
                    seen = way.assume(self.draft.layout.cube({self.draft.by_hand[name]: value}))
                    if seen is not None:
                        yield seen, value
            return
        key = self._contacts + source
        if branch.known >> key & 1:
            yield branch, branch.chosen >> key & 1
            return
        for value in (0, 1):
            for way in self._carried(branch, name, value):
                yield way.choose(key, value), value

    def _carried(self, branch: Branch, name: str, value: int) -> Iterator[Branch]:
        """Ways in which the box may see a contact here whose key someone may have carried onto the pad."""
        needs = self.draft.away(name, self.place) if value else None
        if not needs:
            yield branch
            return
        here = branch.assume(self.draft.layout.cube(needs))
        if here is not None:
            yield here
        lying = self._lie(branch, name)
        if lying is not None:
            yield lying

    def _raw(self, bit: Bit, branch: Branch, i: int) -> Iterator[tuple[Branch, int]]:
        kind = bit.kind
        if kind == Kind.CONTACT:
            for after, word in self._contact(bit.source, branch):
                yield after, int(self._level(bit.source, word) == bit.wanted)
        elif kind in (Kind.AT_LEAST, Kind.BELOW, Kind.TARGET):
            yield from self._compare(bit, branch, i)
        elif kind == Kind.ALL:
            yield from self.literals(bit.set, branch)
        elif kind == Kind.STATE:
            yield branch, int((bit.source == self.state) == bit.wanted)
        elif kind == Kind.COMMAND:
            for places, cube in self.draft.command(bit.source, bit.on, bit.wanted):
                met = branch.assume(cube) if self.place in places else None
                if met is not None:
                    yield met, 1
            for places, cube in self.draft.command(bit.source, bit.on, not bit.wanted):
                met = branch.assume(cube) if self.place in places else None
                if met is not None:
                    yield met, 0
        elif kind == Kind.VALID:
            yield from self._valid(bit, branch)
        elif kind == Kind.DIFFERS:
            yield from self._differing(bit, branch)
        elif kind == Kind.CHANGE:
            yield from self._change(bit, branch)
        else:
            yield branch, 0
            yield branch, 1

    def _compare(self, bit: Bit, branch: Branch, i: int) -> Iterator[tuple[Branch, int]]:
        if i not in self._made:
            self._made[i] = comparison(self.draft.pad, self.table, bit, self.state)
        made, name = self._made[i], self.table.analogs[bit.source].name
        if made is None or branch.lies & self._numbers.get(name, 0):
            yield branch, 0
            if bit.kind != Kind.TARGET or self._has_target(bit):
                yield branch, 1
            return
        lying = self._lie(branch, name)
        for high_side in (True, False):
            value = int(high_side == made.rising)
            cube = self._band(made, high_side)
            true = None if cube is None else branch.assume(cube)
            if true is not None:
                yield true, value
            if lying is not None and cube != EVERYTHING:
                # a lie is told only where the sound sensor could not show the same
                other = lying if cube is None else lying.assume(Cube(cube.care, cube.care & ~cube.want))
                if other is not None:
                    yield other, value

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
                if not edges:
                    return EVERYTHING
                edge = edges[-1] if high_side else edges[0]
        else:
            if high_side and made.low > top or not high_side and made.high <= 0.0:
                return None
            edge = bands.down(volume, made.low) if high_side else bands.up(volume, made.high)
            if edge is None:
                return EVERYTHING
        return self.draft.layout.cube({bands.name(volume, edge): high_side})

    def _valid(self, bit: Bit, branch: Branch) -> Iterator[tuple[Branch, int]]:
        reading = self.table.analogs[bit.source]
        volume = volume_of(self.draft.pad, reading.name)
        if volume is not None and not branch.lies & self._numbers.get(reading.name, 0):
            slope, zero = calibration(self.draft.pad, reading.name)
            error = error_of(self.draft.pad, reading.name, slope)
            low, high = sorted((slope * reading.low + zero, slope * reading.high + zero))
            if low < -error and high - error > self.draft.durations.ceiling(volume, True):
                yield branch, int(bit.wanted)
                lying = self._lie(branch, reading.name)
                if lying is not None:
                    yield lying, int(not bit.wanted)
                return
        yield branch, 1
        yield branch, 0

    def _differing(self, bit: Bit, branch: Branch) -> Iterator[tuple[Branch, int]]:
        names = [self.table.analogs[i].name for i in (bit.source, bit.second)]
        certain = None if any(branch.lies & self._numbers.get(n, 0) for n in names) else self._differs(bit)
        if certain is None:
            yield branch, 0
            yield branch, 1
            return
        yield branch, certain
        for name in names:
            lying = self._lie(branch, name)
            if lying is not None:
                yield lying, 1 - certain

    def _differs(self, bit: Bit) -> int | None:
        """0 or 1 where the two readings' accuracies decide it, else None."""
        pad, first, second = self.draft.pad, self.table.analogs[bit.source], self.table.analogs[bit.second]
        if volume_of(pad, first.name) is None or volume_of(pad, first.name) != volume_of(pad, second.name):
            return None
        most = sum(error_of(pad, a.name, calibration(pad, a.name)[0]) for a in (first, second))
        slope = abs(calibration(pad, first.name)[0])
        part = pad.inputs[first.name]
        assert isinstance(part, AnalogInput)
        limit = bit.on / max(abs(first.gain), 1) * slope
        if limit > most:
            return int(not bit.wanted)
        return None

    def _change(self, bit: Bit, branch: Branch) -> Iterator[tuple[Branch, int]]:
        state = counts_from(self.table, bit)
        for after, since in self.values(bit.second, branch):
            yield after, 0
            early = state is not None and self.timer < bit.off and bit.off in self.draft.steps[self.state]
            if since and not early:
                yield after, 1


def memory(name: str) -> str:
    """Name of the bit that keeps a memory."""
    return f"remembered: {name}"
