"""`sequencer pack`: the whole job in one go, and one folder with everything for launch day.

Each part is the very command a user could give, run in this process with its text kept, so that the pack never
says anything else than the commands do. Nothing is hidden: a part that fails or is missing stands in the index.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import re
import shutil
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import typer

from sequencer.cli.shared import FileArgument, JsonOption, Verdict, emit_json

Result = Literal["pass", "fail", "missing", "not done"]
WORDS: dict[Result, str] = {
    "pass": "pass", "fail": "FAIL", "missing": "not in this version", "not done": "not done",
}  # fmt: skip


@dataclass(frozen=True)
class Part:
    """One command of the pack: its arguments after the file, where its text goes, and whether the pack needs it."""

    command: str
    title: str
    arguments: tuple[str, ...] = ()
    text: str = ""
    needed: bool = True
    makes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Done:
    """How a part ended. `against` are lines of its text that speak against it, at most three; empty for a pass."""

    command: str
    title: str
    result: Result
    exit_code: int | None
    seconds: float
    files: tuple[str, ...]
    needed: bool
    against: tuple[str, ...]


@dataclass(frozen=True)
class Pack:
    """The launch pack: the folder, what every part said, and whether every needed part passed."""

    folder: str
    title: str
    revision: int
    checksum: str
    parts: tuple[Done, ...]
    passed: bool


AGAINST = re.compile(r"\b(BROKEN|broken|FAILS?|fails?|NOT EXAMINED|error:|warning:|waited in vain|disagree|gives up)\b")
"""Words by which a command's own text speaks against the pad."""


def parts(out: Path, drills: Iterable[str] = ()) -> tuple[Part, ...]:
    """Every part in order; paths point into `out`; one part for each drill of the file."""
    at = {name: str(out / name) for name in ("box_log.csv", "run.svg", "export", "checklist.md", "checklist.html", "checklist.pdf", "report.html")}
    return (
        Part("check", "Critical reading", text="check.txt"),
        Part("run", "Simulated launch", ("--log", at["box_log.csv"], "--plot", at["run.svg"]), "run.txt", makes=("box_log.csv", "run.svg")),
        Part("prove", "Interlocks", text="prove.txt"),
        Part("export", "Table for the microcontroller, verified", ("--to", "c", "--out", at["export"], "--verify"), "export.txt", makes=("export",)),
        Part("checklist", "Checklist (Markdown)", ("--out", at["checklist.md"]), makes=("checklist.md",)),
        Part("checklist", "Checklist (for the printer)", ("--out", at["checklist.pdf"]), makes=("checklist.pdf",)),
        Part("checklist", "Checklist (for a browser)", ("--out", at["checklist.html"]), makes=("checklist.html",)),
        Part("steps", "Every step done wrong", text="steps.txt", needed=False),
        *(Part("run", f"Drill {name}", ("--drill", name, "--quiet"), f"drills/{name}.txt") for name in drills),
        Part("sizing", "Sizing sheet", text="sizing.txt", needed=False),
        Part("report", "One-page report", ("--out", at["report.html"]), needed=False, makes=("report.html",)),
    )  # fmt: skip


def command(
    file: FileArgument,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="DIR", help="The folder to write; made if needed.")],
    json: JsonOption = False,
) -> int:
    """Do the whole job: check, run, prove, export and verify, checklist; leave one folder for launch day."""
    from sequencer.description import load
    from sequencer.table.compile import compile_table
    from sequencer.table.image import checksum

    pad = load(file)
    mark = f"{checksum(compile_table(pad)):08X}"
    out.mkdir(parents=True, exist_ok=True)
    (out / "description.yaml").write_bytes(pad.text.encode())  # the text that was read, not what it may be by now
    done = []
    for part in parts(out, pad.drills):
        print(f"{part.title} …", file=sys.stderr, flush=True)
        done.append(_do(part, file, out))
        print(f"    {WORDS[done[-1].result]}, {done[-1].seconds:.1f} s", file=sys.stderr, flush=True)
    passed = all(one.result == "pass" for one in done if one.needed or one.result != "missing")
    pack = Pack(str(out), pad.title, pad.revision, mark, tuple(done), passed)
    text = index(pack)
    (out / "index.md").write_text(text, encoding="utf-8")
    if json:
        emit_json("pack", file, Verdict.of(passed), pack)
    else:
        print(text, end="")
    return Verdict.of(passed).exit_code


def _do(part: Part, file: Path, out: Path) -> Done:
    """Run one command and keep its text; a defect of the tool counts as a failure of the part."""
    if importlib.util.find_spec(f"sequencer.cli.{part.command}") is None:
        return Done(part.command, part.title, "missing", None, 0.0, (), part.needed, ())
    from sequencer.cli.main import main

    for name in part.makes:  # what an earlier pack left must not pass for today's
        _remove(out / name)
    said, complained, begun = io.StringIO(), io.StringIO(), time.monotonic()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complained):
        code = main([part.command, str(file), *part.arguments])
    text = said.getvalue()
    if code != 0 and complained.getvalue():
        text += "\n" + complained.getvalue()
    files = [name for name in part.makes if (out / name).exists()]
    if part.text:
        (out / part.text).parent.mkdir(parents=True, exist_ok=True)
        (out / part.text).write_text(text, encoding="utf-8")
        files.insert(0, part.text)
    whole = code == 0 and len(files) == len(part.makes) + bool(part.text)
    lines = [line.strip() for line in text.splitlines() if AGAINST.search(line)]
    found = tuple(lines[:3]) or (("it says nothing more",) if not whole else ())
    return Done(
        part.command, part.title, "pass" if whole else "fail", code, time.monotonic() - begun, tuple(files), part.needed,
        () if whole else found,
    )  # fmt: skip


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def index(pack: Pack) -> str:
    """The pack's index as Markdown."""
    from sequencer.crew.markdown import table
    from sequencer.crew.words import CAUTIONS

    rows = []
    for one in pack.parts:
        word = WORDS[one.result] + (f" (exit {one.exit_code})" if one.exit_code else "")
        if one.result == "missing" and one.needed:
            word = "FAIL: not in this version"
        rows.append([one.title, f"`{one.command}`", word, ", ".join(one.files) or "-", "; ".join(one.against)])
    verdict = "Every needed part passed." if pack.passed else "NOT READY: at least one part failed or is missing. Do not launch on this pack."
    return "\n".join([
        f"# {pack.title}: launch pack", "", f"Revision {pack.revision} · table {pack.checksum}", "",
        "Blind to: everything that is not in `description.yaml`. Each part names its own blind spots first.",
        *(f"{caution}" for caution in CAUTIONS), "", f"**{verdict}**", "",
        table(["part", "command", "result", "files", "against it"], rows), "",
    ])  # fmt: skip
