"""`sequencer meaning [WORD]`: what a word of the file, of the trade or of a finding means."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.shared import JsonOption, Verdict, console, emit_json

if TYPE_CHECKING:
    from sequencer.description.meanings import Meaning

WordArgument = Annotated[list[str] | None, typer.Argument(metavar="[WORD]", help="A key, a finding, a unit or a word of the trade.")]


def command(word: WordArgument = None, json: JsonOption = False) -> int:
    """Explain a word of the file, of the trade, or the name of a finding; without a word, list them all.

    Exit code 2 when the word is not known; the nearest known one is offered.
    """
    from sequencer.description.meanings import everything, meanings, near

    asked = " ".join(word or [])
    if not asked:
        found = [one for some in everything().values() for one in some]
        if json:
            emit_json("meaning", "", Verdict.PASS, found)
        else:
            _list(found)
        return 0
    some = meanings(asked)
    if json:
        emit_json("meaning", "", Verdict.of(bool(some)), {"word": asked, "meanings": some, "nearest": "" if some else near(asked)})
    elif some:
        _explain(some)
    else:
        nearest = near(asked)
        offered = f" Did you mean '{nearest}'?" if nearest else ""
        console(stderr=True).print(f"'{asked}' is not a word of the file or of this trade.{offered} `sequencer meaning` lists them all.", soft_wrap=True)
    return 0 if some else 2


def _explain(some: tuple[Meaning, ...]) -> None:
    screen = console()
    for one in some:
        where = f" in {one.where}" if one.where else ""
        screen.print(f"{one.word}: {one.kind}{where}")
        screen.print(f"    {one.says}", soft_wrap=False)
        if one.inside:
            screen.print(f"    with: {one.inside}", soft_wrap=False)


def _list(found: list[Meaning]) -> None:
    screen = console()
    groups: dict[str, list[str]] = {}
    for one in found:
        groups.setdefault(one.kind, []).append(one.word)
    for kind, words in groups.items():
        screen.print(f"{kind}:")
        screen.print("    " + ", ".join(dict.fromkeys(words)))
    screen.print("`sequencer meaning WORD` explains one.")
