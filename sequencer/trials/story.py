"""A campaign in words: what broke and how, what it takes, what was visited."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from sequencer.description.pad import Pad
from sequencer.trials.campaign import Campaign, Found
from sequencer.trials.drillfile import Kept, snippet
from sequencer.trials.plan import what, when
from sequencer.trials.shares import NOTHING_WRONG

WIDTH = 80


def tell(pad: Pad, campaign: Campaign, kept: tuple[Kept, ...]) -> str:
    """The whole account, at 80 columns."""
    lines = [*_head(campaign), ""]
    for number, one in enumerate(kept, 1):
        lines += [*failure(pad, one, number), ""]
    lines += [*_beyond(campaign), *_shares(campaign), "", *_verdict(campaign, kept)]
    return "\n".join(lines)


def _head(campaign: Campaign) -> Iterator[str]:
    rate = campaign.runs / max(campaign.trial_seconds, 1e-9) * 60
    yield from wrap(
        f"{campaign.title}: {campaign.runs:,} trials, seed {campaign.seed}, {campaign.simulated_seconds / 3600:,.1f} hours "
        f"of pad time in {campaign.trial_seconds:.0f} s ({rate:,.0f} trials a minute)"
    )
    yield from wrap(f"Blind to: {campaign.blind}.")
    for rule in campaign.not_watched:
        yield from wrap(f"Not watched: {rule} (waived, or beyond a run; `prove` looks at it).")
    for fault, because in campaign.left_out:
        yield from wrap(f"Left out: {fault}, because {because}")


def failure(pad: Pad, one: Kept, number: int) -> Iterator[str]:
    """One failure: what, what it takes, the story up to the breach, and the drill."""
    found, run = one.found, one.run
    broken = next((j for j in run.broken if j.name == found.rule), None)
    yield from wrap(f"{number}. BROKEN: {found.rule}. {found.says}")
    yield from wrap(f"   It takes {takes(found)}. Seen in {found.seen} trials.", "   ")
    if broken is None or broken.ms is None:
        yield from wrap("   Played again as a drill it does not break: the drill below is not the whole story.", "   ")
    else:
        yield f"   Played again as a drill it breaks at {broken.ms / 1000:.2f} s:"
        for line in run.lines:
            if line.ms > broken.ms:
                break
            why = f" ({'; '.join(line.why)})" if line.kind == "box" and line.why else ""
            mark = "FAULT " if line.kind == "fault" else ""
            yield from wrap(f"   {line.ms / 1000:8.2f} s  {line.who}: {mark}{line.what}{why}", " " * 15)
        yield from wrap(f"   {broken.ms / 1000:8.2f} s  BROKEN {found.rule}: {broken.says}", " " * 15)
    yield f"   As a drill (sequencer run FILE --drill {one.name}{f' --seed {found.plan.seed}' if found.plan.seed else ''}):"
    yield from snippet((one,), pad, 6).rstrip("\n").splitlines()


def takes(found: Found) -> str:
    """What it takes, in one clause."""
    plan = found.plan
    parts = ["the day's steps"] if plan.steps else []
    parts += [f"slip '{slip}'" for slip in plan.slips]
    parts += [f"'{what(e.action)}' {when(e.moment)}" for e in plan.acts]
    faults = [f for f in found.faults if f not in plan.slips]
    parts += [f"fault '{fault}'" for fault in faults] or ["no fault"]
    parts += [f"{name} {key} away from nominal" for name, key, _ in plan.values]
    return ", ".join(parts)


def _beyond(campaign: Campaign) -> Iterator[str]:
    more = [one for one in campaign.beyond if not one.breach.unpowered]
    dark = [one for one in campaign.beyond if one.breach.unpowered]
    if more:
        yield from wrap("Broken too, but by more faults or slips than the rule is asked to withstand (no failure):")
        yield from _short(more)
    if dark:
        yield from wrap(
            "Broken while the box has no power or starts, every output at rest (no failure; a rule about the box is judged while "
            "it runs, in the proof too; look whether the pad may stand so):"
        )
        yield from _short(dark)


def _short(found: list[Found]) -> Iterator[str]:
    for one in found:
        yield from wrap(f"  {one.rule}: {' + '.join(one.faults) or 'no fault'} ({one.seen} trials)", "    ")
    yield ""


def _shares(campaign: Campaign) -> Iterator[str]:
    yield "Visited"
    for name, share in campaign.shares.items():
        percent = 100 * share.visited // share.of if share.of else 100
        note = "  of those that can, by the proof" if name == NOTHING_WRONG else ""
        yield f"  {name:18}{share.visited:>6} of {share.of:<6}{percent:>4} %{note}"
    for name in ("states", "timeouts", "rows", NOTHING_WRONG):
        missing = campaign.shares[name].missing if name in campaign.shares else ()
        if missing:
            more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
            yield from wrap(f"  {name} not visited: {'; '.join(missing[:5])}{more}", "    ")
    if campaign.denied:
        yield from wrap(
            f"  fired with nothing wrong though the proof's search lets no behaviour fire them so, a defect of this tool, please "
            f"report it: {'; '.join(campaign.denied)}", "    ",
        )


def _verdict(campaign: Campaign, kept: tuple[Kept, ...]) -> Iterator[str]:
    if kept:
        yield from wrap(f"Verdict: fail. {len(kept)} broken within what the file asks its rules to withstand.")
    else:
        rules = ", ".join(campaign.watched) or "no rule"
        yield from wrap(f"Verdict: pass. {campaign.runs:,} trials broke none of {rules} within what it is asked to withstand; others may.")


def wrap(text: str, deeper: str = "  ") -> list[str]:
    """Lines of at most 80 columns."""
    return textwrap.wrap(text, WIDTH, subsequent_indent=deeper, break_on_hyphens=False, drop_whitespace=True)
