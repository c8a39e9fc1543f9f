"""Every word that the tool uses or the file may hold, and what it means: `meaning WORD`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from sequencer.description import faults, vocabulary
from sequencer.description.findings import READER, READING
from sequencer.description.glossary import GLOSSARY
from sequencer.description.spelling import nearest
from sequencer.quantities import UNITS


@dataclass(frozen=True)
class Meaning:
    """One meaning of a word: of which kind it is, and what it says."""

    word: str
    kind: str
    says: str
    where: str = ""
    inside: str = ""


@cache
def everything() -> dict[str, tuple[Meaning, ...]]:
    """{word: its meanings}: trade words, keys of the file, findings, units and modes of failing."""
    found: dict[str, list[Meaning]] = {}
    for word, says in GLOSSARY.items():
        found.setdefault(word, []).append(Meaning(word, "word", says))
    for key in vocabulary.words():
        due = "due" if key.due else "may be left out"
        choices = f" One of: {', '.join(key.choices)}." if key.choices else ""
        one = Meaning(key.key, "key", f"{key.says.rstrip('.')}.{choices} ({due})", key.where, key.inside)
        found.setdefault(key.key, []).append(one)
    for name, (severity, says) in READING.items():
        found.setdefault(name, []).append(Meaning(name, f"finding ({severity})", says))
    for name, says in READER.items():
        found.setdefault(name, []).append(Meaning(name, "finding (the file is unusable)", says))
    for unit, (kind, _) in UNITS.items():
        found.setdefault(unit, []).append(Meaning(unit, "unit", f"a unit of {kind}"))
    for mode, says in faults.modes().items():
        found.setdefault(mode, []).append(Meaning(mode, "way of failing", says))
    return {word: tuple(meanings) for word, meanings in found.items()}


def meanings(word: str) -> tuple[Meaning, ...]:
    """The meanings of a word; nothing when it is not known."""
    known = everything()
    plain = " ".join(word.split())
    for one in (plain, plain.lower(), plain.lower().replace(" ", "_"), plain.lower().replace("_", "-"), plain.lower().replace("_", " ")):
        if one in known:
            return known[one]
    return ()


def near(word: str) -> str:
    """The known word nearest to one that is not known, or ""."""
    return nearest(word, everything())
