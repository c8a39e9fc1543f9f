"""`sequencer sizing`: the pad's volumes, times, loads, clearances and stored energy, each with source and margin."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.shared import FileArgument, JsonOption, Verdict, emit_json


def command(
    file: FileArgument,
    how_wrong: Annotated[
        bool, typer.Option("--how-wrong", help="How far each number of the file may be off before a line gets worse.")
    ] = False,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="PICTURE", help="Also draw release window, margins and pressures (.svg or .png).")
    ] = None,
    json: JsonOption = False,
) -> int:
    """Print the sizing sheet: every line with its unit, formula's source, unfavourable end and margin.

    It computes a model of the file and certifies nothing; stored gas can kill. Exit code 1 when a margin fails.
    """
    from sequencer.description import load
    from sequencer.sizing import HowWrong, sizing_sheet
    from sequencer.sizing import how_wrong as ask
    from sequencer.sizing.show import show_how_wrong, show_sheet

    pad = load(file)
    sheet = sizing_sheet(pad)
    wrong: HowWrong | None = ask(pad, _progress, jobs=min(4, os.cpu_count() or 1)) if how_wrong else None
    if plot is not None:
        from sequencer.report.plot_sizing import plot_sizing

        plot_sizing(pad, plot)
    verdict = Verdict.of(sheet.holds)
    if json:
        from sequencer.sizing.show import for_json

        emit_json("sizing", file, verdict, {"sheet": for_json(sheet), "how_wrong": for_json(wrong)})
    else:
        lines = show_sheet(sheet) if wrong is None else show_how_wrong(wrong)
        print("\n".join(lines))
        if plot is not None:
            print(f"\ndrawn: {plot}")
    return verdict.exit_code


def _progress(done: int, of: int) -> None:
    """One line on standard error that overwrites itself; only on a terminal."""
    if sys.stderr.isatty():
        print(f"\r{done} of {of} numbers", end="\n" if done == of else "", file=sys.stderr, flush=True)
    elif of and done in (0, of // 4, of // 2, 3 * of // 4):
        print(f"{done} of {of} numbers", file=sys.stderr, flush=True)
