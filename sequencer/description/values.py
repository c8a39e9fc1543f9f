"""The small texts of the file as pydantic types: quantities, senses, bands, names.

Each type says in its JSON Schema what it looks like; a text that does not fit raises ValueError
whose args are (found, required, mend), from which the reader makes a finding with its place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import ValidationInfo
from pydantic_core import CoreSchema, core_schema

from sequencer.description import language, texts
from sequencer.description.terms import MOST_WAYS, Condition, Written, ways
from sequencer.description.texts import Band, Route, Sense, refuse
from sequencer.quantities import (
    ATMOSPHERE,
    Quantity,
    QuantityError,
    Span,
    odd_character,
    parse,
    parse_any,
    parse_span,
    to_gauge,
)


@dataclass(frozen=True)
class _Reads:
    """Pydantic metadata: the function that reads the text, and what the text looks like."""

    read: Callable[[Any, ValidationInfo], Any]
    sample: str
    also: str = ""  # the other JSON type that an editor may take the plain text for

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        return {"type": ["string", self.also] if self.also else "string", "description": self.sample}


def _text(value: Any, sample: str) -> str:
    if isinstance(value, str):
        if value == "":
            raise refuse("nothing is written here", sample, "write it, or leave the key out if it may be left out")
        return value
    kind = "a mapping of keys" if isinstance(value, dict) else "a list" if isinstance(value, list) else "something else"
    raise refuse(f"{kind} stands where a text is due", sample)


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
            gauge = to_gauge(quantity, _reference(info))
            _not_below_vacuum(gauge, str(value))
            return Quantity(gauge, kind, quantity.text, quantity.unit, "gauge")
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
        if not point and _written(span.text):
            raise refuse(f"'{value}' is a difference of pressures, which is neither absolute nor gauge", sample, "leave the reference out")
        if span.low < 0 and kind not in ("temperature", "pressure", "angle"):
            raise refuse(f"'{value}' is negative", f"{sample}, zero or more")
        if point:
            ends = (span.low, span.nominal, span.high)
            low, nominal, high = (to_gauge(Quantity(v, kind, "", "", _written(span.text)), _reference(info)) for v in ends)
            _not_below_vacuum(low, str(value))
            return Span(low, nominal, high, kind, span.text)
        return span

    return _Reads(read, sample, "number" if kind == "ratio" else "")


def _not_below_vacuum(gauge: float, text: str) -> None:
    if gauge < -ATMOSPHERE:
        raise refuse(f"'{text}' is less than no pressure at all", "a pressure above vacuum", "look at the unit and at abs or gauge")


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
TurningSpan = Annotated[Span, _span("turning speed")]
RateOf = Annotated[Quantity, _quantity("rate")]


def _typed(sample: str, make: Callable[[str], Any | None], kind: type, also: str = "") -> _Reads:
    def read(value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, kind) and not isinstance(value, str):
            return value
        text = _text(value, sample).strip(" ")
        made = make(text)
        if made is None:
            odd = odd_character(text)
            if odd:
                raise refuse(f"'{text}' holds {odd}", f"{sample}, in plain characters", "type it again on the keyboard")
            raise refuse(f"'{text}' is not understood", sample, texts.advice(text, sample))
        return made

    return _Reads(read, sample, also)


SenseText = Annotated[Sense, _typed("'closes when WORD' or 'opens when WORD'", texts.sense, Sense)]
BandText = Annotated[Band, _typed("'LOW to HIGH' in counts", texts.band, Band)]
RouteText = Annotated[Route, _typed("'NAME to NAME'", texts.route, Route)]
Bits = Annotated[int, _typed("'N bit', N from 6 to 16", texts.bits, int)]
Every = Annotated[Quantity, _typed("'every TIME'", texts.every, Quantity)]
PeopleCount = Annotated[int, _typed("'up to N', N from 1 to 4", texts.people, int)]
AtLeastTime = Annotated[Quantity, _typed("'at least TIME'", texts.least, Quantity)]
Word = Annotated[str, _typed("a name of at most 40 small letters, digits and _, a letter first", texts.word, str)]
Sentence = Annotated[str, _typed("a sentence for people", texts.said, str)]
Phrase = Annotated[str, _typed("a word or a short text", lambda text: text, str, "boolean")]
PositionText = Annotated[str, _typed("a position: one or a few small words", texts.position, str, "boolean")]
MeasuredText = Annotated[str, _typed("'PRESSURE to PRESSURE in TIME', maybe 'from VOLUME'", texts.measured, str)]
HoseText = Annotated[str, _typed("'LENGTH of BORE'", texts.hose, str)]
LeverText = Annotated[str, _typed("'SHORT to LONG', two arm lengths", texts.lever, str)]
YesNo = Annotated[bool, _typed("yes or no", texts.yes, bool, "boolean")]
Count = Annotated[int, _typed("a whole number without leading zeros", texts.count, int, "integer")]


def _sentence(read: Callable[..., Any], sample: str, wrap: bool) -> _Reads:
    def validate(value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, Condition | Written):
            return value
        text = _text(value, sample)
        odd = odd_character(text)
        if odd:
            at = next(i for i, one in enumerate(text) if not 0x20 <= ord(one) < 0x7F)
            raise refuse(f"the sentence holds {odd}", f"{sample}, in plain characters", "type it again on the keyboard", at)
        try:
            made = read(text, (info.context or {}).get("lines", frozenset())) if read is language.proposition else read(text)
        except language.LanguageError as error:
            raise refuse(error.message, error.required, error.mend, error.offset) from error
        if wrap and ways(made) > MOST_WAYS:
            raise refuse(
                f"the sentence can hold in {ways(made)} different ways", f"at most {MOST_WAYS}", "give a part of it its own condition"
            )
        return Written(made, text) if wrap else made

    return _Reads(validate, sample)


ConditionText = Annotated[Condition, _sentence(language.condition, "one condition", False)]
OnceText = Annotated[Written, _sentence(language.expression, "condition names joined by and, or, not", True)]
FactText = Annotated[
    Written,
    _sentence(language.proposition, "a statement about the pad, e.g. 'someone on the pad and bottle at least 0.3 bar'", True),
]
