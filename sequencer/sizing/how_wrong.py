"""How wrong may each number be: changed alone, how far until a line of the sheet gets worse, each way.

Every quantity of the file is scaled in the read `Pad` itself, the sheet is worked out again, and the edge is bisected.
A line gets worse when its judgement falls (holds, thin, fails); a finding of critical reading that was not there, and a
file that can no longer be worked with, count too.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel

from sequencer.description.pad import Pad
from sequencer.description.reading.analog import look as analog_topic
from sequencer.description.reading.outputs import look as outputs_topic
from sequencer.description.reading.people_and_gas import look as gas_topic
from sequencer.description.reading.view import View
from sequencer.errors import Place, SequencerError
from sequencer.quantities import UNITS, Quantity, Span, show
from sequencer.sizing.build import numbers_sheet

Path = tuple[str | int, ...]
LOOKED_AT = ("scan", "inputs", "outputs", "conditions", "states", "trips", "interlocks", "site", "cards")
UP = (1.02, 1.05, 1.1, 1.2, 1.35, 1.6, 2.0, 3.0, 4.0)
"""Factors tried outward before bisecting; downward their reciprocals. Beyond the last nothing is claimed."""
SCREEN = (4.0, 1.35)
KELVIN = 50.0
"""A temperature is moved by up to this, not scaled."""
_SPELLINGS = "|".join(sorted(map(re.escape, UNITS), key=len, reverse=True))
_EMBEDDED = re.compile(rf"(?<![A-Za-z_0-9.])(\d+(?:\.\d+)?) ({_SPELLINGS})(?![A-Za-z_])")
TOPICS: tuple[Callable[[View], None], ...] = (analog_topic, gas_topic, outputs_topic)
"""What critical reading says about values; its other topics are about logic and about how a time is written."""
_RANK = {"": 0, "holds": 0, "thin": 1, "fails": 2}


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


@dataclass(frozen=True)
class Edge:
    """One way of one number: the factor (or kelvin) at which something flips, the value there, and what flips."""

    factor: float
    value: str
    flips: str


@dataclass(frozen=True)
class Slack:
    """How far one number may be off, up and down; None: nothing flips within a factor of four."""

    number: Number
    up: Edge | None
    down: Edge | None

    @property
    def thinnest(self) -> float:
        """Least relative error that flips something; infinite when none does."""
        return min((abs(edge.factor - 1.0) for edge in (self.up, self.down) if edge is not None), default=float("inf"))


@dataclass(frozen=True)
class HowWrong:
    """Every number that can flip something, thinnest first; how many were looked at; zeros that cannot be scaled."""

    slacks: tuple[Slack, ...]
    looked_at: int
    zeros: tuple[str, ...]
    limits: str = "each number alone, up to four times or a quarter, temperatures by 50 K; against this sheet and what check says about values; crew and drills are not looked at, the proof is not asked again"


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
    return _rebuilt(pad, number.path, lambda value: _scaled(value, number, by))  # type: ignore[no-any-return]  # a Pad again


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


def judgements(pad: Pad) -> dict[str, str]:
    """{line: judgement} of the sheet, and of the findings of critical reading about values ('fails' for an error,
    'thin' for a warning); a pad that cannot be worked with fails in one word."""
    try:
        found = {line.name: line.judgement for line in numbers_sheet(pad).lines}
        view = View(pad)
        for topic in TOPICS:
            topic(view)
        words = {"error": "fails", "warning": "thin"}
        return found | {f"check: {f.name} at line {f.place.line}": words[f.severity] for f in view.findings if f.severity in words}
    except (SequencerError, ArithmeticError, ValueError, AssertionError):
        return {"the file": "fails"}


def worse(before: dict[str, str], after: dict[str, str]) -> str:
    """The first line that is worse after than before, with its judgement; '' when none is."""
    if "the file" in after:
        return "the file can no longer be worked with"
    for name, word in after.items():
        if _RANK[word] > _RANK[before.get(name, "")]:
            return f"{name}: {before.get(name, '') or 'not there'} -> {word}"
    gone = next((name for name, word in before.items() if word in ("holds", "thin") and name not in after), "")
    return f"{gone}: can no longer be worked out" if gone else ""


def how_wrong(pad: Pad, progress: Callable[[int, int], None] = lambda done, of: None) -> HowWrong:
    """Scale every number of the pad each way until a judgement gets worse; thinnest first. `progress(done, of)`."""
    before = judgements(pad)
    found = numbers_of(pad)
    slacks, zeros = [], []
    for index, number in enumerate(found):
        progress(index, len(found))
        if _is_zero(pad, number):
            zeros.append(number.name)
            continue
        slack = Slack(number, _edge(pad, number, before, True), _edge(pad, number, before, False))
        if slack.up is not None or slack.down is not None:
            slacks.append(slack)
    progress(len(found), len(found))
    return HowWrong(tuple(sorted(slacks, key=lambda s: s.thinnest)), len(found), tuple(zeros))


def _is_zero(pad: Pad, number: Number) -> bool:
    found = re.match(r"\s*[+-]?0+(?:\.0+)?(?![\d.])", number.text)
    return found is not None and "(" not in number.text and not number.text.strip().endswith("degC")


def _edge(pad: Pad, number: Number, before: dict[str, str], up: bool) -> Edge | None:
    def flips(by: float) -> str:
        return worse(before, judgements(changed(pad, number, by)))

    sign = 1.0 if up else -1.0
    if not any(flips(by**sign) for by in SCREEN):
        return None
    last = 1.0
    for step in UP:
        by = step**sign
        if flips(by):
            break
        last = by
    else:
        return None
    inner, outer = last, by
    for _ in range(9):
        middle = (inner * outer) ** 0.5
        if flips(middle):
            outer = middle
        else:
            inner = middle
    return Edge(outer, _value_at(pad, number, outer), flips(outer))


def _value_at(pad: Pad, number: Number, by: float) -> str:
    if number.text.strip().endswith(("degC", "K")):
        return f"{(by - 1.0) * KELVIN:+.1f} K"
    found = re.match(r"\s*(?:every |at least )?([+-]?\d+(?:\.\d+)?)\s*([A-Za-z%][A-Za-z%/ ]*?)?\s*(?:\(.*|$|abs|gauge)", number.text)
    return f"{float(found[1]) * by:.4g} {found[2] or ''}".strip() if found else f"x {by:.3g}"
