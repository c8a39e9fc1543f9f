"""A damaged, foreign or newer table, an impossible state, an unknown reset cause: rest positions, and they stay."""

from __future__ import annotations

import ctypes
import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from sequencer.firmware.c_table import header_text, source_text
from sequencer.firmware.toolchain import WARNINGS, Compiler, build, harness_texts, runtime_texts
from sequencer.table import Table
from sequencer.table.image import encode, seal
from tests.firmware.rich import rich_table

FINE, FOREIGN, NEWER, DAMAGED, IMPOSSIBLE, UNKNOWN_RESET = range(6)
REST = bytes([0, 0, 0, 1, 0])  # of the rich table


def changeable(table: Table, *harness: str) -> dict[str, str]:
    """The runtime with a table that is not const."""
    files = {**runtime_texts(), "follow_table.h": header_text(table), **harness_texts(*harness)}
    files["follow.h"] = files["follow.h"].replace("extern const uint8_t follow_table", "extern uint8_t follow_table")
    return files


class Breakable:
    def __init__(self, path: Path, image: bytes) -> None:
        self.lib = ctypes.CDLL(str(path))
        self.lib.table_at.restype = ctypes.POINTER(ctypes.c_uint8)
        self.table = self.lib.table_at()
        self.image = image
        self.load(image)

    def load(self, image: bytes) -> None:
        ctypes.memmove(self.table, image, len(self.image))

    def start(self, cause: int = 1) -> int:
        self.lib.box_start(ctypes.c_uint8(cause))
        return int(self.lib.box_code())

    def scan(self, times: int = 1) -> int:
        for _ in range(times):
            self.lib.box_scan()
        return int(self.lib.box_code())

    @property
    def outputs(self) -> bytes:
        room = ctypes.create_string_buffer(5)
        self.lib.box_outputs(room)
        return room.raw

    @property
    def record(self) -> bytes:
        room = ctypes.create_string_buffer(15)
        self.lib.box_record(room)
        return room.raw


@pytest.fixture(scope="module")
def box(compiler: Compiler) -> Breakable:
    table = rich_table()
    files = changeable(table, "breakable.c")
    files["follow_table.c"] = source_text(table).replace("const uint8_t follow_table", "uint8_t follow_table")
    path = build(compiler, files, [*WARNINGS, "-O1", "-shared", "-fPIC"], "breakable.so")
    return Breakable(path, encode(table))


@pytest.fixture(autouse=True)
def whole(box: Breakable) -> None:
    box.load(box.image)


def test_a_whole_table_is_followed_from_every_known_reset_cause(box: Breakable) -> None:
    for cause in (1, 2, 3, 4):
        assert box.start(cause) == FINE
        assert box.record[:1] == b"P" and box.record[1:5] == box.image[-6:-2] and box.record[9] == cause
    assert box.scan(len(box.image) + 5) == FINE


@pytest.mark.parametrize("cause", [0, 5, 99, 255])
def test_an_unknown_reset_cause_rests_for_good(box: Breakable, cause: int) -> None:
    assert box.start(cause) == UNKNOWN_RESET
    assert box.scan(3) == UNKNOWN_RESET and box.outputs == REST


def test_a_flipped_bit_anywhere_is_found_at_the_start(box: Breakable) -> None:
    codes = dict[int, list[int]]()
    for at in range(len(box.image)):
        box.load(box.image[:at] + bytes([box.image[at] ^ 1 << at % 8]) + box.image[at + 1 :])
        code = box.start()
        assert code in (FOREIGN, DAMAGED), f"byte {at}"
        codes.setdefault(code, []).append(at)
        assert box.scan(2) == code and box.outputs == REST
    assert codes[FOREIGN] == [*range(len(box.image) - 6, len(box.image) - 2)], "another checksum is another table"


def test_a_bit_that_flips_while_running_is_found_within_two_rounds_of_checking(box: Breakable) -> None:
    for at in range(0, len(box.image), 7):
        box.load(box.image)
        assert box.start() == FINE
        box.scan(9)
        box.load(box.image[:at] + bytes([box.image[at] ^ 0x10]) + box.image[at + 1 :])
        kinds = [box.scan() and box.record[:1] for _ in range(2 * (len(box.image) + 1))]
        assert box.scan() == DAMAGED, f"byte {at}"
        assert box.outputs == REST and kinds.count(b"R") == 1 and box.record[8] == DAMAGED
        box.load(box.image)
        assert box.scan(3) == DAMAGED, "what was damaged once is not followed again before a reset"


def test_another_files_table_is_foreign_as_is_an_older_format_and_a_newer_format_is_newer(box: Breakable) -> None:
    other = bytearray(box.image[:-6])
    other[8] ^= 1  # another revision, well summed
    box.load(seal(bytes(other)))
    assert box.start() == FOREIGN
    newer = bytearray(box.image[:-6])
    newer[4] = 5
    box.load(seal(bytes(newer)))
    assert box.start() == NEWER
    assert box.scan() == NEWER and box.outputs == REST
    newer[4] = 3
    box.load(seal(bytes(newer)))
    assert box.start() == FOREIGN


@pytest.mark.parametrize(("state", "mirror"), [(6, 0xF9), (200, 55), (2, 2), (1, 0xFF)])
def test_an_impossible_state_rests_for_good(box: Breakable, state: int, mirror: int) -> None:
    assert box.start() == FINE
    box.scan(2)
    box.lib.box_set_state(ctypes.c_uint8(state), ctypes.c_uint8(mirror))
    assert box.scan() == IMPOSSIBLE and box.outputs == REST
    box.lib.box_set_state(ctypes.c_uint8(0), ctypes.c_uint8(0xFF))
    assert box.scan() == IMPOSSIBLE


def test_a_fuzzer_finds_no_table_and_no_input_that_reads_or_writes_out_of_bounds(outside_tool: Callable[[str], str]) -> None:
    clang = Compiler("clang-14", (outside_tool("clang-14"),))
    flags = ["-std=c99", "-g", "-O1", "-fsanitize=fuzzer,address,undefined", "-fno-sanitize-recover=all"]
    path = build(clang, changeable(rich_table(), "fuzz.c"), flags, "fuzz")
    done = subprocess.run(
        [path, "-runs=20000", "-max_total_time=12", "-max_len=1500", "-seed=1"], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "Done" in done.stderr


def test_the_fuzzer_finds_a_guard_that_was_taken_away(outside_tool: Callable[[str], str], tmp_path: Path) -> None:
    clang = Compiler("clang-14", (outside_tool("clang-14"),))
    files = changeable(rich_table(), "fuzz.c")
    guarded = "if (source >= FOLLOW_CELLS) return false;"
    assert guarded in files["follow.c"]
    files["follow.c"] = files["follow.c"].replace(guarded, "")
    flags = ["-std=c99", "-g", "-O1", "-fsanitize=fuzzer,address,undefined", "-fno-sanitize-recover=all"]
    path = build(clang, files, flags, "fuzz")
    done = subprocess.run(
        [path, "-runs=300000", "-max_len=1500", "-seed=1", f"-artifact_prefix={tmp_path}/"], capture_output=True, text=True,
        timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode != 0 and "follow.c" in done.stderr


def test_no_table_within_the_headers_limits_can_make_it_read_write_or_overflow_wrongly(
    outside_tool: Callable[[str], str], tmp_path: Path
) -> None:
    """Abstract interpretation of every table content and every input, any number of scans (Frama-C's Eva)."""
    program = outside_tool("frama-c")
    for name, text in changeable(rich_table(), "eva.c").items():
        (tmp_path / name).write_text(text)
    done = subprocess.run(
        [program, "-eva", "-eva-precision", "1", "-eva-auto-loop-unroll", "24", "-machdep", "gcc_x86_32", "eva.c"],
        cwd=tmp_path, env={**os.environ, "PWD": str(tmp_path)}, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert "0 alarms generated by the analysis" in done.stdout, done.stdout[-3000:]
    assert "(out of" in done.stdout and "100% coverage" in done.stdout
