"""`prove FILE`: search every situation of the model for a broken interlock."""

from __future__ import annotations

import hashlib
from collections import Counter
from json import dumps as json_text
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.files import folder_to_write
from sequencer.cli.shared import Ended, FileArgument, JsonOption, Verdict, counted, emit_json, plain, progress

if TYPE_CHECKING:
    from sequencer.proof.result import Proof


def command(
    file: FileArgument,
    faults: Annotated[int, typer.Option("--faults", min=0, max=3, help="Faults at once to look at; 3 may take long.")] = 2,
    budget: Annotated[int, typer.Option("--budget", min=1, help="Most situations before it gives up (exit 2).")] = 40_000_000,
    seconds: Annotated[float, typer.Option("--seconds", min=0.0, help="Most seconds for several faults at once.")] = 60.0,
    stories: Annotated[int, typer.Option("--stories", min=0, help="Most stories per rule.")] = 1,
    beyond: Annotated[bool, typer.Option("--beyond", help="Stories also of faults that a rule is not asked to withstand.")] = False,
    replay: Annotated[bool, typer.Option("--replay/--no-replay", help="Replay stories in the exact simulator.")] = True,
    why: Annotated[bool, typer.Option("--why", help="For each permissive, trip and inhibit: what fails without it.")] = False,
    keep: Annotated[
        Path | None, typer.Option("--keep", metavar="DIR", help="Keep the result there; an unchanged file answers from it at once.")
    ] = None,
    check: Annotated[
        Path | None, typer.Option("--check", metavar="DIR", help="Check a kept result anew, in plain Python, trusting only its rows.")
    ] = None,
    json: JsonOption = False,
) -> Ended:
    """Search every situation of the model for a broken interlock, over every order of switches and faults.

    It checks a model, not the hardware, and certifies nothing. Keep people away from stored gas whatever it says.
    """
    from sequencer.description import load
    from sequencer.proof import checking
    from sequencer.proof.prove import Options, Work, worked

    folder_to_write("--keep", keep)
    pad = load(str(file))
    if check is not None:
        return _check(file, check, json)
    options = Options(faults=faults, budget=budget, seconds=seconds, stories=stories, beyond=beyond, replays=replay, why=why)
    wanted = checking.stamp(hashlib.sha256(pad.text.encode()).hexdigest(), options)
    old = checking.kept_answer(keep, wanted) if keep is not None else None
    if old is not None and keep is not None:
        print(json_text(old["whole"]) if json else (keep / checking.TEXT).read_text(encoding="utf-8"), end="\n" if json else "")
        return Ended.of(Verdict(old["whole"]["verdict"]), old.get("says", ""))
    work = Work(pad, options, progress)
    proof = worked(work)
    progress("")
    verdict = Verdict.of(proof.holds)
    from sequencer.report.proof_text import text

    shown = text(proof, pad.pressures_said)
    if keep is not None:
        whole = {"command": "prove", "file": str(file), "verdict": verdict.value, "result": plain(proof)}
        holding = {r.name for r in proof.interlocks if r.story is None or r.outcome == "holds"}
        checking.keep(keep, {"stamp": wanted, "whole": whole, "says": _sentence(proof)}, shown + "\n", work.system, work.explored.all, holding)
    if json:
        emit_json("prove", file, verdict, proof)
    else:
        print(shown)
    return Ended.of(verdict, _sentence(proof))


def _sentence(proof: Proof) -> str:
    """How many rules came out how; the words are the outcomes' own."""
    rules = Counter(result.outcome for result in proof.interlocks)
    house = Counter(result.outcome for result in proof.house if result.outcome not in ("holds", "waived"))
    said = ", ".join(f"{rules[word]} {'hold in this model' if word == 'holds' else word}" for word in sorted(rules, key=lambda word: word != "holds"))
    said = f"of {counted(len(proof.interlocks), 'interlock')} {said}" if rules else "the file has no interlocks"
    said += "".join(f"; {counted(count, 'house rule')} {word}" for word, count in sorted(house.items()))
    return said + f"; {proof.situations:,} situations without faults"


def _check(file: Path, folder: Path, json: bool) -> Ended:
    from sequencer.proof import checking

    wrong = checking.check(folder)
    verdict = Verdict.of(not wrong)
    if json:
        emit_json("prove", file, verdict, {"kept": str(folder), "wrong": wrong})
    elif wrong:
        print("\n".join(wrong))
    else:
        print(f"{folder}: the kept set holds its starts, every row leads from it into it, and no rule said to hold")
        print("is broken in it or by a scan from it. Faults are not part of this check.")
    return Ended.of(verdict, f"{folder}: " + ("; ".join(wrong) or "the kept set holds"))
