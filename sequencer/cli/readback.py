"""`sequencer readback`: is the table in an export folder, or in a dump of the chip, the one of this file?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.shared import Ended, JsonOption, Verdict, console, counted, emit_json

if TYPE_CHECKING:
    from sequencer.firmware.readback import ReadBack


def command(
    table: Annotated[
        Path, typer.Argument(metavar="DIR|FILE", help="An export folder, follow_table.c, table.json, an Intel HEX or raw dump.")
    ],
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="The description to compare with (else the copy in the folder).")
    ] = None,
    json: JsonOption = False,
) -> Ended:
    """Compare a table read back from a controller with the file.

    Exit code 1 when the logic differs; the first difference is told, and a run in which it shows.
    """
    from sequencer.description import load
    from sequencer.firmware.readback import compare, image_of
    from sequencer.table import compile_table

    image, source = image_of(table)
    if file is None:
        file = (table if table.is_dir() else table.parent) / "description.yaml"
    result = compare(image, source, compile_table(load(file)))
    verdict = Verdict.of(result.equal)
    if json:
        emit_json("readback", file, verdict, result)
    else:
        _show(result, file)
    return Ended.of(verdict, "equal" if result.equal else counted(len(result.differences), "difference"))


def _show(result: ReadBack, file: Path) -> None:
    show = console().print
    show(f"{result.source}: {result.bytes} bytes, checksum {result.checksum}")
    if result.equal:
        show(f"equal: it does what {file} says ({result.table})")
    else:
        show(f"DIFFERS from {file} ({result.table}): {len(result.differences)} difference{'s, the first ones' if len(result.differences) > 1 else ''}:")
        for line in result.differences[:10]:
            show(f"  {line}")
        if result.story:
            show(result.story)
    for note in result.notes:
        show(f"note: {note}")
    show("This compares tables; it says nothing about the wiring or the pad.")
