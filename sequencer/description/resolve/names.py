"""What the file declares, and the one way to say that a name is not among it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sequencer.description.box import AnalogInput
from sequencer.description.pad import Pad
from sequencer.description.spelling import offer, offset_of
from sequencer.description.tree import Tree, Where
from sequencer.errors import Finding, Place
from sequencer.quantities import Quantity, spellings

_SECTIONS = ("inputs", "outputs", "conditions", "states", "trips", "interlocks", "site", "cards", "drills")
# words that mean the other of two for a contact that has one of them
OPPOSITES = {
    "shut": "open", "open": "shut", "closed": "open", "pressed": "released", "released": "pressed", "in": "out", "out": "in",
    "on": "off", "off": "on", "latched": "unlatched", "locked": "unlocked", "up": "down", "down": "up",
}  # fmt: skip


class Names:
    """The pad, its tree, and the findings so far. A section with broken text accepts every name."""

    def __init__(self, pad: Pad, tree: Tree, aside: set[Where]) -> None:
        self.pad, self.tree, self.aside = pad, tree, aside
        self.findings: list[Finding] = []
        data = tree.data if isinstance(tree.data, dict) else {}
        self.declared: dict[str, list[str]] = {}
        for section in _SECTIONS:
            raw = data.get(section)
            self.declared[section] = list(raw) if isinstance(raw, dict) else []
        crew = data.get("crew")
        roles = crew.get("roles") if isinstance(crew, dict) else None
        self.declared["roles"] = list(roles) if isinstance(roles, dict) else []
        self.open = {one[0] for one in aside if len(one) == 1}
        if "crew" in self.open or ("crew", "roles") in aside:
            self.open.add("roles")

    def has(self, section: str, name: str) -> bool:
        """Whether a name is declared, rightly or wrongly."""
        return section in self.open or name in self.declared[section]

    def whole(self, section: str, name: str) -> Any:
        """The declared part, or None where it is unknown or was refused."""
        if section == "roles":
            return self.pad.crew.roles.get(name)
        return getattr(self.pad, section).get(name)

    def place(self, path: Where, text: str = "", word: str = "", at: int | None = None) -> Place:
        """The place of a word of the text written at a path; of the key itself when that is the word."""
        if word and not text and path and path[-1] == word and path in self.tree.keys:
            return self.tree.keys[path]
        return self.tree.within(path, text, offset_of(word, text) if at is None else at)

    def say(
        self, name: str, path: Where, found: str, required: str = "", mend: str = "", *,
        text: str = "", word: str = "", at: int | None = None,
    ) -> None:  # fmt: skip
        """Report an error at a path, or at a word of the text there."""
        self.findings.append(Finding(name, "error", self.place(path, text, word, at), found, required, mend))

    def need(
        self, section: str, name: str, path: Where, what: str, *, kind: type | tuple[type, ...] | None = None,
        text: str = "", at: int | None = None, also: Iterable[str] = (),
    ) -> Any:  # fmt: skip
        """The declared part of this name; says so and gives None when there is none, or of another kind."""
        if name in also:
            return None
        known = [one for one in self.declared[section] if kind is None or isinstance(self.whole(section, one), kind)]
        part = self.whole(section, name)
        if not self.has(section, name):
            self.say(
                "unknown-name", path, f"'{name}' is not declared in {section}", what, offer(name, known),
                text=text, word=name, at=at,
            )  # fmt: skip
            return None
        if part is not None and kind is not None and not isinstance(part, kind):
            self.say(
                "wrong-kind", path, f"'{name}' in {section} is of another kind", what, offer(name, known),
                text=text, word=name, at=at,
            )  # fmt: skip
            return None
        return part

    def position(self, output: str, word: str, path: Where, *, text: str = "", at: int | None = None) -> None:
        """Say so when an output has no such position."""
        if self.whole("outputs", output) is None:
            return
        known = self.pad.output_positions[output]
        if word not in known:
            self.say(
                "unknown-position", path, f"'{word}' is no position of '{output}'", f"one of: {', '.join(known)}",
                offer(word, known), text=text, word=word, at=at,
            )  # fmt: skip

    def contact_word(self, name: str, word: str, path: Where, text: str) -> None:
        """Say so when a word is neither the contact's own nor its plain opposite."""
        part = self.whole("inputs", name)
        own = part.contact.word if part is not None else ""
        if not own or word in (own, f"not {own}", OPPOSITES.get(own)):
            return
        known = [own, f"not {own}"]
        self.say(
            "unknown-word", path, f"'{word}' is no word of '{name}'", f"'{own}', or 'not {own}'", offer(word, known),
            text=text, word=word,
        )  # fmt: skip

    def reading_kind(self, name: str) -> str | None:
        """What an analog input reads: the kind of its calibration points."""
        part = self.whole("inputs", name)
        if not isinstance(part, AnalogInput) or not part.points:
            return None
        return next(iter(part.points.values())).kind

    def dimension(
        self, quantity: Quantity, kind: str | None, path: Where, what: str, *, text: str = "", difference: bool = False
    ) -> bool:
        """Say so when a quantity is of another kind, or a difference carries abs or gauge."""
        if kind is not None and quantity.kind != kind:
            self.say(
                "wrong-dimension", path, f"'{quantity.text}' is a {quantity.kind}, but {what} is a {kind}", f"a {kind}",
                f"use one of: {', '.join(spellings(kind))}", text=text, word=quantity.text,
            )  # fmt: skip
            return False
        if difference and quantity.reference:
            self.say(
                "mixed-reference", path, f"'{quantity.text}' is a difference, which is neither absolute nor gauge",
                "a difference without 'abs' or 'gauge'", f"leave out '{quantity.reference}'", text=text, word=quantity.text,
            )  # fmt: skip
            return False
        if difference and quantity.si <= 0:
            self.say("not-above-zero", path, f"'{quantity.text}' is not above zero", "more than zero", "", text=text, word=quantity.text)
            return False
        return True
