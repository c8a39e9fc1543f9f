"""`sequencer begin [FILE]`: a commented first file to change into one's own."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.shared import Ended, JsonOption, Verdict, console, emit_json

NewFile = Annotated[Path, typer.Argument(metavar="[FILE]", help="The file to write; it must not be there yet.")]


def command(file: NewFile = Path("pad.yaml"), json: JsonOption = False) -> Ended:
    """Write a commented first file, a small pad with one bottle, to change into your own. Overwrites nothing.

    It holds for an invented pad: every number in it has to be replaced by one of yours.
    """
    from sequencer.description.first import NEXT, first_file, write_new

    write_new(file, first_file())
    if json:
        emit_json("begin", file, Verdict.PASS, {"written": str(file), "next": [line.format(file=file) for line in NEXT]})
        return Ended()
    screen = console()
    screen.print(f"{file} is written: a small pad with one bottle, four switches and one servo.", soft_wrap=True)
    screen.print("Next:")
    for number, line in enumerate(NEXT, 1):
        screen.print(f"  {number}. {line.format(file=file)}", soft_wrap=True)
    return Ended()
