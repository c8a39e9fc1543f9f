"""A reader written from FORMAT.md alone: it imports nothing of the package, and names things as that text does."""

from __future__ import annotations

from typing import Any

OPERATIONS = {0: "compare", 1: "all", 2: "match", 4: "target", 8: "differs", 12: "change"}


def crc(data: bytes) -> int:
    """CRC-32/ISO-HDLC bit by bit, as the text gives it."""
    value = 0xFFFFFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xEDB88320 if value & 1 else 0)
    return value ^ 0xFFFFFFFF


def crc16(data: bytes) -> int:
    """CRC-16/IBM-SDLC bit by bit, as the text gives it."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0x8408 if value & 1 else 0)
    return value ^ 0xFFFF


class Bytes:
    def __init__(self, data: bytes, at: int = 0) -> None:
        self.data, self.at = data, at

    def take(self, width: int) -> int:
        value = sum(self.data[self.at + i] << 8 * i for i in range(width))
        self.at += width
        return value

    def signed(self) -> int:
        value = self.take(4)
        return value - 2**32 if value >= 2**31 else value

    def literals(self) -> tuple[int, bool, list[tuple[int, int]]]:
        head = self.take(1)
        named = [self.take(1) for _ in range(head & 31)]
        return head, bool(head & 128), [(b & 127, b >> 7) for b in named]


def read(image: bytes) -> dict[str, Any]:
    assert image[:4] == bytes.fromhex("464C4F57")
    b = Bytes(image, 4)
    version, flags, length, revision, period = b.take(1), b.take(1), b.take(2), b.take(4), b.take(2)
    contacts, readings, links, outputs, conditions, states, inhibits = (b.take(1) for _ in range(7))
    contacts_at = b.take(2)
    assert version == 4 and flags in (0, 1) and b.at == 23 and length == len(image)
    assert crc(image[:-6]) == Bytes(image, length - 6).take(4)
    assert crc16(image[:-2]) == Bytes(image, length - 2).take(2)
    found: dict[str, Any] = {
        "revision": revision, "period": period, "links": links, "conditions": [_condition(b) for _ in range(conditions)],
    }  # fmt: skip
    inhibits_at = b.at
    found["inhibits"] = []
    for _ in range(inhibits):
        head = b.take(1)
        first, _, named = b.literals()
        found["inhibits"] += [(head >> 2, head & 3, alone) for alone in _apart(first, named)]
    rows_at = b.at
    b.at = contacts_at
    found["contacts"] = [b.take(1) for _ in range(contacts)]
    found["readings"] = [(least := b.take(2), least + b.take(2)) for _ in range(readings)]
    found["outputs"] = []
    for _ in range(outputs):
        byte = b.take(1)
        found["outputs"].append({"rest": byte & 3, "stays": bool(byte & 4), "positions": byte >> 3 & 7})
    found["states"] = []
    for _ in range(states):
        where = [b.take(2), b.take(2)]
        packed = [b.take(1) for _ in range((outputs + 3) // 4)]
        found["states"].append({
            "positions": [packed[n // 4] >> 2 * (n % 4) & 3 for n in range(outputs)],
            "rows": [r for at in where if at != 0xFFFF for r in _rows(image, rows_at + at, 3 if flags else 2)],
        })
    room = max(70 + (5 * states if any(c["operation"] == "target" for c in found["conditions"]) else 0) - (length - inhibits_at), 0)
    assert not any(image[b.at : length - 6]) and not room and length - rows_at >= 33 and length - contacts_at >= 36
    return found


def _apart(first: int, named: list[tuple[int, int]]) -> list[list[tuple[int, int]]]:
    return [[one] for one in named] if first & 128 else [named]


def _condition(b: Bytes) -> dict[str, Any]:
    head = b.take(1)
    operation, opposite, extra = OPERATIONS[head & 15], bool(head & 128), bool(head & 16)
    assert not head & 32
    one: dict[str, Any] = {"operation": operation, "opposite": opposite, "extra": extra}
    if operation == "match":
        one |= {"n": b.take(1), "v": b.take(1)}
    elif operation == "compare":
        one |= {"n": b.take(1), "limit": b.take(2)}
        one["drop_out"] = b.take(2) if extra else one["limit"]
    elif operation == "target":
        one["n"] = b.take(1)
        one["limits"] = [(b.take(1), limit := b.take(2), b.take(2) if extra else limit) for _ in range(b.take(1))]
    elif operation == "differs":
        one |= {"n": b.take(1), "m": b.take(1), "limit": b.take(2)}
        if extra:
            assert one["limit"] == 1
            one |= {"gain_n": b.signed(), "gain_m": b.signed(), "offset": b.signed(), "limit": b.take(4)}
    elif operation == "change":
        one |= {"n": b.take(1), "k": b.take(1), "limit": b.take(2), "scans": b.take(2)}
    else:
        one["list"] = b.literals()[1:]
        one["clear"] = b.literals()[1:] if extra else None
    one["delays"] = (b.take(2), b.take(2)) if head & 64 else None
    return one


def _rows(image: bytes, at: int, width: int) -> list[dict[str, Any]]:
    b, rows, head = Bytes(image, at), [], 0
    while not head & 32:
        byte = b.take(1)
        head, _, named = b.literals()
        least = b.take(width) if head & 64 else 0
        rows += [{"to": byte & 127, "trip": bool(byte & 128), "literals": one, "least": least} for one in _apart(head, named)]
    return rows
