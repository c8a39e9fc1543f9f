"""AVR machine code decoded: what stands at each address, how long it takes, and what it reads and writes.

Encodings and cycles are those of the AVR Instruction Set Manual for cores with a 16-bit program counter (AVRe+), as far
as compiled C uses them; anything else raises Undecoded.
"""

from __future__ import annotations

from dataclasses import dataclass

from sequencer.errors import SequencerError


class Undecoded(SequencerError):
    """An instruction that this decoder does not know."""


@dataclass(frozen=True)
class Instruction:
    """One instruction: its name, operands (register numbers, constants, addresses in bytes), words, least cycles."""

    name: str
    a: int = 0
    b: int = 0
    words: int = 1
    cycles: int = 1


TWO = {  # upper six bits -> (name): register d, register r
    0b000001: "cpc", 0b000010: "sbc", 0b000011: "add", 0b000100: "cpse", 0b000101: "cp", 0b000110: "sub",
    0b000111: "adc", 0b001000: "and", 0b001001: "eor", 0b001010: "or", 0b001011: "mov",
}  # fmt: skip
CONSTANT = {0b0011: "cpi", 0b0100: "sbci", 0b0101: "subi", 0b0110: "ori", 0b0111: "andi", 0b1110: "ldi"}
ONE = {0: "com", 1: "neg", 2: "swap", 3: "inc", 5: "asr", 6: "lsr", 7: "ror", 10: "dec"}
POINTERS = {  # lowest four bits of ld and st -> (pointer register, change before, change after)
    0x1: (30, 0, 1), 0x2: (30, -1, 0), 0x9: (28, 0, 1), 0xA: (28, -1, 0), 0xC: (26, 0, 0), 0xD: (26, 0, 1),
    0xE: (26, -1, 0),
}  # fmt: skip


def decode(flash: bytes, at: int) -> Instruction:
    """The instruction at byte address `at`; raises Undecoded."""
    w = flash[at] | flash[at + 1] << 8
    d5, r5 = w >> 4 & 31, w >> 5 & 16 | w & 15
    if w == 0:
        return Instruction("nop")
    if w >> 8 == 0x01:
        return Instruction("movw", (w >> 4 & 15) * 2, (w & 15) * 2)
    if w >> 10 in TWO:
        return Instruction(TWO[w >> 10], d5, r5)
    if w >> 12 in CONSTANT:
        return Instruction(CONSTANT[w >> 12], 16 + (w >> 4 & 15), w >> 4 & 0xF0 | w & 15)
    if w & 0xD000 == 0x8000:  # with displacement
        q = w >> 8 & 0x20 | w >> 7 & 0x18 | w & 7
        return Instruction(("std_y" if w & 8 else "std_z") if w & 0x200 else ("ldd_y" if w & 8 else "ldd_z"), d5, q, cycles=2)
    if w >> 12 == 0b1001:
        return _nine(flash, at, w, d5, r5)
    if w >> 11 in (0b10110, 0b10111):
        return Instruction("out" if w & 0x800 else "in", d5, w >> 5 & 0x30 | w & 15)
    if w >> 12 in (0b1100, 0b1101):
        distance = (w & 0xFFF) - (0x1000 if w & 0x800 else 0)
        target = (at + 2 + 2 * distance) % 0x8000
        return Instruction("rjmp", target, cycles=2) if w >> 12 == 0b1100 else Instruction("rcall", target, cycles=3)
    if w >> 11 == 0b11110:
        distance = (w >> 3 & 0x7F) - (0x80 if w & 0x200 else 0)
        return Instruction("brbc" if w & 0x400 else "brbs", w & 7, at + 2 + 2 * distance)
    if w >> 11 == 0b11111:
        return Instruction(("bld", "bst", "sbrc", "sbrs")[w >> 9 & 3], d5, w & 7)
    raise Undecoded(f"{w:04X} at {at:04X}")


def _nine(flash: bytes, at: int, w: int, d5: int, r5: int) -> Instruction:
    """Those that begin with 1001."""
    low = w & 15
    if w >> 10 == 0b100111:
        return Instruction("mul", d5, r5, cycles=2)
    if w >> 8 in (0x96, 0x97):
        return Instruction("adiw" if w >> 8 == 0x96 else "sbiw", 24 + (w >> 4 & 3) * 2, w >> 2 & 0x30 | low, cycles=2)
    if w >> 8 in (0x98, 0x99, 0x9A, 0x9B):
        raise Undecoded(f"{w:04X} at {at:04X}")
    if w & 0xFC00 == 0x9000:
        store = "st" if w & 0x200 else "ld"
        if low == 0:
            address = flash[at + 2] | flash[at + 3] << 8
            return Instruction(f"{store}s", d5, address, words=2, cycles=2)
        if low in POINTERS:
            return Instruction(store, d5, low, cycles=2)
        if low == 15:
            return Instruction("push" if w & 0x200 else "pop", d5, cycles=2)
        if low in (4, 5) and not w & 0x200:
            return Instruction("lpm", d5, low - 4, cycles=3)
    if w & 0xFE0E in (0x940C, 0x940E):
        return Instruction("call" if w & 2 else "jmp", 2 * (flash[at + 2] | flash[at + 3] << 8), words=2, cycles=4 if w & 2 else 3)
    if w & 0xFE00 == 0x9400 and low in ONE:
        return Instruction(ONE[low], d5)
    if w & 0xFF0F == 0x9408:
        return Instruction("bclr" if w & 0x80 else "bset", w >> 4 & 7)
    if w == 0x9508:
        return Instruction("ret", cycles=4)
    if w == 0x95A8:
        return Instruction("nop")  # wdr
    if w == 0x95C8:
        return Instruction("lpm", 0, 0, cycles=3)
    raise Undecoded(f"{w:04X} at {at:04X}")


_READS_BOTH = {"cpc", "sbc", "add", "cpse", "cp", "sub", "adc", "and", "eor", "or", "mul"}
_READS_FIRST = {"cpi", "sbci", "subi", "ori", "andi", *ONE.values(), "bst", "bld", "sbrc", "sbrs", "out", "push", "sts"}
_CARRY_IN = {"cpc", "sbc", "adc", "sbci", "ror"}
C, Z, N, V, S, H, T, I = range(8)  # noqa: E741 - bits of the status register
_ALL = frozenset(range(32, 32 + 6))
_FLAGS: dict[str, frozenset[int]] = {
    **dict.fromkeys(("cpc", "sbc", "add", "cp", "sub", "adc", "cpi", "sbci", "subi", "neg"), _ALL),
    **dict.fromkeys(("and", "eor", "or", "ori", "andi", "inc", "dec"), frozenset({32 + Z, 32 + N, 32 + V, 32 + S})),
    **dict.fromkeys(("com", "asr", "lsr", "ror", "adiw", "sbiw"), frozenset({32 + C, 32 + Z, 32 + N, 32 + V, 32 + S})),
    "mul": frozenset({32 + C, 32 + Z}),
}


def uses(i: Instruction) -> tuple[frozenset[int], frozenset[int]]:
    """(what it reads, what it surely writes): registers 0 to 31, flags from 32 on."""
    name, reads, writes = i.name, set[int](), set(_FLAGS.get(i.name, ()))
    if name in _READS_BOTH:
        reads |= {i.a, i.b}
    if name in _READS_FIRST:
        reads.add(i.a)
    if name == "eor" and i.a == i.b:  # clears, whatever stood there
        reads.clear()
    if name == "mov":
        reads.add(i.b)
    if name in ("add", "sub", "adc", "sbc", "and", "eor", "or", "mov", "ldi", "subi", "sbci", "ori", "andi", "in", "lds", "pop", *ONE.values()):
        writes.add(i.a)
    if name == "movw":
        reads |= {i.b, i.b + 1}
        writes |= {i.a, i.a + 1}
    if name in ("adiw", "sbiw"):
        reads |= {i.a, i.a + 1}
        writes |= {i.a, i.a + 1}
    if name == "mul":
        writes |= {0, 1}
    if name in _CARRY_IN:
        reads.add(32 + C)
    if name in ("cpc", "sbc", "sbci"):
        reads.add(32 + Z)  # it stays clear once it is
    if name in ("ld", "st"):
        pointer = POINTERS[i.b][0]
        reads |= {pointer, pointer + 1}
    if name[:3] in ("ldd", "std"):
        reads |= {28, 29} if name.endswith("y") else {30, 31}
    if name in ("st", "std_y", "std_z"):
        reads.add(i.a)
    if name in ("ld", "ldd_y", "ldd_z"):
        writes.add(i.a)
    if name == "lpm":
        reads |= {30, 31}
        writes.add(i.a)
    if name in ("brbs", "brbc"):
        reads.add(32 + i.a)
    if name == "bld":
        reads.add(32 + T)
    if name in ("bst", "bset", "bclr"):
        writes.add(32 + (T if name == "bst" else i.a))
    return frozenset(reads), frozenset(writes)
