"""One way through a scan as masks: what it assumed of the word and what it chose of everything free."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from sequencer.proof.words import Cube


class Branch(NamedTuple):
    """What has been assumed of the word (a cube), which bits and contacts are chosen with what value (masks), which
    readings showed something that the sound sensor could not (a mask), and whether a delay was taken as not over."""

    care: int = 0
    want: int = 0
    known: int = 0
    chosen: int = 0
    lies: int = 0
    lazy: bool = False

    @property
    def cube(self) -> Cube:
        return Cube(self.care, self.want)

    def choose(self, key: int, value: int) -> Branch:
        bit = 1 << key
        return Branch(self.care, self.want, self.known | bit, self.chosen | bit if value else self.chosen, self.lies, self.lazy)

    def only(self, live: int) -> Branch:
        """The branch without the choices that nothing asks for any more."""
        if not self.known & ~live:
            return self
        return Branch(self.care, self.want, self.known & live, self.chosen & live, self.lies, self.lazy)

    @property
    def key(self) -> tuple[int, ...]:
        return self[:5]

    def assume(self, cube: Cube) -> Branch | None:
        if (self.want ^ cube.want) & self.care & cube.care:
            return None
        return Branch(self.care | cube.care, self.want | cube.want, *self[2:])


def distinct(branches: Iterable[Branch]) -> list[Branch]:
    """The branches without repetitions; one that is not lazy stands for its lazy twin."""
    found: dict[tuple[int, ...], Branch] = {}
    for branch in branches:
        old = found.get(branch.key)
        if old is None or (old.lazy and not branch.lazy):
            found[branch.key] = branch
    return list(found.values())
