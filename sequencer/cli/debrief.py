"""`sequencer debrief`: go through rehearsals afterwards, the truth uncovered."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.files import to_write
from sequencer.cli.shared import Ended, JsonOption, Verdict, counted, emit_json
from sequencer.errors import SequencerError


def command(
    records: Annotated[list[Path], typer.Argument(metavar="RECORD...", help="Records of rehearsals, or a folder of them.")],
    file: Annotated[Path | None, typer.Option("--file", metavar="FILE", help="The file rehearsed; without it, the one the record names.")] = None,
    replay: Annotated[bool, typer.Option("--replay", help="Also everything that was said, done and true, in order of time.")] = False,
    log: Annotated[Path | None, typer.Option("--log", metavar="F", help="Write the box log of the last rehearsal as CSV.")] = None,
    json: JsonOption = False,
) -> Ended:
    """Debrief the last rehearsal of those given, and set the evenings side by side."""
    from dataclasses import replace

    from sequencer.crew.debrief import debrief
    from sequencer.crew.debrief_text import debrief_text, evenings
    from sequencer.crew.record import read, rehearsed_file
    from sequencer.description import load

    to_write("--log", log)
    paths = [found for path in records for found in (sorted(path.glob("*.jsonl")) if path.is_dir() else [path])]
    if not paths:
        raise SequencerError(f"{records[0]}: no record is in it; `rehearse --record F` makes one")
    kept = sorted((read(path) for path in paths), key=lambda record: record.date)
    told = [debrief(load(file or rehearsed_file(Path(record.path))), record) for record in kept]
    last = told[-1]
    if log is not None:
        from sequencer.table.boxlog import write

        log.write_text(write(last.log), encoding="utf-8")
    verdict = Verdict.of(last.passed)
    if json:
        shown = last if replay else replace(last, story=())
        emit_json("debrief", kept[-1].path, verdict, {"last": shown, "evenings": [replace(one, story=()) for one in told]})
    else:
        print(debrief_text(last, replay=replay))
        if len(told) > 1:
            print("\n" + evenings(told))
    return Ended.of(verdict, counted(len(told), "rehearsal") + " gone through")
