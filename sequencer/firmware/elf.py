"""What is needed of a 32-bit little-endian ELF file: its segments, its symbols, its sizes (System V ABI, figures 4-3 on)."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Segment:
    """A part of the image: bytes at `address`, and how much room it takes there."""

    address: int
    data: bytes
    size: int


@dataclass(frozen=True)
class Image:
    entry: int
    segments: tuple[Segment, ...]
    symbols: dict[str, tuple[int, int]]  # name -> (address, size)


def read(path: Path) -> Image:
    """Read an ELF file; raises ValueError when it is none of the kind."""
    raw = path.read_bytes()
    if raw[:6] != b"\x7fELF\x01\x01":
        raise ValueError(f"{path.name} is no 32-bit little-endian ELF file")
    entry, programs, sections = struct.unpack_from("<III", raw, 24)
    program_size, program_count, section_size, section_count = struct.unpack_from("<HHHH", raw, 42)
    segments = []
    for i in range(program_count):
        kind, offset, address, _, in_file, in_memory = struct.unpack_from("<IIIIII", raw, programs + i * program_size)
        if kind == 1 and in_memory:
            segments.append(Segment(address, raw[offset : offset + in_file], in_memory))
    symbols: dict[str, tuple[int, int]] = {}
    heads = [struct.unpack_from("<IIIIIIIIII", raw, sections + i * section_size) for i in range(section_count)]
    for head in heads:
        if head[1] != 2:  # a symbol table
            continue
        names = heads[head[6]][4]
        for at in range(head[4], head[4] + head[5], 16):
            name, value, size = struct.unpack_from("<III", raw, at)
            text = raw[names + name : raw.index(b"\0", names + name)].decode("ascii", "replace")
            if text:
                symbols[text] = (value, size)
    return Image(entry, tuple(segments), symbols)
