"""Reads the three small languages of the file: conditions, expressions over names, propositions.

A clear hand parser over words: the sentences are short, and an error must point at the word.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from sequencer.description import terms as t
from sequencer.errors import SequencerError
from sequencer.quantities import Quantity, QuantityError, parse, parse_any

_WORD = re.compile(r"\(|\)|[^\s()]+")
_NAME = re.compile(r"[a-z][a-z0-9_]*")
DEEPEST = 12  # brackets inside brackets, and nots before nots
RESERVED = frozenset(
    {"and", "or", "not", "is", "for", "until", "lingers", "after", "remembers", "someone", "nobody", "state", "command", "people", "box"}
)
"""Words that steer a sentence; nothing in the file may be called so."""


class LanguageError(SequencerError):
    """A sentence was not understood; `offset` is the position of the word in the text."""

    def __init__(self, message: str, offset: int, required: str = "", mend: str = "") -> None:
        super().__init__(message)
        self.offset = offset
        self.required = required
        self.mend = mend


@dataclass
class _Words:
    """The words of a text with their offsets, and a reading position."""

    text: str

    def __post_init__(self) -> None:
        self.words = [(m.group(), m.start()) for m in _WORD.finditer(self.text)]
        self.at = 0
        self.depth = 0

    def peek(self, ahead: int = 0) -> str:
        return self.words[self.at + ahead][0] if self.at + ahead < len(self.words) else ""

    @property
    def offset(self) -> int:
        return self.words[self.at][1] if self.at < len(self.words) else len(self.text)

    def next(self) -> str:
        word = self.peek()
        self.at += 1
        return word

    def take(self, *expected: str) -> bool:
        """Consume these words if they stand here."""
        if all(self.peek(i) == word for i, word in enumerate(expected)):
            self.at += len(expected)
            return True
        return False

    def until(self, *stops: str) -> str:
        """The text up to one of the stop words (not consumed) or the end."""
        words = []
        while self.peek() and self.peek() not in stops:
            words.append(self.next())
        return " ".join(words)

    def slice(self, *stops: str) -> tuple[str, int]:
        """As `until`, but the text exactly as written, and its offset."""
        start = self.offset
        self.until(*stops)
        end = self.words[self.at - 1][1] + len(self.words[self.at - 1][0]) if self.at and self.offset > start else start
        return self.text[start:end], start

    def fail(self, message: str, required: str = "", mend: str = "", back: int = 0) -> LanguageError:
        at = max(0, self.at - back)
        offset = self.words[at][1] if at < len(self.words) else len(self.text)
        return LanguageError(message, offset, required, mend)


_STOPS = ("for", "until", "lingers", "in", "by", "and", "or", "not", ")", "after")


def _quantity(words: _Words, kind: str | None = None, stops: tuple[str, ...] = _STOPS) -> Quantity:
    offset = words.offset
    text = words.until(*stops)
    if not text:
        raise LanguageError("a quantity is missing here", offset, "a number with its unit", "write e.g. '2 s'")
    try:
        return parse(text, kind) if kind else parse_any(text)
    except QuantityError as error:
        raise LanguageError(error.message, offset, error.required, error.mend) from error


def expression(text: str, leaf: Callable[[_Words], t.Expression] | None = None) -> t.Expression:
    """Read `a and (b or not c)`. `or` binds weaker than `and`; raises LanguageError."""
    words = _Words(text)
    if not words.words:
        raise LanguageError("nothing is written here", 0, "condition names joined by and, or, not")
    result = _either(words, leaf or _name)
    if words.peek():
        raise words.fail(
            f"'{words.peek()}' is not expected here", "names joined by and, or, not", "put 'and' or 'or' between two names"
        )
    return result


def _either(words: _Words, leaf: Callable[[_Words], t.Expression]) -> t.Expression:
    items = [_both(words, leaf)]
    while words.take("or"):
        items.append(_both(words, leaf))
    return items[0] if len(items) == 1 else t.Or(tuple(items))


def _both(words: _Words, leaf: Callable[[_Words], t.Expression]) -> t.Expression:
    items = [_one(words, leaf)]
    while words.take("and"):
        items.append(_one(words, leaf))
    return items[0] if len(items) == 1 else t.And(tuple(items))


def _one(words: _Words, leaf: Callable[[_Words], t.Expression]) -> t.Expression:
    if words.depth > DEEPEST:
        raise words.fail("the sentence is nested too deeply", f"at most {DEEPEST} brackets inside brackets", "give a part its own condition")
    if words.take("not"):
        words.depth += 1
        negated = t.Not(_one(words, leaf))
        words.depth -= 1
        return negated
    if words.take("("):
        words.depth += 1
        inner = _either(words, leaf)
        words.depth -= 1
        if not words.take(")"):
            raise words.fail("a bracket is not closed", "as many ) as (", "add )")
        return inner
    if words.peek() in ("", "and", "or", ")"):
        raise words.fail(f"a name is missing before '{words.peek() or 'the end'}'", "a condition name")
    return leaf(words)


def _name(words: _Words) -> t.Expression:
    offset, word = words.offset, words.next()
    if not _NAME.fullmatch(word):
        raise LanguageError(f"'{word}' is no name", offset, "a name of small letters, digits and _", "use the name of a condition")
    return t.Name(word, offset)


# ---- conditions -------------------------------------------------------------------------------


def condition(text: str) -> t.Condition:
    """Read one condition sentence; raises LanguageError."""
    words = _Words(text)
    term = _term(words)
    held = lingers = None
    while words.peek():
        if words.take("for") and held is None:
            held = _quantity(words, "time")
        elif words.take("lingers") and lingers is None:
            lingers = _quantity(words, "time")
        else:
            raise words.fail(f"'{words.peek() or words.text}' is not understood here", "the end, 'for TIME' or 'lingers TIME'")
    if isinstance(term, t.Becomes) and (held or lingers):
        raise LanguageError("a press lasts one scan and is never stored", 0, "no 'for' after 'becomes'", "use 'is … for …' for a level")
    if isinstance(term, t.Memory) and (held or lingers):
        raise LanguageError("a memory has no delays", 0, "'until …' and 'for at most …' only")
    return t.Condition(term, held, lingers, text)


def _term(words: _Words) -> t.Term:
    first, second = words.peek(), words.peek(1)
    if first == "remembers":
        return _memory(words)
    if first == "state" and second == "is":
        words.at += 2
        wanted = not words.take("not")
        return t.StateIs(words.next(), wanted)
    if first == "command" and second == "for":
        words.at += 2
        output = words.next()
        if not words.take("is"):
            raise words.fail("'is' is missing", "command for OUTPUT is POSITION")
        wanted = not words.take("not")
        return t.CommandIs(output, words.until("for", "lingers"), wanted)
    if second == "becomes":
        words.at += 2
        return t.Becomes(first, words.until("for", "lingers"))
    if second == "is":
        words.at += 2
        wanted = not words.take("not")
        word = words.until("for", "lingers")
        if not word:
            raise words.fail("a word is missing after 'is'", "the word the input's 'closes when' or 'opens when' names")
        return t.ReadingValid(first, wanted) if word == "valid" else t.ContactIs(first, word, wanted)
    if (second, words.peek(2)) == ("at", "least"):
        words.at += 3
        limit = _quantity(words)
        until = _quantity(words) if words.take("until", "below") else None
        return t.AtLeast(first, limit, until)
    if second == "below":
        words.at += 2
        limit = _quantity(words)
        until = _quantity(words) if words.take("until", "at", "least") else None
        return t.Below(first, limit, until)
    if (second, words.peek(2)) == ("heard", "within"):
        words.at += 3
        return t.HeardWithin(first, _quantity(words, "time"))
    if (second, words.peek(2)) == ("differs", "from"):
        return _differs(words)
    if second in ("rises", "falls"):
        return _changes(words)
    if (second, words.peek(2)) == ("reaches", "target"):
        words.at += 3
        drop = _quantity(words) if words.take("until", "below", "by") else None
        return t.ReachesTarget(first, drop)
    if first == "not" and words.peek(2) in ("at", "below"):
        words.at += 1
        raise words.fail(
            "an analog comparison cannot be negated: on an invalid reading both it and its opposite are false",
            "the opposite comparison, written out", "write 'below …' or 'at least …'", back=1,
        )  # fmt: skip
    return t.Combination(_shifted(*words.slice("for", "lingers")))


def _memory(words: _Words) -> t.Memory:
    words.next()
    set_by = _shifted(*words.slice("until", "for"))
    cleared, at_most = None, None
    if words.take("until"):
        text, start = words.slice("for")
        cleared = _shifted(text.rstrip(","), start)
    if words.take("for", "at", "most"):
        at_most = _quantity(words, "time")
    return t.Memory(set_by, cleared, at_most)


def _shifted(text: str, by: int) -> t.Expression:
    try:
        return expression(" " * by + text)
    except LanguageError as error:
        raise LanguageError(error.message, max(by, error.offset), error.required, error.mend) from error


def _by(words: _Words) -> tuple[bool, Quantity]:
    """'by at least Q' / 'by less than Q' / 'at least Q' / 'less than Q'."""
    words.take("by")
    if words.take("at", "least"):
        return True, _quantity(words)
    if words.take("less", "than"):
        return False, _quantity(words)
    raise words.fail("how much is missing", "'at least QUANTITY' or 'less than QUANTITY'")


def _differs(words: _Words) -> t.Differs:
    first = words.next()
    words.at += 2
    second = words.next()
    at_least, limit = _by(words)
    return t.Differs(first, second, limit, at_least)


def _changes(words: _Words) -> t.Changes:
    reading, direction = words.next(), words.next()
    at_least, limit = _by(words)
    if not words.take("in"):
        raise words.fail("'in TIME' is missing", "READING rises at least Q in TIME after NAME starts")
    over = _quantity(words, "time")
    if not words.take("after"):
        raise words.fail("'after NAME starts' is missing", "READING rises at least Q in TIME after NAME starts")
    since = words.next()
    words.take("starts")
    return t.Changes(reading, "rises" if direction == "rises" else "falls", limit, at_least, over, since)


# ---- propositions -----------------------------------------------------------------------------


def proposition(text: str, lines: frozenset[str] = frozenset()) -> t.Expression:
    """Read a statement about the pad, as interlocks use; `lines` are the site's lines, which are
    truly open or shut where outputs are only commanded. Raises LanguageError."""
    return expression(text, lambda words: _fact(words, lines))


def _fact(words: _Words, lines: frozenset[str]) -> t.Expression:
    stops = ("and", "or", ")")
    first = words.peek()
    if words.take("someone", "on", "the", "pad"):
        return t.Someone(True)
    if words.take("nobody", "on", "the", "pad"):
        return t.Someone(False)
    if words.take("people", "allowed"):
        return t.PeopleAllowed(True)
    if words.take("box", "says"):
        return t.BoxSays(words.next())
    if words.take("state", "is"):
        wanted = not words.take("not")
        return t.StateIs(words.next(), wanted)
    start = words.offset
    words.next()
    if words.take("at", "least"):
        return t.PressureIs(first, True, _quantity(words, None, stops))
    if words.take("below"):
        return t.PressureIs(first, False, _quantity(words, None, stops))
    if words.take("is"):
        wanted = not words.take("not")
        word = words.until(*stops)
        return t.SwitchIs(first, word, wanted)
    wanted = not words.take("not")
    word = words.until(*stops)
    if not word:
        raise LanguageError(f"what of '{first}' is not said", start, "e.g. 'bottle at least 2 bar', 'fill open', 'stop is pressed'")
    if word in ("latched", "let go", "lets go"):
        return t.HeadIs(first, "latched" if word == "latched" else "let go", wanted)
    if first in lines and word in ("open", "shut"):
        return t.LineIs(first, (word == "open") == wanted)
    if word in ("in", "out"):
        return t.PinIs(first, (word == "in") == wanted)
    return t.CommandedTo(first, word, wanted)
