"""From YAML text to plain data in which every scalar is the word as written, with the place of each.

Built from the parser's events without recursion, so depth, aliases and size are bounded here; tags,
merges, several documents and repeated keys are refused, each at its place. When a part of the text
is no YAML, the other top-level parts are still read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import yaml

from sequencer.description.characters import Look, line_and_column, line_starts
from sequencer.description.syntax import parts_of, syntax_finding
from sequencer.errors import Finding, Place, Severity

Where = tuple[str | int, ...]
DEEPEST = 16
MOST_NODES = 30_000
MOST_ALIASES = 100
LONGEST_TEXT = 4_000
TRUTHS = ({"on", "yes", "true", "y"}, {"off", "no", "false", "n"})


@dataclass(frozen=True)
class Spot:
    """A scalar in the cleaned text: its first and last index, and how it is quoted ("" plain)."""

    start: int
    end: int
    style: str


@dataclass
class Tree:
    """What was read: data of dicts, lists and texts; places of values, keys and spots of scalars."""

    look: Look
    data: Any = None
    places: dict[Where, Place] = field(default_factory=dict)
    keys: dict[Where, Place] = field(default_factory=dict)
    spots: dict[Where, Spot] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    broken: set[str] = field(default_factory=set)  # top-level keys whose text is no YAML

    def place(self, path: Where) -> Place:
        """Where a path stands, or its nearest parent."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places.get(path, Place(self.look.file, 1, 1))

    def within(self, path: Where, value: str, offset: int) -> Place:
        """The place of the character at `offset` of a scalar's value."""
        spot = self.spots.get(path)
        if spot is None or offset <= 0:
            return self.place(path)
        text = self.look.text
        at = spot.start
        if spot.style in ("|", ">"):
            at = text.find("\n", at) + 1
        elif spot.style:
            at += 1
        for one in value[:offset]:
            if one.isspace():
                while at < spot.end and text[at].isspace():
                    at += 1
            else:
                while at < spot.end and text[at] != one:
                    at += 1
                at += 1
        while at < spot.end and text[at].isspace():
            at += 1
        return self.look.place(*line_and_column(line_starts(text), min(at, spot.end)))


@dataclass(eq=False)
class _Frame:
    path: Where
    holds: dict[str, Any] | list[Any]
    key: str | None = None
    skip: bool = False  # the value of this key, or this whole container, is not kept
    anchor: str | None = None
    plain: dict[str, Place] = field(default_factory=dict)


class _Enough(Exception):
    """The text is hostile; reading it further is of no use."""


def read_tree(look: Look) -> Tree:
    """Read a cleaned text; never raises, all findings are in the tree."""
    tree = Tree(look)
    try:
        tree.data = _Builder(tree, look.text, 0, 0).run()
        return tree
    except _Enough:
        return tree
    except yaml.YAMLError as error:
        whole = syntax_finding(look, error, look.text, 0)
    parts = parts_of(look.text)
    tree = Tree(look)
    if not 1 < len(parts) <= 200:
        tree.findings.append(whole)
        return tree
    tree.data = {}
    for name, start, end in parts:
        text, line = look.text[start:end], look.text.count("\n", 0, start)
        if name in tree.data or name in tree.broken:
            tree.findings.append(
                Finding("repeated-key", "error", look.place(line, 0), f"'{name}' is written twice", "each key once", "make one block of them")
            )
            continue
        before = len(tree.findings)
        try:
            piece = _Builder(tree, text, line, start).run()
        except _Enough:
            return tree
        except yaml.YAMLError as error:
            tree.findings.append(syntax_finding(look, error, text, line))
            tree.broken.add(name)
            continue
        if isinstance(piece, dict):
            tree.data.update(piece)
        elif len(tree.findings) == before:
            tree.broken.add(name)
    if not tree.broken:
        tree.findings.append(whole)
    return tree


class _Builder:
    def __init__(self, tree: Tree, text: str, base_line: int, base_index: int) -> None:
        self.tree, self.text, self.base_line, self.base_index = tree, text, base_line, base_index
        self.stack: list[_Frame] = []
        self.anchors: dict[str, tuple[Any, Where] | None] = {}
        self.root: Any = None
        self.nodes = self.aliases = 0

    def run(self) -> Any:
        documents = 0
        for event in self._events():
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if event.version or event.tags:
                    self._say("yaml-directive", event, "a YAML directive stands here", "plain text without '%'", "delete the line")
                if documents > 1:
                    self._say("second-document", event, "a second document starts here", "one pad in one file", "delete '---', or split the file")
                    return self.root
            elif isinstance(event, yaml.AliasEvent):
                self._alias(event)
            elif isinstance(event, yaml.ScalarEvent):
                self._scalar(event)
            elif isinstance(event, yaml.MappingStartEvent | yaml.SequenceStartEvent):
                self._open(event)
            elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
                self._close()
        return self.root

    def _events(self) -> Iterator[Any]:
        try:
            yield from yaml.parse(self.text, Loader=yaml.SafeLoader)
        except (ValueError, IndexError, OverflowError) as error:  # escapes such as \UFFFFFFFF inside quotes
            raise yaml.YAMLError(str(error)) from error

    # -- findings and places

    def _place(self, mark: Any) -> Place:
        return self.tree.look.place(self.base_line + mark.line, mark.column)

    def _say(self, name: str, event: Any, found: str, required: str, mend: str) -> None:
        self.tree.findings.append(Finding(name, "error", self._place(event.start_mark), found, required, mend))

    def _count(self, event: Any, by: int = 1) -> None:
        self.nodes += by
        if self.nodes > MOST_NODES:
            self._say("too-large", event, f"the file holds more than {MOST_NODES} keys and values", "a description of one pad", "keep one pad in one file")
            raise _Enough

    # -- values

    def _here(self) -> tuple[Where, bool]:
        """The path of the value that comes now, and whether it is thrown away."""
        if not self.stack:
            return (), False
        top = self.stack[-1]
        last: str | int = len(top.holds) if isinstance(top.holds, list) else top.key or ""
        return (*top.path, last), top.skip

    def _wants_key(self) -> bool:
        return bool(self.stack) and isinstance(self.stack[-1].holds, dict) and self.stack[-1].key is None

    def _put(self, value: Any) -> None:
        if not self.stack:
            self.root = value
            return
        top = self.stack[-1]
        if isinstance(top.holds, list):
            top.holds.append(value)
            return
        if not top.skip and top.key is not None:
            top.holds[top.key] = value
        top.key, top.skip = None, self._outer_skipped()

    def _outer_skipped(self) -> bool:
        return len(self.stack) > 1 and self.stack[-2].skip

    def _scalar(self, event: Any) -> None:
        self._count(event)
        if event.tag is not None:
            self._say("yaml-tag", event, f"the tag '{event.tag}' stands here", "plain words; no tags", "delete the tag, or put the text in quotes")
        if self._wants_key():
            self._key(event)
            return
        path, skip = self._here()
        if not skip:
            self.tree.places[path] = self._place(event.start_mark)
            start = self.base_index + event.start_mark.index
            self.tree.spots[path] = Spot(start, self.base_index + event.end_mark.index, event.style or "")
            self._text(event)
        if event.anchor:
            self.anchors[event.anchor] = (event.value, path)
        self._put(event.value)

    def _text(self, event: Any) -> None:
        if len(event.value) > LONGEST_TEXT:
            self._say("too-long", event, f"this text has {len(event.value)} characters", f"at most {LONGEST_TEXT}", "shorten it")
        end = event.end_mark.index
        cut = re.match(r" #(\s?)", self.text[end : end + 3]) if not event.style and event.value else None
        if cut and (not cut[1] or len(event.value.split()) > 5):
            rest = self.text[end:].split("\n", 1)[0].strip()
            severity: Severity = "warning" if cut[1] else "error"
            place = self.tree.look.place(self.base_line + event.end_mark.line, event.end_mark.column + 1)
            self.tree.findings.append(
                Finding(
                    "cut-short", severity, place, f"what follows ' #' is a comment: the text ends before '{rest[:40]}'",
                    "a text in quotes, or two spaces and '# ' before a comment", "put the text in quotes if '#' belongs to it",
                )
            )  # fmt: skip

    def _key(self, event: Any) -> None:
        top = self.stack[-1]
        key, place, path = event.value, self._place(event.start_mark), (*top.path, event.value)
        outer = self._outer_skipped()
        top.key, top.skip = key, True
        if outer:
            return
        if key == "<<":
            self._say("merge-key", event, "a merge '<<' stands here", "every key written where it counts", "write the keys out")
        elif key == "":
            self._say("no-key", event, "nothing stands before the colon", "a key", "write the key")
        elif len(key) > 120:
            self._say("too-long", event, f"this key has {len(key)} characters", "at most 120", "shorten it")
        elif path in self.tree.keys:
            first = self.tree.keys[path]
            self._say(
                "repeated-key", event, f"'{key}' is written twice, here and in line {first.line}", "each key once",
                "keep one, or give one another name",
            )  # fmt: skip
        else:
            top.skip = False
            self.tree.keys[path] = place
            self.tree.places[path] = place
            self._truth(top, event, place)

    def _truth(self, top: _Frame, event: Any, place: Place) -> None:
        """Plain keys that other YAML readers take for one and the same truth value."""
        word = event.value.lower()
        if event.style:
            return
        for group in TRUTHS:
            if word in group:
                for other in top.plain:
                    if other.lower() in group:
                        self._say(
                            "same-truth", event,
                            f"'{event.value}' and '{other}' (line {top.plain[other].line}) are one and the same key to many YAML readers",
                            "keys that every reader keeps apart", "put both in quotes, or use other words",
                        )  # fmt: skip
                top.plain[event.value] = place

    def _open(self, event: Any) -> None:
        self._count(event)
        if len(self.stack) >= DEEPEST:
            self._say("too-deep", event, f"the file is nested more than {DEEPEST} levels deep", f"at most {DEEPEST} levels", "look for a bracket too many")
            raise _Enough
        if event.tag is not None:
            self._say("yaml-tag", event, f"the tag '{event.tag}' stands here", "plain words; no tags", "delete the tag")
        if self._wants_key():
            self._say("no-word-key", event, "a list or a mapping stands where a key is due", "a word before the colon", "look for a bracket or '?' too many")
            self.stack[-1].key, self.stack[-1].skip = "?", True
            self.stack.append(_Frame(("?",), [], skip=True, anchor="?key"))
            self.stack[-1].holds = {} if isinstance(event, yaml.MappingStartEvent) else []
            return
        path, skip = self._here()
        if not skip and path not in self.tree.places:
            self.tree.places[path] = self._place(event.start_mark)
        if event.anchor:
            self.anchors[event.anchor] = None
        holds: dict[str, Any] | list[Any] = {} if isinstance(event, yaml.MappingStartEvent) else []
        self.stack.append(_Frame(path, holds, skip=skip, anchor=event.anchor))

    def _close(self) -> None:
        frame = self.stack.pop()
        if frame.anchor == "?key":
            return
        if frame.anchor:
            self.anchors[frame.anchor] = (frame.holds, frame.path)
        self._put(frame.holds)

    def _alias(self, event: Any) -> None:
        self._count(event)
        self.aliases += 1
        if self.aliases > MOST_ALIASES:
            self._say("too-large", event, f"more than {MOST_ALIASES} aliases", "every value written where it counts", "write the values out")
            raise _Enough
        if self._wants_key():
            self._say("no-word-key", event, "an alias stands where a key is due", "a word before the colon", "write the key out")
            self.stack[-1].key, self.stack[-1].skip = "?", True
            return
        target = self.anchors.get(event.anchor)
        path, skip = self._here()
        if target is None:
            inside = event.anchor in self.anchors
            self._say(
                "wrong-alias", event, f"'*{event.anchor}' " + ("stands inside what it means" if inside else "means nothing written above it"),
                "an alias of something finished above", "write the value out",
            )  # fmt: skip
            self._put("")
            return
        value, origin = target
        if not skip:
            self.tree.places[path] = self._place(event.start_mark)
            self._copy_places(event, origin, path)
        self._put(value)

    def _copy_places(self, event: Any, origin: Where, path: Where) -> None:
        inside = [one for one in self.tree.places if len(one) > len(origin) and one[: len(origin)] == origin]
        self._count(event, len(inside))
        if len(path) + max((len(one) - len(origin) for one in inside), default=0) > DEEPEST:
            self._say("too-deep", event, f"with this alias the file is nested more than {DEEPEST} levels deep", f"at most {DEEPEST} levels", "write the values out")
            raise _Enough
        for one in inside:
            self.tree.places[(*path, *one[len(origin) :])] = self.tree.places[one]
            if one in self.tree.spots:
                self.tree.spots[(*path, *one[len(origin) :])] = self.tree.spots[one]
