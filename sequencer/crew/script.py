"""A rehearsal from a written script: the same orders as by hand, with waits between them.

One order a line, '#' begins a remark. Besides the orders of orders.py: `wait TIME`, `wait for STATE [at most TIME]`,
`next N` (the next N lines of the checklist, each when the box is ready for it), `next until STATE`, `end`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from sequencer.crew.rehearsal import Rehearsal
from sequencer.errors import SequencerError
from sequencer.quantities import QuantityError, parse

LONGEST_MS = 600_000
ANSWER_MS = 1_000
BREATH_MS = 500


def play(rehearsal: Rehearsal, text: str, name: str = "script", heard: Callable[[], None] = lambda: None) -> bool:
    """Play a whole script; `heard` is called after every order. True when it reached its end, False when a wait ran out.

    Raises SequencerError with file and line for an order that is not understood.
    """
    for number, line in enumerate(text.splitlines(), 1):
        words = line.split("#")[0].strip()
        if not words:
            continue
        if words == "end":
            return True
        try:
            went = _line(rehearsal, words, heard)
        except SequencerError as error:
            raise SequencerError(f"{name}:{number}: {error.message}", error.findings) from error
        heard()
        if not went:
            rehearsal.say("script", f"line {number} '{words}' waited in vain; the box shows {rehearsal.state or 'nothing'}")
            heard()
            return False
    return True


def _line(rehearsal: Rehearsal, words: str, heard: Callable[[], None]) -> bool:
    waited = re.fullmatch(r"wait for ([a-z][a-z0-9_]*)(?: at most (.+))?", words)
    if waited:
        if waited[1] not in rehearsal.pad.states:
            raise SequencerError(f"'{waited[1]}' is no state; states are {', '.join(rehearsal.pad.states)}")
        return rehearsal.until(waited[1], _ms(waited[2]) if waited[2] else LONGEST_MS)
    if words.startswith("wait "):
        rehearsal.advance(_ms(words.removeprefix("wait ")))
        return True
    several = re.fullmatch(r"next (\d+|until ([a-z][a-z0-9_]*))", words)
    if several is None and words != "next":
        rehearsal.order(words)
        rehearsal.advance(rehearsal.session.table.scan_ms)
        return True
    target = several[2] if several and several[2] else ""
    if target and target not in rehearsal.pad.states:
        raise SequencerError(f"'{target}' is no state; states are {', '.join(rehearsal.pad.states)}")
    count = int(several[1]) if several and not target else 1
    for _ in _rounds(rehearsal, count, target):
        went = next_line(rehearsal)
        heard()
        if not went:
            return False
    return not target or rehearsal.state == target


def _rounds(rehearsal: Rehearsal, count: int, target: str) -> Iterator[int]:
    done = 0
    while rehearsal.progress.next is not None and (rehearsal.state != target if target else done < count):
        yield done
        done += 1


def next_line(rehearsal: Rehearsal) -> bool:
    """One line of the checklist as the crew means it: when the box is ready, with every answer, to its end.

    False when the box does not come to the state the line wants.
    """
    number = rehearsal.progress.next
    if number is None:
        return True
    step = rehearsal.pad.crew.steps[number - 1]
    if step.during is not None and not rehearsal.until(step.during, LONGEST_MS):
        return False
    if step.wait is not None:
        rehearsal.advance(round(step.wait.si * 1000))
    rehearsal.order("next")
    while rehearsal.progress.next == number:
        rehearsal.advance(ANSWER_MS)
        rehearsal.order("next")
    while rehearsal.busy:
        rehearsal.advance(rehearsal.session.table.scan_ms)
    rehearsal.advance(BREATH_MS)
    return step.wait_for is None or rehearsal.state == step.wait_for or rehearsal.visited(step.wait_for, number)


def _ms(text: str) -> int:
    try:
        return round(parse(text, "time").si * 1000)
    except QuantityError as error:
        raise SequencerError(f"{error.message}; required: {error.required}") from error
