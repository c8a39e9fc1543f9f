"""The club of the examples and its bench of trials, made once for all tests of a process."""

from functools import cache

from sequencer.description import Pad, load
from sequencer.trials.campaign import Bench


@cache
def club() -> Pad:
    return load("configs/club.yaml")


@cache
def bench() -> Bench:
    return Bench(club())
