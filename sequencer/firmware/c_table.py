"""The table as C text: follow_table.h (sizes, names, rest positions) and follow_table.c (the bytes, line by line)."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence

from sequencer.firmware.names import comment, constants, string
from sequencer.firmware.words import bit_words, group_words
from sequencer.table import Table
from sequencer.table.decode import Reader
from sequencer.table.image import CHECKSUM_NAME, HEADER, VERSION, Op, Sections, identity, layout
from sequencer.table.records import EXTRA, TRIP, pack_codes

READING = """\
#ifndef FOLLOW_SLICE
#define FOLLOW_SLICE 1u /* bytes of the table that each scan checks */
#endif
#define FOLLOW_ROOM(n) ((n) > 0u ? (n) : 1u) /* C99 knows no empty array */

/* Why the box stays at rest until the next reset (0: it follows the table). */
enum { FOLLOW_FINE, FOLLOW_FOREIGN, FOLLOW_NEWER, FOLLOW_DAMAGED, FOLLOW_IMPOSSIBLE, FOLLOW_UNKNOWN_RESET };
/* Kinds of log records: moved, powered up, gone to rest. */
enum { FOLLOW_MOVED = 'M', FOLLOW_STARTED = 'P', FOLLOW_RESTED = 'R' };
/* Reset causes: the caller turns its chip's register into one of these; any other number keeps the box at rest. */
enum { FOLLOW_POWER_ON = 1, FOLLOW_EXTERNAL, FOLLOW_BROWN_OUT, FOLLOW_WATCHDOG };

/* One, two, four bytes of the table, least first; *at moves on. */
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define FOLLOW_FLASH PROGMEM
static inline uint8_t follow_u8(const uint8_t **at)
{
    uint8_t n;
    __asm__("lpm %0, Z+" : "=r"(n), "+z"(*at));
    return n;
}
static inline uint16_t follow_u16(const uint8_t **at)
{
    uint16_t n;
    __asm__("lpm %A0, Z+\\n\\tlpm %B0, Z+" : "=r"(n), "+z"(*at));
    return n;
}
#else
#define FOLLOW_FLASH
static inline uint8_t follow_u8(const uint8_t **at) { return *(*at)++; }
static inline uint16_t follow_u16(const uint8_t **at)
{
    uint8_t low = follow_u8(at);
    return (uint16_t)(low | follow_u8(at) << 8);
}
#endif
static inline uint32_t follow_u32(const uint8_t **at)
{
    uint16_t low = follow_u16(at);
    return low | (uint32_t)follow_u16(at) << 16;
}
"""
"""What every follow_table.h says besides: how the table is read on the chip, and the codes of records, rest and reset."""

CAUTION = (
    "It follows a model of the pad, not the hardware; it certifies nothing. Stored gas can kill: people stay away",
    "whatever the software says; relief, locking pin and a vent that opens on power loss are not optional.",
)


def banner(table: Table, checksum: int) -> list[str]:
    """The opening comment of every generated C file."""
    return [
        f"/* {comment(table.title)}, revision {table.revision}, checksum {checksum:08X} ({CHECKSUM_NAME}).",
        " * Exported from the pad's description; change that and export anew, not this file.",
        *(f" * {line}" for line in CAUTION),
        " */",
    ]


def header_text(table: Table, hazardous: Sequence[bool] | None = None) -> str:
    """follow_table.h; raises DoesNotFit for numbers and names that C cannot carry.

    hazardous: per output, whether bench mode holds it at rest (all of them where it is not said).
    """
    held = [True] * len(table.outputs) if hazardous is None else hazardous
    image, where = layout(table)
    checksum = identity(image)
    rest = [o.idle if o.rest is None else o.rest for o in table.outputs]
    packed = pack_codes(rest)
    words = len(table.analogs) + len(table.heartbeats)
    sizes = {
        "VERSION": VERSION, "SIZE": where.size, "SCAN_MS": table.scan_ms, "CONTACTS": len(table.contacts), "ANALOGS": len(table.analogs),
        "HEARTBEATS": len(table.heartbeats), "OUTPUTS": len(table.outputs), "BITS": len(table.bits),
        "STATES": len(table.states), "INHIBITS": where.records,
        "COUNTERS": where.counters, "BITS_AT": where.bits, "INHIBITS_AT": where.inhibits, "ROWS_AT": where.rows,
        "CONTACTS_AT": where.contacts, "ANALOGS_AT": where.analogs, "STATES_AT": where.states,
        "STRIDE": where.stride, "LONG": int(where.long),
        "WORDS": words, "CELLS": len(table.outputs) + 1 + 3 * words + 2 * len(table.contacts),
    }  # fmt: skip
    lines = [
        *banner(table, checksum), "#ifndef FOLLOW_TABLE_H", "#define FOLLOW_TABLE_H", "#include <stdint.h>", "",
        f"#define FOLLOW_TITLE {string(table.title)}",
        f"#define FOLLOW_REVISION {table.revision}ul",
        f"#define FOLLOW_CHECKSUM 0x{checksum:08X}ul",
        *(f"#define FOLLOW_{name} {value}u" for name, value in sizes.items()),
        f"#define FOLLOW_RECORD {10 + (len(table.bits) + 7) // 8}u /* bytes of one log record */",
        f"typedef {'uint32_t' if where.long else 'uint16_t'} follow_time; /* scans in a state, as wide as the least times ask */",
        f"#define FOLLOW_USES {_uses(table, image)}u /* 1 drop-outs, 2 targets, 4 two readings, 8 changes, 16 unlike scales, 32 memories */",
        f"#define FOLLOW_HAZARDOUS {', '.join(f'{int(h)}u' for h in held) or '0u'} /* per output: bench mode holds it at rest */",
        f"#define FOLLOW_REST {', '.join(f'{code}u' for code in rest) or '0u'} /* per output: position at rest */",
        f"#define FOLLOW_RESTS {', '.join(f'0x{byte:02X}u' for byte in packed) or '0u'} /* the same, two bits each */",
        "", *READING.splitlines(),
    ]  # fmt: skip
    for group, names in constants(table).items():
        if names:
            lines += ["", f"/* {group}s */", *(f"#define {name} {number}u" for name, number in names.items())]
    return "\n".join([*lines, "", "#endif", ""])


def _uses(table: Table, image: bytes) -> int:
    """What of the runtime the table needs."""
    reader, uses = Reader(image), 0
    for i in range(len(table.bits)):
        head = image[reader.at]
        reader.bit(i)
        if head & (Op.ALL | Op.MATCH):
            uses |= 32 if head & Op.ALL and head & EXTRA else 0
            continue
        if head & Op.DIFFERS:
            uses |= 4 | (8 if head & Op.TARGET else 16 if head & EXTRA else 0)
        else:
            uses |= (2 if head & Op.TARGET else 0) | (1 if head & EXTRA else 0)
    return uses


def source_text(table: Table) -> str:
    """follow_table.c: every record of the image on a line of its own, with what it says."""
    image, where = layout(table)
    checksum = identity(image)
    lines = [*banner(table, checksum), '#include "follow.h"', "", "const uint8_t follow_table[FOLLOW_SIZE] FOLLOW_FLASH = {"]
    at = 0
    for end, words in _records(table, image, where):
        if end > at:
            lines.append(f"    {' '.join(f'0x{b:02X},' for b in image[at:end])} /* {comment(words)} */")
        at = end
    return "\n".join([*lines, "};", ""])


def _records(table: Table, image: bytes, where: Sections) -> Iterator[tuple[int, str]]:
    """(end of a record, what it says), from front to back without a gap."""
    reader = Reader(image)
    yield HEADER.size, f"header: format {VERSION}, {where.size} bytes, scan {table.scan_ms} ms"
    for i, bit in enumerate(table.bits):
        reader.bit(i)
        yield reader.at, f"bit {i} {bit.name}: {bit_words(table, bit)}"
    done = 0
    for _ in range(where.records):
        group = reader.group()
        yield reader.at, f"{table.inhibits[done].name}: {group_words(table, group)}"
        done += group.rows
    users = _users(table, image, where)
    while reader.at < where.contacts:
        start = reader.at - where.rows
        group = reader.group()
        to = table.states[group.what & ~TRIP].name
        yield reader.at, f"{group_words(table, group)} -> {to} [{users.get(start, 'more of the above')}]"
    at = where.contacts
    for contact in table.contacts:
        at += 1
        yield at, f"contact {contact.name}: steady {contact.steady} scans"
    for analog in table.analogs:
        at += 4
        yield at, f"reading {analog.name}: valid {analog.low} to {analog.high} counts"
    for output in table.outputs:
        at += 1
        rest = "stays" if output.rest is None else output.positions[output.rest]
        yield at, f"output {output.name}: rest {rest}"
    for state in table.states:
        at += where.stride
        named = ", ".join(f"{o.name} {o.positions[c]}" for o, c in zip(table.outputs, state.outputs, strict=True))
        yield at, f"state {state.name}: {named}"
    yield where.size - 6, "room behind the last record"
    yield where.size - 2, "checksum"
    yield where.size, "the sum that the chip checks"


def _users(table: Table, image: bytes, where: Sections) -> dict[int, str]:
    """{offset in the row stream: the states whose rows begin there}."""
    users: dict[int, list[str]] = {}
    for i, state in enumerate(table.states):
        for start in struct.unpack_from("<HH", image, where.states + i * where.stride):
            users.setdefault(start, []).append(state.name)
    return {offset: "from here: " + ", ".join(names) for offset, names in users.items()}
