"""The `sequencer` command itself: finds the command asked for, and turns every ending into an exit code.

A command lives in `sequencer/cli/NAME.py` as `def command(...)` with typer's annotations. Only the module of the
command that was asked for is imported, so starting stays quick; a command whose module is not there is not listed.
A command ends by returning `Ended`, its exit code and its verdict in a sentence, or `None` (0), or by raising.
"""

from __future__ import annotations

import codecs
import difflib
import errno
import importlib
import importlib.util
import os
import sys
from collections.abc import Callable, Sequence
from typing import Any

import typer
from typer.core import TyperGroup

from sequencer import __version__
from sequencer.cli.shared import Ended, progress, say_findings
from sequencer.errors import SequencerError

COMMANDS: dict[str, str] = {
    "begin": "Write a commented first file to change into your own; overwrites nothing.",
    "check": "Read a file critically: mistakes, gaps and doubtful rules, each with its place.",
    "run": "Simulate a launch, a drill or a fault, and tell what happened and why.",
    "prove": "Search every situation of the model for a broken interlock.",
    "sizing": "Work out stand-off, forces, times and margins, each with its source.",
    "export": "Write the controller's table as C, CSV or JSON, and verify the C.",
    "readback": "Compare a table read back from a controller with the file.",
    "checklist": "Print the launch-day checklist and the abort, misfire and hang-up cards.",
    "steps": "Try every line of the checklist skipped, doubled, early, late and swapped.",
    "rehearse": "Rehearse the launch with the crew against the simulated pad.",
    "debrief": "Go through a rehearsal afterwards: what was done, when, and what was missed.",
    "shakedown": "Run many random campaigns of crew actions and faults against the simulation.",
    "spread": "Repeat a run over the tolerances and show how far its results spread.",
    "draw": "Draw the states and what leads from one to the next.",
    "pack": "Do the whole job and leave a launch pack: one folder with everything for the day.",
    "meaning": "Explain a word of the file, of the trade, or a finding by its name.",
    "schema": "Print the JSON Schema of the file for an editor.",
}
"""Every command: its name and the line shown in `sequencer --help`."""

UNUSABLE_INPUT = 2
DEFECT = 70
INTERRUPTED = 130
READER_GONE = 141
ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)  # told of no file by name when it is written to or closed
PACKAGE = __name__.rpartition(".")[0]


class CommandGroup(TyperGroup):
    """The commands of `COMMANDS`; a command's module is imported when the command is asked for, not before."""

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]  # typer's own context class
        return [name for name in COMMANDS if importlib.util.find_spec(f"{PACKAGE}.{name}")]

    def get_command(self, ctx: typer.Context, cmd_name: str) -> Any:  # type: ignore[override]  # as above
        if cmd_name not in self.list_commands(ctx):
            return None
        module = importlib.import_module(f"{PACKAGE}.{cmd_name}")
        return _typer_command(cmd_name, module.command)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        known = self.list_commands(ctx)
        if args[0] not in known:
            near = difflib.get_close_matches(args[0], known, n=1)
            ctx.fail(f"there is no command {args[0]!r}" + (f"; did you mean {near[0]!r}?" if near else "."))
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: Any) -> Any:
        try:
            outcome = super().invoke(ctx)
        except KeyboardInterrupt:
            raise typer.Exit(INTERRUPTED) from None
        except BrokenPipeError as error:  # the library would end it with 1, which here means findings
            raise _ReaderGone from error
        except typer.BadParameter as error:
            error.message = error.message.removeprefix("Value error, ")  # of the library that reads the value
            raise
        if isinstance(outcome, Ended):
            ctx.obj.append(outcome)
            raise typer.Exit(outcome.code)
        return outcome

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        rows = [(name, COMMANDS[name]) for name in self.list_commands(ctx)]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


def _plain_letters(error: UnicodeError) -> tuple[str, int]:
    """What a terminal without our letters shows in their place: the nearest that it has, else '?'."""
    assert isinstance(error, UnicodeEncodeError)
    lost = error.object[error.start : error.end]
    return "".join(_PLAIN.get(letter, "?") for letter in lost), error.end


_PLAIN = {"…": "...", "·": "-", "→": "->", "–": "-", "—": "-", "’": "'", "“": '"', "”": '"', "°": "deg", "²": "2", "³": "3", "×": "x", "µ": "u", "\u00a0": " "}  # fmt: skip
codecs.register_error("plain_letters", _plain_letters)


class _ReaderGone(Exception):
    """The reader of standard output, such as a pager, has closed it."""


def _typer_command(name: str, function: Callable[..., Any]) -> Any:
    app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    settings = {"help_option_names": ["--help", "-h"]}
    app.command(name, short_help=COMMANDS.get(name), context_settings=settings)(function)
    return typer.main.get_command(app)


def _show_version(wanted: bool) -> None:
    if wanted:
        print(f"sequencer {__version__}")
        raise typer.Exit()


def _application() -> Any:
    app = typer.Typer(
        cls=CommandGroup,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["--help", "-h"]},
    )

    @app.callback()
    def sequencer(
        version: bool = typer.Option(
            False, "--version", help="Show the version and exit.", callback=_show_version, is_eager=True
        ),
    ) -> None:
        """Check, simulate, prove and export one file that describes a pressure-launched rocket pad and its sequence.

        What it tells holds for the model in the file, against what was looked at, and no further; local rules and
        licensed practice come first.

        Exit codes: 0 fine, 1 findings or a broken interlock, 2 unusable input.
        """

    return typer.main.get_command(app)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line (without the program's name) and return its exit code; never raises for bad input.

    0 fine, 1 findings or a broken interlock, 2 unusable input or misused options, 70 a defect of the tool,
    130 interrupted, 141 the reader of the output went away.
    """
    return run(list(sys.argv[1:] if arguments is None else arguments)).code


def run(words: list[str]) -> Ended:
    """The same, and what it says in one sentence: of bad input and of a defect too."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plain_letters")
    try:
        ended = _invoke(words)
        sys.stdout.flush()
    except SequencerError as error:
        try:
            return _unusable(words, error)
        except BrokenPipeError:
            return _reader_gone()
    except (BrokenPipeError, _ReaderGone):
        return _reader_gone()
    except KeyboardInterrupt:
        return Ended(INTERRUPTED, "interrupted")
    except OSError as error:
        if error.filename is None and error.errno not in ROOM:
            return _defect()
        progress("")
        from sequencer.cli.files import in_words

        says = in_words(error)
        print(says, file=sys.stderr)
        return Ended(UNUSABLE_INPUT, says.partition("\n")[0])
    except Exception:
        return _defect()
    return ended


def _invoke(words: list[str]) -> Ended:
    """What the command returned; the library's own endings (usage, --help) come as `SystemExit` alone."""
    returned: list[Ended] = []
    try:
        _application()(words, prog_name="sequencer", obj=returned)
    except SystemExit as ending:
        code = ending.code if isinstance(ending.code, int) else 0
        return returned[0] if returned else Ended(code, "" if code == 0 else "the command was not understood")
    return Ended()


def _reader_gone() -> Ended:
    # Python flushes stdout once more at exit; give it somewhere to go.
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    return Ended(READER_GONE, "the reader of the output went away")


def _unusable(words: list[str], error: SequencerError) -> Ended:
    progress("")
    say_findings(error.findings, stderr=True)
    print(error.message, file=sys.stderr)
    if "--json" in words:
        from sequencer.cli.shared import Verdict, emit_json

        file = next((finding.place.file for finding in error.findings if finding.place.file), "")
        command = next((word for word in words if word in COMMANDS), "")
        emit_json(command, file, Verdict.FAIL, {"error": error.message, "findings": error.findings})
    return Ended(UNUSABLE_INPUT, error.message.partition("\n")[0])


def _defect() -> Ended:
    import traceback

    progress("")
    print("sequencer: this is a defect of the tool, not of your file; please report it with what follows.",
          file=sys.stderr)  # fmt: skip
    traceback.print_exc()
    return Ended(DEFECT, "a defect of the tool, not of the file; its text tells more")


if __name__ == "__main__":
    sys.exit(main())
