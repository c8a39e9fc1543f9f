"""`run FILE`: simulate a launch, a drill or a fault, and tell what happened and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.files import PICTURES, to_write
from sequencer.cli.shared import Ended, FileArgument, JsonOption, SeedOption, Verdict, counted, emit_json

if TYPE_CHECKING:
    from sequencer.simulation.result import Run


def command(
    file: FileArgument,
    drill: Annotated[str | None, typer.Option("--drill", metavar="NAME", help="A named story of the file.")] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", metavar="PART:MODE@TIME", help="A fault and when it strikes (a time or a state). Repeatable."),
    ] = None,
    seed: SeedOption = 0,
    log: Annotated[Path | None, typer.Option("--log", metavar="FILE", help="Write the box log as CSV.")] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Draw pressure, load, states and outputs (.svg or .png).")
    ] = None,
    json: JsonOption = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Only the end: interlocks, first-out, verdict.")] = False,
) -> Ended:
    """Simulate a launch, a drill or a fault, and tell what happened and why.

    The crew's steps drive the run. It shows one day in the model, not all of them: `prove` looks at every order.
    """
    from sequencer.description import load
    from sequencer.simulation.orders import fault_on_line
    from sequencer.simulation.run import simulate

    to_write("--log", log)
    to_write("--plot", plot, *PICTURES)
    pad = load(str(file))
    run = simulate(pad, [fault_on_line(pad, text) for text in fault or ()], seed=seed, crew=True, drill=drill, trace=plot is not None)
    if log is not None:
        from sequencer.table.boxlog import write

        log.write_text(write(run.log), encoding="utf-8")
    if plot is not None:
        from sequencer.report.plot_run import plot_run

        plot_run(pad, run, plot)
    verdict = Verdict(run.verdict)
    if json:
        from dataclasses import replace

        emit_json("run", file, verdict, replace(run, trace=None))
    else:
        from sequencer.report.story import ending, story

        print("\n".join(ending(run)) if quiet else story(run))
    return Ended.of(verdict, _sentence(run))


def _sentence(run: Run) -> str:
    where = f"in {run.state_at_end}" if run.state_at_end else "with the box off"
    held = sum(judged.outcome == "held" for judged in run.judged)
    return "; ".join([f"ended after {run.ended_ms / 1000:.2f} s {where}, {counted(held, 'interlock')} held", *run.against])
