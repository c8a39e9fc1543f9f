"""The small texts of the file: senses, bands, routes, names, sentences; each read from its words or None."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pydantic_core import PydanticCustomError

from sequencer.description.language import RESERVED
from sequencer.quantities import Quantity, QuantityError, parse


def refuse(found: str, required: str = "", mend: str = "", offset: int = 0) -> PydanticCustomError:
    """The one way a value is refused: found, required, how to mend, and the offset of the word."""
    # pydantic formats the template: braces of the user's text must not reach it
    return PydanticCustomError(
        "refused", "{found}", {"found": found, "required": required, "mend": mend, "offset": offset}
    )


@dataclass(frozen=True)
class Sense:
    """How a contact speaks: `closes when pressed` or `opens when pressed`."""

    word: str
    closed_means_word: bool

    def __str__(self) -> str:
        return f"{'closes' if self.closed_means_word else 'opens'} when {self.word}"


@dataclass(frozen=True)
class Band:
    """A band of raw counts, both ends included."""

    low: int
    high: int


@dataclass(frozen=True)
class Route:
    """`A to B`."""

    origin: str
    end: str


def advice(text: str, sample: str) -> str:
    """How to mend a small text: the form itself, or the likeliest slip in a name."""
    plain = re.sub(r"[^a-z0-9_]+", "_", text.lower()).strip("_")
    if sample.startswith("a name") and re.fullmatch(r"[a-z][a-z0-9_]*", plain):
        return f"write {plain}"
    return f"write {sample}"


def sense(text: str) -> Sense | None:
    found = re.fullmatch(r"(closes|opens) when (.+)", text)
    return Sense(found[2], found[1] == "closes") if found and position(found[2]) else None


def band(text: str) -> Band | None:
    found = re.fullmatch(r"(0|[1-9][0-9]{0,8}) to (0|[1-9][0-9]{0,8})", text)
    return Band(int(found[1]), int(found[2])) if found and int(found[1]) <= int(found[2]) else None


def route(text: str) -> Route | None:
    found = re.fullmatch(r"([a-z][a-z0-9_]*) to ([a-z][a-z0-9_]*)", text)
    return Route(found[1], found[2]) if found else None


def bits(text: str) -> int | None:
    found = re.fullmatch(r"([1-9][0-9]?) bit", text)
    return int(found[1]) if found and 6 <= int(found[1]) <= 16 else None


def every(text: str) -> Quantity | None:
    if not text.startswith("every "):
        return None
    try:
        return parse(text.removeprefix("every "), "time")
    except QuantityError:
        return None


def people(text: str) -> int | None:
    found = re.fullmatch(r"up to ([0-9])", text)
    return int(found[1]) if found and 0 < int(found[1]) <= 4 else None


def least(text: str) -> Quantity | None:
    try:
        return parse(text.removeprefix("at least "), "time") if text.startswith("at least ") else None
    except QuantityError:
        return None


def word(text: str) -> str | None:
    return text if re.fullmatch(r"[a-z][a-z0-9_]{0,39}", text) and text not in RESERVED else None


def said(text: str) -> str | None:
    """A sentence for people: at least one letter, and not the empty marks of other file formats."""
    bare = ("null", "none", "nil", "n/a", "true", "false", "yes", "no", "on", "off", "y", "n")
    return text if any(c.isalpha() for c in text) and text.lower() not in bare else None


def position(text: str) -> str | None:
    """A position or a contact's word: small words, none of which steers a sentence."""
    words = text.split(" ")
    fine = all(re.fullmatch(r"[a-z][a-z0-9_]*", word) and word not in RESERVED for word in words)
    return text if fine and len(text) <= 40 else None


def measured(text: str) -> str | None:
    found = re.fullmatch(r"(.+?) to (.+?) in (.+?)(?: from (.+))?", text)
    more = ((found[4], "volume"),) if found and found[4] else ()
    return _all_parse(text, found and ((found[1], "pressure"), (found[2], "pressure"), (found[3], "time"), *more))


def hose(text: str) -> str | None:
    found = re.fullmatch(r"(.+) of (.+)", text)
    return _all_parse(text, found and ((found[1], "length"), (found[2], "length")))


def lever(text: str) -> str | None:
    found = re.fullmatch(r"(.+) to (.+)", text)
    return _all_parse(text, found and ((found[1], "length"), (found[2], "length")))


def _all_parse(text: str, parts: tuple[tuple[str, str], ...] | None) -> str | None:
    if not parts:
        return None
    for part, kind in parts:
        try:
            if parse(part, kind).si <= 0:
                raise refuse(f"'{part}' in '{text}' is not more than zero", f"{kind}s above zero")
        except QuantityError as error:
            raise refuse(f"{error.message} (in '{text}')", error.required, error.mend) from error
    return text


def yes(text: str) -> bool | None:
    return {"yes": True, "no": False}.get(text)


def count(text: str) -> int | None:
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) and (text == "0" or text[0] != "0") else None
