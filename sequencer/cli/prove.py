"""`prove FILE`: search every situation of the model for a broken interlock."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from sequencer.cli.shared import FileArgument, JsonOption, Verdict, emit_json


def command(
    file: FileArgument,
    faults: Annotated[int, typer.Option("--faults", min=0, max=2, help="Faults at once to look at: 0, 1 or 2.")] = 2,
    budget: Annotated[int, typer.Option("--budget", help="Most situations before it gives up (exit 2).")] = 40_000_000,
    seconds: Annotated[float, typer.Option("--seconds", help="Most seconds for all pairs of faults.")] = 300.0,
    stories: Annotated[int, typer.Option("--stories", min=0, help="Most stories per broken rule.")] = 1,
    replay: Annotated[bool, typer.Option("--replay/--no-replay", help="Replay stories in the exact simulator.")] = True,
    json: JsonOption = False,
) -> int:
    """Search every situation of the model for a broken interlock, over every order of switches and faults.

    It checks a model, not the hardware, and certifies nothing. Keep people away from stored gas whatever it says.
    """
    from sequencer.description import load
    from sequencer.proof.prove import Options, prove

    def say(text: str) -> None:
        print(f"prove: {text}", file=sys.stderr)

    pad = load(str(file))
    options = Options(faults=faults, budget=budget, seconds=seconds, stories=stories, replays=replay)
    proof = prove(pad, options, say if sys.stderr.isatty() else None)
    verdict = Verdict.of(proof.holds)
    if json:
        emit_json("prove", file, verdict, proof)
    else:
        from sequencer.report.proof_text import text

        print(text(proof))
    return verdict.exit_code
