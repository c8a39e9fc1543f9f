"""`sequencer check FILE`: the reader's and the critic's findings, and which limits were given or assumed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.shared import (
    Ended,
    FileArgument,
    JsonOption,
    Verdict,
    counted,
    emit_json,
    say_findings,
    say_line,
)

if TYPE_CHECKING:
    from sequencer.description.limits import Limit
    from sequencer.errors import Finding

AllOption = Annotated[bool, typer.Option("--limits", help="List every limit, not only how many were given.")]


def command(file: FileArgument, all_limits: AllOption = False, json: JsonOption = False) -> Ended:
    """Read a file critically: mistakes, gaps and doubtful rules, each with its place.

    Exit code 0: nothing found; 1: findings; 2: the file cannot be used. `sequencer meaning NAME` explains a finding.
    """
    from sequencer.description import load
    from sequencer.description.limits import limits
    from sequencer.description.reading import read_critically
    from sequencer.errors import UnusableFile

    try:
        pad = load(file)
    except UnusableFile as error:
        if json:
            _json(str(file), Verdict.FAIL, error.findings, ())
        else:
            say_findings(error.findings)
            say_line(f"{error.message}.")
        return Ended(2, f"{_counts(error.findings)} in the file, which cannot be used")
    found, known = read_critically(pad), limits(pad)
    verdict = Verdict.of(not any(one.severity != "note" for one in found))
    if json:
        _json(str(file), verdict, found, known)
    else:
        say_findings(found)
        say_line(_summary(str(file), found))
        _limits(known, all_limits)
    return Ended.of(verdict, f"{_counts(found)} found in the file")


def _summary(file: str, found: tuple[Finding, ...]) -> str:
    if not found:
        return f"{file}: nothing found. This reads the file only; `prove` and `run` look at what the pad does."
    return f"{file}: {_counts(found)}. `sequencer meaning NAME` explains a finding by its name."


def _counts(found: tuple[Finding, ...]) -> str:
    counts = {kind: sum(one.severity == kind for one in found) for kind in ("error", "warning", "note")}
    return ", ".join(counted(count, kind) for kind, count in counts.items() if count) or "nothing"


def _limits(known: tuple[Limit, ...], all_limits: bool) -> None:
    given = [one for one in known if one.given]
    assumed = [one for one in known if not one.given]
    say_line(f"Limits: {len(given)} given in the file, {len(assumed)} values assumed because it does not say them.")
    for one in given if all_limits else []:
        say_line(f"  given    line {one.place.line:>3}  {one.what}: {one.value}", indent=21)
    shown = assumed if all_limits else assumed[:6]
    for one in shown:
        say_line(f"  assumed  line {one.place.line:>3}  {one.what}: {one.value}", indent=21)
    if len(shown) < len(assumed):
        say_line(f"  … and {len(assumed) - len(shown)} more: --limits lists them all.")


def _json(file: str, verdict: Verdict, found: tuple[Finding, ...], known: tuple[Limit, ...]) -> None:
    findings = [
        {
            "name": one.name, "severity": one.severity, "file": one.place.file, "line": one.place.line, "column": one.place.column,
            "found": one.found, "required": one.required, "mend": one.mend,
        }
        for one in found
    ]  # fmt: skip
    listed = [{"what": one.what, "value": one.value, "given": one.given, "line": one.place.line} for one in known]
    emit_json("check", file, verdict, {"findings": findings, "limits": listed})
