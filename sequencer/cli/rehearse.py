"""`sequencer rehearse`: the crew rehearses against the simulated pad, on the screen, in lines, or from a script."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.files import text_of, to_write
from sequencer.cli.shared import Ended, FileArgument, JsonOption, SeedOption, Verdict, emit_json
from sequencer.errors import SequencerError


def command(
    file: FileArgument,
    drill: Annotated[str, typer.Option("--drill", metavar="NAME", help="A named story of the file.")] = "",
    surprise: Annotated[int | None, typer.Option("--surprise", metavar="SEED", help="Let the seed pick a story that nobody is told.")] = None,
    script: Annotated[Path | None, typer.Option("--script", metavar="F", help="Play orders from a file, as fast as they go.")] = None,
    plain: Annotated[bool, typer.Option("--plain", help="Lines of text in place of the whole screen.")] = False,
    speed: Annotated[int, typer.Option("--speed", min=1, max=60, help="How many times faster than the clock.")] = 1,
    record: Annotated[Path | None, typer.Option("--record", metavar="F", help="Where to keep it; by default a new file here.")] = None,
    seed: SeedOption = 0,
    json: JsonOption = False,
) -> Ended:
    """Rehearse the launch; what the truth was, `debrief` tells afterwards.

    Every order is on the disk before it is done. A script may say: next, next N, next until STATE, wait TIME,
    wait for STATE, WHO: press INPUT, WHO: walk in, WHO: say go, fault PART: MODE, end.
    """
    from sequencer.crew.rehearsal import Rehearsal
    from sequencer.description import load

    if drill and surprise is not None:
        raise SequencerError("--drill and --surprise: required one of them")
    if json and script is None:
        raise SequencerError("--json needs --script: a rehearsal by hand is told as it goes")
    text = text_of("--script", script) if script is not None else None
    if text is not None and not any(line.partition("#")[0].strip() for line in text.splitlines()):
        raise SequencerError(f"--script {script}: no order stands in it; required: at least one, such as next")
    to_write("--record", record)
    pad = load(file)
    if record is None and script is None:
        record = Path(f"rehearsal-{datetime.now():%Y-%m-%d-%H%M%S}.jsonl")
    rehearsal = Rehearsal(pad, seed=seed, drill=drill, surprise=surprise, record=record)
    try:
        if text is not None:
            return _script(file, rehearsal, text, str(script), json)
        if plain or not sys.stdout.isatty():
            from sequencer.crew.plain import plain as in_lines

            in_lines(rehearsal, sys.stdin, lambda line: print(line, flush=True), speed)
        else:
            from sequencer.crew.screen import Screen

            Screen(rehearsal, speed).run()
    finally:
        rehearsal.close()
    print(f"kept in {record}; the truth: sequencer debrief {record}")
    return Ended()


def _script(file: Path, rehearsal: object, text: str, name: str, json: bool) -> Ended:
    from sequencer.crew.plain import Teller
    from sequencer.crew.rehearsal import Rehearsal
    from sequencer.crew.script import play

    assert isinstance(rehearsal, Rehearsal)
    teller = Teller(rehearsal, print)
    went = play(rehearsal, text, name, (lambda: None) if json else teller.news)
    verdict = Verdict.of(went)
    if json:
        emit_json("rehearse", file, verdict, {"ended_ms": rehearsal.ms, "state": rehearsal.state, "said": rehearsal.said, "next": rehearsal.progress.next})
    else:
        print(f"The script {'reached its end' if went else 'waited in vain'} at {rehearsal.ms / 1000:.1f} s; the box shows {rehearsal.state or 'nothing'}.")
    return Ended.of(verdict, f"the script {'reached its end' if went else 'waited in vain'}")
