"""What to tell a builder when a text is no YAML: found, required, how to mend it."""

from __future__ import annotations

import re

import yaml

from sequencer.description.characters import Look
from sequencer.errors import Finding


def advice(error: yaml.YAMLError, lines: list[str], line: int, column: int) -> tuple[str, str, str]:
    """(found, required, mend) for a syntax error at a line and column, both from 0."""
    problem = str(getattr(error, "problem", None) or error).split("\n")[0]
    here = lines[line] if line < len(lines) else ""
    before = lines[line - 1] if line else ""
    quoted = "a sentence in quotes, or as block text: 'says: >' and the sentence on the next line, indented"
    if "mapping values are not allowed" in problem:
        return "a colon followed by a space stands inside a text", quoted, 'put the text in quotes: "…: …"'
    if "cannot start any token" in problem:
        one = here[column : column + 1]
        return f"a text cannot start with '{one}'", quoted, "put the text in quotes"
    if "expected ',' or '}'" in problem or "expected ',' or ']'" in problem:
        return _flow(lines, line, column, problem, quoted)
    if "could not find expected ':'" in problem:
        return f"'{(before or here).strip()[:40]}' has no colon followed by a space", "KEY: VALUE", "write a space after the colon"
    if "expected <block end>" in problem or "block mapping" in problem or "block collection" in problem or "did not find expected key" in problem:
        return "the line does not stand under the others of its block", "the same number of spaces before every key of a block", "move the line to where its neighbours begin"
    if "quoted scalar" in str(getattr(error, "context", "")) or "unexpected end of stream" in problem:
        return "a quotation mark is not closed", "a quotation mark at both ends of the text", "close it on the same line"
    if "found undefined" in problem or "tag" in problem:
        return f"the text cannot be read: {problem}", "plain words; no tags", "put the text in quotes"
    return f"the text cannot be read: {problem}", "KEY: VALUE, indented with spaces", "compare with a neighbouring line"


def _flow(lines: list[str], line: int, column: int, problem: str, quoted: str) -> tuple[str, str, str]:
    """Braces and brackets: a comment that swallowed the end, a colon in a text, or none closed."""
    for at in range(line, max(-1, line - 4), -1):
        if at < len(lines) and re.search(r"[{\[][^}\]]* #", lines[at]) and at <= line:
            return "' #' inside { } or [ ] starts a comment, which swallows the rest of the line", quoted, "put the text with '#' in quotes"
    got = re.search(r"got '(.*)'", problem)
    if got and got[1] in (":", "<block mapping start>"):
        return "a colon followed by a space stands inside a text, or a bracket above is not closed", quoted, 'put the text in quotes: "…: …", or close the bracket'
    return "a bracket is not closed, or a comma is missing before this word", "as many } and ] as { and [, commas between", "close the bracket or add the comma"


def parts_of(text: str) -> list[tuple[str, int, int]]:
    """(key, start, end) of the blocks that begin with a key in the first column."""
    heads = [(m.group(1), m.start()) for m in re.finditer(r"^([A-Za-z_][\w ]*):(?=\s|$)", text, re.M)]
    ends = [start for _, start in heads[1:]] + [len(text)] * bool(heads)
    return [(name, start, end) for (name, start), end in zip(heads, ends, strict=True)]


def syntax_finding(look: Look, error: yaml.YAMLError, text: str, base_line: int) -> Finding:
    """The finding for a syntax error in a text that begins at line `base_line` of the file."""
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    line, column = (mark.line, mark.column) if mark else (0, 0)
    lines = text.split("\n")
    if line and line >= len(lines) - (not lines[-1]):  # the parser points behind the last line
        line = max(0, len(lines) - 1 - (not lines[-1]))
        column = len(lines[line])
    found, required, mend = advice(error, lines, line, column)
    return Finding("not-yaml", "error", look.place(base_line + line, column), found, required, mend)
