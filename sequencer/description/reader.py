"""From text to `Pad`: YAML with every place remembered, words kept as written, all findings at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml
from pydantic import ValidationError
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from sequencer.description.pad import Pad
from sequencer.errors import Finding, Place, UnusableFile

Where = tuple[str | int, ...]


def load(path: str | Path) -> Pad:
    """Read a file; raises UnusableFile with every finding of the file."""
    name = str(path)
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        finding = Finding("unreadable-file", "error", Place(name), f"the file cannot be read: {error}")
        raise UnusableFile("unusable", (finding,)) from error
    return loads(text, name)


def loads(text: str, file: str = "text") -> Pad:
    """Read a text; raises UnusableFile with every finding."""
    findings: list[Finding] = []
    places: dict[Where, Place] = {}
    try:
        node = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        place = Place(file, mark.line + 1, mark.column + 1) if mark else Place(file)
        finding = Finding("not-yaml", "error", place, str(getattr(error, "problem", error)))
        raise UnusableFile("unusable", (finding,)) from error
    data = _plain(node, (), file, places, findings) if node else None
    if not isinstance(data, dict):
        raise UnusableFile("unusable", (Finding("no-description", "error", Place(file), "the file holds no keys"),))
    pad = None
    try:
        pad = Pad.model_validate(data, context={"pressures": data.get("pressures", "gauge")})
    except ValidationError as error:
        findings.extend(_finding(one, places, file) for one in error.errors())
    if pad is None or findings:
        raise UnusableFile(f"{file}: {len(findings)} findings; nothing was done", tuple(findings))
    pad._places.update(places)
    pad._file, pad._text = file, text
    return pad


def _plain(node: Node, path: Where, file: str, places: dict[Where, Place], findings: list[Finding]) -> Any:
    """Plain data with every scalar a text, and the place of every path."""
    places[path] = Place(file, node.start_mark.line + 1, node.start_mark.column + 1)
    if isinstance(node, ScalarNode):
        return node.value
    if isinstance(node, SequenceNode):
        return [_plain(item, (*path, i), file, places, findings) for i, item in enumerate(node.value)]
    assert isinstance(node, MappingNode)
    result: dict[str, Any] = {}
    for key, value in node.value:
        if key.value in result:
            place = Place(file, key.start_mark.line + 1, key.start_mark.column + 1)
            findings.append(Finding("repeated-key", "error", place, f"'{key.value}' is written twice", "each key once", "remove one"))
            continue
        result[key.value] = _plain(value, (*path, key.value), file, places, findings)
    return result


def _finding(error: Any, places: dict[Where, Place], file: str) -> Finding:
    context = error.get("ctx", {})
    path = tuple(error["loc"])
    at = path
    while at and at not in places:
        at = at[:-1]
    place = places.get(at, Place(file))
    if context.get("offset"):
        place = Place(place.file, place.line, place.column + context["offset"])
    return Finding(error["type"], "error", place, error["msg"], context.get("required", ""), context.get("mend", ""))
