"""Every limit of a file and every value the tool assumes, so that nothing falls back in silence."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import BaseModel

from sequencer.description import terms as t
from sequencer.description.grounds import ReliefPart, SupplyPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.errors import Place

_ASSUMED = re.compile(r"\((?:assumed|default)[: ]*(.+)\)$")
_LIMITED = (t.AtLeast, t.Below, t.Changes, t.Differs, t.HeardWithin)


@dataclass(frozen=True)
class Limit:
    """A limit or a value: what it is, what it says, whether the file gave it, and where."""

    what: str
    value: str
    given: bool
    place: Place


def limits(pad: Pad) -> tuple[Limit, ...]:
    """Given limits in file order, then what is assumed because the file does not say it."""
    return (*_given(pad), *_assumed(pad))


def _given(pad: Pad) -> Iterator[Limit]:
    for name, condition in pad.conditions.items():
        if isinstance(condition.term, _LIMITED):
            yield Limit(name, condition.text, True, pad.place("conditions", name))
    for name, part in pad.site.items():
        values = {
            VolumePart: ("rated", "tested_to"), ReliefPart: ("opens_at", "shuts_at"), SupplyPart: ("pressure", "regulated"),
        }.get(type(part), ())  # fmt: skip
        for key in values:
            value = getattr(part, key)
            if value is not None:
                yield Limit(f"{name} {key}", value.text, True, pad.place("site", name, key))
    for name, rule in pad.interlocks.items():
        for key in ("withstand", "severity"):
            if key in rule.model_fields_set:
                yield Limit(f"{name} {key}", _shown(getattr(rule, key)), True, pad.place("interlocks", name, key))


def _assumed(pad: Pad) -> Iterator[Limit]:
    for name, rule in pad.interlocks.items():
        for key in ("withstand", "severity"):
            if key not in rule.model_fields_set:
                yield Limit(f"{name} {key}", _shown(getattr(rule, key)), False, pad.place("interlocks", name))
    for section in ("inputs", "outputs", "site"):
        for name, part in getattr(pad, section).items():
            for key, field in type(part).model_fields.items():
                found = _ASSUMED.search(field.description or "")
                if found and getattr(part, key) is None and _matters(part, key):
                    yield Limit(f"{name} {key}", found[1], False, pad.place(section, name))


def _matters(part: BaseModel, key: str) -> bool:
    """Whether a value left out is really needed: a measured line needs no critical ratio from a bore."""
    if key == "stroke" and getattr(part, "opened_by", "hand") in ("hand", "nothing, always open"):
        return hasattr(part, "valve")
    return not (key in ("pin_friction", "pin_diameter") and not getattr(part, "levers", True))


def _shown(value: object) -> str:
    if isinstance(value, BaseModel):
        return ", ".join(f"{key} {one}" for key, one in value)
    return str(value)
