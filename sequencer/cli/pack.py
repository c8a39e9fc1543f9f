"""`sequencer pack`: the whole job in one go, and one folder with everything for launch day.

Each part is the very command a user could give, run in this process with its text kept and its sentence taken from
what it returns, so that the pack never says anything else than the commands do. A part that fails or is missing
stands in the index.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import shutil
import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sequencer.cli.files import folder_to_write
from sequencer.cli.shared import Ended, FileArgument, JsonOption, Verdict, emit_json, progress

if TYPE_CHECKING:
    from sequencer.report.pack import Done, Result


@dataclass(frozen=True)
class Part:
    """One command of the pack: its arguments after the file, where its text goes, and what else it must leave.

    A part that is not `needed` may be missing from this version; one that is there must always pass.
    """

    command: str
    title: str
    arguments: tuple[str, ...] = ()
    text: str = ""
    needed: bool = True
    makes: tuple[str, ...] = ()


def parts(out: Path, drills: Iterable[str] = ()) -> tuple[Part, ...]:
    """Every part, quick ones first; paths point into `out`; one part for each drill of the file."""

    def at(name: str) -> str:
        return str(out / name)

    return (
        Part("check", "Critical reading", text="check.txt"),
        Part("checklist", "Checklist", ("--out", at("checklist.md")), makes=("checklist.md",)),
        Part("checklist", "Checklist for the printer", ("--out", at("checklist.pdf")), makes=("checklist.pdf",)),
        Part("checklist", "Checklist for a browser", ("--out", at("checklist.html")), makes=("checklist.html",)),
        Part("run", "Simulated launch", ("--log", at("box_log.csv"), "--plot", at("run.svg")), "run.txt", makes=("box_log.csv", "run.svg")),
        Part("sizing", "Sizing sheet", text="sizing.txt"),
        Part("export", "Table for the microcontroller", ("--to", "c", "--out", at("export"), "--verify"), "export.txt", makes=("export",)),
        *(Part("run", f"Drill {name}", ("--drill", name, "--quiet"), f"drills/{name}.txt") for name in drills),
        Part("steps", "Every step done wrong", text="steps.txt"),
        Part("prove", "Interlocks", text="prove.txt"),
    )  # fmt: skip


def command(
    file: FileArgument,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="DIR", help="The folder to write; made if needed.")],
    json: JsonOption = False,
) -> Ended:
    """Do the whole job: check, checklist, run, sizing, export, drills, steps, prove; one folder for launch day."""
    from sequencer.description import load
    from sequencer.report.pack import Done, Pack, index, listing
    from sequencer.report.pack import verdict as says
    from sequencer.table.compile import compile_table
    from sequencer.table.image import checksum

    folder_to_write("--out", out)
    pad, whole = load(file), file.read_bytes()
    mark = f"{checksum(compile_table(pad)):08X}"
    out.mkdir(parents=True, exist_ok=True)
    (out / "description.yaml").write_bytes(whole)
    todo, done = parts(out, pad.drills), []
    for number, part in enumerate(todo, 1):
        begun = f"[{number} of {len(todo)}] {part.title} …"
        with _watched(begun):
            done.append(_do(part, file, out))
        print(f"{begun} {done[-1].result}, {done[-1].seconds:.1f} s", file=sys.stderr, flush=True)
    if file.read_bytes() != whole:
        changed = "the file was changed while the pack was made; make it again"
        done.append(Done("pack", "One file for all parts", "fail", None, 0.0, (), True, changed))
    pack = Pack(str(out), pad.title, pad.revision, mark, tuple(done))
    (out / "index.md").write_text(index(pack), encoding="utf-8")
    verdict = Verdict.of(pack.passed)
    if json:
        emit_json("pack", file, verdict, pack)
    else:
        print(listing(pack))
    return Ended.of(verdict, says(pack))


@contextlib.contextmanager
def _watched(begun: str) -> Iterator[None]:
    """While a part runs: its title and its own progress on the terminal, in one line that is written over."""
    screen = sys.stderr

    def show(text: str) -> None:
        if screen.isatty():
            with contextlib.redirect_stderr(screen):
                progress.write(text)

    show(begun)
    progress.listener = lambda text: show(f"{begun} {text}")
    try:
        yield
    finally:
        progress.listener = None
        show("")


def _do(part: Part, file: Path, out: Path) -> Done:
    """Run one command and keep its text; a defect of the tool counts as a failure of the part."""
    from sequencer.report.pack import Done

    if importlib.util.find_spec(f"sequencer.cli.{part.command}") is None:
        return Done(part.command, part.title, "missing", None, 0.0, (), part.needed, "this version has no such command")
    from sequencer.cli.main import INTERRUPTED, run

    for name in part.makes:  # what an earlier pack left must not pass for today's
        _remove(out / name)
    said, complained, begun = io.StringIO(), io.StringIO(), time.monotonic()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complained):
        ended = run([part.command, str(file), *part.arguments])
    if ended.code == INTERRUPTED:
        raise KeyboardInterrupt
    text = said.getvalue()
    if ended.code != 0 and complained.getvalue():
        text += "\n" + complained.getvalue()
    files = [name for name in part.makes if (out / name).exists()]
    if part.text:
        (out / part.text).parent.mkdir(parents=True, exist_ok=True)
        (out / part.text).write_text(text, encoding="utf-8")
        files.insert(0, part.text)
    left_out = [name for name in part.makes if name not in files]
    says = f"it left no {' and no '.join(left_out)}" if ended.code == 0 and left_out else ended.says
    result: Result = "fail" if ended.code or left_out else "pass"
    return Done(part.command, part.title, result, ended.code, time.monotonic() - begun, tuple(files), part.needed, says)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
