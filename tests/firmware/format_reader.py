"""A reader written from FORMAT.md alone: it imports nothing of the package, and names things as that text does."""

from __future__ import annotations

from typing import Any

OPERATIONS = ["match", "compare", "target", "differs", "change", "all"]


def crc(data: bytes) -> int:
    """CRC-32/ISO-HDLC bit by bit, as the text gives it."""
    value = 0xFFFFFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xEDB88320 if value & 1 else 0)
    return value ^ 0xFFFFFFFF


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
        named = [self.take(1) for _ in range(head & 63)]
        return head, bool(head & 128), [(b & 127, b >> 7) for b in named]


def read(image: bytes) -> dict[str, Any]:
    assert image[:4] == bytes.fromhex("464C4F57")
    b = Bytes(image, 4)
    version, header, length, revision, period = b.take(1), b.take(1), b.take(2), b.take(4), b.take(2)
    contacts, readings, links, outputs, conditions, states = (b.take(1) for _ in range(6))
    rows, inhibits, columns, counters, zero = b.take(2), b.take(1), b.take(1), b.take(1), b.take(1)
    inhibits_at, rows_at, contacts_at = b.take(2), b.take(2), b.take(2)
    assert (version, header, zero) == (2, 32, 0) and b.at == 32 and length == len(image)
    assert crc(image[:-4]) == Bytes(image, length - 4).take(4)
    found: dict[str, Any] = {
        "revision": revision, "period": period, "links": links, "counters": counters, "rows": rows,
        "conditions": [_condition(b, readings) for _ in range(conditions)],
    }
    assert b.at == inhibits_at
    found["inhibits"] = []
    for _ in range(inhibits):
        head = b.take(1)
        found["inhibits"].append((head >> 2, head & 3, b.literals()[2]))
    assert b.at == rows_at
    b.at = contacts_at
    found["contacts"] = [b.take(2) for _ in range(contacts)]
    found["readings"] = [(b.take(2), b.take(2)) for _ in range(readings)]
    found["outputs"] = []
    for _ in range(outputs):
        byte = b.take(1)
        found["outputs"].append({"rest": byte & 3, "stays": bool(byte & 4), "positions": byte >> 3 & 7})
    found["states"] = []
    for _ in range(states):
        first, first_count, further, further_count, number = b.take(2), b.take(1), b.take(2), b.take(1), b.take(2)
        packed = [b.take(1) for _ in range((outputs + 3) // 4)]
        where = [(first, first_count), (further, further_count)]
        found["states"].append({
            "number": number, "positions": [packed[n // 4] >> 2 * (n % 4) & 3 for n in range(outputs)],
            "targets": [b.take(2) for _ in range(columns)], "rows": [r for at, n in where for r in _rows(image, rows_at + at, n)],
        })
    assert not any(image[b.at : length - 4]) and length - 4 - contacts_at >= 136
    return found


def _condition(b: Bytes, readings: int) -> dict[str, Any]:
    head = b.take(1)
    operation, opposite, extra = OPERATIONS[head & 31], bool(head & 128), bool(head & 32)
    one: dict[str, Any] = {"operation": operation, "opposite": opposite, "extra": extra}
    if operation == "match":
        one |= {"n": b.take(1), "mask": b.take(1), "v": b.take(1)}
    elif operation == "compare":
        one |= {"n": b.take(1), "limit": b.take(2)}
        one["drop_out"] = b.take(2) if extra else one["limit"]
    elif operation == "target":
        one |= {"n": b.take(1), "drop_out": b.take(2), "column": b.take(1)}
    elif operation == "differs":
        one |= {"n": b.take(1), "limit": b.take(2), "m": b.take(1)}
        if extra:
            assert one["limit"] == 1
            one |= {"gain_n": b.signed(), "gain_m": b.signed(), "offset": b.signed(), "limit": b.take(4)}
    elif operation == "change":
        one |= {"n": b.take(1), "limit": b.take(2), "k": b.take(1), "scans": b.take(2)}
    else:
        one["list"] = b.literals()[1:]
        one["clear"] = b.literals()[1:] if extra else None
    one["delays"] = (b.take(2), b.take(2)) if head & 64 else None
    return one


def _rows(image: bytes, at: int, count: int) -> list[dict[str, Any]]:
    b, rows = Bytes(image, at), []
    for _ in range(count):
        byte = b.take(1)
        head, _, named = b.literals()
        rows.append({"to": byte & 127, "trip": bool(byte & 128), "literals": named, "least": b.take(3) if head & 64 else 0})
    return rows
