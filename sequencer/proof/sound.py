"""What is reached without faults, with a shortest way to any of it, found backwards through the layers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sequencer.proof.engine import Flags, Words, masks
from sequencer.proof.explore import Explored
from sequencer.proof.system import System
from sequencer.proof.words import ALL


@dataclass(frozen=True)
class _Into:
    """A row that leads into a place, from one place."""

    origin: int
    care: int
    want: int
    keep: int
    put: int
    unless: tuple[tuple[int, int], ...]


class Sound:
    """The reached words of a system, sorted, and the depth of each. Ways share their beginnings, worked out once."""

    def __init__(self, system: System, explored: Explored) -> None:
        self.system = system
        whole = np.concatenate(explored.layers)
        order = np.argsort(whole)
        self.words: Words = whole[order]
        self.depth = np.repeat(np.arange(len(explored.layers)), [len(layer) for layer in explored.layers])[order]
        self._before: dict[int, int] = {}
        self._layers = explored.layers
        self._rows: dict[int, list[_Into]] = {}
        for row in system.rows:
            if row.forward:
                care, want, keep, put = masks(system, row)
                unless = tuple((c.care, c.want) for c, _ in row.unless)
                for place in row.at:
                    one = _Into(place, care, want, keep & ~system.spent & ALL, put & ~system.spent, unless)
                    self._rows.setdefault(place if row.to is None else row.to, []).append(one)

    def way(self, word: int) -> list[int]:
        """Words from a start to a reached word, both included, each one row after the other."""
        found = [word]
        while self._at(word):
            if word not in self._before:
                self._before[word] = self._step(word)
            word = self._before[word]
            found.append(word)
        return found[::-1]

    def later(self, words: Words, depth: int) -> Flags:
        """Which words are not reached within this depth: not at all, or only by a longer way."""
        at = np.searchsorted(self.words, words)
        at[at == len(self.words)] = 0
        return np.asarray((self.words[at] != words) | (self.depth[at] > depth), np.bool_)

    def _at(self, word: int) -> int:
        at = int(np.searchsorted(self.words, np.uint64(word)))
        if at == len(self.words) or int(self.words[at]) != word:
            raise LookupError(f"{word:#x} is not reached without faults")
        return int(self.depth[at])

    def _step(self, word: int) -> int:
        """A word one layer nearer to a start."""
        layer, shift, goal = self._layers[self._at(word) - 1], self.system.layout.shift, np.uint64(word)
        for row in self._rows[self.system.layout.place_of(word)]:
            if (word ^ row.put) & ~row.keep & ALL or (word ^ row.want) & row.care & row.keep:
                continue
            begin, end = np.searchsorted(layer, np.array([row.origin << shift, (row.origin + 1 << shift) - 1], np.uint64))
            part = layer[begin:end]
            fit = ((part & np.uint64(row.care)) == np.uint64(row.want)) & ((part & np.uint64(row.keep) | np.uint64(row.put)) == goal)
            for care, want in row.unless:
                fit &= (part & np.uint64(care)) != np.uint64(want)
            if fit.any():
                return int(part[fit.argmax()])
        raise LookupError(f"nothing of the layer before leads to {word:#x}")
