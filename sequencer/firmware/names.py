"""Names of the file as C identifiers, and text that may stand in C comments and strings."""

from __future__ import annotations

import re

from sequencer.errors import DoesNotFit
from sequencer.table import Table

SIGNIFICANT = 63  # first characters of an identifier that C99 promises to tell apart (5.2.4.1)


def constants(table: Table) -> dict[str, dict[str, int]]:
    """Per group of the generated header, {C name: number}; raises DoesNotFit for names that C cannot tell apart."""
    groups: dict[str, dict[str, int]] = {}
    origins: dict[str, str] = {}

    def add(group: str, prefix: str, names: list[tuple[str, int]]) -> None:
        made = groups.setdefault(group, {})
        for name, number in names:
            word = f"FOLLOW_{prefix}_{_word(name, group)}"
            short = word[:SIGNIFICANT]
            if short in origins:
                raise DoesNotFit(
                    f"{group} '{name}' and {origins[short]} are the same name in C ({short}); rename one of the two"
                )
            origins[short] = f"{group} '{name}'"
            made[word] = number

    add("contact", "CONTACT", [(c.name, i) for i, c in enumerate(table.contacts)])
    add("reading", "READING", [(a.name, i) for i, a in enumerate(table.analogs)])
    add("link", "LINK", [(h, i) for i, h in enumerate(table.heartbeats)])
    add("output", "OUTPUT", [(o.name, i) for i, o in enumerate(table.outputs)])
    add("position", "POSITION", [(f"{o.name} {p}", i) for o in table.outputs for i, p in enumerate(o.positions)])
    add("condition", "BIT", [(b.name, i) for i, b in enumerate(table.bits) if not b.hidden])
    add("state", "STATE", [(s.name, i) for i, s in enumerate(table.states)])
    return groups


def _word(name: str, group: str) -> str:
    word = re.sub(r"[ -]+", "_", name.strip()).upper()
    if not re.fullmatch(r"[A-Z0-9_]+", word):
        raise DoesNotFit(f"{group} '{name}' cannot be a name in C; use letters a to z, digits, spaces and _")
    return word


def comment(text: str) -> str:
    """`text` on one line, harmless inside a C comment; what C's plain characters lack becomes '?'."""
    line = " ".join(text.split()).replace("*/", "* /").replace("/*", "/ *").replace("??", "? ?")
    return "".join(c if " " <= c <= "~" else "?" for c in line).rstrip("\\")


def string(text: str) -> str:
    """`text` as a C string literal in UTF-8, every doubtful byte in octal."""
    plain = (chr(b) if 32 <= b < 127 and chr(b) not in '"\\?' else f"\\{b:03o}" for b in text.encode("utf-8"))
    return '"' + "".join(plain) + '"'
