"""The same work on every processor: forked copies of this process each do a share of a list.

Where the system cannot fork, or one job is asked for, everything is done here. The answers come in the order of the
questions either way.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

Q = TypeVar("Q")
A = TypeVar("A")


def jobs_here(wanted: int | None = None) -> int:
    """How many processes to use: as asked, else as many as there are processors; 1 where the system cannot fork."""
    if "fork" not in multiprocessing.get_all_start_methods():
        return 1
    return max(1, wanted or len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else wanted or os.cpu_count() or 1)


def answers(work: Callable[[Q], A], questions: Sequence[Q], jobs: int) -> list[A]:
    """`work` of each question, in order. What a child raises is raised here."""
    if jobs <= 1 or len(questions) <= 1:
        return [work(question) for question in questions]
    context = multiprocessing.get_context("fork")
    shares: list[tuple[int, Any, Any]] = []
    for first in range(min(jobs, len(questions))):
        mine, its = context.Pipe(duplex=False)
        process = context.Process(target=_share, args=(its, work, questions[first::jobs]), daemon=True)
        process.start()
        its.close()
        shares.append((first, process, mine))
    found: dict[int, A] = {}
    for first, process, pipe in shares:
        try:
            answer = pipe.recv()
        except EOFError:
            raise RuntimeError(f"a child process ended without an answer (exit code {process.exitcode})") from None
        process.join()
        if isinstance(answer, Exception):
            raise answer
        found.update(zip(range(first, len(questions), jobs), answer, strict=True))
    return [found[i] for i in range(len(questions))]


def _share(pipe: Any, work: Callable[[Any], Any], questions: Sequence[Any]) -> None:
    try:
        pipe.send([work(question) for question in questions])
    except Exception as error:  # told to the parent, which raises it
        pipe.send(error)
    pipe.close()
