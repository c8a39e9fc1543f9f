"""What every command shares: the options all of them spell alike, the screen, and the JSON object.

Nothing heavy is imported at the top of this file: every command starts through it.
"""

from __future__ import annotations

import dataclasses
import enum
import json
import shutil
import sys
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from sequencer.errors import Finding

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The file that describes pad and sequence.")]
"""The argument of nearly every command: `def command(file: FileArgument, ...)`."""

JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object in place of text.")]
"""`json: JsonOption = False`."""

SeedOption = Annotated[int, typer.Option("--seed", help="Seed of the random parts; the same seed gives the same run.")]
"""`seed: SeedOption = 0`."""


class Verdict(enum.StrEnum):
    """What a command says in the end; its exit code follows from it."""

    PASS = "pass"
    FAIL = "fail"

    @property
    def exit_code(self) -> int:
        """0 for pass, 1 for fail (unusable input, 2, is told by raising `SequencerError`)."""
        return 0 if self is Verdict.PASS else 1

    @classmethod
    def of(cls, fine: bool) -> Verdict:
        return cls.PASS if fine else cls.FAIL


@dataclass(frozen=True)
class Ended:
    """What every command returns: its exit code, and its verdict in one sentence ('' where there is nothing to judge)."""

    code: int = 0
    says: str = ""

    @classmethod
    def of(cls, verdict: Verdict, says: str = "") -> Ended:
        return cls(verdict.exit_code, says)


def counted(number: int, one: str, many: str = "") -> str:
    """A number with its noun: 'no rule', '1 rule', '1,200 rules'; `many` where the plural takes more than an s."""
    return f"no {one}" if number == 0 else f"1 {one}" if number == 1 else f"{number:,} {many or one + 's'}"


class Progress:
    """How far a command is: one line on standard error that is written over; nothing where that is no terminal.

    `listener` hears it in place of the terminal: the launch pack sets it while it keeps a command's text.
    """

    def __init__(self) -> None:
        self.listener: Callable[[str], None] | None = None
        self._length = 0

    def __call__(self, text: str) -> None:
        """Show `text`, cut to the terminal's width; '' takes the line away, before anything else is printed."""
        if self.listener is not None:
            self.listener(text)
        elif sys.stderr.isatty():
            self.write(text)

    def write(self, text: str) -> None:
        """Write over the line that stands there."""
        shown = text[: shutil.get_terminal_size().columns - 1]
        if not shown and not self._length:
            return
        print(f"\r{shown:{self._length}}", end="" if shown else "\r", file=sys.stderr, flush=True)
        self._length = len(shown)


progress = Progress()
"""The one line of progress of this process."""


def console(*, stderr: bool = False) -> Console:
    """The screen: no colour unless it is a terminal and NO_COLOR is unset; 80 columns where no width is known.

    Text is printed as it is: brackets in a user's words are not markup.
    """
    from rich.console import Console

    class Screen(Console):
        """The library would end the program with 1, which here means findings."""

        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    return Screen(stderr=stderr, highlight=False, markup=False, emoji=False)


def say_findings(found: Sequence[Finding], stderr: bool = False) -> None:
    """Each finding in its three lines: where and what, what is required, how to mend it."""
    for one in found:
        for number, text in enumerate(str(one).split("\n")):
            say_line(text, indent=14 if number else 4, stderr=stderr)


def say_line(text: str, indent: int = 4, stderr: bool = False) -> None:
    """One line; on a terminal wrapped between words with a hanging indent, elsewhere left whole for other programs."""
    stream = sys.stderr if stderr else sys.stdout
    if not stream.isatty():
        print(text, file=stream)
        return
    import textwrap

    width = shutil.get_terminal_size().columns
    for piece in textwrap.wrap(text, width, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False):
        print(piece, file=stream)


def emit_json(command: str, file: str | Path, verdict: Verdict, result: object) -> None:
    """Print one JSON object with `command`, `file`, `verdict` ("pass" or "fail") and `result` on standard output.

    `result` may hold dataclasses, pydantic models, enumerations, paths, sets, numpy arrays and numbers.
    Raises `ValueError` for a number JSON cannot hold (NaN, infinity) and `TypeError` for any other kind of value.
    """
    whole = {"command": command, "file": str(file), "verdict": verdict.value, "result": plain(result)}
    json.dump(whole, sys.stdout, indent=2, allow_nan=False)
    sys.stdout.write("\n")


def plain(value: object) -> Any:
    """`value` in the kinds JSON knows. Sets come out sorted, so that output is the same from run to run."""
    if isinstance(value, enum.Enum):
        return plain(value.value)
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, Path):
        return str(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(plain(key)): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, Set):
        return sorted((plain(item) for item in value), key=repr)
    if hasattr(value, "model_dump"):
        return value.model_dump(mode="json")
    if hasattr(value, "tolist"):  # numpy arrays and numbers
        return plain(value.tolist())
    raise TypeError(f"{type(value).__name__} has no JSON form")
