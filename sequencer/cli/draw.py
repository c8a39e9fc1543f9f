"""`draw FILE`: the sequence as a drawing."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.files import to_write
from sequencer.cli.shared import Ended, FileArgument, JsonOption, Verdict, emit_json
from sequencer.errors import SequencerError


class Format(StrEnum):
    """How the drawing is written."""

    MERMAID = "mermaid"
    DOT = "dot"
    SVG = "svg"
    PNG = "png"


ENDINGS = {
    ".svg": Format.SVG, ".png": Format.PNG, ".dot": Format.DOT, ".gv": Format.DOT, ".mmd": Format.MERMAID, ".mermaid": Format.MERMAID,
    ".md": Format.MERMAID, ".txt": Format.MERMAID,
}  # fmt: skip


def command(
    file: FileArgument,
    format: Annotated[Format | None, typer.Option("--format", help="Default: by the ending of --out, else mermaid.")] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Where to; svg and png need it.")] = None,
    json: JsonOption = False,
) -> Ended:
    """Draw the states, what leads from one to the next, and why."""
    from sequencer.description import load
    from sequencer.machine import dot, mermaid
    from sequencer.table import compile_table

    to_write("--out", out, *(() if format else ENDINGS))
    chosen = format or (ENDINGS[out.suffix.lower()] if out is not None else Format.MERMAID)
    if chosen in (Format.SVG, Format.PNG) and out is None:
        raise SequencerError(f"--format {chosen.value} needs --out FILE.{chosen.value}")
    pad = load(str(file))
    table = compile_table(pad)
    text = None
    if out is not None and chosen in (Format.SVG, Format.PNG):
        from sequencer.report.draw_states import draw_states

        draw_states(pad, table, out, chosen.value)
    else:
        text = dot(table) if chosen is Format.DOT else mermaid(table)
        if out is not None:
            out.write_text(text, encoding="utf-8")
    if json:
        emit_json("draw", file, Verdict.PASS, {"format": chosen, "written": out, "drawing": text})
    elif out is None and text is not None:
        print(text, end="")
    return Ended()
