"""Which keys may stand where: read off the models, so that there is one list of them.

Used to name the nearest known key, to explain a word, and to place what pydantic reports.
"""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, Tag

from sequencer.description.pad import Pad

Where = tuple[str | int, ...]


@dataclass(frozen=True)
class Word:
    """One key of the file: where it may stand, what it says, and the closed list of its words."""

    key: str
    where: str
    says: str
    due: bool
    choices: tuple[str, ...] = ()
    inside: str = ""


def _bare(annotation: Any) -> Any:
    """An annotation without `Annotated`, and without None where it may be left out."""
    while get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    if get_origin(annotation) in (Union, types.UnionType):
        some = [one for one in get_args(annotation) if one is not type(None)]
        if len(some) == 1:
            return _bare(some[0])
    return annotation


def members(annotation: Any) -> dict[str, type[BaseModel]]:
    """{key that tells the kind: model} of a union in which a key tells the kind, else nothing."""
    bare = _bare(annotation)
    if get_origin(bare) not in (Union, types.UnionType):
        return {}
    result: dict[str, type[BaseModel]] = {}
    for one in get_args(bare):
        tags = [extra for extra in getattr(one, "__metadata__", ()) if isinstance(extra, Tag)]
        if tags:
            result[tags[0].tag] = _bare(one)
    return result


def step(annotation: Any, part: str | int) -> Any:
    """The annotation one step further down a path of pydantic's `loc`; None where there is none."""
    kinds = members(annotation)
    if kinds:
        return kinds.get(str(part))
    bare = _bare(annotation)
    if isinstance(bare, type) and issubclass(bare, BaseModel):
        field = bare.model_fields.get(str(part))
        return field.annotation if field else None
    if get_origin(bare) is dict:
        return get_args(bare)[1]
    if get_origin(bare) is list:
        return get_args(bare)[0]
    return None


def resolve(loc: Where) -> tuple[Where, Any]:
    """(path in the user's file, annotation there) of a `loc`, which also names kinds and '[key]'."""
    annotation: Any = Pad
    path: list[str | int] = []
    for part in loc:
        if part == "[key]":
            break
        kinds = members(annotation)
        if kinds and part in kinds:
            annotation = kinds[str(part)]
            continue
        path.append(part)
        annotation = step(annotation, part)
    return tuple(path), annotation


def keys_at(annotation: Any) -> list[str]:
    """The keys that a mapping of this type may have; nothing when the user names them."""
    bare = _bare(annotation)
    return list(bare.model_fields) if isinstance(bare, type) and issubclass(bare, BaseModel) else []


@cache
def words() -> tuple[Word, ...]:
    """Every key of the file in the order of the models, each once for every place it may stand."""
    return tuple(_words(Pad, "the file", "the file"))


def _words(model: type[BaseModel], where: str, name: str) -> Iterator[Word]:
    for key, field in model.model_fields.items():
        inner = _inner(field.annotation)
        kinds = members(inner)
        bare = _bare(field.annotation)
        choices = tuple(str(one) for one in get_args(bare)) if get_origin(bare) is Literal else ()
        says = field.description or ""
        below = ", ".join(kinds) if kinds else ", ".join(keys_at(inner))
        yield Word(key, where, says, field.is_required(), choices, below)
        place = key if where == "the file" else f"{where} / {key}"
        for tag, kind in kinds.items():
            yield from _words(kind, f"{place} ({tag})", tag)
        inner_bare = _bare(inner)
        if not kinds and isinstance(inner_bare, type) and issubclass(inner_bare, BaseModel):
            yield from _words(inner_bare, place, key)


def _inner(annotation: Any) -> Any:
    """The type that a list or a mapping of user's names holds."""
    bare = _bare(annotation)
    if get_origin(bare) is dict:
        return get_args(bare)[1]
    if get_origin(bare) is list:
        return get_args(bare)[0]
    return annotation
