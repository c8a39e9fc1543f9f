"""Ways through what is reached without faults: from a start, row by row, as short as the layers say."""

from itertools import pairwise

from hypothesis import given, settings

from sequencer.proof.explore import explore
from sequencer.proof.sound import Sound
from tests.proof.faulted import SAID, STANDS, SWITCH, cases


@given(cases())
@settings(max_examples=60)
def test_the_way_to_every_reached_word_can_be_walked_and_is_a_shortest_one(case):
    system, kept = case.system, ~(SWITCH | SAID)
    explored = explore(system, judged=False)
    sound = Sound(system, explored)
    starts = {s & kept for s in system.starts}
    for depth, layer in enumerate(explored.layers):
        for word in map(int, layer):
            way = sound.way(word)
            assert way[0] in starts and way[-1] == word and len(way) == depth + 1
            for before, after in pairwise(way):
                hands = [before | stand for stand in STANDS]
                assert any(r.takes(system.layout, h) and r.image(system.layout, h) & kept == after for r in system.rows for h in hands)
