"""The checklist as Markdown that prints well: short tables, a box per line, a page break before each part."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sequencer.crew.checklist import Checklist, Line, Phase
from sequencer.crew.words import bar, clock, kgf

BREAK = '<div style="page-break-before: always"></div>'
READING_ROWS = 14


def markdown(sheet: Checklist) -> str:
    """The whole checklist; ends with a newline."""
    parts = [
        _front(sheet), _phases(sheet.phases), _cards(sheet), _lamps(sheet), _pressures(sheet), _wiring(sheet), _proposed(sheet), _log(sheet)
    ]  # fmt: skip
    return f"\n\n{BREAK}\n\n".join(part for part in parts if part) + "\n"


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A pipe table; bars and line ends in a cell are made harmless."""
    lines = ["| " + " | ".join(head) + " |", "|" + "|".join("---" for _ in head) + "|"]
    lines += ["| " + " | ".join(_cell(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines)


def _cell(text: str) -> str:
    return " ".join(text.replace("|", "\\|").split())


def _front(sheet: Checklist) -> str:
    lines = [f"# {sheet.title}: launch-day checklist", "", f"Revision {sheet.revision} · table checksum **{sheet.checksum}**"]
    lines += ["", "The box must show the same checksum. If it does not, stop here.", sheet.zero, ""]
    lines += [f"> {caution}" for caution in sheet.cautions]
    if sheet.stand_off is not None:
        off = sheet.stand_off
        lines += [
            "", f"**Stand-off: at least {off.distance}** ({off.source}; {off.energy} at most).",
            "Blast only; fragments, hoses and the vehicle go further. The site's own distance governs where it is greater.",
        ]  # fmt: skip
    if sheet.sizing_fails:
        lines += ["", f"**The sizing sheet fails: {', '.join(sheet.sizing_fails)}. Do not launch on it.**"]
    lines += [line for rule, why in sheet.waivers for line in ("", f"**The file accepts a breach of: {rule}.** Reason: {why}")]
    lines += ["", "| Place | Date | Wind | Range opened | Range closed |", "|---|---|---|---|---|", "| | | | | |", ""]
    lines += ["## Roles", ""]
    lines.append(
        table(["role", "name", "does", "holds", "may never"], [[r.name, "", r.does, r.holds, r.never] for r in sheet.roles])
    )
    lines += ["", "Anyone may call **STOP**. Only the range safety officer resumes. Say, repeat, confirm."]
    return "\n".join(lines)


def _phases(phases: tuple[Phase, ...]) -> str:
    blocks = []
    for phase in phases:
        rows = [_row(line) for line in phase.lines]
        blocks.append(f"## {phase.title}\n\n" + table(["no.", "who", "do", "see", "limit", "initials"], rows) + _poll(phase))
    return "\n\n".join(blocks)


def _row(line: Line) -> list[str]:
    do = f"**{line.do}**" + (f" (box: {line.during})" if line.during else "")
    if line.because:
        do += f"; {line.because}"
    see = line.see + (f"; **{line.hold}**" if line.hold else "")
    return [str(line.number), line.who, do, see, line.limit, ""]


def _poll(phase: Phase) -> str:
    polls = [line for line in phase.lines if line.poll]
    if not polls:
        return ""
    return "".join(
        f"\n\n### Go / no-go (line {line.number})\n\nA silent role is no go.\n\n"
        + table(["role", "go", "no go"], [[role, "☐", "☐"] for role in line.poll])
        for line in polls
    )


def _cards(sheet: Checklist) -> str:
    if not sheet.cards:
        return ""
    blocks = ["## Cards"]
    for card in sheet.cards:
        states = f" (box shows: {', '.join(card.states)})" if card.states else ""
        steps = "\n".join(f"{i}. {step} ☐" for i, step in enumerate(card.steps, 1))
        wait = f"\n\n**Wait at least {card.wait}** before anyone approaches." if card.wait else ""
        blocks.append(f"### {card.name.upper()}\n\n**When:** {card.when}{states}\n\n{steps}{wait}")
    return "\n\n".join(blocks)


def _lamps(sheet: Checklist) -> str:
    rows = [[lamp.state, lamp.lamps, "yes" if lamp.people == "allowed" else "**no**", lamp.says, lamp.moved] for lamp in sheet.lamps]
    return "## Lamp card\n\n" + table(["state", "lamps", "people on the pad", "what it means", "what the box moves"], rows)


def _pressures(sheet: Checklist) -> str:
    if not sheet.pressures:
        return ""
    rows = [
        [step.state.replace("_", " "), step.volume.replace("_", " "), bar(step.gauge), kgf(step.load) if step.load is not None else "-",
         f"{step.joules / 1000:.1f} kJ", clock(step.dump) if step.dump is not None else "-"]
        for step in sheet.pressures
    ]  # fmt: skip
    return (
        "## Pressure steps\n\n"
        + table(["state", "vessel", "pressure", "load on the head", "energy", "dump to 0.1 bar"], rows)
        + "\n\nLoad at the largest seat and least weight; dump at the slow end, gas only. Water going out first takes longer."
        + _timings(sheet)
    )


def _timings(sheet: Checklist) -> str:
    if not sheet.timings:
        return ""
    rows = [[x.what, x.usual, x.worst] for x in sheet.timings]
    return "\n\n### From the sizing sheet, from the highest pressure\n\n" + table(["what", "usual", "at worst"], rows)


def _wiring(sheet: Checklist) -> str:
    rows = [[w.terminal, w.name.replace("_", " "), w.kind, w.says, w.cut] for w in sheet.wiring]
    return "## Wiring\n\n" + table(["terminal", "name", "", "what it is", "if its wire is cut"], rows)


def _proposed(sheet: Checklist) -> str:
    if not sheet.proposed:
        return ""
    rows = [[p.where, p.do, p.because] for p in sheet.proposed]
    return "## Proposed lines\n\nNobody wrote these; the pad implies them.\n\n" + table(["where", "do", "because"], rows)


def _log(sheet: Checklist) -> str:
    head = ["time", "line", "state", *sheet.readings, "note"]
    return (
        "## Log of readings\n\n" + table(head, [[""] * len(head)] * READING_ROWS)
        + "\n\n| Signed: range safety officer | Signed: launch director | Time |\n|---|---|---|\n| | | |"
    )  # fmt: skip
