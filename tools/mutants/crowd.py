"""Many mutants judged on several processes, each answer kept as soon as it is there, so that a broken run resumes."""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import sys
from collections.abc import Iterator
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

from mutants.judge import Judge, Notice
from mutants.operators import Mutant

ROOT = Path(__file__).resolve().parents[2]
Asked = tuple[str, Notice | None]
"""A mutant's text, and who noticed it last time."""


def sources() -> str:
    """What every answer rests on: the program and the mutants' own tools."""
    made = hashlib.sha256()
    for folder in ("sequencer", "tools/mutants"):
        for file in sorted((ROOT / folder).rglob("*.py")):
            made.update(file.read_bytes())
    return made.hexdigest()


class Kept:
    """Answers by the checksum of program, original, mutant and how far was looked. Whoever noticed the same change of an
    older file or with an older program is remembered too, and only asked first. `folder` None: nothing is kept."""

    def __init__(self, folder: Path | None, basis: str) -> None:
        self.file = None if folder is None else folder / "answers.jsonl"
        self.basis = basis
        self.known: dict[str, Notice] = {}
        self.older: dict[str, Notice] = {}
        if self.file is not None and self.file.exists():
            for line in self.file.read_text(encoding="utf-8").splitlines():
                key, change, who, says = json.loads(line)
                self.known[key] = self.older[change] = Notice(who, says)

    def key(self, text: str) -> str:
        return hashlib.sha256(f"{self.basis}\0{text}".encode()).hexdigest()

    def keep(self, mutant: Mutant, notice: Notice) -> None:
        if self.file is not None:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            with self.file.open("a", encoding="utf-8") as stream:
                stream.write(json.dumps([self.key(mutant[1]), mutant[0], notice.who, notice.says]) + "\n")


def judged(judge: Judge, mutants: list[Mutant], jobs: int, kept: Kept) -> list[Notice]:
    """The notice of every mutant, in order. Progress goes to standard error."""
    keys = [kept.key(text) for _, text in mutants]
    found = {i: kept.known[key] for i, key in enumerate(keys) if key in kept.known}
    todo = [i for i in range(len(mutants)) if i not in found]
    if todo:
        judge.look()
    asked = [(text, kept.older.get(change)) for change, text in mutants]
    for done, (number, notice) in enumerate(_shared(judge, asked, todo, jobs), 1):
        found[number] = notice
        kept.keep(mutants[number], notice)
        if sys.stderr.isatty() or done % 20 == 0:
            print(f"\r{judge.name}: {done} of {len(todo)} judged", end="" if sys.stderr.isatty() else "\n", file=sys.stderr, flush=True)
    return [found[i] for i in range(len(mutants))]


def _shared(judge: Judge, texts: list[Asked], todo: list[int], jobs: int) -> Iterator[tuple[int, Notice]]:
    if jobs <= 1 or len(todo) <= 1 or "fork" not in multiprocessing.get_all_start_methods():
        yield from ((i, judge.notice(*texts[i])) for i in todo)
        return
    context = multiprocessing.get_context("fork")
    turn = context.Value("l", 0)
    pipes: dict[Connection, Any] = {}
    for _ in range(min(jobs, len(todo))):
        mine, its = context.Pipe(duplex=False)
        process = context.Process(target=_work, args=(its, judge, texts, todo, turn))
        process.start()
        its.close()
        pipes[mine] = process
    while pipes:
        for pipe in wait(list(pipes)):
            assert isinstance(pipe, Connection)
            try:
                yield pipe.recv()
            except EOFError:
                process = pipes.pop(pipe)
                process.join()
                if process.exitcode:
                    raise RuntimeError(f"a judging process ended with {process.exitcode}") from None


def _work(pipe: Connection, judge: Judge, texts: list[Asked], todo: list[int], turn: Any) -> None:
    while True:
        with turn.get_lock():
            at, turn.value = turn.value, turn.value + 1
        if at >= len(todo):
            break
        pipe.send((todo[at], judge.notice(*texts[todo[at]])))
    pipe.close()
