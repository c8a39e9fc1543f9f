"""One root error with typed fields, and the finding every room reports with.

A finding says, in this order: where, what was found, what is required, how to mend it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True, order=True)
class Place:
    """A place in the user's file; lines and columns count from 1, 0 means the whole file."""

    file: str = ""
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        if not self.line:
            return self.file
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True)
class Finding:
    """One thing worth telling the builder.

    `name` is a worded name such as `no-way-out`. Severity `error` makes a file unusable,
    `warning` makes `check` fail, `note` is only told.
    """

    name: str
    severity: Severity
    place: Place
    found: str
    required: str = ""
    mend: str = ""

    def __str__(self) -> str:
        parts = [f"{self.place}: {self.severity}: {self.found} [{self.name}]"]
        if self.required:
            parts.append(f"    required: {self.required}")
        if self.mend:
            parts.append(f"    to mend:  {self.mend}")
        return "\n".join(parts)


class SequencerError(Exception):
    """Root of every error this package raises on purpose; carries findings, maybe none."""

    def __init__(self, message: str, findings: tuple[Finding, ...] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.findings = findings

    def __reduce__(self) -> tuple[type[SequencerError], tuple[str, tuple[Finding, ...]]]:
        return (type(self), (self.message, self.findings))

    def __str__(self) -> str:
        if not self.findings:
            return self.message
        return "\n".join([*(str(f) for f in self.findings), self.message])


class UnusableFile(SequencerError):
    """The file cannot be worked with; every finding has its place."""


class DoesNotFit(SequencerError):
    """A number or a name does not fit the field that must carry it; nothing is truncated."""
