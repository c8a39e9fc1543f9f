"""The byte image: what it says, what it refuses, and that it is the same bytes every time."""

from __future__ import annotations

import re
import subprocess
import sys
import zlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import DoesNotFit
from sequencer.firmware.c_table import header_text, source_text
from sequencer.firmware.reference import Operation, Reference
from sequencer.firmware.stimulus import Stimulus
from sequencer.table import Kind, Table
from sequencer.table.decode import ImageError, decode
from sequencer.table.image import checksum, encode, seal
from sequencer.table.image import crc16 as chip_sum
from sequencer.table.records import is_trip
from sequencer.table.table import NO_TARGET, Bit, Literals
from tests.firmware.format_reader import crc, crc16, read
from tests.firmware.rich import rich_table
from tests.strategies import input_runs, tables

ROOT = Path(__file__).resolve().parents[2]


def named(care: int, want: int) -> list[tuple[int, int]]:
    return [(i, want >> i & 1) for i in range(care.bit_length()) if care >> i & 1]


def test_the_checksum_is_the_standard_one() -> None:
    """Check value of CRC-32/ISO-HDLC: CBF43926 (public catalogues of checksum parameters; from memory)."""
    assert zlib.crc32(b"123456789") == crc(b"123456789") == 0xCBF43926
    image = encode(rich_table())
    assert checksum(rich_table()) == crc(image[:-6]) == int.from_bytes(image[-6:-2], "little")


def test_the_chips_sum_is_a_standard_one_and_finds_any_two_flipped_bits() -> None:
    """Check value of CRC-16/IBM-SDLC: 906E (public catalogues of checksum parameters; from memory)."""
    assert crc16(b"123456789") == chip_sum(b"123456789") == 0x906E
    image = bytearray(encode(rich_table()))
    assert chip_sum(bytes(image[:-2])) == int.from_bytes(image[-2:], "little")
    for first in range(0, 8 * len(image), 37):
        for second in range(first + 1, 8 * len(image), 41):
            flipped = bytearray(image)
            flipped[first // 8] ^= 1 << first % 8
            flipped[second // 8] ^= 1 << second % 8
            assert chip_sum(bytes(flipped[:-2])) != int.from_bytes(flipped[-2:], "little")


def test_an_older_table_is_called_older_and_a_newer_one_newer() -> None:
    image = encode(rich_table())
    for version, what in ((3, "older"), (5, "newer")):
        with pytest.raises(ImageError, match=f"format version {version}, {what} than version 4") as error:
            decode(image[:4] + bytes([version]) + image[5:])
        assert error.value.what == what


@pytest.mark.parametrize("which", ["curlew", "club", "rich"])
def test_a_reader_written_from_the_text_alone_finds_the_whole_table(which: str, curlew: Table, club: Table) -> None:
    table = {"curlew": curlew, "club": club, "rich": rich_table()}[which]
    text = re.sub(r"/\*.*?\*/", "", source_text(table), flags=re.DOTALL)
    found = read(bytes(int(b, 16) for b in re.findall(r"0x([0-9A-F]{2}),", text)))
    assert (found["revision"], found["period"]) == (table.revision, table.scan_ms)
    assert found["contacts"] == [c.steady for c in table.contacts]
    assert found["readings"] == [(a.low, a.high) for a in table.analogs]
    assert found["links"] == len(table.heartbeats)
    for out, spec in zip(found["outputs"], table.outputs, strict=True):
        assert out == {"rest": spec.idle if spec.rest is None else spec.rest, "stays": spec.rest is None, "positions": len(spec.positions)}
    for one, item in zip(found["inhibits"], table.inhibits, strict=True):
        assert one == (item.output, item.position, named(item.care, item.want))
    assert len(found["inhibits"]) == len(table.inhibits)
    for one, state in zip(found["states"], table.states, strict=True):
        assert tuple(one["positions"]) == state.outputs
        rows = table.rows[state.first_row : state.end_row]
        assert one["rows"] == [
            {"to": r.to, "trip": is_trip(r), "literals": named(r.care, r.want), "least": r.least} for r in rows
        ]
    for one, bit in zip(found["conditions"], table.bits, strict=True):
        if one["operation"] == "all" and bit.kind not in (Kind.ALL, Kind.MEMORY):  # the same as an earlier one
            assert one["list"][1][0][1] == 1 and len(one["list"][1]) == 1 and (one["clear"], one["delays"]) == (None, None)
            one = found["conditions"][one["list"][1][0][0]]
        check_condition(one, bit, table)


def test_a_condition_said_twice_costs_three_bytes_and_does_the_same() -> None:
    there = next(bit for bit in RICH.bits if bit.name == "there")
    twice = replace(RICH, bits=(*RICH.bits, replace(there, name="kept")))
    assert len(encode(twice)) == len(encode(RICH)) + 3
    given, wanted = Reference(twice).run(Stimulus(twice, 3, lambda: 0, set()), 3000)
    assert Reference(decode(encode(twice))).run(Stimulus(twice, 3, lambda: 0, set()), 3000) == (given, wanted)


def check_condition(one: dict[str, Any], bit: Bit, table: Table) -> None:
    a, o = len(table.analogs), len(table.outputs)
    flags, cell = o + 1 + 3 * (a + len(table.heartbeats)), o + 1 + 3 * bit.source
    what, opposite = one["operation"], not bit.wanted
    if bit.kind not in (Kind.PRESS, Kind.MEMORY):
        assert one["delays"] == ((bit.hold, bit.drop) if bit.hold or bit.drop else None)
    if bit.kind in (Kind.CONTACT, Kind.VALID):
        place = cell + 2 if bit.kind == Kind.VALID else flags + bit.source
        assert (what, one["n"], one["v"], one["opposite"], one["extra"]) == ("match", place, 17, opposite, False)
    elif bit.kind == Kind.PRESS:
        assert (what, one["n"], one["v"]) == ("match", flags + bit.source, 119 if bit.wanted else 186)
        assert not one["opposite"] and not one["extra"] and one["delays"] is None
    elif bit.kind in (Kind.STATE, Kind.COMMAND):
        wanted = (o, bit.source) if bit.kind == Kind.STATE else (bit.source, bit.on)
        assert (what, (one["n"], one["v"]), one["extra"], one["opposite"]) == ("match", wanted, True, opposite)
    elif bit.kind in (Kind.AT_LEAST, Kind.BELOW):
        assert (what, one["n"], one["limit"], one["drop_out"]) == ("compare", cell, bit.on, bit.off)
        assert one["opposite"] == (bit.kind == Kind.BELOW)
    elif bit.kind == Kind.HEARD:
        assert (what, one["n"], one["limit"], one["opposite"]) == ("compare", cell + 3 * a, bit.on + 1, True)
    elif bit.kind == Kind.TARGET:
        given = [(i, s.targets[bit.source]) for i, s in enumerate(table.states) if s.targets[bit.source] != NO_TARGET]
        limits = [(i, target, max(0, target - bit.off)) for i, target in given]
        assert (what, one["n"], one["limits"]) == ("target", cell, limits)
    elif bit.kind == Kind.CHANGE:
        assert (what, one["n"], one["k"], one["limit"], one["scans"]) == ("change", cell, bit.second, bit.on, bit.off)
        assert (one["opposite"], one["extra"]) == (opposite, bit.sign < 0)
    elif bit.kind == Kind.DIFFERS:
        x, y = table.analogs[bit.source], table.analogs[bit.second]
        assert (what, one["n"], one["m"], one["opposite"]) == ("differs", cell, o + 1 + 3 * bit.second, opposite)
        if one["extra"]:
            assert (one["gain_n"], one["gain_m"], one["offset"], one["limit"]) == (x.gain, y.gain, x.offset - y.offset, bit.on)
        else:
            assert x.gain == y.gain and (one["limit"] - 1) * abs(x.gain) < bit.on <= one["limit"] * abs(x.gain)
    elif bit.kind == Kind.ALL:
        assert (what, one["list"], one["clear"]) == ("all", listed(bit.set), None)
    else:
        assert (what, one["delays"]) == ("all", (0, bit.on - 1) if bit.on else None)
        assert one["list"] == listed(bit.set) and one["clear"] == listed(bit.clear)


def listed(rule: Literals) -> tuple[bool, list[tuple[int, int]]]:
    """(is an any list, its literals): "not all of these" is "any of their opposites"; one that cannot hold is "any of none"."""
    if rule.want & ~rule.care:
        return not rule.invert, []
    return rule.invert, [(i, value ^ rule.invert) for i, value in named(rule.care, rule.want)]


@settings(max_examples=150)
@given(st.data())
def test_a_decoded_table_does_what_the_table_did(data: st.DataObject) -> None:
    table = data.draw(tables())
    image = encode(table)
    back = decode(image + b"whatever a dump has behind it")
    assert encode(back) == image
    run = data.draw(input_runs(table))
    operations = [Operation(0, inputs) for inputs in run]
    assert Reference(table).run(operations, 1 << 30) == Reference(back).run(operations, 1 << 30)


def test_a_flipped_bit_anywhere_is_refused() -> None:
    image = encode(rich_table())
    for at in range(len(image)):
        with pytest.raises(ImageError):
            decode(image[:at] + bytes([image[at] ^ 1 << at % 8]) + image[at + 1 :])


@pytest.mark.parametrize("length", [0, 3, 4, 20, 32, 36, 200])
def test_an_image_cut_short_is_refused(length: int) -> None:
    with pytest.raises(ImageError):
        decode(encode(rich_table())[:length])


@settings(max_examples=200)
@given(st.binary(max_size=400), st.integers(0, 400))
def test_no_bytes_make_the_reader_fail_in_any_other_way(noise: bytes, at: int) -> None:
    body = bytearray(encode(rich_table())[:-6])
    body[8 + at % 300 : 8 + at % 300 + len(noise)] = noise
    body = body[: len(encode(rich_table())) - 6]
    try:
        decode(seal(bytes(body)))
    except ImageError as error:
        assert error.what in ("foreign", "older", "newer", "damaged")


RICH = rich_table()


def changed(**parts: Any) -> Table:
    return replace(RICH, **parts)


def with_bit(index: int, **parts: Any) -> Table:
    return changed(bits=(*RICH.bits[:index], replace(RICH.bits[index], **parts), *RICH.bits[index + 1 :]))


def with_row(**parts: Any) -> Table:
    return changed(rows=(replace(RICH.rows[0], **parts), *RICH.rows[1:]))


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (with_row(least=259_200_000), "259200000"),  # 60 days of 20 ms
        (with_row(least=1 << 24), "16777215"),
        (with_row(to=6), "next state is 6"),
        (with_row(care=0, want=1), "never hold"),
        (with_bit(2, hold=70_000), "70000"),  # 70 s of 1 ms into 16 bits
        (with_bit(5, on=65_536), "65536"),
        (with_bit(5, source=3), "source is 3"),
        (with_bit(11, on=65_535), "65535"),
        (with_bit(24, set=Literals(1 << 24, 0)), "not there yet"),
        (with_bit(26, set=Literals((1 << 70) - 1, 0)), "not there yet"),
        (with_bit(19, second=19), "counts from"),
        (changed(revision=1 << 32), "revision"),
        (changed(scan_ms=0), "scan period"),
        (changed(states=RICH.states * 22), "number of states is 132"),
        (changed(outputs=RICH.outputs * 13), "number of outputs is 65"),
        (changed(contacts=RICH.contacts * 22), "number of contacts is 66"),
        (changed(analogs=(replace(RICH.analogs[0], high=65_536), *RICH.analogs[1:])), "high is 65536"),
        (changed(analogs=(*RICH.analogs[:2], replace(RICH.analogs[2], gain=38_000 * 38_000))), "scaled units"),
    ],
)
def test_what_does_not_fit_is_refused_with_the_number_and_never_cut(table: Table, said: str) -> None:
    with pytest.raises(DoesNotFit, match=said):
        encode(table)


def test_sharing_of_rows_changes_nothing_but_the_length() -> None:
    lone = replace(RICH, rows=tuple(replace(r, origin="x") for r in RICH.rows))
    assert [r.to for r in decode(encode(lone)).rows] == [r.to for r in RICH.rows]
    assert len(encode(RICH)) < 32 + sum(2 + 5 + 3 for _ in RICH.rows) + 700


def test_the_same_file_gives_the_same_bytes_in_another_process() -> None:
    code = (
        "from sequencer.description import load; from sequencer.table import compile_table; "
        "from sequencer.firmware.c_table import header_text, source_text; import hashlib; "
        "t = compile_table(load('configs/club.yaml')); "
        "print(hashlib.sha256((header_text(t) + source_text(t)).encode()).hexdigest())"
    )
    runs = {
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=True).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(runs) == 1 and len(runs.pop()) == 65


@pytest.mark.parametrize(
    ("first", "second"), [("fill line", "fill_line"), ("a" * 70, "a" * 71), ("up-side", "up side")]
)
def test_names_that_are_one_name_in_c_are_refused(first: str, second: str) -> None:
    bits = (replace(RICH.bits[0], name=first), replace(RICH.bits[1], name=second), *RICH.bits[2:])
    with pytest.raises(DoesNotFit, match="same name in C"):
        header_text(replace(RICH, bits=bits))


def test_a_name_that_c_cannot_carry_is_refused() -> None:
    with pytest.raises(DoesNotFit, match="cannot be a name in C"):
        header_text(replace(RICH, bits=(replace(RICH.bits[0], name="größe"), *RICH.bits[1:])))


def test_a_title_cannot_break_out_of_its_comment_or_string() -> None:
    text = header_text(replace(RICH, title='odd */ int x; /* "\\ ??/ ü\n#error'))
    comment = text.split("*/")[0]
    assert "int x" in comment and "#error" in comment and "\n#error" not in text
    line = next(row for row in text.splitlines() if row.startswith("#define FOLLOW_TITLE"))
    assert "\\303\\274" in line and "??" not in line and line.count('"') == 2


def test_targets_of_readings_that_nothing_compares_take_no_room() -> None:
    states = tuple(replace(s, targets=(s.targets[0], s.targets[1], NO_TARGET)) for s in RICH.states)
    assert encode(replace(RICH, states=states)) == encode(RICH)
