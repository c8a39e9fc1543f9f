"""`sequencer sizing`: the pad's volumes, times, loads, clearances and stored energy, each with source and margin."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.files import PICTURES, to_write
from sequencer.cli.shared import Ended, FileArgument, JsonOption, Verdict, counted, emit_json, progress

if TYPE_CHECKING:
    from sequencer.sizing.sheet import Sheet


def command(
    file: FileArgument,
    how_wrong: Annotated[
        bool, typer.Option("--how-wrong", help="How far each number of the file may be off before a line gets worse.")
    ] = False,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="PICTURE", help="Also draw release window, margins and pressures (.svg or .png).")
    ] = None,
    json: JsonOption = False,
) -> Ended:
    """Print the sizing sheet: every line with its unit, formula's source, unfavourable end and margin.

    It computes a model of the file and certifies nothing; stored gas can kill. Exit code 1 when a margin fails.
    """
    from sequencer.description import load
    from sequencer.sizing import HowWrong, sizing_sheet
    from sequencer.sizing import how_wrong as ask
    from sequencer.sizing.show import show_how_wrong, show_sheet

    to_write("--plot", plot, *PICTURES)
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
    return Ended.of(verdict, _sentence(sheet))


def _sentence(sheet: Sheet) -> str:
    said = [counted(len(sheet.judged("fails")), "margin fails", "margins fail")]
    said += [f"{len(sheet.judged('thin'))} thin"] if sheet.judged("thin") else []
    said += [counted(len(sheet.warned), "warning")] if sheet.warned else []
    far = next((line.shown for line in sheet.lines if line.name == "stand-off, all people"), "")
    return ", ".join(said) + (f"; stand-off {far}" if far else "")


def _progress(done: int, of: int) -> None:
    """The line of progress on a terminal; a line for each quarter elsewhere."""
    progress(f"{done} of {of} numbers" if done < of else "")
    if not sys.stderr.isatty() and done in (0, of // 4, of // 2, 3 * of // 4):
        print(f"{done} of {of} numbers", file=sys.stderr, flush=True)
