"""Something worked out by a second process while this one goes on; in this one, when asked for, where that cannot be."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from multiprocessing import current_process, get_context
from multiprocessing.pool import AsyncResult, Pool
from typing import Any, Generic, TypeVar

T = TypeVar("T")
PROCESSES = 2
_shared: list[Callable[[], Any]] = []
"""What the second process works on: it finds it here, with everything that this one has made so far."""


def able() -> bool:
    """Whether a second process can share this one's memory and has a processor to run on. One that is itself such a
    process starts no more."""
    return sys.platform == "linux" and (os.cpu_count() or 1) >= PROCESSES and not current_process().daemon


class Aside(Generic[T]):
    """`function()`, asked for now and needed later. together: whether a second process is worth its start."""

    def __init__(self, function: Callable[[], T], together: bool) -> None:
        self._function = function
        self._begun: tuple[Pool, AsyncResult[T]] | None = None
        if together and able():
            _shared[:] = [function]
            pool = get_context("fork").Pool(1)
            _shared.clear()
            self._begun = pool, pool.apply_async(_work)

    def get(self) -> T:
        """The answer; what the function raises is raised here."""
        if self._begun is None:
            return self._function()
        pool, answer = self._begun
        with pool:
            return answer.get()


def _work() -> Any:
    return _shared[0]()
