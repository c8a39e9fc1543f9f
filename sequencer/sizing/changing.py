"""Every number of a read pad, and the same pad with one of them changed.

A quantity of the file is scaled in the read `Pad` itself (temperatures are moved); a test holds this equal to editing the
file and reading it again.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel

from sequencer.description.pad import Pad
from sequencer.errors import Place
from sequencer.quantities import UNITS, Quantity, Span, show

Path = tuple[str | int, ...]
LOOKED_AT = ("scan", "inputs", "outputs", "conditions", "states", "trips", "interlocks", "site", "cards")
KELVIN = 50.0
"""A temperature is moved by up to this, not scaled."""
_SPELLINGS = "|".join(sorted(map(re.escape, UNITS), key=len, reverse=True))
_EMBEDDED = re.compile(rf"(?<![A-Za-z_0-9.])(\d+(?:\.\d+)?) ({_SPELLINGS})(?![A-Za-z_])")


@dataclass(frozen=True)
class Number:
    """One number of the file: where in the `Pad` (path), how it reads, its place, and for texts which one in it."""

    path: Path
    text: str
    place: Place
    inside: int = -1

    @property
    def name(self) -> str:
        """The path as the file's keys, without inner parts of a sentence."""
        return ".".join(str(step) for step in self.path if not str(step).startswith("~"))


def numbers_of(pad: Pad) -> list[Number]:
    """Every quantity of the parts the sheet may depend on, in file order."""
    return [n for key in LOOKED_AT for n in _walk(pad, getattr(pad, key), (key,), (key,))]


def _walk(pad: Pad, value: Any, path: Path, at: Path) -> Iterator[Number]:
    if isinstance(value, Quantity | Span):
        yield Number(path, value.text, pad.place(*at))
    elif isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _walk(pad, getattr(value, name), (*path, name), (*at, name))
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _walk(pad, item, (*path, key), (*at, key))
    elif isinstance(value, list | tuple):
        for index, item in enumerate(value):
            yield from _walk(pad, item, (*path, index), (*at, index))
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        for one in dataclasses.fields(value):
            yield from _walk(pad, getattr(value, one.name), (*path, f"~{one.name}"), at)
    elif isinstance(value, str) and path[0] == "site":
        for number, found in enumerate(_EMBEDDED.finditer(value)):
            yield Number(path, found.group(), pad.place(*at), number)


def changed(pad: Pad, number: Number, by: float) -> Pad:
    """A copy of the pad with one number scaled (temperatures: moved by (by - 1) * 50 K)."""
    other = _rebuilt(pad, number.path, lambda value: _scaled(value, number, by))
    assert isinstance(other, Pad)
    return other


def _rebuilt(value: Any, path: Path, change: Callable[[Any], Any]) -> Any:
    if not path:
        return change(value)
    step, rest = path[0], path[1:]
    if isinstance(value, BaseModel):
        return value.model_copy(update={str(step): _rebuilt(getattr(value, str(step)), rest, change)})
    if isinstance(value, dict):
        return {key: _rebuilt(item, rest, change) if key == step else item for key, item in value.items()}
    if isinstance(value, list | tuple):
        return type(value)(_rebuilt(item, rest, change) if i == step else item for i, item in enumerate(value))
    name = str(step).removeprefix("~")
    return replace(value, **{name: _rebuilt(getattr(value, name), rest, change)})


def _scaled(value: Any, number: Number, by: float) -> Any:
    if isinstance(value, str):
        return _EMBEDDED.sub(_Nth(number.inside, by), value)
    if value.kind == "temperature":
        move = (by - 1.0) * KELVIN
        if isinstance(value, Quantity):
            return replace(value, si=value.si + move, text=show(value.si + move, "K"))
        return replace(value, low=value.low + move, nominal=value.nominal + move, high=value.high + move)
    if isinstance(value, Quantity):
        return replace(value, si=value.si * by, text=_text(value, by))
    return replace(value, low=value.low * by, nominal=value.nominal * by, high=value.high * by, text=value.text)


def _text(value: Quantity | Span, by: float) -> str:
    """The changed value as the file would write it."""
    found = re.match(r"\s*([+-]?\d+(?:\.\d+)?)\s*([A-Za-z%][A-Za-z%/ ]*?)?(?=\s*(?:\(|$|abs|gauge))", value.text)
    if found is None:
        return value.text
    return f"{float(found[1]) * by:.4g} {found[2] or ''}".strip()


class _Nth:
    """Replaces the n-th quantity of a text by its scaled self."""

    def __init__(self, wanted: int, by: float) -> None:
        self.wanted, self.by, self.seen = wanted, by, -1

    def __call__(self, found: re.Match[str]) -> str:
        self.seen += 1
        return found.group() if self.seen != self.wanted else f"{float(found[1]) * self.by:.9f} {found[2]}"


def is_zero(number: Number) -> bool:
    """Whether the number is a plain zero, which no factor changes."""
    found = re.match(r"\s*[+-]?0+(?:\.0+)?(?![\d.])", number.text)
    return found is not None and "(" not in number.text and not number.text.strip().endswith("degC")


def value_at(number: Number, by: float) -> str:
    """The changed value as the file would write it; a temperature as a difference."""
    if number.text.strip().endswith(("degC", "K")):
        return f"{(by - 1.0) * KELVIN:+z.1f} K"
    found = re.match(r"\s*(?:every |at least )?([+-]?\d+(?:\.\d+)?)\s*([A-Za-z%][A-Za-z%/ ]*?)?\s*(?:\(.*|$|abs|gauge)", number.text)
    return f"{float(found[1]) * by:.4g} {found[2] or ''}".strip() if found else f"x {by:.3g}"
