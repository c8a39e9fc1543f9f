"""What the three columns of a rehearsal say, as plain lines of words and numbers; the plain mode says the same."""

from __future__ import annotations

import textwrap

from sequencer.crew.belief import Belief
from sequencer.crew.rehearsal import Rehearsal, Said
from sequencer.crew.words import clock, spoken
from sequencer.description.crew import Step

AHEAD = 2


def moment(ms: int) -> str:
    """Time of the run as minutes and seconds."""
    minutes, seconds = divmod(ms // 1000, 60)
    return f"{minutes}:{seconds:02d}"


def believes(told: Belief) -> list[str]:
    """The box: state, what it means, lamps, people, time in state, readings, and what it waits for."""
    if not told.state:
        return ["no state shown", told.says, "people: keep out"]
    lines = [f"{spoken(told.state).upper()} for {clock(told.seconds)}", told.says, f"people: {told.people}; {told.lamps}"]
    lines += grouped(told.readings)
    lines.append("waits for")
    for way in told.exits:
        lacking = list(way.missing)
        if way.in_seconds > 0:
            lacking.append(f"{clock(way.in_seconds)} more")
        lines.append(f"- to {spoken(way.to)}: {'; '.join(lacking) if lacking else 'now'}")
    return lines


def grouped(readings: tuple[tuple[str, str], ...]) -> list[str]:
    """The readings, one line for each unit: 'bar: lower a 0.02, lower b 0.01'."""
    units: dict[str, list[str]] = {}
    for name, text in readings:
        number, _, unit = text.partition(" ")
        units.setdefault(unit, []).append(f"{spoken(name)} {number}")
    return [f"{unit + ': ' if unit else ''}{', '.join(items)}" for unit, items in units.items()]


def heard(said: list[Said]) -> list[str]:
    """What was said and done."""
    return [f"{moment(one.ms)} {one.who + ': ' if one.who else ''}{one.what}" for one in said]


def comes_next(rehearsal: Rehearsal) -> list[str]:
    """The card of the present state if it has one, and the next lines of the checklist."""
    pad, state = rehearsal.pad, rehearsal.state
    lines: list[str] = []
    for name, card in pad.cards.items():
        if state in card.states and state != pad.first_state:
            lines += [f"CARD {spoken(name).upper()}", *(f"{i}. {step}" for i, step in enumerate(card.steps, 1))]
            lines += [f"wait at least {card.wait.text}"] if card.wait else []
            lines.append("")
    number = rehearsal.progress.next
    if number is None:
        return [*lines, "every line is done"]
    silent = rehearsal.progress.silent()
    if silent:
        lines.append(f"POLL, silent: {', '.join(map(spoken, silent))}")
    lines += _line(number, pad.crew.steps[number - 1], state)
    for later in range(number + 1, min(number + AHEAD, len(pad.crew.steps)) + 1):
        step = pad.crew.steps[later - 1]
        lines.append(f"then {later} {spoken(step.who)}: {step.do}")
    return lines


def _line(number: int, step: Step, state: str) -> list[str]:
    lines = [f"line {number}: {spoken(step.who)}", step.do]
    if step.see:
        lines.append(f"see: {step.see}")
    if step.limit:
        lines.append(f"limit: {step.limit}")
    if step.during:
        ready = "the box is there" if step.during == state else "NOT YET"
        lines.append(f"box must show {spoken(step.during)}: {ready}")
    if step.wait:
        lines.append(f"wait {step.wait.text} first")
    if step.wait_for:
        lines.append(f"until {spoken(step.wait_for)}")
    return lines


def fold(lines: list[str], width: int) -> list[str]:
    """Every line wrapped to `width`, continued lines indented."""
    folded: list[str] = []
    for line in lines:
        folded += textwrap.wrap(line, max(width, 8), subsequent_indent="  ", break_on_hyphens=False) or [""]
    return folded


def tail(lines: list[str], width: int, height: int) -> list[str]:
    """The last `height` lines after wrapping."""
    return fold(lines, width)[-max(height, 1) :]
