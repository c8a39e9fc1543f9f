"""`sequencer meaning [WORD]`: what a word of the file, of the trade or of a finding means."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.shared import Ended, JsonOption, Verdict, console, emit_json

if TYPE_CHECKING:
    from sequencer.description.meanings import Meaning

WordArgument = Annotated[list[str] | None, typer.Argument(metavar="[WORD]", help="A key, a finding, a unit or a word of the trade.")]


def command(word: WordArgument = None, json: JsonOption = False) -> Ended:
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
        return Ended()
    some = meanings(asked)
    if json:
        emit_json("meaning", "", Verdict.of(bool(some)), {"word": asked, "meanings": some, "nearest": "" if some else near(asked)})
    elif some:
        _explain(some)
    else:
        nearest = near(asked)
        offered = f" Did you mean '{nearest}'?" if nearest else ""
        console(stderr=True).print(f"'{asked}' is not a word of the file or of this trade.{offered} `sequencer meaning` lists them all.", soft_wrap=True)
    return Ended(0 if some else 2)


def _explain(some: tuple[Meaning, ...]) -> None:
    for one in some:
        _block(f"{one.word}: {one.kind}" + (f" in {one.where}" if one.where else ""), "")
        _block(one.says, "    ")
        if one.inside:
            _block(f"with: {one.inside}", "    ")


def _block(text: str, indent: str) -> None:
    import textwrap

    for line in textwrap.wrap(text, min(console().width, 100), initial_indent=indent, subsequent_indent=indent or "    ", break_on_hyphens=False):
        console().print(line, soft_wrap=True)


def _list(found: list[Meaning]) -> None:
    screen = console()
    groups: dict[str, list[str]] = {}
    for one in found:
        groups.setdefault(one.kind, []).append(one.word)
    for kind, words in groups.items():
        screen.print(f"{kind}:")
        _block(", ".join(dict.fromkeys(words)), "    ")
    screen.print("`sequencer meaning WORD` explains one.")
