"""The sheet as plain text, 80 columns, a screen per section; nothing is computed here."""

from __future__ import annotations

import dataclasses
import math
import re
import textwrap
from collections.abc import Iterator
from typing import Any

from sequencer.sizing.how_wrong import HowWrong
from sequencer.sizing.sheet import Line, Section, Sheet
from sequencer.sizing.wires import CUT, SHORTED

WIDTH = 80
_NAME, _VALUE, _WORST = 28, 14, 15
_WORDS = {"": "", "holds": "holds", "thin": "THIN", "fails": "FAILS"}


def show_sheet(sheet: Sheet) -> Iterator[str]:
    """All lines of text: what it is blind to, what is wrong or thin, every section, what was assumed."""
    yield from textwrap.wrap(f"Sizing sheet: {sheet.title}, revision {sheet.revision} ({sheet.file})", WIDTH)
    yield ""
    for text in sheet.blind:
        yield from textwrap.wrap(text, WIDTH)
    yield ""
    yield from show_first(sheet)
    yield from show_summary(sheet)
    for section in sheet.sections:
        yield ""
        yield from show_section(section)
    if sheet.assumed:
        yield ""
        yield from show_assumed(sheet)


_FIRST = (
    (r"stand-off, all people", "value", "everyone stays away at least (blast only)"),
    (r"(\w+): load (?:at working|by the jack)", "worst", "greatest load on {}"),
    (r"(.*): (\w+) empty in", "worst", "{1} empty through {0}, slowest"),
    (r"(\w+): back up if shut too soon", "value", "{} comes back up to, if shut too soon"),
    (r"(\w+): force at 'vented'", "worst", "{} still pushes at 'vented'"),
    (r"(\w+): pocket before its valve", "value", "{} stays charged up to its valve until bled"),
    (r"card (misfire|hang_up): wait", "worst", "wait after a {} at the least; the card must say so or more"),
)
"""What a safety officer asks first: the line, which of its ends, and in words."""


def show_first(sheet: Sheet) -> Iterator[str]:
    """The few numbers that keep people away, at their unfavourable ends; every one stands again in its section."""
    told = []
    for pattern, end, words in _FIRST:
        for line in sheet.lines:
            found = re.fullmatch(pattern, line.name)
            if found is not None:
                value = line.worst_shown if end == "worst" and line.worst is not None else line.shown
                told.append(f"  {value:>10}  {words.format(*found.groups())}")
    if told:
        yield "FIRST, for whoever keeps people away"
        yield from told
        yield ""


def show_summary(sheet: Sheet) -> Iterator[str]:
    """Failing and thin lines, thinnest first, with their places."""
    for word, lines in (("FAILS", sheet.judged("fails")), ("THIN", sheet.judged("thin"))):
        if lines:
            yield f"{word}: {len(lines)}"
        for line in lines:
            yield from _wrapped(f"{_times(line.margin)} {line.name}; needed: {line.against or 'see there'}", f" {line.place}" if line.place.line else "")
    if sheet.warned:
        yield f"WARNED: {len(sheet.warned)}"
        for line in sheet.warned:
            yield from _wrapped(f"{line.name}: {line.warning}", "")
    if not sheet.judged("fails"):
        yield "No margin fails in this model, with the values given and assumed."


def show_section(section: Section) -> Iterator[str]:
    """Heading, rows with value, unfavourable end and margin, and the sources by letter."""
    yield section.name
    yield "-" * len(section.name)
    yield from textwrap.wrap(section.about, WIDTH)
    if section.name.startswith((CUT, SHORTED)):
        yield from _wires(section)
        return
    sources = list(dict.fromkeys(line.source for line in section.lines))
    yield f"{'':{_NAME}}{'value':>{_VALUE}}{'worst':>{_WORST}}  {'margin':<11}source"
    for number, line in enumerate(section.lines):
        following = section.lines[number + 1].note if number + 1 < len(section.lines) else ""
        yield from _row(line, _letter(sources.index(line.source)), line.note != following)
    for number, source in enumerate(sources):
        yield from textwrap.wrap(f"{_letter(number)}  {source}", WIDTH, initial_indent=" ", subsequent_indent="    ")


def _letter(number: int) -> str:
    return "abcdefghijklmnopqrstuvwxyz"[number % 26] * (1 + number // 26)


def _times(margin: float | None) -> str:
    if margin is None:
        return ""
    if margin > 99.0:
        return ">99x"
    # rounded down: what fails by a hair must not read 1.00
    return f"{math.floor(margin * 100.0) / 100.0:.2f}x" if margin < 10.0 else f"{math.floor(margin)}x"


def _row(line: Line, letter: str, with_note: bool) -> Iterator[str]:
    margin = f"{_times(line.margin)} {_WORDS[line.judgement]}".strip()
    tail = f"{margin:<12}{letter:<1}" + (" assumed" if line.assumed else "")
    name, value = line.name, line.shown
    long = len(value) > _NAME + _VALUE - 2
    if not long and len(name) + len(value) >= _NAME + _VALUE:
        yield name
        name = ""
    room = _NAME + _VALUE - len(name)
    yield f"{name}{'' if long else value:>{room}}{line.worst_shown:>{_WORST}}  {tail}".rstrip()
    if long:
        yield from textwrap.wrap(value, WIDTH, initial_indent="    ", subsequent_indent="    ")
    said = []
    if line.worst_is and not line.brief:
        said.append(f"worst: {line.worst_is}" if line.worst is not None else line.worst_is)
    if line.against and not line.brief and line.against != f"before {line.worst_is}":
        said.append(f"needed: {line.against}")
    if line.note and with_note and not line.brief:
        said.append(_shortened(line.note))
    if said:
        yield from textwrap.wrap("; ".join(said), WIDTH, initial_indent="    ", subsequent_indent="    ")
    if line.warning:
        yield from textwrap.wrap(f"! {line.warning}", WIDTH, initial_indent="    ", subsequent_indent="      ")


def _shortened(note: str) -> str:
    """A race that is over before many moments names the first of them; the rest are counted, and stand in the JSON."""
    before, _, moments = note.partition("also before ")
    names = moments.split(", ")
    if before or len(names) <= 4:
        return note
    return f"also before {', '.join(names[:2])} and {len(names) - 2} more moments, all later (--json names them)"


def _wires(section: Section) -> Iterator[str]:
    last = ""
    for line in section.lines:
        if line.name.startswith("state "):
            yield from textwrap.wrap(f"{line.name.removeprefix('state ')} means: {line.words}", WIDTH, subsequent_indent="    ")
            continue
        if line.name != last:
            yield from textwrap.wrap(line.name, WIDTH, subsequent_indent="  ")
            last = line.name
        yield from textwrap.wrap(f"{line.note}: {line.words}", WIDTH, initial_indent="  ", subsequent_indent="    ")


def show_assumed(sheet: Sheet) -> Iterator[str]:
    """Every default the sheet leaned on: what nobody gave."""
    yield "Assumed, because nobody gave it"
    yield "-------------------------------"
    for key, text, reason in sheet.assumed:
        yield from textwrap.wrap(f"{key}: {text}; {reason}", WIDTH, subsequent_indent="    ")


def for_json(value: object) -> Any:
    """The same objects for JSON: judgements and shown texts beside the numbers, no number JSON cannot hold."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Line):
        kept = {f.name: for_json(getattr(value, f.name)) for f in dataclasses.fields(value) if f.name not in ("words", "brief")}
        return kept | {"shown": value.shown, "worst_shown": value.worst_shown, "judgement": value.judgement, "place": str(value.place)}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: for_json(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple | list):
        return [for_json(item) for item in value]
    return value


def show_how_wrong(result: HowWrong) -> Iterator[str]:
    """How far each number may be off, thinnest first."""
    yield "How wrong may each number be, before a verdict gets worse"
    yield "---------------------------------------------------------"
    yield from textwrap.wrap(f"Asked: {result.limits}.", WIDTH)
    for slack in result.slacks:
        number = slack.number
        yield from textwrap.wrap(f"{slack.thinnest:6.1%}  {number.name} = {number.text}  {number.place}", WIDTH, subsequent_indent=" " * 8,
                                 break_long_words=False)  # fmt: skip
        for word, edge in (("down to", slack.down), ("up to", slack.up)):
            if edge is not None:
                text = f"{word} {edge.value} ({edge.factor - 1.0:+z.1%}): {edge.flips}"
                yield from textwrap.wrap(text, WIDTH, initial_indent=" " * 8, subsequent_indent=" " * 10)
    rest = result.looked_at - len(result.slacks) - len(result.zeros)
    yield f"{rest} more numbers make no line worse that far; {len(result.zeros)} are zero and were not scaled."


def _wrapped(text: str, place: str) -> Iterator[str]:
    yield from textwrap.wrap(text + place, WIDTH, initial_indent="  ", subsequent_indent="      ", break_long_words=False)
