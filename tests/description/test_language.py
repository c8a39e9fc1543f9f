"""The three small languages: meaning of and, or, not; words kept; places of mistakes."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.description import language
from sequencer.description import terms as t

NAMES = ("a", "b", "c", "d")

expressions = st.recursive(
    st.sampled_from(NAMES).map(t.Name),
    lambda inner: st.one_of(
        inner.map(t.Not),
        st.lists(inner, min_size=2, max_size=3).map(lambda items: t.And(tuple(items))),
        st.lists(inner, min_size=2, max_size=3).map(lambda items: t.Or(tuple(items))),
    ),
    max_leaves=8,
)


def value(expression: t.Expression, bits: dict[str, bool]) -> bool:
    """The truth table's own reading, apart from the code under test."""
    if isinstance(expression, t.Name):
        return bits[expression.name]
    if isinstance(expression, t.Not):
        return not value(expression.item, bits)
    assert isinstance(expression, t.And | t.Or)
    return (all if isinstance(expression, t.And) else any)(value(item, bits) for item in expression.items)


def written(expression: t.Expression) -> str:
    if isinstance(expression, t.Name):
        return expression.name
    if isinstance(expression, t.Not):
        return f"not ({written(expression.item)})"
    assert isinstance(expression, t.And | t.Or)
    return (" and " if isinstance(expression, t.And) else " or ").join(f"({written(item)})" for item in expression.items)


def tables(expression: t.Expression) -> list[bool]:
    return [value(expression, dict(zip(NAMES, bits, strict=True))) for bits in product((False, True), repeat=len(NAMES))]


@given(expressions, st.booleans())
def test_the_alternatives_are_the_truth_table(expression: t.Expression, wanted: bool) -> None:
    ways = t.alternatives(expression, wanted)
    for bits, expected in zip(product((False, True), repeat=len(NAMES)), tables(expression), strict=True):
        at = dict(zip(NAMES, bits, strict=True))
        held = any(all(at[leaf.name] == one for leaf, one in way.items() if isinstance(leaf, t.Name)) for way in ways)
        assert held == (expected == wanted)


@given(expressions, st.booleans())
def test_the_ways_counted_are_never_fewer_than_the_ways_there_are(expression: t.Expression, wanted: bool) -> None:
    assert t.ways(expression, wanted) >= len(t.alternatives(expression, wanted))


@given(expressions)
def test_what_is_written_out_is_read_back_with_the_same_meaning(expression: t.Expression) -> None:
    assert tables(language.expression(written(expression))) == tables(expression)


def test_or_binds_weaker_than_and() -> None:
    assert language.expression("a or b and not c") == t.Or((t.Name("a"), t.And((t.Name("b"), t.Not(t.Name("c"))))))


@pytest.mark.parametrize(
    "text",
    [
        "key is turned", "key is not turned for 2 s", "arm becomes switched up", "p at least 6.0 bar until below 5.6 bar for 1 s lingers 2 s", "p is valid", "p is not valid",
        "p below 0.12 bar until at least 0.3 bar", "radio heard within 500 ms", "p differs from q by at least 0.3 bar for 0.5 s", "p rises less than 0.1 bar in 5 s after filling starts",
        "p falls by at least 0.1 bar in 60 s after leak_check starts", "p reaches target until below by 0.2 bar", "state is not dumping", "command for fill is open",
        "remembers a and b until not c, for at most 60 s", "remembers a until c", "a or b or not c",
    ],
)  # fmt: skip
def test_every_form_of_a_condition_is_read(text: str) -> None:
    condition = language.condition(text)
    assert condition.text == text
    # two spaces between words say nothing else
    assert language.condition(text.replace(" ", "  ")).term == condition.term


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("key is turned foor 1 s", ""), ("p at least", ""), ("p at least 6", "6"), ("key becomes pressed for 1 s", "key"), ("a and or b", "or"), ("(a or b", ""), ("a b", "b"),
        ("remembers a andd b until c", "andd"), ("remembers a until c d", "d"), ("p rises 3 bar in 5 s", "3"), ("A and b", "A"), ("p differs from q 0.3 bar", "0.3"),
    ],
)  # fmt: skip
def test_a_mistake_points_at_its_word(text: str, word: str) -> None:
    try:
        condition = language.condition(text)
    except language.LanguageError as error:
        assert text[error.offset :].startswith(word)
        assert error.message
    else:
        assert text == "key is turned foor 1 s" and isinstance(condition.term, t.ContactIs)  # the word is looked up later


@given(st.text(alphabet="ab()ndort is lew forut 1s\u00e9", max_size=60))
def test_no_text_makes_the_parser_fail_in_any_other_way(text: str) -> None:
    for read in (language.condition, language.expression, language.proposition):
        try:
            read(text)
        except language.LanguageError as error:
            assert 0 <= error.offset <= len(text)


@given(st.lists(st.sampled_from([
    "a", "is", "not", "and", "or", "(", ")", "at", "least", "below", "until", "for", "lingers", "6", "bar", "6.0 bar", "2 s", "remembers", "becomes", "heard", "within",
    "differs", "from", "rises", "falls", "in", "after", "starts", "reaches", "target", "by", "less", "than", "state", "command", "most", "someone", "on", "the", "pad", "box", "says",
]), max_size=12))  # fmt: skip
def test_no_sequence_of_its_own_words_makes_the_parser_fail(words: list[str]) -> None:
    text = " ".join(words)
    for read in (language.condition, language.expression, language.proposition):
        try:
            read(text)
        except language.LanguageError as error:
            assert 0 <= error.offset <= len(text)


def test_a_line_of_the_site_is_truly_open_where_an_output_is_only_commanded() -> None:
    assert language.proposition("dump_line open", frozenset({"dump_line"})) == t.LineIs("dump_line", True)
    assert language.proposition("dump_line not open", frozenset({"dump_line"})) == t.LineIs("dump_line", False)
    assert language.proposition("dump open") == t.CommandedTo("dump", "open")
