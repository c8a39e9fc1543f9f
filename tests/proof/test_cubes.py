"""Fewer cubes must hold the same words, however many they are."""

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from sequencer.proof.cubes import joined
from sequencer.proof.words import Cube

BITS = 6
cubes = st.tuples(st.integers(0, (1 << BITS) - 1), st.integers(0, (1 << BITS) - 1)).map(lambda c: (c[0], c[1] & c[0]))


@given(st.sets(cubes, min_size=1, max_size=40))
def test_joined_cubes_hold_the_same_words_and_none_lies_in_another(some):
    made = joined(some)
    for word in range(1 << BITS):
        assert any(c.holds(word) for c in made) == any(word & care == want for care, want in some)
    assert not any(a.within(b) for a, b in product(made, made) if a != b)
    assert made == sorted(made) and len(made) <= len(some)


def test_two_that_differ_in_one_bit_become_one():
    assert joined({(0b11, 0b01), (0b11, 0b11), (0b100, 0b100)}) == [Cube(0b01, 0b01), Cube(0b100, 0b100)]
