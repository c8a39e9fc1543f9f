"""`sequencer export`: the controller's table for the microcontroller, as C, CSV or JSON, verified on request."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.files import folder_to_write
from sequencer.cli.shared import Ended, FileArgument, JsonOption, SeedOption, Verdict, console, emit_json
from sequencer.errors import DoesNotFit

if TYPE_CHECKING:
    from sequencer.firmware.export import Exported


class Form(StrEnum):
    C = "c"
    CSV = "csv"
    JSON = "json"


def command(
    file: FileArgument,
    to: Annotated[list[Form], typer.Option("--to", help="What to write; may be given more than once.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="The folder to write into.")],
    verify: Annotated[bool, typer.Option("--verify", help="Compile the C and compare it with the simulation.")] = False,
    seed: SeedOption = 0,
    json: JsonOption = False,
) -> Ended:
    """Write the controller's table for the microcontroller.

    With --verify the exported C is compiled and run in lockstep with the scan that simulation and proof use.
    """
    from sequencer.description import load
    from sequencer.firmware.export import export

    folder_to_write("--out", out)
    try:
        result = export(load(file), list(dict.fromkeys(form.value for form in to)), out, verify, seed)
    except DoesNotFit as error:
        raise DoesNotFit(f"{file}: {error.message}; nothing was written for the chip, whose tables cut nothing off") from error
    verdict = Verdict.of(result.fine)
    if json:
        emit_json("export", file, verdict, result)
    else:
        _show(result)
    return Ended.of(verdict, _sentence(result))


def _sentence(result: Exported) -> str:
    said = [f"{one.target}: {one.scans:,} scans agreed" if one.agrees else f"{one.target} DIFFERS" for one in result.agreements]
    said += [f"not compared: {reason}" for reason in result.not_run if not reason.startswith("figures")]
    return "; ".join(said) or "written, not compared with the simulation"


def _show(result: Exported) -> None:
    show = console().print
    show(f"{result.title}, revision {result.revision}, checksum {result.checksum} (CRC-32/ISO-HDLC)")
    show(
        f"{result.states} states, {result.rows} rows, {result.conditions} conditions in {result.table_bytes} bytes; "
        f"scan every {result.scan_ms} ms"
    )
    show(f"written to {result.folder}: {', '.join(result.files)}")
    for one in result.agreements:
        show("")
        if one.agrees:
            show(f"{one.target}: {one.scans:,} scans agreed, none differed")
        else:
            show(f"{one.target}: DIFFERS after {one.scans:,} scans that agreed")
            show(one.difference)
        cannot = f", the other {one.never} cannot in any run" if one.never and one.rows_fired + one.never == one.rows else ""
        show(f"  {one.rows_fired} of {one.rows} rows fired{cannot}; {one.plain_scans:,} of the scans against scan.py itself")
    for reason in result.not_run:
        show(f"NOT COMPARED or measured: {reason}")
    if not result.verified:
        show("not compared with the simulation: add --verify")
    for figure in result.figures:
        show("")
        show(
            f"{figure.target}: {figure.flash} bytes of flash (main, runtime, an empty board, and {figure.table} of table); "
            f"{figure.ram} bytes of RAM and {figure.stack} of stack"
        )
        show(
            f"  longest scan met {figure.longest_scan:,} {figure.unit}, {100 * figure.share_of_period:.1f} % of the period "
            f"at 16 MHz; {100 - 100 * figure.share_of_period:.1f} % left"
        )
        if figure.most and figure.most_share:
            show(
                f"  no scan takes more than {figure.most:,} {figure.unit}, {100 * figure.most_share:.1f} % of the period, "
                "whatever inputs and memory (from the machine code)"
            )
    show("")
    show("This follows a model of the pad; it certifies nothing. Keep people away whatever the software says.")
