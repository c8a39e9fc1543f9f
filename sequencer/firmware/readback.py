"""Read an exported or dumped table back, and say whether it is the file's: what differs first, and how it shows."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from sequencer.errors import Finding, Place, UnusableFile
from sequencer.firmware.conformance import operation_words, trace_words
from sequencer.firmware.reference import Operation, Reference, Sizes
from sequencer.firmware.stimulus import Stimulus
from sequencer.firmware.words import bit_words, list_words, row_words
from sequencer.table import Table
from sequencer.table.decode import ImageError, decode
from sequencer.table.image import MAGIC, encode, identity
from sequencer.table.records import is_trip

SCANS = 20_000  # tried when looking for a run that tells two tables apart


@dataclass(frozen=True)
class ReadBack:
    """`found` is empty when bytes were decoded; else why they were not. `differences` tell file against table."""

    source: str
    table: str
    checksum: str
    bytes: int
    equal: bool
    differences: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    story: str = ""


def image_of(path: Path) -> tuple[bytes, str]:
    """The image in an export folder, a follow_table.c, a table.json, an Intel HEX or a raw dump, and where it stood.

    Raises UnusableFile when there is none, or one that is damaged, foreign or newer.
    """
    if path.is_dir():
        inside = next((path / n for n in ("follow_table.c", "table.json") if (path / n).is_file()), None)
        if inside is None:
            raise _unusable(path, "no-table", "the folder holds neither follow_table.c nor table.json", "a folder made by export")
        path = inside
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise _unusable(path, "unreadable-file", f"the file cannot be read: {error.strerror or error}", "a table") from error
    data = _bytes_in(path, raw)
    at = data.find(MAGIC)
    problem = ImageError("foreign", "no table begins in it (the letters FLOW)")
    while at >= 0:
        try:
            decode(data[at:])
        except ImageError as error:
            problem = error
        else:
            return data[at : at + int.from_bytes(data[at + 6 : at + 8], "little")], f"{path} at byte {at}" if at else str(path)
        at = data.find(MAGIC, at + 1)
    raise _unusable(path, f"{problem.what}-table", f"this is no table to follow: {problem.message}", "a table as exported, whole")


def _unusable(path: Path, name: str, found: str, required: str) -> UnusableFile:
    finding = Finding(name, "error", Place(str(path)), found, required, "export the file anew, or read the chip again")
    return UnusableFile("nothing was compared", (finding,))


def _bytes_in(path: Path, raw: bytes) -> bytes:
    """The bytes that a text form stands for; a raw dump is itself."""
    if path.suffix == ".c":
        text = re.sub(r"/\*.*?\*/", "", raw.decode("utf-8", "replace"), flags=re.DOTALL)
        return bytes(int(b, 16) for b in re.findall(r"0x([0-9A-Fa-f]{2})\b", text))
    if path.suffix == ".json":
        try:
            return bytes.fromhex(json.loads(raw)["image"])
        except (ValueError, KeyError, TypeError) as error:
            raise _unusable(path, "no-table", f"its key `image` does not hold the table ({error})", "table.json as exported") from error
    if raw[:1] == b":":
        return _intel_hex(path, raw)
    return raw


def _intel_hex(path: Path, raw: bytes) -> bytes:
    """The memory that an Intel HEX text describes, gaps filled with FF; each line's own sum is checked."""
    memory: dict[int, int] = {}
    base = 0
    for number, line in enumerate(raw.decode("ascii", "replace").split(), 1):
        try:
            record = bytes.fromhex(line[1:])
        except ValueError:
            record = b""
        if line[:1] != ":" or len(record) < 5 or len(record) != record[0] + 5 or sum(record) & 0xFF:
            place = Place(str(path), number, 1)
            finding = Finding("damaged-dump", "error", place, "the line does not add up", "Intel HEX", "read the chip again")
            raise UnusableFile("nothing was compared", (finding,))
        address, kind, data = int.from_bytes(record[1:3], "big"), record[3], record[4:-1]
        if kind == 0:
            memory |= {base + address + i: b for i, b in enumerate(data)}
        elif kind in (2, 4):
            base = int.from_bytes(data, "big") << (4 if kind == 2 else 16)
    low, high = min(memory, default=0), max(memory, default=-1)
    if high - low > 1 << 24:
        raise _unusable(path, "damaged-dump", "its addresses lie more than 16 MB apart", "the dump of one memory")
    return bytes(memory.get(at, 0xFF) for at in range(low, high + 1))


def compare(image: bytes, source: str, table: Table) -> ReadBack:
    """Whether the image's logic is that of `table`; raises DoesNotFit when the file's own table cannot be exported."""
    theirs, mine = decode(image), decode(encode(table))
    differences = tuple(_differences(mine, theirs, table))
    notes = []
    if mine.revision != theirs.revision:
        notes.append(f"the table says revision {theirs.revision}, the file {mine.revision}")
    checksum = f"{identity(image):08X}"
    story = _story(table, theirs) if differences else ""
    name = f"{table.title}, revision {table.revision}"
    return ReadBack(source, name, checksum, len(image), not differences, differences, tuple(notes), story)


def _differences(mine: Table, theirs: Table, named: Table) -> Iterator[str]:
    """What differs, in the words of `named`; nothing when both do the same."""
    parts = {
        "contacts": (mine.contacts, theirs.contacts), "readings": (mine.analogs, theirs.analogs),
        "links": (mine.heartbeats, theirs.heartbeats), "outputs": (mine.outputs, theirs.outputs),
        "conditions": (mine.bits, theirs.bits), "states": (mine.states, theirs.states),
        "inhibits": (mine.inhibits, theirs.inhibits),
    }  # fmt: skip
    counts = [f"the file has {len(a)} {what}, the table {len(b)}" for what, (a, b) in parts.items() if len(a) != len(b)]
    if counts:
        yield from counts
        return
    if mine.scan_ms != theirs.scan_ms:
        yield f"scan: the file says {mine.scan_ms} ms, the table {theirs.scan_ms} ms"
    for given, one, other in zip(named.contacts, mine.contacts, theirs.contacts, strict=True):
        if one.steady != other.steady:
            yield f"contact {given.name}: steady for {one.steady} scans in the file, {other.steady} in the table"
    for spec, a, b in zip(named.analogs, mine.analogs, theirs.analogs, strict=True):
        if (a.low, a.high) != (b.low, b.high):
            yield f"reading {spec.name}: valid {a.low} to {a.high} counts in the file, {b.low} to {b.high} in the table"
    for i, output in enumerate(named.outputs):
        if (mine.outputs[i].rest, len(mine.outputs[i].positions)) != (theirs.outputs[i].rest, len(theirs.outputs[i].positions)):
            yield f"output {output.name}: its rest or its number of positions differs"
    names = _named(theirs, named)
    for i, bit in enumerate(named.bits):
        if mine.bits[i] != theirs.bits[i] or _scale(mine, i) != _scale(theirs, i):
            yield f"condition {bit.name}: in the file '{bit_words(named, bit)}', in the table '{bit_words(names, names.bits[i])}'"
    yield from _state_differences(mine, theirs, named)
    for i, item in enumerate(named.inhibits):
        x, y = mine.inhibits[i], theirs.inhibits[i]
        if (x.output, x.position, x.care, x.want) != (y.output, y.position, y.care, y.want):
            yield f"inhibit {item.name}: in the file {list_words(named, x.care, x.want)}, in the table {list_words(named, y.care, y.want)}"


def _scale(table: Table, i: int) -> tuple[int, ...]:
    bit = table.bits[i]
    if bit.kind.name != "DIFFERS":
        return ()
    a, b = table.analogs[bit.source], table.analogs[bit.second]
    return (a.gain, b.gain, a.offset - b.offset)


def _state_differences(mine: Table, theirs: Table, named: Table) -> Iterator[str]:
    for s, state in enumerate(named.states):
        a, b = mine.states[s], theirs.states[s]
        for o, output in enumerate(named.outputs):
            if a.outputs[o] != b.outputs[o]:
                there = output.positions[b.outputs[o]] if b.outputs[o] < len(output.positions) else b.outputs[o]
                yield f"state {state.name}: {output.name} is {output.positions[a.outputs[o]]} in the file, {there} in the table"
        if a.targets != b.targets:
            yield f"state {state.name}: its targets differ"
        one, other = mine.rows[a.first_row : a.end_row], theirs.rows[b.first_row : b.end_row]
        if len(one) != len(other):
            yield f"state {state.name}: {len(one)} rows in the file, {len(other)} in the table"
            continue
        for n, (x, y) in enumerate(zip(one, other, strict=True)):
            if (x.care, x.want, x.least, x.to, is_trip(x)) != (y.care, y.want, y.least, y.to, is_trip(y)):
                origin = named.rows[a.first_row + n].origin
                yield (
                    f"state {state.name}, {origin}: in the file '{row_words(named, x)}', in the table '{row_words(named, y)}'"
                )


def _named(theirs: Table, named: Table) -> Table:
    """The read table with the file's names, for words; both have the same numbers of parts."""
    return replace(
        theirs, title=named.title,
        contacts=tuple(replace(c, name=n.name) for c, n in zip(theirs.contacts, named.contacts, strict=True)),
        analogs=tuple(replace(c, name=n.name) for c, n in zip(theirs.analogs, named.analogs, strict=True)),
        heartbeats=named.heartbeats,
        outputs=tuple(
            replace(o, name=n.name, positions=n.positions if len(n.positions) == len(o.positions) else o.positions)
            for o, n in zip(theirs.outputs, named.outputs, strict=True)
        ),
        bits=tuple(replace(c, name=n.name) for c, n in zip(theirs.bits, named.bits, strict=True)),
        states=tuple(replace(c, name=n.name) for c, n in zip(theirs.states, named.states, strict=True)),
        inhibits=tuple(replace(c, name=n.name) for c, n in zip(theirs.inhibits, named.inhibits, strict=True)),
    )  # fmt: skip


def _story(mine: Table, theirs: Table) -> str:
    """The first scan, in a run of the file's table, at which the other one does something else; empty if none was met."""
    same = all(
        len(a) == len(b)
        for a, b in ((mine.contacts, theirs.contacts), (mine.analogs, theirs.analogs), (mine.heartbeats, theirs.heartbeats),
                     (mine.outputs, theirs.outputs), (mine.bits, theirs.bits), (mine.states, theirs.states))
    )  # fmt: skip
    if not same:
        return ""
    return next((told for seed in range(3) if (told := _trial(mine, theirs, seed))), "")


def _trial(mine: Table, theirs: Table, seed: int) -> str:
    sizes, reference, operations = Sizes.of(mine), Reference(mine), list[Operation]()

    def kept() -> Iterator[Operation]:
        for operation in Stimulus(mine, seed, lambda: reference.state, reference.fired):
            operations.append(operation)
            yield operation

    given, one = reference.run(kept(), SCANS)
    _, other = Reference(theirs).run(operations, SCANS)
    for at in range(len(one) // sizes.trace):
        a, b = (trace[at * sizes.trace : (at + 1) * sizes.trace] for trace in (one, other))
        if a[9:10] + a[14:] != b[9:10] + b[14:]:  # state, conditions, outputs
            operation = given[at * sizes.operation : (at + 1) * sizes.operation]
            before = one[(at - 1) * sizes.trace : at * sizes.trace] if at else a
            return "\n".join([
                f"first seen in scan {at} of a trial run: {operation_words(mine, operation)}",
                f"  before it: {trace_words(mine, before)}", f"  the file:  {trace_words(mine, a)}",
                f"  the table: {trace_words(_named(theirs, mine), b)}",
            ])  # fmt: skip
    return ""
