"""What pydantic reports, told in the user's terms: the place, the text, what is due, how to mend it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from sequencer.description import vocabulary
from sequencer.description.spelling import nearest
from sequencer.description.tree import Tree, Where
from sequencer.errors import Finding, Place

_EMPTY = "write it, or leave the key out if it may be left out"


def findings(error: ValidationError, tree: Tree) -> list[Finding]:
    """One finding for each thing that pydantic reports."""
    return [_finding(one, tree) for one in error.errors()]


def paths(error: ValidationError) -> list[tuple[Where, str]]:
    """(path in the file, kind of error) of each report."""
    return [(vocabulary.resolve(tuple(one["loc"]))[0], str(one["type"])) for one in error.errors()]


def trail(path: Where) -> str:
    """A path as people write it: 'states / armed / leave / 2nd'."""
    if not path:
        return "the file"
    return " / ".join(f"number {part + 1}" if isinstance(part, int) else str(part) for part in path)


def _finding(error: Any, tree: Tree) -> Finding:
    loc = tuple(error["loc"])
    path, annotation = vocabulary.resolve(loc)
    kind, value, context = error["type"], error.get("input"), error.get("ctx", {})
    place = tree.place(path)
    if kind == "refused":
        return _refused(error, tree, path, loc)
    if kind == "extra_forbidden":
        return _unknown(tree, path, loc, place)
    if kind == "missing":
        return _missing(path, annotation, tree)
    if kind == "no_kind":
        return _no_kind(path, loc, value, place)
    if kind == "literal_error":
        known = [str(one).strip("'") for one in str(context.get("expected", "")).replace(" or ", ", ").split(", ")]
        near = nearest(str(value), known)
        mend = f"write '{near}'" if near else f"write one of: {', '.join(known)}"
        return Finding("wrong-word", "error", place, f"'{_short(value)}' at {trail(path)} is not a word known here", ", ".join(known), mend)
    if kind in ("dict_type", "model_type", "model_attributes_type", "list_type"):
        what = "a list [ ]" if kind == "list_type" else "a mapping of KEY: VALUE"
        mend = _EMPTY if value == "" else ("write [ ] around it" if kind == "list_type" else f"write its keys below it: {', '.join(vocabulary.keys_at(annotation)[:8])}".rstrip(": "))
        return Finding("wrong-shape", "error", place, f"{_what(value)} stands at {trail(path)}", what, mend)
    if kind in ("too_short", "too_long"):
        least, most = context.get("min_length"), context.get("max_length")
        required = f"at least {least}" if kind == "too_short" else f"at most {most}"
        return Finding("wrong-count", "error", place, f"{context.get('actual_length', 0)} entries at {trail(path)}", f"{required} entries", "add or take out entries")
    return Finding("wrong-value", "error", place, f"'{_short(value)}' at {trail(path)}: {error['msg']}", "", "compare with an example")


def _refused(error: Any, tree: Tree, path: Where, loc: Where) -> Finding:
    context = error.get("ctx", {})
    found, offset = str(context.get("found", "")), int(context.get("offset", 0))
    value = error.get("input")
    if loc and loc[-1] == "[key]":
        place = tree.keys.get(path, tree.place(path))
        return Finding("wrong-name", "error", place, f"the name {found}", context.get("required", ""), context.get("mend", ""))
    place = tree.within(path, value, offset) if isinstance(value, str) else tree.place(path)
    name = "nothing-written" if value == "" else "not-understood"
    return Finding(name, "error", place, f"{found} (at {trail(path)})", context.get("required", ""), context.get("mend", ""))


def _unknown(tree: Tree, path: Where, loc: Where, place: Place) -> Finding:
    _, parent = vocabulary.resolve(loc[:-1])
    known = vocabulary.keys_at(parent)
    key = str(path[-1]) if path else ""
    place = tree.keys.get(path, place)
    where = trail(path[:-1])
    near = nearest(key, known)
    required = f"one of: {', '.join(known)}"
    if ":" in key:
        head, _, rest = key.partition(":")
        return Finding("unknown-key", "error", place, f"'{key}' in {where} has no space after its colon", required, f"write '{head}: {rest}'")
    if near:
        full = trail((*path[:-1], near))
        return Finding("unknown-key", "error", place, f"'{key}' in {where} is not a key known there", required, f"write '{near}' ({full})")
    if key[:1].isdigit():
        mend = "write the decimal point as a full stop; inside { } a comma starts the next key"
        return Finding("unknown-key", "error", place, f"'{key}' in {where} is not a key known there: a comma stands before it", required, mend)
    homes = sorted({word.where for word in vocabulary.words() if word.key == key})
    mend = f"'{key}' belongs in: {'; '.join(homes[:4])}" if homes else f"take it out, or write one of: {', '.join(known)}"
    return Finding("unknown-key", "error", place, f"'{key}' in {where} is not a key known there", required, mend)


def _missing(path: Where, annotation: Any, tree: Tree) -> Finding:
    parent, key = path[:-1], str(path[-1])
    says = next((word.says for word in vocabulary.words() if word.key == key), "")
    # a misspelt neighbour is reported on its own; the parent is where the key has to be added
    return Finding("missing-key", "error", tree.place(parent), f"'{key}' is missing in {trail(parent)}", f"{key}: {says}", f"write '{key}: …' there")


def _no_kind(path: Where, loc: Where, value: Any, place: Place) -> Finding:
    _, annotation = vocabulary.resolve(loc)
    known = list(vocabulary.members(annotation))
    if not isinstance(value, Mapping):
        return Finding("wrong-shape", "error", place, f"{_what(value)} stands at {trail(path)}", f"a mapping with one of the keys {', '.join(known)}", "write its keys below it")
    for key in value:
        near = nearest(str(key), known)
        if near:
            return Finding("no-kind", "error", place, f"'{key}' in {trail(path)} does not say what this is", f"one of the keys {', '.join(known)}", f"write '{near}'")
    return Finding("no-kind", "error", place, f"it is not said what {trail(path)} is", f"one of the keys {', '.join(known)}", "write the key that says what it is")


def _what(value: Any) -> str:
    if value == "":
        return "nothing"
    if isinstance(value, str):
        return f"the text '{_short(value)}'"
    return "a list" if isinstance(value, list) else "a mapping" if isinstance(value, dict) else "something else"


def _short(value: Any) -> str:
    text = str(value) if isinstance(value, str) else _what(value)
    return text if len(text) <= 60 else text[:57] + "…"
