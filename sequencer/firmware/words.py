"""Conditions, rows and lists of a table in words, for listings and comments."""

from __future__ import annotations

from sequencer.table import Kind, Table
from sequencer.table.records import Group
from sequencer.table.table import Bit, Literals, Row


def list_words(table: Table, care: int, want: int) -> str:
    """'key_in and not stop_down', or 'always'."""
    parts = [
        ("" if want >> i & 1 else "not ") + table.bits[i].name for i in range(len(table.bits)) if care >> i & 1
    ]
    return " and ".join(parts) or "always"


def group_words(table: Table, group: Group) -> str:
    """A record of the image: 'key_in and not stop_down', 'stop_down or not key_in', with its least time."""
    parts = [("" if n >> 7 else "not ") + table.bits[n & 0x7F].name for n in group.literals]
    words = (" or " if group.any else " and ").join(parts) or "always"
    return words + (f" once {time_words(table, group.least)} have passed" if group.least else "")


def literals_words(table: Table, literals: Literals) -> str:
    """A combination's or a memory's list; an inverted one is an 'or' of the opposites."""
    if not literals.invert:
        return "never" if literals.want & ~literals.care else list_words(table, literals.care, literals.want)
    if literals.want & ~literals.care:
        return "always"
    opposite = [
        ("not " if literals.want >> i & 1 else "") + table.bits[i].name
        for i in range(len(table.bits))
        if literals.care >> i & 1
    ]
    return " or ".join(opposite) or "never"


def time_words(table: Table, scans: int) -> str:
    """A number of scans as time, '5 s' or '40 ms'."""
    ms = scans * table.scan_ms
    return f"{ms} ms" if ms % 1000 else f"{ms // 1000} s"


def row_words(table: Table, row: Row) -> str:
    """'STATE-independent: conditions, time -> next state'."""
    least = f" once {time_words(table, row.least)} have passed" if row.least else ""
    return f"{list_words(table, row.care, row.want)}{least} -> {table.states[row.to].name}"


def bit_words(table: Table, bit: Bit) -> str:
    """What makes a bit true, in counts and scans."""
    words = _source_words(table, bit)
    if bit.hold and bit.kind not in (Kind.PRESS, Kind.MEMORY):
        words += f", for {time_words(table, bit.hold)}"
    if bit.drop and bit.kind not in (Kind.PRESS, Kind.MEMORY):
        words += f", lingers {time_words(table, bit.drop)}"
    return words


def _source_words(table: Table, bit: Bit) -> str:
    kind, no = bit.kind, "" if bit.wanted else "not "
    if kind in (Kind.CONTACT, Kind.PRESS):
        level = "closed" if bit.wanted else "open"
        return f"{table.contacts[bit.source].name} {'becomes' if kind == Kind.PRESS else 'is'} {level}"
    if kind == Kind.HEARD:
        return f"{table.heartbeats[bit.source]} heard within {time_words(table, bit.on)}"
    if kind == Kind.STATE:
        return f"state is {no}{table.states[bit.source].name}"
    if kind == Kind.COMMAND:
        output = table.outputs[bit.source]
        return f"command for {output.name} is {no}{output.positions[bit.on]}"
    if kind == Kind.ALL:
        return literals_words(table, bit.set)
    if kind == Kind.MEMORY:
        expiry = f", for at most {time_words(table, bit.on)}" if bit.on else ""
        return f"remembers {literals_words(table, bit.set)} until {literals_words(table, bit.clear)}{expiry}"
    return _reading_words(table, bit, no)


def _reading_words(table: Table, bit: Bit, no: str) -> str:
    kind, name = bit.kind, table.analogs[bit.source].name
    if kind == Kind.VALID:
        return f"{name} is {no}valid"
    if kind == Kind.AT_LEAST:
        return f"{name} at least {bit.on} counts" + (f" until below {bit.off}" if bit.off != bit.on else "")
    if kind == Kind.BELOW:
        return f"{name} below {bit.on} counts" + (f" until at least {bit.off}" if bit.off != bit.on else "")
    if kind == Kind.TARGET:
        return f"{name} reaches the state's target" + (f", drop-out {bit.off} counts" if bit.off else "")
    limit = "at least" if bit.wanted else "less than"
    if kind == Kind.DIFFERS:
        a, b = table.analogs[bit.source], table.analogs[bit.second]
        alike = (a.gain, a.offset) == (b.gain, b.offset) and a.gain
        counts = f"{-(-bit.on // abs(a.gain))} counts" if alike else f"{bit.on} scaled units"
        return f"{name} and {b.name} differ by {limit} {counts}"
    way = "up" if bit.sign > 0 else "down"
    since = table.bits[bit.second].name
    return f"{name} gone {way} {limit} {bit.on} counts {time_words(table, bit.off)} after {since} began"
