"""What is known of an AVR's registers, flags and memory while machine code is followed, and what each instruction does to it."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

from sequencer.errors import SequencerError
from sequencer.firmware.avr_code import POINTERS, C, H, Instruction, N, S, T, V, Z

RAM_END = 0x8FF
SPL, SPH = 0x3D, 0x3E

Known = int | None


class NoBound(SequencerError):
    """The code cannot be bounded; the message says where."""


@dataclass
class Machine:
    """What is known at one place of the code. None: anything."""

    pc: int
    r: list[Known]
    f: list[Known]  # flags
    sp: int
    memory: dict[int, int]  # the stack, and the cells that are watched

    def copy(self) -> Machine:
        return Machine(self.pc, self.r[:], self.f[:], self.sp, dict(self.memory))

    def pair(self, a: int) -> Known:
        low, high = self.r[a], self.r[a + 1]
        return None if low is None or high is None else low | high << 8

    def set_pair(self, a: int, value: Known) -> None:
        self.r[a] = None if value is None else value & 0xFF
        self.r[a + 1] = None if value is None else value >> 8 & 0xFF

    def push(self, value: Known) -> None:
        if value is None:
            self.memory.pop(self.sp, None)
        else:
            self.memory[self.sp] = value
        self.sp -= 1

    def pop(self) -> Known:
        self.sp += 1
        return self.memory.pop(self.sp, None)


def _read(m: Machine, address: Known) -> Known:
    return None if address is None else m.memory.get(address)


def _write(m: Machine, cells: Container[int], address: Known, value: Known) -> None:
    if address is None:
        raise NoBound(f"a write at {m.pc:04X} goes to an unknown place")
    if address in cells or address > m.sp:
        if value is None:
            m.memory.pop(address, None)
        else:
            m.memory[address] = value


def step(m: Machine, i: Instruction, flash: bytes, cells: Container[int]) -> None:
    """Carry out an instruction that does not part ways; `cells` are the RAM addresses that are watched."""
    name, r, after = i.name, m.r, m.pc + 2 * i.words
    if name in ("rjmp", "jmp"):
        after = i.a
    elif name in ("rcall", "call"):
        m.push(after >> 1 & 0xFF)
        m.push(after >> 9)
        after = i.a
    elif name == "ret":
        high, low = m.pop(), m.pop()
        if high is None or low is None:
            raise NoBound(f"a return at {m.pc:04X} goes to an unknown place")
        after = (low | high << 8) * 2
    elif name == "push":
        m.push(r[i.a])
    elif name == "pop":
        r[i.a] = m.pop()
    elif name in ("ld", "st"):
        register, first, then = POINTERS[i.b]
        address = m.pair(register)
        if address is not None and first:
            address = address - 1 & 0xFFFF
        if name == "ld":
            r[i.a] = _read(m, address)
        else:
            _write(m, cells, address, r[i.a])
        if first or then:
            m.set_pair(register, None if address is None else address + then)
    elif name[:3] in ("ldd", "std"):
        base = m.pair(28 if name.endswith("y") else 30)
        address = None if base is None else base + i.b
        if name[:3] == "ldd":
            r[i.a] = _read(m, address)
        else:
            _write(m, cells, address, r[i.a])
    elif name == "lds":
        r[i.a] = _read(m, i.b)
    elif name == "sts":
        _write(m, cells, i.b, r[i.a])
    elif name == "lpm":
        pointer = m.pair(30)
        r[i.a] = flash[pointer] if pointer is not None and pointer < len(flash) else None
        if i.b:
            m.set_pair(30, None if pointer is None else pointer + 1)
    elif name == "in":
        r[i.a] = {SPL: m.sp & 0xFF, SPH: m.sp >> 8}.get(i.b)
    elif name == "out":
        if i.b == SPL and r[i.a] is not None:
            m.sp = m.sp & 0xFF00 | (r[i.a] or 0)
        elif i.b == SPH and r[i.a] is not None:
            m.sp = m.sp & 0xFF | (r[i.a] or 0) << 8
        elif i.b in (SPL, SPH):
            raise NoBound(f"the stack is moved by something unknown at {m.pc:04X}")
    else:
        calculate(m, i)
    m.pc = after


def skips(m: Machine, i: Instruction) -> bool | None:
    """Whether the next instruction is left out, or None."""
    a = m.r[i.a]
    if i.name == "cpse":
        b = m.r[i.b]
        return None if a is None or b is None else a == b
    return None if a is None else bool(a >> i.b & 1) == (i.name == "sbrs")


def _signs(m: Machine, result: Known, overflow: Known) -> None:
    m.f[N] = None if result is None else result >> 7
    m.f[V] = overflow
    n = m.f[N]
    m.f[S] = None if n is None or overflow is None else n ^ overflow


def calculate(m: Machine, i: Instruction) -> None:
    """Registers and flags after an instruction that touches nothing else (Instruction Set Manual, section by section)."""
    name, r, f = i.name, m.r, m.f
    a = r[i.a]
    if name == "nop":
        return
    if name in ("ldi", "mov", "movw"):
        if name == "movw":
            r[i.a], r[i.a + 1] = r[i.b], r[i.b + 1]
        else:
            r[i.a] = i.b if name == "ldi" else r[i.b]
    elif name in ("cp", "cpc", "sub", "sbc", "cpi", "subi", "sbci", "neg", "add", "adc"):
        _sum(m, i)
    elif name in ("and", "andi", "or", "ori", "eor", "com"):
        b = i.b if name in ("andi", "ori") else r[i.b]
        result: Known = None
        if name == "com":
            result, f[C] = (None if a is None else 255 - a), 1
        elif name == "eor" and i.a == i.b or name in ("and", "andi") and 0 in (a, b):
            result = 0
        elif a is not None and b is not None:
            result = a & b if name[:3] == "and" else a | b if name[:2] == "or" else a ^ b
        r[i.a] = result
        f[Z] = None if result is None else int(result == 0)
        if name in ("or", "ori") and (a or b):
            f[Z] = 0
        _signs(m, result, 0)
    elif name in ("inc", "dec"):
        result = None if a is None else a + (1 if name == "inc" else -1) & 0xFF
        r[i.a], f[Z] = result, None if result is None else int(result == 0)
        _signs(m, result, None if result is None else int(result == (0x80 if name == "inc" else 0x7F)))
    elif name in ("lsr", "ror", "asr"):
        top = {"lsr": 0, "ror": f[C], "asr": None if a is None else a >> 7}[name]
        result = None if a is None or top is None else a >> 1 | top << 7
        r[i.a], f[C], f[Z] = result, None if a is None else a & 1, None if result is None else int(result == 0)
        _signs(m, result, None if result is None or a is None else result >> 7 ^ a & 1)
    elif name in ("adiw", "sbiw"):
        old = m.pair(i.a)
        new = None if old is None else old + (i.b if name == "adiw" else -i.b)
        m.set_pair(i.a, None if new is None else new & 0xFFFF)
        f[C], f[Z] = (None, None) if new is None else (int(not 0 <= new <= 0xFFFF), int(new & 0xFFFF == 0))
        _signs(m, r[i.a + 1], None)
    elif name == "swap":
        r[i.a] = None if a is None else (a << 4 | a >> 4) & 0xFF
    elif name == "mul":
        b = r[i.b]
        product = None if a is None or b is None else a * b
        m.set_pair(0, product)
        f[C], f[Z] = (None, None) if product is None else (product >> 15, int(product == 0))
    elif name == "bst":
        f[T] = None if a is None else a >> i.b & 1
    elif name == "bld":
        t = f[T]
        r[i.a] = None if a is None or t is None else a & ~(1 << i.b) | t << i.b
    elif name in ("bset", "bclr"):
        f[i.a] = int(name == "bset")
    else:
        raise NoBound(f"`{name}` at {m.pc:04X} is not followed")


def _sum(m: Machine, i: Instruction) -> None:
    """Additions, subtractions and comparisons."""
    name, r, f = i.name, m.r, m.f
    a: Known = 0 if name == "neg" else r[i.a]
    b: Known = r[i.a] if name == "neg" else i.b if name in ("cpi", "subi", "sbci") else r[i.b]
    carry: Known = f[C] if name in ("cpc", "sbc", "sbci", "adc") else 0
    chained, was_zero = name in ("cpc", "sbc", "sbci"), f[Z]
    if a is None or b is None or carry is None:
        result: Known = None
        f[C] = f[H] = None
        f[Z] = 0 if chained and was_zero == 0 else None
        _signs(m, None, None)
    else:
        added = name in ("add", "adc")
        total = a + b + carry if added else a - b - carry
        result = total & 0xFF
        f[C], f[H] = int(not 0 <= total <= 255), None
        f[Z] = int(result == 0)
        if chained:  # stays clear once it is
            f[Z] = 0 if result or was_zero == 0 else was_zero
        _signs(m, result, ((a ^ result) & (b ^ result if added else a ^ b)) >> 7 & 1)
    if name not in ("cp", "cpc", "cpi"):
        r[i.a] = result
