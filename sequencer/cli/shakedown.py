"""`shakedown FILE`: many trials under any acts, timings, faults and tolerances; failures made small and kept as drills."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.files import to_write
from sequencer.cli.shared import (
    Ended,
    FileArgument,
    JsonOption,
    SeedOption,
    Verdict,
    console,
    counted,
    emit_json,
    progress,
)
from sequencer.errors import SequencerError

if TYPE_CHECKING:
    from collections.abc import Callable

    from sequencer.trials.campaign import Budget

RUNS = 2000
EVERY_S = 10.0
"""Where standard error is no terminal, a line of progress each so often."""


def command(
    file: FileArgument,
    runs: Annotated[int | None, typer.Option("--runs", min=1, metavar="N", help=f"Number of trials (default {RUNS}, or none with --seconds).")] = None,
    seconds: Annotated[float | None, typer.Option("--seconds", min=0.1, metavar="T", help="Stop after this long; how many trials that is depends on the machine.")] = None,
    seed: SeedOption = 0,
    faults: Annotated[int | None, typer.Option("--faults", min=0, max=6, metavar="N", help="Most faults in one trial (default: one more than any rule is asked to withstand).")] = None,
    jobs: Annotated[int | None, typer.Option("--jobs", min=1, metavar="N", help="Processes to use (default: one for each processor); changes no result.")] = None,
    save: Annotated[Path | None, typer.Option("--save", metavar="FILE", help="Write a copy of the file with the failures added as drills.")] = None,
    snippet: Annotated[Path | None, typer.Option("--snippet", metavar="FILE", help="Write the failures as drills to paste under `drills:`.")] = None,
    json: JsonOption = False,
) -> Ended:
    """Run many random campaigns of crew actions and faults against the simulation.

    Every interlock is watched on the true pad. A failure is told as its smallest story and as a drill. Exit code 1 only for a
    breach within what the rule is asked to withstand.
    """  # fmt: skip
    from sequencer.description import load
    from sequencer.trials.campaign import Budget, shake
    from sequencer.trials.drillfile import copy_with, keep, write_new
    from sequencer.trials.drillfile import snippet as text_of
    from sequencer.trials.story import tell

    for option, path in (("--save", save), ("--snippet", snippet)):
        to_write(option, path)
        if path is not None and path.exists():
            raise SequencerError(f"{path}: there is a file already; nothing is overwritten, choose another name")
    pad = load(str(file))
    if not pad.interlocks:
        raise SequencerError(f"{pad.file}: the file has no interlocks, so there is nothing that could break; write some under 'interlocks:'")
    budget = Budget(RUNS if runs is None and seconds is None else runs, seconds)
    campaign = shake(pad, budget, seed=seed, jobs=jobs, most_faults=faults, beside_proof=True, told=_progress(budget))
    progress("")
    kept = keep(pad, campaign.failures)
    verdict = Verdict.of(not kept)
    if json:
        emit_json("shakedown", file, verdict, {"campaign": campaign, "drills": {k.name: {"drill": k.drill, "again": k.again} for k in kept}})
    else:
        console().print(tell(pad, campaign, kept), soft_wrap=True)
    for path, text in ((save, copy_with), (snippet, lambda pad, kept: text_of(kept, pad))):
        if path is not None and kept:
            write_new(path, text(pad, kept))
            print(f"written: {path}", file=sys.stderr)
        elif path is not None:
            print(f"nothing to keep: {path} was not written", file=sys.stderr)
    return Ended.of(verdict, f"{counted(campaign.runs, 'trial')}; {counted(len(kept), 'rule')} broken within what it is asked to withstand")


def _progress(budget: Budget) -> Callable[[int, int, int], None]:
    """The line of progress on a terminal, and now and then a line elsewhere."""
    last = time.monotonic()

    def told(runs: int, broken: int, visited: int) -> None:
        nonlocal last
        of = f" of {budget.runs:,}" if budget.runs else ""
        text = f"{runs:,}{of} trials, {visited:,} situations, {broken} rules broken"
        progress(text)
        if time.monotonic() - last >= EVERY_S and not sys.stderr.isatty():
            last = time.monotonic()
            print(text, file=sys.stderr, flush=True)

    return told
