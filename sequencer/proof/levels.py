"""How much a rule withstands: minimal cut sets, the level asked for, and what was not looked at."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from sequencer.description.faults import Fault, faults
from sequencer.description.pad import Pad
from sequencer.proof.campaign import Campaign
from sequencer.proof.rates import TopEvent, top_event
from sequencer.proof.result import InterlockResult

if TYPE_CHECKING:
    from sequencer.proof.prove import Options

Cut = tuple[Fault, ...]
ELECTRICAL = ("wire cut", "shorted", "open", "floating", "lost", "stuck off", "limp", "dead")
"""What a broken or shorted wire, or a supply that is gone, does to the parts on it."""


def minimal(cuts: list[Cut]) -> list[Cut]:
    """The cut sets of which no part is one, small ones first, each once."""
    kept: list[Cut] = []
    for cut in sorted(set(cuts), key=lambda c: (len(c), [f.name for f in c])):
        if not any(set(old) <= set(cut) for old in kept):
            kept.append(cut)
    return kept


def counts(cut: Cut) -> tuple[int, int]:
    """(equipment faults, slips) of a set."""
    slips = sum(f.kind == "slip" for f in cut)
    return len(cut) - slips, slips


def within(cut: Cut, asked: tuple[int, int]) -> bool:
    """Whether a set is no more than a rule is asked to withstand."""
    equipment, slips = counts(cut)
    return equipment <= asked[0] and slips <= asked[1]


def withstands(cuts: list[Cut], most: int) -> tuple[int, int]:
    """(equipment faults alone, slips alone) that no cut set of that kind reaches, as far as was looked."""
    equipment = min([counts(c)[0] for c in cuts if counts(c)[1] == 0], default=most + 1) - 1
    slips = min([counts(c)[1] for c in cuts if counts(c)[0] == 0], default=most + 1) - 1
    return equipment, slips


def told_reach(reach: tuple[int, int], asked: tuple[int, int]) -> str:
    """What a rule withstands and what it is asked to, in words."""
    equipment, slips = (f"{n} {one}{'s' if n != 1 else ''}" for n, one in zip(reach, ("equipment fault", "slip"), strict=True))
    return f"withstands {equipment} and {slips}, asked {asked[0]} and {asked[1]}"


def against(base: InterlockResult, cuts: list[Cut], campaign: Campaign, most: int, unseen: list[Cut]) -> InterlockResult:
    """The verdict of a rule that holds without faults. unseen: sets that were not decided for it."""
    kinds = sum(len(k.faults) for k in campaign.kinds)
    reached = withstands(cuts, most)
    open_ = [c for c in unseen if within(c, base.asked)]
    red = [c for c in cuts if within(c, base.asked)]
    told = told_reach(reached, base.asked)
    if red:
        return replace(base, outcome="broken", level=f"broken by {names(red)}; {told}", withstands=reached)
    if open_ or sum(base.asked) > most:
        what = f"{len(open_)} sets of faults were not explored to the end" if open_ else f"only {most} at once were looked at"
        return replace(base, outcome="not shown", level=f"not shown: {what}", withstands=reached)
    if cuts:
        orders = {n: sum(len(c) == n for c in cuts) for n in sorted({len(c) for c in cuts})}
        sets = ", ".join(f"{n} of order {order}" for order, n in orders.items())
        level = f"holds in this model against what is asked; {told}; cut sets: {sets}"
    else:
        whole = min([len(c) for c in unseen], default=most + 1) - 1
        many = f"up to {whole} at once" if whole else "as far as they were explored"
        level = f"holds in this model against these {kinds} fault kinds, all orders, {many}"
    if unseen:
        level += f"; NOT shown for {len(unseen)} sets beyond what is asked, which were not explored to the end"
    return replace(base, level=level, withstands=reached)


def shared(pad: Pad) -> dict[str, set[str]]:
    """{common cause: names of the faults that it brings at once}: what the file declares, and parts on one wire."""
    groups: dict[str, set[str]] = {name: set(members) for name, members in pad.shared.items()}
    for name, part in [*pad.inputs.items(), *pad.outputs.items()]:
        wire = getattr(part, "wire", None)
        if wire is not None:
            groups.setdefault(f"wire {wire}", set()).update(f.name for f in faults(pad) if f.part == name and f.mode in ELECTRICAL)
    return groups


def with_common(result: InterlockResult, pad: Pad, cuts: list[Cut]) -> InterlockResult:
    """The verdict with common causes: one event that completes a cut set of several counts as one fault."""
    found = [(cause, cut) for cause, members in shared(pad).items() for cut in cuts if len(cut) > 1 and all(f.name in members for f in cut)]
    if not found:
        return result
    told = tuple(f"{cause}, one event: {' with '.join(f.name for f in cut)}" for cause, cut in found)
    result = replace(result, common=told)
    reach = result.withstands
    if reach is not None and reach[0] > 0:
        result = replace(result, withstands=(0, reach[1]))
    if result.outcome == "holds" and result.asked[0] > 0:
        level = f"broken by one event, {found[0][0]} ({' with '.join(f.name for f in found[0][1])}); apart from it: {result.level}"
        return replace(result, outcome="broken", level=level)
    return result


def top_of(pad: Pad, cuts: list[Cut]) -> TopEvent | None:
    """Probabilities from the file's rates, where it gives any; None without."""
    per_hour = {name: rate.si * 3600.0 for name, rate in pad.rates.items()}
    return top_event([tuple(f.name for f in cut) for cut in cuts], per_hour) if per_hour else None


def names(cuts: list[Cut], most: int = 4) -> str:
    shown = [" with ".join(f.name for f in cut) for cut in cuts[:most]]
    return "; ".join(shown) + (f"; and {len(cuts) - most} more" if len(cuts) > most else "")


def worth_telling(cuts: list[Cut], asked: tuple[int, int], options: Options) -> list[Cut]:
    """The cut sets that get a story: those within what is asked and, where all are wanted, then the others, small ones first."""
    red = [c for c in cuts if within(c, asked)]
    return (red + [c for c in cuts if options.beyond and c not in red])[: options.stories]


__all__ = ["against", "minimal", "shared", "with_common", "withstands", "within", "worth_telling"]
