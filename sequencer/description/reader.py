"""From a file to a `Pad`: every place remembered, words kept as written, all findings in one pass.

Characters, then YAML, then shape, then names, then what fits its field. A part that is wrong is set
aside so that the rest is still looked at; its name stays known, so that nothing is reported twice.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from sequencer.description import shape
from sequencer.description.characters import decode, look, read_bytes
from sequencer.description.pad import Pad
from sequencer.description.resolve import check_names
from sequencer.description.tree import Tree, Where, read_tree
from sequencer.errors import Finding, Place, UnusableFile

_MOST = 300  # findings shown of one file
_STAND_INS: dict[str, Any] = {"title": "untitled", "revision": "0", "scan": "20 ms", "pressures": "gauge"}
_SECTIONS = ("inputs", "outputs", "conditions", "states", "trips", "inhibits", "interlocks", "site", "cards", "drills")


def load(path: str | Path) -> Pad:
    """Read a file; raises UnusableFile with every finding of the file."""
    return loads(decode(read_bytes(Path(path)), str(path)), str(path))


def loads(text: str, file: str = "text") -> Pad:
    """Read a text; raises UnusableFile with every finding."""
    seen = look(text, file)
    tree = read_tree(seen)
    found = [*seen.findings, *tree.findings]
    if not isinstance(tree.data, dict) or not tree.data and not tree.broken:
        if not found:
            found.append(_nothing(tree, text, file))
        raise _refusal(found, file)
    pad, more, aside = _shaped(tree)
    found += more
    if pad is not None:
        found += check_names(pad, tree, aside)
    if pad is None or any(one.severity == "error" for one in found):
        raise _refusal(found, file)
    pad._places.update(tree.places)
    pad._tree, pad._remarks = tree, tuple(sorted(found, key=_order))
    pad._file, pad._text = file, text
    return pad


def _nothing(tree: Tree, text: str, file: str) -> Finding:
    what = "the file is empty" if not text.strip() else "the file holds no keys"
    return Finding("no-description", "error", Place(file, 1, 1), what, "KEY: VALUE lines; the first is 'title: …'", "run `begin` for a first file")


def _order(finding: Finding) -> tuple[int, int, str]:
    return (finding.place.line, finding.place.column, finding.name)


def _refusal(found: list[Finding], file: str) -> UnusableFile:
    unique = sorted(dict.fromkeys(found), key=_order)
    shown = tuple(unique[:_MOST])
    more = f" (the first {_MOST} are shown)" if len(unique) > _MOST else ""
    count = "1 finding" if len(unique) == 1 else f"{len(unique)} findings"
    return UnusableFile(f"{file}: {count}{more}; nothing was done", shown)


def _shaped(tree: Tree) -> tuple[Pad | None, list[Finding], set[Where]]:
    """(pad, findings, what was set aside): wrong parts are taken out until the rest validates."""
    data: dict[str, Any] = dict(tree.data)
    found: list[Finding] = []
    aside: set[Where] = {(name,) for name in tree.broken}
    for name in tree.broken & {*_STAND_INS, *_SECTIONS}:
        data[name] = _STAND_INS.get(name, {})
    first = True
    for _ in range(8):
        try:
            return Pad.model_validate(data, context=_context(data)), found, aside
        except ValidationError as error:
            told = shape.findings(error, tree)
            if first:
                found += told
            first = False
            for path, kind in shape.paths(error):
                data = _without(data, path, kind, aside)
            if not data.get("states"):
                return None, found or told, aside
    return None, found or told, aside


def _context(data: dict[str, Any]) -> dict[str, Any]:
    """What single texts need to know of the whole file."""
    site = data.get("site")
    lines = [name for name, part in site.items() if isinstance(part, dict) and "line" in part] if isinstance(site, dict) else []
    pressures = data.get("pressures")
    return {"pressures": pressures if pressures in ("gauge", "absolute") else "gauge", "lines": frozenset(lines)}


def _without(data: dict[str, Any], path: Where, kind: str, aside: set[Where]) -> dict[str, Any]:
    """The data without the smallest part that can be missing and holds `path`."""
    data = dict(data)
    top = str(path[0]) if path else ""
    if len(path) >= 2 and kind == "extra_forbidden" and _drop_key(data, path):
        return data
    aside.add(path[:2])
    if len(path) >= 2 and isinstance(data.get(top), dict) and top != "crew":
        data[top] = {key: value for key, value in data[top].items() if key != path[1]}
    elif len(path) >= 2 and isinstance(data.get(top), list):
        data[top] = [one for at, one in enumerate(data[top]) if at != path[1]]
    elif top in _STAND_INS:
        data[top] = _STAND_INS[top]
    elif top in ("inputs", "outputs") or (top == "states" and len(path) == 1):
        data[top] = {}
    else:
        data.pop(top, None)
    return data


def _drop_key(data: dict[str, Any], path: Where) -> bool:
    """Take one unknown key out of a nested mapping, copying the way to it."""
    at: Any = data
    for part in path[:-1]:
        try:
            inner = at[part]
        except (KeyError, IndexError, TypeError):
            return False
        if not isinstance(inner, dict | list):
            return False
        at[part] = inner.copy()
        at = at[part]
    if isinstance(at, dict) and path[-1] in at:
        del at[path[-1]]
        return True
    return False
