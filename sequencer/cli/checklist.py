"""`sequencer checklist`: the launch-day checklist on paper, from the file alone."""

from __future__ import annotations

import enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.files import to_write
from sequencer.cli.shared import Ended, FileArgument, JsonOption, Verdict, counted, emit_json
from sequencer.errors import SequencerError

if TYPE_CHECKING:
    from sequencer.crew.checklist import Checklist


class Format(enum.StrEnum):
    """What the checklist is written as."""

    MD = "md"
    HTML = "html"
    PDF = "pdf"


class Paper(enum.StrEnum):
    """Page size of HTML and PDF."""

    A4 = "a4"
    LETTER = "letter"


ENDINGS = {".md": Format.MD, ".txt": Format.MD, ".html": Format.HTML, ".htm": Format.HTML, ".pdf": Format.PDF}


def command(
    file: FileArgument,
    format: Annotated[Format | None, typer.Option("--format", help="By default what the ending of --out says, else md.")] = None,
    out: Annotated[Path | None, typer.Option("--out", "-o", metavar="F", help="Write here; without it, to the screen.")] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="Page size of html and pdf.")] = Paper.A4,
    json: JsonOption = False,
) -> Ended:
    """Print the launch-day checklist, its cards, and the lines that nobody wrote but the pad implies."""
    from sequencer.crew.checklist import checklist
    from sequencer.description import load
    from sequencer.sizing.build import numbers_sheet

    to_write("--out", out, *(() if format else ENDINGS))
    kind = format or (ENDINGS[out.suffix.lower()] if out is not None else Format.MD)
    if kind is Format.PDF and out is None and not json:
        raise SequencerError("a PDF needs a file: add --out F")
    pad = load(file)
    sheet = checklist(pad, numbers_sheet(pad).lines)
    text = b"" if json and out is None else _written(sheet, kind, paper)
    if out is not None:
        out.write_bytes(text)
    if json:
        emit_json("checklist", file, Verdict.PASS, sheet)
    elif out is None:
        print(text.decode(), end="")
    else:
        print(f"{out}: checklist of {sheet.mark}, {counted(len(sheet.proposed), 'proposed line')}")
    return Ended(0, counted(len(sheet.proposed), "line") + " proposed beside those of the file")


def _written(sheet: Checklist, kind: Format, paper: Paper) -> bytes:
    if kind is Format.PDF:
        from sequencer.crew.pdf import pdf

        return pdf(sheet, paper.value)
    if kind is Format.HTML:
        from sequencer.crew.html import html

        return html(sheet, paper.value).encode()
    from sequencer.crew.markdown import markdown

    return markdown(sheet).encode()
