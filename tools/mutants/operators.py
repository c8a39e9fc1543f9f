"""Mutation operators: each walks the plain data of a file (every scalar a text) and yields changed copies.

They know the file's grammar, nothing of any one file. `mutants(text)` applies every operator everywhere.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator
from typing import Any

import yaml

Data = dict[str, Any]
Mutant = tuple[str, str]
"""(what was changed, the whole file's text)"""

TIME = re.compile(r"(?<![\d.])(\d+(?:\.\d+)?) (ms|s|min)\b")
_Loader, _Dumper = getattr(yaml, "CBaseLoader", yaml.BaseLoader), getattr(yaml, "CSafeDumper", yaml.SafeDumper)
"""The quick ones where the library has them; both write the same."""
PRESSURE = re.compile(r"(?<![\d.])(\d+(?:\.\d+)?) (bar|mbar|psi)\b")


def plain(text: str) -> Data:
    """The file's data, every scalar as it is written."""
    data: Data = yaml.load(text, Loader=_Loader)
    return data


def written(data: Data) -> str:
    """Data as a file again."""
    return yaml.dump(data, Dumper=_Dumper, sort_keys=False, width=1000, allow_unicode=True)


def mutants(text: str) -> list[Mutant]:
    """Every mutant of a file, in a fixed order, no text twice, none the same data as the original."""
    data = plain(text)
    seen = {written(data)}
    found = []
    for operator in OPERATORS:
        for says, change in operator(data):
            changed = copy.deepcopy(data)
            change(changed)
            made = written(changed)
            if made not in seen:
                seen.add(made)
                found.append((f"{operator.__name__.replace('_', ' ')}: {says}", made))
    return found


Change = tuple[str, Callable[[Data], None]]


def _leaves(data: Data) -> Iterator[tuple[str, int, Data]]:
    for state, body in data["states"].items():
        for number, row in enumerate(body.get("leave", [])):
            yield state, number, row


def _onces(data: Data) -> Iterator[tuple[str, tuple[Any, ...], str]]:
    """(where, path to the mapping that holds it, the expression) of every `once`."""
    for state, number, row in _leaves(data):
        if "once" in row:
            yield f"{state} exit {number + 1}", ("states", state, "leave", number), row["once"]
    for section in ("trips", "inhibits"):
        for name, body in data.get(section, {}).items():
            yield f"{section} {name}", (section, name), body["once"]


def _at(data: Data, path: tuple[Any, ...]) -> Any:
    for key in path:
        data = data[key]
    return data


def _set(path: tuple[Any, ...], key: Any, value: Any) -> Callable[[Data], None]:
    return lambda data: _at(data, path).__setitem__(key, value)


def _drop(path: tuple[Any, ...], key: Any) -> Callable[[Data], None]:
    return lambda data: _at(data, path).__delitem__(key)


def permissive_dropped(data: Data) -> Iterator[Change]:
    for where, path, once in _onces(data):
        parts = once.split(" and ")
        for i, part in enumerate(parts):
            if len(parts) > 1:
                yield f"'{part}' of {where}", _set(path, "once", " and ".join(parts[:i] + parts[i + 1 :]))


def alternative_dropped(data: Data) -> Iterator[Change]:
    for where, path, once in _onces(data):
        parts = once.split(" or ")
        for i, part in enumerate(parts):
            if len(parts) > 1:
                yield f"'{part}' of {where}", _set(path, "once", " or ".join(parts[:i] + parts[i + 1 :]))


def literal_turned_round(data: Data) -> Iterator[Change]:
    for where, path, once in _onces(data):
        for found in re.finditer(r"(not )?\b(?!and\b|or\b|not\b)([a-z][a-z0-9_]*)", once):
            turned = found[2] if found[1] else f"not {found[2]}"
            yield f"'{found[0]}' of {where}", _set(path, "once", once[: found.start()] + turned + once[found.end() :])


def and_made_or(data: Data) -> Iterator[Change]:
    for where, path, once in _onces(data):
        if " and " in once and " or " not in once:
            yield where, _set(path, "once", once.replace(" and ", " or ", 1))
        elif " or " in once and " and " not in once:
            yield where, _set(path, "once", once.replace(" or ", " and ", 1))


def trip_missing_a_state(data: Data) -> Iterator[Change]:
    for name, trip in data.get("trips", {}).items():
        but = trip.get("everywhere_but", [])
        for state in data["states"]:
            if state not in but:
                yield f"{name} in {state}", _set(("trips", name), "everywhere_but", [*but, state])


def left_away(data: Data) -> Iterator[Change]:
    for section in ("trips", "inhibits"):
        for name in data.get(section, {}):
            yield f"{section} {name}", _drop((section,), name)
    for state, number, _ in _leaves(data):
        yield f"{state} exit {number + 1}", _drop(("states", state, "leave"), number)


def rules_swapped(data: Data) -> Iterator[Change]:
    for state, number, row in _leaves(data):
        if number:
            before = data["states"][state]["leave"][number - 1]

            def swap(d: Data, state: str = state, number: int = number, row: Data = row, before: Data = before) -> None:
                d["states"][state]["leave"][number - 1 : number + 1] = [copy.deepcopy(row), copy.deepcopy(before)]

            yield f"{state} exits {number} and {number + 1}", swap


def timer_changed(data: Data) -> Iterator[Change]:
    for state, number, row in _leaves(data):
        for key in ("not_before", "at_latest"):
            if key in row:
                for factor in (0.5, 2.0):
                    yield f"{state} exit {number + 1} {key} by {factor:g}", _set(("states", state, "leave", number), key, _scaled(TIME, row[key], factor))
                yield f"{state} exit {number + 1} {key} left away", _drop(("states", state, "leave", number), key)


def condition_time_changed(data: Data) -> Iterator[Change]:
    for name, said in data.get("conditions", {}).items():
        if TIME.search(said):
            for factor in (0.1, 10.0):
                yield f"{name} by {factor:g}", _set(("conditions",), name, _scaled(TIME, said, factor))


def threshold_changed(data: Data) -> Iterator[Change]:
    for name, said in data.get("conditions", {}).items():
        if PRESSURE.search(said):
            for factor in (0.5, 1.5):
                yield f"{name} by {factor:g}", _set(("conditions",), name, _scaled(PRESSURE, said, factor))


def sense_inverted(data: Data) -> Iterator[Change]:
    for name, part in data["inputs"].items():
        if "contact" in part:
            word = {"closes": "opens", "opens": "closes"}[part["contact"].split()[0]]
            yield name, _set(("inputs", name), "contact", f"{word} {part['contact'].split(' ', 1)[1]}")
    swaps = ((" is not ", " is "), (" is ", " is not "), (" at least ", " below "), (" below ", " at least "))
    for name, said in data.get("conditions", {}).items():
        for old, new in swaps:
            if old in said and "valid" not in said and "remembers" not in said:
                yield f"{name} {old.strip()} -> {new.strip()}", _set(("conditions",), name, said.replace(old, new, 1))
                break


def goes_elsewhere(data: Data) -> Iterator[Change]:
    states = list(data["states"])
    for state, number, row in _leaves(data):
        other = states[(states.index(row["go_to"]) + 1) % len(states)]
        yield f"{state} exit {number + 1} to {other}", _set(("states", state, "leave", number), "go_to", other)
    for name, trip in data.get("trips", {}).items():
        other = states[(states.index(trip["go_to"]) + 1) % len(states)]
        yield f"trip {name} to {other}", _set(("trips", name), "go_to", other)


def output_changed(data: Data) -> Iterator[Change]:
    for state, body in data["states"].items():
        for output in body.get("outputs", {}):
            yield f"{output} in {state} left at rest", _drop(("states", state, "outputs"), output)
    for name, output in data["outputs"].items():
        for key in ("valve", "relay"):
            if key in output:
                other = next(p for p in output[key] if p != output.get("rest"))
                yield f"rest of {name} is {other}", lambda d, name=name, key=key, other=other: d["outputs"][name].update(rest=other, **{key: d["outputs"][name][key][::-1]})  # type: ignore[misc]  # the default binds the loop's value


def people_let_in(data: Data) -> Iterator[Change]:
    for state, body in data["states"].items():
        other = "keep out" if body.get("people") == "allowed" else "allowed"
        yield f"{state}: {other}", _set(("states", state), "people", other)


def _scaled(pattern: re.Pattern[str], text: str, factor: float) -> str:
    return pattern.sub(lambda m: f"{float(m[1]) * factor:.6g} {m[2]}", text, count=1)


OPERATORS: tuple[Callable[[Data], Iterator[Change]], ...] = (
    permissive_dropped, alternative_dropped, literal_turned_round, and_made_or, trip_missing_a_state, left_away, rules_swapped,
    timer_changed, condition_time_changed, threshold_changed, sense_inverted, goes_elsewhere, output_changed, people_let_in,
)  # fmt: skip
