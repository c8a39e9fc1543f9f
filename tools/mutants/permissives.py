"""Every permissive of a file, each left out on its own: read from the parsed sentences, not from a list.

A permissive is what must be true before a step may start: every word of a way out's `once`. The only word of a way out
is its reason and not left out: without it there is no way out. Trips and inhibits are permissives turned round: every
alternative of theirs keeps something from going on. Leaving one out always lets the box do more.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from mutants.operators import Data, plain, written
from sequencer.description import terms as t
from sequencer.description.language import expression


@dataclass(frozen=True)
class Permissive:
    """One thing to leave out. kind: 'way out', 'trip' or 'inhibit'. where: its row. what: the words
    left out. text: the whole file without them."""

    kind: str
    where: str
    what: str
    text: str


def said(one: t.Expression) -> str:
    """An expression in the file's words."""
    if isinstance(one, t.Name):
        return one.name
    if isinstance(one, t.Not):
        return f"not {_bracketed(one.item)}"
    assert isinstance(one, t.And | t.Or)
    word, inner = (" and ", t.Or) if isinstance(one, t.And) else (" or ", ())
    return word.join(_bracketed(item) if isinstance(item, inner) else said(item) for item in one.items)


def _bracketed(one: t.Expression) -> str:
    return f"({said(one)})" if isinstance(one, t.And | t.Or) else said(one)


def without(one: t.Expression, joined: type[t.And] | type[t.Or]) -> Iterator[tuple[t.Expression, t.Expression | None]]:
    """(what is left out, what remains or None) for every item of every `and` (or `or`) of this expression, and the
    whole of it where it is no such list; inside a `not` the two change places."""
    other = t.Or if joined is t.And else t.And
    if isinstance(one, t.Not) and isinstance(one.item, t.And | t.Or | t.Not):
        for out, left in without(one.item, other):
            yield t.Not(out), None if left is None else t.Not(left)
    elif isinstance(one, t.And | t.Or):
        kind = type(one)
        for i, item in enumerate(one.items):
            rest = one.items[:i] + one.items[i + 1 :]
            yield from ((out, _joined(kind, rest, i, left)) for out, left in without(item, joined) if left is not None or kind is joined)
        if kind is other:
            yield one, None
    else:
        yield one, None


def _joined(kind: type[t.And] | type[t.Or], rest: tuple[t.Expression, ...], at: int, left: t.Expression | None) -> t.Expression:
    items = rest if left is None else (*rest[:at], left, *rest[at:])
    return items[0] if len(items) == 1 else kind(items)


def permissives(text: str) -> list[Permissive]:
    """All of them, in written order."""
    data, found = plain(text), []

    def made(kind: str, where: str, what: str, change: Callable[[Data], None]) -> None:
        changed = copy.deepcopy(data)
        change(changed)
        found.append(Permissive(kind, where, what, written(changed)))

    for state, body in data["states"].items():
        for number, row in enumerate(body.get("leave", [])):
            where = f"{state} to {row['go_to']}"
            if "once" in row:
                for out, left in without(expression(row["once"]), t.And):
                    if left is not None:
                        made("way out", where, said(out), _once("states", state, "leave", number, left=left))
    for section, kind in (("trips", "trip"), ("inhibits", "inhibit")):
        for name, body in data.get(section, {}).items():
            for out, left in without(expression(body["once"]), t.Or):
                if left is None:
                    made(kind, name, said(out), lambda d, s=section, n=name: d[s].pop(n))
                else:
                    made(kind, name, said(out), _once(section, name, left=left))
    return found


def _once(*path: str | int, left: t.Expression) -> Callable[[Data], None]:
    """Another `once` at this place."""

    def change(data: Data) -> None:
        row: Any = data
        for key in path:
            row = row[key]
        row["once"] = said(left)

    return change
