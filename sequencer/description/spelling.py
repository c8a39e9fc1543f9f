"""The nearest known spelling, for every name and key that is not known."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word that was most likely meant, or "" when nothing comes near."""
    words = list(known)
    plain = {_plain(one): one for one in reversed(words)}
    if _plain(word) in plain:
        return plain[_plain(word)]
    found = difflib.get_close_matches(_plain(word)[:60], list(plain), n=1, cutoff=0.6)
    return plain[found[0]] if found else ""


def _plain(word: str) -> str:
    return re.sub(r"[\s\-]+", "_", word.strip().lower())


def offer(word: str, known: Iterable[str], what: str = "one of") -> str:
    """'write `x`; known: …' - the advice for a word that is not known."""
    words = list(known)
    near = nearest(word, words)
    listed = ", ".join(words[:14]) + (", …" if len(words) > 14 else "")
    if not words:
        return "there is none in this file yet"
    return f"write '{near}' ({what}: {listed})" if near else f"write {what}: {listed}"


def offset_of(word: str, text: str) -> int:
    """Where `word` stands in a sentence as a whole word; 0 when it does not."""
    found = re.search(rf"(?<![\w]){re.escape(word)}(?![\w])", text) if word else None
    return found.start() if found else 0
