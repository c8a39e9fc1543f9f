"""The table of slips in words, right at 80 columns."""

from __future__ import annotations

import textwrap

from sequencer.crew.slips import KINDS, Slips, by_line
from sequencer.crew.words import spoken

WIDTH = 80
SHORT = {
    "broken": "BROKEN", "trips": "trips", "refused": "refused", "seen": "seen", "other way": "other way", "no change": "no change",
    "people only": "-",
}  # fmt: skip
LEGEND = (
    "BROKEN: an interlock is broken, nothing stops it before. trips: the box goes to its safe side. refused: the box does "
    "not go on. seen: the crew sees it on a dial. other way: the box goes another way, no rule broken. no change: nothing "
    "notices. -: nothing in the model."
)


def slips_text(table: Slips) -> str:
    """Blind spots, the table, what only people prevent, what nothing would miss, the verdict."""
    out = [f"{table.title}: every line done wrong", *_wrap("Blind to: " + table.blind), ""]
    if table.nominal:
        out += _wrap(f"The plain day itself does not go through: {table.nominal}") + [""]
    out.append(f"{'no.':>3} {'line':<25}" + "".join(f"{kind:<10}" for kind in KINDS).rstrip())
    for number, _, do, slips in by_line(table):
        cells = "".join(f"{SHORT[slips[kind].result] if kind in slips else '':<10}" for kind in KINDS).rstrip()
        out.append(f"{number:>3} {textwrap.shorten(do, 24, placeholder='…'):<25}{cells}")
    out += [*_wrap(LEGEND), ""]
    out.append("Hazards that only a human step prevents")
    for slip in table.only_people:
        _, who, do = next(line for line in table.lines if line[0] == slip.number)
        out += _wrap(f"{slip.kind} {slip.number} ({spoken(who)}: {do}): {slip.says}", "  ", "    ")
    out += [] if table.only_people else ["  none found"]
    out += ["", "Lines that nothing would miss when skipped"]
    out += _wrap(", ".join(map(str, table.unmissed)) or "none", "  ", "  ")
    out += ["", "What was done about the rest"]
    for slip in table.slips:
        if slip.result in ("trips", "refused", "seen", "other way"):
            out += _wrap(f"{slip.kind} {slip.number}: {slip.says}", "  ", "    ")
    asked = [slip for slip in table.slips if slip.asked]
    out += ["", "Verdict: " + ("pass: no interlock that must withstand a slip was broken by one." if table.passed else "fail.")]
    for slip in asked:
        out += _wrap(f"{slip.kind} {slip.number} breaks {', '.join(slip.asked)}, which must withstand a slip", "  ", "    ")
    return "\n".join(out)


def _wrap(text: str, first: str = "", later: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=later or first, break_on_hyphens=False)
