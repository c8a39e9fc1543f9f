"""The word: one situation of pad and box as bits of one 64-bit integer, and cubes of such situations.

A *place* is what the box is doing: no power, settling after power-up, or a state together with the region of
its state timer (the thresholds of that state's rows). Places stand in the top bits, so that a sorted array of
words is contiguous per place. All other bits have names in plain words ("bottle at least 0.3 bar", "gate is
shut"), which is what stories are told with.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sequencer.errors import SequencerError

WORD = 64
ALL = (1 << WORD) - 1
"""Every bit of a word."""


class TooLarge(SequencerError):
    """The pad does not fit the proof: too many bits, or more situations than the budget allows."""


@dataclass(frozen=True, order=True)
class Cube:
    """All words with `word & care == want`; `want` lies within `care`."""

    care: int = 0
    want: int = 0

    def holds(self, word: int) -> bool:
        return word & self.care == self.want

    def meet(self, other: Cube) -> Cube | None:
        """The words in both, or None where there are none."""
        both = self.care & other.care
        if (self.want ^ other.want) & both:
            return None
        return Cube(self.care | other.care, self.want | other.want)

    def within(self, other: Cube) -> bool:
        """Whether every word of this cube is in the other."""
        return other.care & ~self.care == 0 and self.want & other.care == other.want


EVERYTHING = Cube()


def meets(cubes: Iterable[Cube | None]) -> Cube | None:
    """The words in all of them, or None."""
    result: Cube | None = EVERYTHING
    for cube in cubes:
        if cube is None or result is None:
            return None
        result = result.meet(cube)
    return result


class Layout:
    """Gives out bits by name and puts places on top. Raises TooLarge beyond 64 bits."""

    def __init__(self, places: int) -> None:
        self.place_bits = max(1, (places - 1).bit_length())
        self.index: dict[str, int] = {}

    @property
    def shift(self) -> int:
        """Lowest bit of the place."""
        return WORD - self.place_bits

    @property
    def names(self) -> list[str]:
        """Bit names from bit 0 up."""
        return list(self.index)

    @property
    def low(self) -> int:
        """Mask of all bits below the place."""
        return (1 << self.shift) - 1

    def new(self, name: str) -> int:
        """The mask of the bit of this name, made when it is not there yet."""
        if name not in self.index:
            if len(self.index) + self.place_bits >= WORD:
                raise TooLarge(
                    f"the pad needs more than {WORD} bits: {self.place_bits} for the places and {len(self.index)} so far; "
                    "the proof cannot hold it. Leave thresholds out that no rule needs, or prove parts of it apart"
                )
            self.index[name] = len(self.index)
        return 1 << self.index[name]

    def has(self, name: str) -> bool:
        return name in self.index

    def cube(self, wanted: Mapping[str, bool | int]) -> Cube:
        """Cube of named bits; raises KeyError for a name that is no bit."""
        care = want = 0
        for name, value in wanted.items():
            bit = 1 << self.index[name]
            care |= bit
            want |= bit if value else 0
        return Cube(care, want)

    def mask(self, names: Iterable[str]) -> int:
        result = 0
        for name in names:
            result |= 1 << self.index[name]
        return result

    def place_of(self, word: int) -> int:
        return word >> self.shift

    def at(self, place: int, word: int) -> int:
        """The word moved to another place."""
        return word & self.low | place << self.shift

    def told(self, word: int) -> dict[str, bool]:
        """{bit name: value} of a word."""
        return {name: bool(word >> i & 1) for name, i in self.index.items()}
