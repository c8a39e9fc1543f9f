"""A run as a story for a terminal: time, state, who, what, and why each move fired."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from sequencer.simulation.result import Judged, Line, Run

WIDTH = 80
_TIME, _STATE, _WHO = 9, 14, 15


def story(run: Run, width: int = WIDTH) -> str:
    """The whole story with its head and its end."""
    return "\n".join([*_head(run, width), "", *_lines(run, width), "", *ending(run, width)])


def _head(run: Run, width: int) -> Iterator[str]:
    yield from _wrapped(f"{run.title}: {run.story_name.replace('_', ' ')} run, seed {run.seed}, scan {run.scan_ms} ms", width)
    yield from _wrapped(f"Blind to: {run.blind}", width)
    yield from _wrapped(run.pressures, width)


def _lines(run: Run, width: int) -> Iterator[str]:
    yield f"{'time':>{_TIME}}  {'state':{_STATE}}{'who':{_WHO}}what"
    state: str | None = None
    for line in run.lines:
        shown = line.state if line.state != state else ""
        if line.kind != "act":
            state = line.state
        yield from _line(line, shown or ("-" if not line.state and shown != line.state else ""), width)


def _line(line: Line, state: str, width: int) -> Iterator[str]:
    indent = _TIME + 2 + _STATE + _WHO
    if line.kind == "act":
        who, what, time, state = "", f"- {line.what}", f"{line.ms / 1000:.2f}", ""
    else:
        mode = line.why[0].partition(": ")[2] + ": " if line.kind == "fault" and line.why else ""
        marks = {"fault": f"FAULT {mode}", "rule": "BROKEN "}
        who, what, time = line.who, marks.get(line.kind, "") + line.what, f"{line.ms / 1000:.2f}"
    label = f"{time:>{_TIME - 2}} s  {_cut(state, _STATE)}{_cut(who, _WHO)}"
    yield from textwrap.wrap(what, width, initial_indent=label, subsequent_indent=" " * indent, break_on_hyphens=False)
    if line.why and line.kind == "box":
        deep = " " * (_TIME + 2)
        text = "because " + "; ".join(line.why)
        yield from textwrap.wrap(text, width, initial_indent=deep, subsequent_indent=deep + "        ", break_on_hyphens=False)


def _cut(text: str, room: int) -> str:
    """The text in its column; a longer one keeps a space behind it."""
    return f"{text:{room}}" if len(text) < room else text + " "


def ending(run: Run, width: int = WIDTH) -> list[str]:
    """Interlocks, first-out, where it ended, the verdict, and what a run is blind to."""
    lines = ["Interlocks in this run"]
    for judged in run.judged:
        lines += textwrap.wrap(_judged(judged), width, initial_indent="  ", subsequent_indent=" " * 18, break_on_hyphens=False)
    if not run.judged:
        lines.append("  the file has none")
    if run.faults:
        lines += _wrapped(f"Faults: {', '.join(run.faults)}", width)
    lines.append(f"First-out: {'trip ' + run.first_out if run.first_out else 'no trip fired'}")
    people = "people allowed on the pad" if run.people_allowed else "people keep out"
    where = f"in {run.state_at_end}, {people}" if run.state_at_end else "with the box off, people keep out"
    lines += _wrapped(f"Ended at {run.ended_ms / 1000:.2f} s {where}.", width)
    for reason in run.against:
        lines += textwrap.wrap(reason, width, initial_indent="Against it: ", subsequent_indent=" " * 12, break_on_hyphens=False)
    lines += _wrapped(f"Verdict: {run.verdict}. {run.blind}", width)
    return lines


def _judged(judged: Judged) -> str:
    text = f"{judged.outcome:16}{judged.name}"
    if judged.ms is not None:
        text += f" at {judged.ms / 1000:.2f} s"
    if judged.measured_ms is not None:
        text += f" (longest {judged.measured_ms} ms)"
    if judged.says:
        text += f": {judged.says}"
    if judged.outcome == "broken" and not judged.asked:
        text += " [it is not asked to withstand as many faults or slips as this run has]"
    if judged.waived:
        text += f" [waived: {judged.waived}]"
    return text


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="  ", break_on_hyphens=False)
