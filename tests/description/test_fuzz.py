"""Whatever stands in a file: a pad that compiles, or findings with places inside it; nothing else."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.description import loads
from sequencer.description.characters import decode
from sequencer.description.limits import limits
from sequencer.description.reading import read_critically
from sequencer.errors import Finding, UnusableFile
from sequencer.table import compile_table
from tests.description.small_files import CLUB

WORDS = (
    "on", "off", "yes", "null", "~", "{", "}", "[", "]", ":", "#", " #x", '"', "'", "&a", "*a", "<<", "!!x", "12:30", "007 s", "1e3", "not", "and", "or", "(", ")",
    "for", "until", "key", "bottle", "is", "becomes", "at least", "below", "\t", "\u200b", "\u0430", "1 bar abs", "999999 h", "-1 s", "0 s", "- ", "? ", "|", ">", "%",
    "@", "", "1,5 bar", "60 %", "dumping", "fill", "open", "shut", "\n", "rest", "people: allowed", "0 bar", "1 l", "servo_power", "not_before: 1 s",
)  # fmt: skip


def look(text: str) -> None:
    lines = len(text.splitlines()) + 1
    try:
        pad = loads(text, "pad.yaml")
    except UnusableFile as error:
        assert error.findings and all(inside(one, lines) for one in error.findings)
        return
    compile_table(pad)
    assert all(inside(one, lines) and one.place.line for one in read_critically(pad))
    assert limits(pad)


def inside(finding: Finding, lines: int) -> bool:
    return 0 <= finding.place.line <= lines and finding.place.column >= 0 and bool(finding.found)


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    try:
        text = decode(raw, "pad.yaml")
    except UnusableFile as error:
        assert error.findings
        return
    look(text)


@given(st.text(alphabet="ab:-{}[],&*!|>'\"#%@`~ \n\t?<\\x\u2028\ufeff\u0430", max_size=120))
def test_any_text_of_signs_is_read_or_refused(text: str) -> None:
    look(text)


@settings(max_examples=80)
@given(st.lists(st.tuples(st.integers(0, len(CLUB.split(" ")) - 1), st.sampled_from(WORDS)), min_size=1, max_size=3))
def test_the_small_pad_with_any_words_changed_is_read_or_refused(changes: list[tuple[int, str]]) -> None:
    words = CLUB.split(" ")
    for at, word in changes:
        words[at] = word
    look(" ".join(words))


@settings(max_examples=40)
@given(st.lists(st.integers(0, len(CLUB.split(" ")) - 1), min_size=2, max_size=2))
def test_the_small_pad_with_two_of_its_own_words_swapped_is_read_or_refused(places: list[int]) -> None:
    words = CLUB.split(" ")
    words[places[0]], words[places[1]] = words[places[1]], words[places[0]]
    look(" ".join(words))


@settings(max_examples=40)
@given(st.integers(0, len(CLUB)), st.integers(0, 200))
def test_the_small_pad_with_a_piece_cut_out_is_read_or_refused(start: int, length: int) -> None:
    look(CLUB[:start] + CLUB[start + length :])
