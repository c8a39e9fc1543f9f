"""The small texts of the file as pydantic types: quantities, senses, bands, names.

Each type says in its JSON Schema what it looks like; a text that does not fit raises ValueError
whose args are (found, required, mend), from which the reader makes a finding with its place.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import ValidationInfo
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from sequencer.description import language
from sequencer.description.terms import Condition, Written
from sequencer.quantities import Quantity, QuantityError, Span, parse, parse_any, parse_span, to_gauge


def refuse(found: str, required: str = "", mend: str = "", offset: int = 0) -> PydanticCustomError:
    """The one way a value is refused: found, required, how to mend, and the offset of the word."""
    # pydantic formats the template: braces of the user's text must not reach it
    return PydanticCustomError(
        "refused", "{found}", {"found": found, "required": required, "mend": mend, "offset": offset}
    )


@dataclass(frozen=True)
class _Reads:
    """Pydantic metadata: the function that reads the text, and what the text looks like."""

    read: Callable[[Any, ValidationInfo], Any]
    sample: str

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        return {"type": "string", "description": self.sample}


def _text(value: Any, sample: str) -> str:
    if isinstance(value, str):
        return value
    raise refuse(f"a {type(value).__name__} stands where a text is due", sample)


def _reference(info: ValidationInfo) -> str:
    return str((info.context or {}).get("pressures", "gauge"))


def _quantity(kind: str, *, point: bool = False) -> _Reads:
    sample = f"a {kind} with its unit"

    def read(value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, Quantity):
            return value
        try:
            quantity = parse(_text(value, sample), kind)
        except QuantityError as error:
            raise refuse(error.message, error.required, error.mend) from error
        if point:
            return Quantity(to_gauge(quantity, _reference(info)), kind, quantity.text, quantity.unit, "gauge")
        if quantity.si < 0 and kind != "temperature":
            raise refuse(f"'{value}' is negative", f"{sample}, zero or more")
        return quantity

    return _Reads(read, sample)


def _span(kind: str, *, point: bool = False) -> _Reads:
    sample = f"a {kind} with its unit, and where known its range: N (least to most)"

    def read(value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, Span):
            return value
        try:
            span = parse_span(_text(value, sample), kind)
        except QuantityError as error:
            raise refuse(error.message, error.required, error.mend) from error
        if point:
            ends = (span.low, span.nominal, span.high)
            low, nominal, high = (to_gauge(Quantity(v, kind, "", "", _written(span.text)), _reference(info)) for v in ends)
            return Span(low, nominal, high, kind, span.text)
        return span

    return _Reads(read, sample)


def _written(text: str) -> str:
    """The reference a pressure span states for itself."""
    return "abs" if " abs" in text else "gauge" if " gauge" in text else ""


def _any_quantity(value: Any, info: ValidationInfo) -> Any:
    if isinstance(value, Quantity):
        return value
    try:
        return parse_any(_text(value, "a quantity with its unit"))
    except QuantityError as error:
        raise refuse(error.message, error.required, error.mend) from error


Time = Annotated[Quantity, _quantity("time")]
Length = Annotated[Quantity, _quantity("length")]
Pressure = Annotated[Quantity, _quantity("pressure", point=True)]
Volume = Annotated[Quantity, _quantity("volume")]
Temperature = Annotated[Quantity, _quantity("temperature")]
Voltage = Annotated[Quantity, _quantity("voltage")]
AnyQuantity = Annotated[Quantity, _Reads(_any_quantity, "a quantity with its unit")]
TimeSpan = Annotated[Span, _span("time")]
PressureSpan = Annotated[Span, _span("pressure", point=True)]
RiseSpan = Annotated[Span, _span("pressure")]
RateSpan = Annotated[Span, _span("pressure rate")]
AngleSpan = Annotated[Span, _span("angle")]
LengthSpan = Annotated[Span, _span("length")]
ForceSpan = Annotated[Span, _span("force")]
TorqueSpan = Annotated[Span, _span("torque")]
RatioSpan = Annotated[Span, _span("ratio")]
CurrentSpan = Annotated[Span, _span("current")]
VoltageSpan = Annotated[Span, _span("voltage")]
ResistanceSpan = Annotated[Span, _span("resistance")]
ConductanceSpan = Annotated[Span, _span("conductance")]
ComplianceSpan = Annotated[Span, _span("compliance")]
StiffnessSpan = Annotated[Span, _span("stiffness")]
TurningSpan = Annotated[Span, _span("turning speed")]
TemperatureSpan = Annotated[Span, _span("temperature")]
RateOf = Annotated[Quantity, _quantity("rate")]


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


def _typed(sample: str, make: Callable[[str], Any | None], kind: type) -> _Reads:
    def read(value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, kind) and not isinstance(value, str):
            return value
        made = make(_text(value, sample).strip())
        if made is None:
            raise refuse(f"'{value}' is not understood", sample, f"write {sample}")
        return made

    return _Reads(read, sample)


def _sense(text: str) -> Sense | None:
    found = re.fullmatch(r"(closes|opens) when ([a-z][a-z0-9 ]*)", text)
    return Sense(found[2], found[1] == "closes") if found else None


def _band(text: str) -> Band | None:
    found = re.fullmatch(r"(\d+) to (\d+)", text)
    return Band(int(found[1]), int(found[2])) if found and int(found[1]) <= int(found[2]) else None


def _route(text: str) -> Route | None:
    found = re.fullmatch(r"([a-z][a-z0-9_]*) to ([a-z][a-z0-9_]*)", text)
    return Route(found[1], found[2]) if found else None


def _bits(text: str) -> int | None:
    found = re.fullmatch(r"(\d+) bit", text)
    return int(found[1]) if found and 6 <= int(found[1]) <= 16 else None


def _every(text: str) -> Quantity | None:
    if not text.startswith("every "):
        return None
    try:
        return parse(text.removeprefix("every "), "time")
    except QuantityError:
        return None


def _people(text: str) -> int | None:
    found = re.fullmatch(r"up to (\d)", text)
    return int(found[1]) if found and 0 < int(found[1]) <= 4 else None


def _least(text: str) -> Quantity | None:
    try:
        return parse(text.removeprefix("at least "), "time") if text.startswith("at least ") else None
    except QuantityError:
        return None


def _word(text: str) -> str | None:
    return text if re.fullmatch(r"[a-z][a-z0-9_]*", text) else None


def _yes(text: str) -> bool | None:
    return {"yes": True, "no": False}.get(text)


def _count(text: str) -> int | None:
    return int(text) if re.fullmatch(r"\d{1,9}", text) and (text == "0" or text[0] != "0") else None


SenseText = Annotated[Sense, _typed("'closes when WORD' or 'opens when WORD'", _sense, Sense)]
BandText = Annotated[Band, _typed("'LOW to HIGH' in counts", _band, Band)]
RouteText = Annotated[Route, _typed("'NAME to NAME'", _route, Route)]
Bits = Annotated[int, _typed("'N bit', N from 6 to 16", _bits, int)]
Every = Annotated[Quantity, _typed("'every TIME'", _every, Quantity)]
PeopleCount = Annotated[int, _typed("'up to N', N from 1 to 4", _people, int)]
AtLeastTime = Annotated[Quantity, _typed("'at least TIME'", _least, Quantity)]
Word = Annotated[str, _typed("a name of small letters, digits and _, a letter first", _word, str)]
YesNo = Annotated[bool, _typed("yes or no", _yes, bool)]
Count = Annotated[int, _typed("a whole number without leading zeros", _count, int)]


def _sentence(read: Callable[[str], Any], sample: str, wrap: bool) -> _Reads:
    def validate(value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, Condition | Written):
            return value
        text = _text(value, sample)
        try:
            made = read(text)
        except language.LanguageError as error:
            raise refuse(error.message, error.required, error.mend, error.offset) from error
        return Written(made, text) if wrap else made

    return _Reads(validate, sample)


ConditionText = Annotated[Condition, _sentence(language.condition, "one condition", False)]
OnceText = Annotated[Written, _sentence(language.expression, "condition names joined by and, or, not", True)]
FactText = Annotated[
    Written,
    _sentence(language.proposition, "a statement about the pad, e.g. 'someone on the pad and bottle at least 0.3 bar'", True),
]
