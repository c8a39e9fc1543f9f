"""The file as bytes and characters: size, encoding, tabs, invisible and look-alike letters.

What cannot be seen on a screen cannot be checked by a reader, so it is refused, named by its code
point, and taken out so that the rest of the file can still be read in the same pass.
"""

from __future__ import annotations

import re
import stat
import unicodedata
from bisect import bisect_right
from dataclasses import dataclass, field
from pathlib import Path

from sequencer.errors import Finding, Place, UnusableFile

LARGEST = 512 * 1024  # bytes; the largest description seen so far has under 40 KiB
_SHOWN = 8  # of one kind, before "and N more"
_MIXED = re.compile(r"[^\W\d_]+")


@dataclass
class Look:
    """The text without what cannot be seen, and the true column of everything in it."""

    file: str
    text: str
    findings: list[Finding] = field(default_factory=list)
    removed: dict[int, list[int]] = field(default_factory=dict)  # line -> columns (from 0) taken out

    def place(self, line: int, column: int) -> Place:
        """The place in the user's file of a line and a column (from 0) of the cleaned text."""
        gone = self.removed.get(line, [])
        for at in gone:
            if at <= column:
                column += 1
        return Place(self.file, line + 1, column + 1)


def unusable(file: str, name: str, found: str, required: str = "", mend: str = "") -> UnusableFile:
    """The error for a file that cannot even be looked at."""
    finding = Finding(name, "error", Place(file), found, required, mend)
    return UnusableFile(f"{file}: nothing was done", (finding,))


def read_bytes(path: Path) -> bytes:
    """The file's bytes; raises UnusableFile for what is no plain file, too large or unreadable."""
    name = str(path)
    need = "a text file in UTF-8"
    try:
        info = path.stat()
        if stat.S_ISDIR(info.st_mode):
            raise unusable(name, "unreadable-file", "this is a directory", need, "name the file in it")
        if not stat.S_ISREG(info.st_mode):
            raise unusable(name, "unreadable-file", "this is no plain file", need, "save it to a file first")
        with path.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise unusable(name, "unreadable-file", f"the file cannot be read: {reason}", need, "look at its name and rights") from error
    if len(raw) > LARGEST:
        raise unusable(name, "too-large", f"the file has more than {LARGEST} bytes", f"at most {LARGEST} bytes", "keep one pad in one file")
    return raw


def decode(raw: bytes, file: str) -> str:
    """UTF-8 text of the bytes; raises UnusableFile with the place of the first wrong byte."""
    need, mend = "a text file in UTF-8", "save it as UTF-8 in the editor"
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise unusable(file, "not-utf-8", "the file is written in UTF-16", need, mend)
    try:
        return raw.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line = before.count(b"\n") + 1
        column = len(before[before.rfind(b"\n") + 1 :].decode("utf-8", "replace")) + 1
        finding = Finding(
            "not-utf-8", "error", Place(file, line, column), f"byte 0x{raw[error.start]:02X} is no UTF-8 text here", need, mend
        )
        raise UnusableFile(f"{file}: nothing was done", (finding,)) from error


def look(text: str, file: str) -> Look:
    """Find and take out what cannot be seen; findings carry the place and the code point."""
    result = Look(file, "")
    lines: list[str] = []
    counts: dict[str, int] = {}
    if "\x00" in text:
        raise unusable(file, "not-text", "the file holds zero bytes: it is no text", "a text file in UTF-8", "name the right file")
    for number, line in enumerate(_split(text)):
        body, ending = line.rstrip("\r\n"), line[len(line.rstrip("\r\n")) :]
        if not body.isascii() or not body.isprintable():
            body = _clean(result, body, number, counts)
        lines.append(body + ending.replace("\r\n", "\n").replace("\r", "\n"))
    result.text = "".join(lines)
    for name, count in counts.items():
        if count > _SHOWN:
            text_more = f"and {count - _SHOWN} more of this kind"
            result.findings.append(Finding(name, "error", Place(file), text_more))
    return result


def _split(text: str) -> list[str]:
    """Lines with their endings; only LF, CR LF and CR end a line here."""
    return re.findall(r"[^\r\n]*(?:\r\n|\n|\r)|[^\r\n]+$", text)


def _say(result: Look, counts: dict[str, int], name: str, number: int, column: int, found: str, required: str, mend: str) -> None:
    counts[name] = counts.get(name, 0) + 1
    if counts[name] <= _SHOWN:
        place = Place(result.file, number + 1, column + 1)
        result.findings.append(Finding(name, "error", place, found, required, mend))


def _clean(result: Look, body: str, number: int, counts: dict[str, int]) -> str:
    comment = re.search(r"(^|\s)#", body)
    shown = body[: comment.start()] if comment else body
    kept: list[str] = []
    for column, one in enumerate(body):
        what = f"U+{ord(one):04X} {unicodedata.name(one, 'a control character')}"
        category = unicodedata.category(one)
        if one == "\t":
            if column <= len(shown):
                _say(result, counts, "tab", number, column, "a tab stands here", "spaces only", "replace it by spaces; let the editor insert spaces")
            kept.append(" ")
        elif category in ("Cf", "Cc", "Cs", "Co", "Cn") or one in "\u2028\u2029":
            _say(result, counts, "invisible-character", number, column, f"an invisible character stands here: {what}", "characters that can be seen", "delete it; type the word again")
            result.removed.setdefault(number, []).append(column)
        elif category == "Zs" and one != " ":
            _say(result, counts, "invisible-character", number, column, f"a space that is no plain space stands here: {what}", "plain spaces", "type the space again")
            kept.append(" ")
        else:
            kept.append(one)
    for word in _MIXED.finditer(shown):
        odd = _look_alike(word.group())
        if odd:
            column = word.start() + word.group().index(odd)
            what = f"U+{ord(odd):04X} {unicodedata.name(odd, 'unnamed')}"
            _say(result, counts, "look-alike", number, column, f"'{word.group()}' mixes alphabets: '{odd}' is {what}", "one alphabet in one word", "type the word again")
    return "".join(kept)


def _look_alike(word: str) -> str:
    """The first letter of another alphabet in a word that also has plain Latin letters."""
    if word.isascii() or not any(c.isascii() for c in word):
        return ""
    for one in word:
        if not one.isascii() and not unicodedata.name(one, "").startswith(("LATIN SMALL LETTER", "LATIN CAPITAL LETTER")):
            return one
    return ""


def line_starts(text: str) -> list[int]:
    """Index of the first character of every line."""
    return [0, *(match.end() for match in re.finditer("\n", text))]


def line_and_column(starts: list[int], index: int) -> tuple[int, int]:
    """Line and column, both from 0, of an index into the text."""
    line = bisect_right(starts, index) - 1
    return line, index - starts[line]
