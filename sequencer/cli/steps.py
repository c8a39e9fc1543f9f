"""`sequencer steps`: every line of the checklist skipped, doubled, early, late, swapped, and what came of it."""

from __future__ import annotations

from typing import Annotated

import typer

from sequencer.cli.shared import (
    Ended,
    FileArgument,
    JsonOption,
    SeedOption,
    Verdict,
    emit_json,
    progress,
)
from sequencer.errors import SequencerError


def command(
    file: FileArgument,
    line: Annotated[list[int] | None, typer.Option("--line", metavar="N", help="Only this line; repeatable.")] = None,
    seed: SeedOption = 0,
    json: JsonOption = False,
) -> Ended:
    """Try every line of the checklist done wrong: what the box did, what caught it, what nothing catches."""
    from sequencer.crew.slips import slips
    from sequencer.crew.slips_text import slips_text
    from sequencer.description import load

    pad = load(file)
    if not pad.crew.steps:
        raise SequencerError(f"{file}: the file has no steps; required: crew: steps:")
    wrong = [n for n in line or () if not 1 <= n <= len(pad.crew.steps)]
    if wrong:
        raise SequencerError(f"--line {wrong[0]}: the checklist has lines 1 to {len(pad.crew.steps)}")

    def told(done: int, of: int) -> None:
        progress(f"{done} of {of} slips tried" if done < of else "")

    table = slips(pad, lines=tuple(line or ()), seed=seed, told=told)
    verdict = Verdict.of(table.passed)
    if json:
        emit_json("steps", file, verdict, {**vars(table), "only_people": table.only_people, "unmissed": table.unmissed})
    else:
        print(slips_text(table))
    says = f"hazards that only a human step prevents: {len(table.only_people) or 'none'} found"
    return Ended.of(verdict, says + (f"; the plain day itself does not go through: {table.nominal}" if table.nominal else ""))
