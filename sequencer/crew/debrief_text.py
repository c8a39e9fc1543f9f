"""The debrief in words, right at 80 columns, and several evenings side by side."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from sequencer.crew.debrief import LINE_MS, POLL_MS, STOP_MS, Debrief
from sequencer.crew.words import clock, spoken

WIDTH = 80


def debrief_text(one: Debrief, *, replay: bool = False) -> str:
    """The whole debrief; `replay` adds everything that was said, done and true, in order of time."""
    out = [f"{one.title}: debrief of the rehearsal of {one.date}", *_wrap(one.blind), ""]
    if one.torn:
        out += _wrap("The record ends in the middle of a line: the program was killed. Everything before it is here.")
    out += _wrap(f"What was true: {_truth(one)}")
    out += _wrap(f"It ended after {clock(one.ended_ms / 1000)} in {one.state_at_end or 'no state, the box was off'}.")
    out += ["", "Lines of the checklist", f"  done             {one.lines_done} of {one.lines_all}"]
    out += [f"  {word:<16} {_numbers(items)}" for word, items in (
        ("skipped", one.skipped), ("out of order", one.disordered), ("in wrong state", one.wrong_state))]  # fmt: skip
    out += ["", "Buttons that were not taken"]
    out += [line for text in one.too_early for line in _wrap(text, "  ", "    ")] or ["  none"]
    out += ["", "Done that is on no line of the checklist"]
    out += [f"  {ms / 1000:8.1f} s  {spoken(who) or 'someone'}: {spoken(what)}" for ms, who, what in one.extra] or ["  none"]
    out += ["", f"Times by role (target {LINE_MS // 1000} s a line, {POLL_MS // 1000} s a poll)"]
    out.append(f"  {'role':<16}{'lines':>6}{'median':>9}{'slowest':>9}  over target")
    for role in one.roles:
        over = f"{role.over}, slowest line {role.slowest_line}" if role.over else "none"
        out.append(f"  {spoken(role.role):<16}{role.lines:>6}{role.median_ms / 1000:>7.1f} s{role.slowest_ms / 1000:>7.1f} s  {over}")
    out += ["", f"Stops (target {STOP_MS / 1000:g} s from the call to fill shut and dump open)"]
    out += [f"  {stop.at_ms / 1000:8.1f} s  {stop.how:<28} {_shut(stop.shut_ms)}" for stop in one.stops] or ["  none"]
    out += ["", f"Time with gas in: {clock(one.at_pressure_ms / 1000)}"]
    out += ["Calls missed: " + ("; ".join(f"line {n}: {', '.join(map(spoken, who))}" for n, who in one.silent) or "none")]
    out += ["", "People where they must not be"]
    out += [f"  {span.begin_ms / 1000:8.1f} s to {span.end_ms / 1000:.1f} s  {span.says}" for span in one.people] or ["  none"]
    out += ["", "Trips"] + ([f"  {ms / 1000:8.1f} s  {name}{' (no fault was in)' if early else ''}" for ms, name, early in one.trips] or ["  none"])
    out += ["", "Interlocks broken"]
    for rule in one.broken:
        asked = "" if rule.asked else " [more faults than it is asked to withstand]"
        out += _wrap(f"{(rule.ms or 0) / 1000:8.1f} s  {rule.name}: {rule.says}{asked}", "  ", " " * 14)
    out += ["  none"] if not one.broken else []
    if replay:
        out += ["", "Replay"]
        for line in one.story:
            out += _wrap(f"{line.ms / 1000:8.1f} s  {spoken(line.who) or line.kind}: {line.what}", "  ", " " * 14)
    out += ["", "Verdict: " + ("pass." if one.passed else "fail.")]
    for reason in one.against:
        out += _wrap(reason, "  ", "    ")
    return "\n".join(out)


def evenings(all_of: Sequence[Debrief]) -> str:
    """Several evenings, oldest first, one a line, so that a crew sees whether it improves."""
    rows = [f"{'evening':<17}{'story':<18}{'lines':>7}{'wrong':>6}{'early':>6}{'stop':>8}{'people':>8}  verdict"]
    for one in sorted(all_of, key=lambda d: d.date):
        wrong = len(one.skipped) + len(one.disordered) + len(one.wrong_state)
        stops = [stop.shut_ms for stop in one.stops]
        worst = "-" if not stops else "never" if None in stops else f"{max(s for s in stops if s is not None) / 1000:.1f} s"
        people = sum(span.end_ms - span.begin_ms for span in one.people) / 1000
        lines = f"{one.lines_done}/{one.lines_all}"
        rows.append(
            f"{one.date[:16]:<17}{(one.drill or 'the plain day')[:17]:<18}{lines:>7}{wrong:>6}{len(one.too_early):>6}{worst:>8}"
            f"{people:>6.0f} s  {'pass' if one.passed else 'fail'}"
        )
    rows.append("wrong: lines skipped, out of order or in a wrong state;")
    rows.append("early: buttons not taken; stop: slowest stop; people: how long where none may be")
    return "\n".join(rows)


def _truth(one: Debrief) -> str:
    return f"drill {one.drill}; " * bool(one.drill) + ("; ".join(one.truth) or "no fault was in") + "."


def _numbers(items: Sequence[int]) -> str:
    return ", ".join(map(str, items)) or "none"


def _shut(ms: int | None) -> str:
    return "never while recorded" if ms is None else f"{ms / 1000:.2f} s"


def _wrap(text: str, first: str = "", later: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=later or first, break_on_hyphens=False)
