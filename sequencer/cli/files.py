"""Files that a command reads or writes beside the description: looked at before the work begins, refused in plain words."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from sequencer.errors import SequencerError

PICTURES = (".svg", ".png")
_MEND = {
    errno.ENOENT: "look at the name and its folder",
    errno.EISDIR: "name a file, not a folder",
    errno.ENOTDIR: "look at the name; something on the way to it is no folder",
    errno.EEXIST: "name another; what stands there is kept",
    errno.EACCES: "name a place that you may read and write",
    errno.EPERM: "name a place that you may read and write",
    errno.EROFS: "name a place that can be written",
    errno.ENOSPC: "make room, or name another place",
    errno.EDQUOT: "make room, or name another place",
    errno.EFBIG: "name another place",
    errno.EIO: "look at the disk, or name another place",
}


def to_write(option: str, path: Path | None, *endings: str) -> None:
    """Raises SequencerError unless a file can be written there and has one of the endings, where some are named."""
    if path is None:
        return
    if endings and path.suffix.lower() not in endings:
        known = ", ".join(endings[:-1]) + (" or " if len(endings) > 1 else "") + endings[-1]
        raise _refused(option, path, "this ending says nothing of what to write", f"a name that ends in {known}", "name it so")
    if path.is_dir():
        raise _refused(option, path, "this is a folder", "a file", "name a file in it")
    if not path.parent.is_dir():
        raise _refused(option, path, f"there is no folder {path.parent}", "a file in a folder that is there", "make the folder first, or name another")
    if not os.access(path if path.exists() else path.parent, os.W_OK):
        raise _refused(option, path, "nothing may be written there", "a place you may write to", "name another")


def folder_to_write(option: str, path: Path | None) -> None:
    """Raises SequencerError where a file stands in the way of a folder."""
    for part in (path, *path.parents) if path is not None else ():
        if part.exists():
            if not part.is_dir():
                raise _refused(option, part, "this is a file", "a folder, or a name that is free", "name another")
            break


def text_of(option: str, path: Path) -> str:
    """The text of a file. Raises SequencerError where it is none; OSError where it cannot be read."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise _refused(option, path, f"byte {error.start + 1} is no UTF-8 text", "plain text", "name a text file, or save it as UTF-8") from error


def in_words(error: OSError) -> str:
    """What went wrong with a file, and how to mend it."""
    mend = _MEND.get(error.errno or 0)
    return f"{error.filename or 'while writing'}: {error.strerror or error}" + (f"\n    to mend:  {mend}" if mend else "")


def _refused(option: str, path: Path, found: str, required: str, mend: str) -> SequencerError:
    return SequencerError(f"{option} {path}: {found}\n    required: {required}\n    to mend:  {mend}")
