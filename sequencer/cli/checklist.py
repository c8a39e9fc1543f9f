"""`sequencer checklist`: the launch-day checklist on paper, from the file alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.shared import FileArgument, JsonOption, Verdict, emit_json
from sequencer.errors import SequencerError

FORMATS = ("md",)


def command(
    file: FileArgument,
    format: Annotated[str, typer.Option("--format", help="md.")] = "md",
    out: Annotated[Path | None, typer.Option("--out", "-o", metavar="F", help="Write here; without it, to the screen.")] = None,
    json: JsonOption = False,
) -> int:
    """Print the launch-day checklist, its cards, and the lines that nobody wrote but the pad implies."""
    from sequencer.crew.checklist import checklist
    from sequencer.crew.markdown import markdown
    from sequencer.description import load

    if format not in FORMATS:
        raise SequencerError(f"--format {format}: required one of {', '.join(FORMATS)}")
    sheet = checklist(load(file))
    if out is not None:
        out.write_text(markdown(sheet), encoding="utf-8")
    if json:
        emit_json("checklist", file, Verdict.PASS, sheet)
    elif out is None:
        print(markdown(sheet), end="")
    else:
        print(f"{out}: checklist of {sheet.mark}, {len(sheet.proposed)} proposed lines")
    return 0
