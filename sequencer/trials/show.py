"""A trial in words, as CSV and for JSON; and one of its runs told as a story."""

from __future__ import annotations

import csv
import io
import textwrap
from typing import Any

from sequencer.description.pad import Pad
from sequencer.simulation.result import Line
from sequencer.table import compile_table
from sequencer.trials.chances import Percentile
from sequencer.trials.course import SETTLE_MS, session_from
from sequencer.trials.draw import draw, parameters
from sequencer.trials.spread import Measure, Spread, begins

_LONGEST = 90 * 60_000


def show(found: Spread) -> list[str]:
    """The trial on a screen of 80 columns."""
    assumed = sum(not p.where for p in found.parameters)
    lines = [f"{found.title}: {found.runs:,} launches with tolerances drawn, seed {found.seed}", ""]
    lines += textwrap.wrap(found.blind, 80)
    lines += ["", *textwrap.wrap(f"Runs: {found.begins}. Drawn: {len(found.parameters)} values, {assumed} of them assumed by the tool.", 80)]
    lines += ["", f"{'':34}{'unit':>5}{'5 %':>9}{'50 %':>9}{'95 %':>9}{'99 %':>9}"]
    for measure in found.measures:
        at = {p.share: p.value for p in measure.percentiles}
        numbers = "".join(f"{at[share]:z9.3f}" for share in (0.05, 0.5, 0.95, 0.99))
        lines.append(f"{_short(measure.name, 34):34}{measure.unit:>5}{numbers}")
    lines += ["", "Bounds at 95 % confidence for the 99 % value, and what each goes with (rank", "correlation; it says what goes together, not what causes what):"]
    for measure in found.measures:
        lines += textwrap.wrap(f"{measure.name}: {_bounds(measure)}", 80, initial_indent="  ", subsequent_indent="      ")
        lines += _driven(measure.drivers) or ["      goes clearly with none of the drawn values"]
    lines += ["", "How often (exact bounds of the chance at 95 % confidence, Clopper-Pearson):"]
    for event in found.events:
        c = event.chance
        lines.append(f"  {_short(event.name, 36):36}{c.count:>6} of {c.runs}   {_percent(c.low)} to {_percent(c.high)}")
        lines += _driven(event.drivers)
        if event.runs:
            lines.append(f"      e.g. --story {event.runs[0]}")
    lines += ["", "Ended in: " + ", ".join(f"{name} {count}" for name, count in found.ends)]
    return lines


def _short(text: str, width: int) -> str:
    return text if len(text) < width else text[: width - 2] + "."


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"


def _bounds(measure: Measure) -> str:
    top: Percentile = measure.percentiles[-1]
    low = "unknown" if top.low is None else f"{top.low:z.3f}"
    seen = f"seen {measure.least:z.3f} to {measure.most:z.3f} {measure.unit}"
    if top.high is None:
        return f"at least {low} {measure.unit}, too few runs to bound it above ({seen})"
    return f"{low} to {top.high:z.3f} {measure.unit} ({seen})"


def _driven(drivers: tuple[tuple[str, float], ...]) -> list[str]:
    told = ", ".join(f"{name} {rho:+z.2f}" for name, rho in drivers[:4])
    return textwrap.wrap(told, 80, initial_indent="      ", subsequent_indent="      ") if told else []


def table_of(found: Spread) -> str:
    """Every run as a line of CSV: number, drawn values (SI), results, the state it ended in. Empty: did not come about."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    units = {m.name: m.unit for m in found.measures}
    writer.writerow(
        ["run", *(f"{n} [SI]" for n in found.value_names), *(f"{n} [{units[n]}]" if n in units else n for n in found.result_names), "ended in"]
    )
    for number, (values, results, end) in enumerate(zip(found.values, found.results, found.ended_in, strict=True)):
        writer.writerow([number, *(repr(float(v)) for v in values), *("" if r != r else repr(float(r)) for r in results), end])
    return out.getvalue()


def for_json(found: Spread) -> dict[str, Any]:
    """The trial without its single runs (those are the CSV's)."""
    return {
        "title": found.title, "runs": found.runs, "seed": found.seed, "begins": found.begins, "blind": found.blind,
        "drawn": [
            {"name": p.name, "least": p.span.low, "nominal": p.span.nominal, "most": p.span.high, "given": bool(p.where)}
            for p in found.parameters
        ],
        "measures": found.measures, "events": found.events, "ended_in": dict(found.ends),
    }  # fmt: skip


def tell(pad: Pad, seed: int, number: int, whole_day: bool, phase: str | None) -> str:
    """One run of a trial by itself, as a story, with the values that were drawn furthest from nominal."""
    table = compile_table(pad)
    begin, says = begins(pad, table, whole_day, phase)
    of = parameters(pad)
    one = draw(pad, of, seed, number)
    session = session_from(one, begin, table)
    while session.ms < _LONGEST and not (session.driver.idle and session.ms >= session.last_act_ms + SETTLE_MS):
        session.tick()
    lines = [f"{pad.title}: run {number} of the trial with seed {seed}, {says}", "", "Drawn:"]
    for parameter, value in zip(of, one.values, strict=True):
        span = parameter.span
        half = (span.high - span.nominal) if value > span.nominal else (span.nominal - span.low)
        share = (value - span.nominal) / half if half > 0.0 else 0.0
        lines.append(f"  {_short(parameter.name, 44):44}{value:12.5g}   {100 * share:+z4.0f} % of the way")
    return "\n".join([*lines, "", *(_line(line) for line in session.lines)])


def _line(line: Line) -> str:
    return f"{line.ms / 1000:9.2f} s  {line.who}: {line.what}" if line.who else f"{line.ms / 1000:9.2f} s  {line.what}"
