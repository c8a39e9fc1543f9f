"""`spread FILE`: many launches with the file's tolerances drawn, and how their results spread."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.files import PICTURES, to_write
from sequencer.cli.shared import (
    Ended,
    FileArgument,
    JsonOption,
    SeedOption,
    Verdict,
    counted,
    emit_json,
    progress,
)
from sequencer.errors import SequencerError


def command(
    file: FileArgument,
    runs: Annotated[int, typer.Option("--runs", metavar="N", min=1, help="How many launches.")] = 1000,
    seed: SeedOption = 0,
    whole_day: Annotated[bool, typer.Option("--whole-day", help="From power-on, in place of the launch leg alone.")] = False,
    phase: Annotated[str | None, typer.Option("--from", metavar="PHASE", help="Begin the leg at this phase of the crew.")] = None,
    story: Annotated[int | None, typer.Option("--story", metavar="NUMBER", help="Tell one run of the trial by itself.")] = None,
    plot: Annotated[Path | None, typer.Option("--plot", metavar="PICTURE", help="Draw distributions and drivers (.svg or .png).")] = None,
    csv: Annotated[Path | None, typer.Option("--csv", metavar="TABLE", help="Write every run: drawn values and results.")] = None,
    json: JsonOption = False,
) -> Ended:
    """Repeat a launch over the tolerances and show how its results spread.

    Values with a range are drawn evenly to each side of the nominal one. It certifies nothing: chances hold for this model.
    Exit code 1 when some run tripped, hung up or stopped.
    """
    import os

    from sequencer.description import load
    from sequencer.trials.spread import spread

    to_write("--plot", plot, *PICTURES)
    to_write("--csv", csv)
    if whole_day and phase is not None:
        raise SequencerError("--whole-day begins at power-on; give it or --from PHASE, not both")
    pad = load(str(file))
    if story is not None:
        from sequencer.trials.show import tell

        print(tell(pad, seed, story, whole_day, phase))
        return Ended()
    found = spread(pad, runs, seed=seed, whole_day=whole_day, phase=phase, cores=os.cpu_count() or 1, progress=_progress)
    if csv is not None:
        from sequencer.trials.show import table_of

        csv.write_text(table_of(found), encoding="utf-8")
    if plot is not None:
        from sequencer.report.plot_spread import plot_spread

        plot_spread(found, plot)
    verdict = Verdict.of(not any(event.chance.count for event in found.events))
    if json:
        from sequencer.trials.show import for_json

        emit_json("spread", file, verdict, for_json(found))
    else:
        from sequencer.trials.show import show

        print("\n".join(show(found)))
        for what, where in (("drawn", plot), ("written", csv)):
            if where is not None:
                print(f"{what}: {where}")
    events = ", ".join(f"{one.name} in {one.chance.count}" for one in found.events if one.chance.count)
    return Ended.of(verdict, f"{counted(found.runs, 'launch', 'launches')}: {events or 'none tripped, hung up or stopped'}")


def _progress(done: int, of: int) -> None:
    """The line of progress on a terminal; a line for each piece done elsewhere."""
    progress(f"{done} of {of} runs" if done < of else "")
    if not sys.stderr.isatty() and 0 < done < of:
        print(f"{done} of {of} runs", file=sys.stderr, flush=True)
