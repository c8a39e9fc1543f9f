"""Each planted mistake in the runtime is caught by comparing with the Python scan."""

from __future__ import annotations

import pytest

from sequencer.firmware.toolchain import Compiler, runtime_texts
from sequencer.table import Table
from tests.firmware.rich import batch, host_run, host_texts, rich_table

MUTANTS = [
    ("*counter < limit) {", "*counter <= limit) {"),
    ("raw != was && *counter", "*counter"),
    ("    *counter = 0;\n    return raw;", "    return raw;"),
    ("running && f->timer == 0u", "false"),
    ("(entered ? STABLE : ~CHANGED)", "(entered ? STABLE : ~0)"),
    ("flags ^= STABLE | CHANGED", "flags ^= STABLE"),
    ("f->settled == 0u || level", "level"),
    ("if (*counter < steady) all = false;", "if (*counter + 1u < steady) all = false;"),
    ("level ? SEEN_CLOSED : SEEN_OPEN", "level ? SEEN_OPEN : SEEN_CLOSED"),
    ("if (level == (flags & (STABLE | CHANGED)))", "if (level == (flags & STABLE))"),
    ("all && i != FOLLOW_CONTACTS", "false && i != FOLLOW_CONTACTS"),
    ("f->words[i] >= word(at) &&", "f->words[i] > word(at) &&"),
    ("f->words[i] <= word(at + 2)", "f->words[i] < word(at + 2)"),
    ("if (f->heard[i]) *silence = 0;", "if (f->heard[i]) *silence = 1;"),
    ("*silence != FOLLOW_NONE", "*silence < 5u"),
    ("value = f->flags[source] & STABLE;", "value = f->contacts[source % FOLLOW_CONTACTS] & 1u;"),
    ("== (CHANGED | SEEN_CLOSED)", "== (CHANGED | STABLE | SEEN_CLOSED)"),
    ("CHANGED | STABLE | SEEN_OPEN)) == (", "CHANGED | STABLE)) == (SEEN_OPEN ^ "),
    ("(source == FOLLOW_OUTPUTS ? f->state", "(source == FOLLOW_OUTPUTS ? f->from"),
    ("head & EXTRA && was & BEFORE ?", "head & EXTRA && was & NOW ?"),
    ("at += head & EXTRA ? 6 : 4;", "at += head & EXTRA ? 4 : 6;"),
    ("valid = is_valid(f, source);\n            at +=", "at +="),
    ("is_valid(f, source) && limit != FOLLOW_NONE", "is_valid(f, source)"),
    ("was & BEFORE && f->timer != 0u", "was & BEFORE"),
    ("limit > drop ? limit - drop : 0", "limit"),
    ("is_valid(f, source) && is_valid(f, second)", "is_valid(f, source)"),
    ("(a > b ? a - b : b - a) >= word", "(a > b ? a - b : b - a) > word"),
    ("d >> 31 ? 0u - d : d", "d"),
    ("wide(at + 4) * b + wide(at + 8)", "wide(at + 4) * b"),
    ("if (head & EXTRA) counts ^= 0xFFFFu;", ""),
    ("*age = valid ? 0u : FOLLOW_NONE;", "*age = 0u;"),
    ("!(was & SINCE) || *age < over", "*age < over"),
    ("(uint16_t)(counts - *base) >= word", "(uint16_t)(counts - *base) > word"),
    ("value = counts >= *base &&", "value ="),
    ("value = f->held || (was & NOW);", "value = f->held;"),
    ("if (f->held) was = 0;", ""),
    ("if (f->held) value = false;", ""),
    ("*age >= most", "*age > most"),
    ("was & NOW ? *age + 1 : 1", "*age + 1"),
    ("if (head & OPPOSITE) value = !value;\n        if (!valid)", "if (!valid)"),
    ("value = false, was &= (uint8_t)~NOW;", "value = false;"),
    ("was & NOW ? DROP : HOLD", "was & NOW ? HOLD : DROP"),
    ("was & NOW && head & HOLD ? at + 2 : at", "at"),
    ("f->held = (head & INVERT) == 0;", "f->held = 1;"),
    ("i < FOLLOW_ROOM(FOLLOW_BITS) && ", "i + 1u < FOLLOW_ROOM(FOLLOW_BITS) && "),
    ("(f->bits[i] & NOW) == literal >> 7", "(f->bits[i] & NOW) >= literal >> 7"),
    ("f->timer < (word(at)", "f->timer <= (word(at)"),
    ("(uint32_t)BYTE(at + 2) << 16)", "0u)"),
    ("if (!(to & TRIP)) f->first_out = FOLLOW_NONE;", "if (false) f->first_out = FOLLOW_NONE;"),
    ("else if (f->first_out == FOLLOW_NONE) f->first_out", "else f->first_out"),
    ("f->from = f->state;", ""),
    ("f->timer = 0;", ""),
    ("f->timer < 0x1000000u", "f->timer < 0x10000u"),
    ("left > 0u; left--, row++", "left > 1u; left--, row++"),
    ("part < 2u", "part < 1u"),
    ("if (f->held) f->outputs[output] = position;", ""),
    ("uint8_t left = FOLLOW_INHIBITS;", "uint8_t left = FOLLOW_INHIBITS - 1u;"),
    ("f->outputs[i] = packed & 3u;", "f->outputs[i] = packed & 1u;"),
    ("f->words[FOLLOW_ANALOGS + i] = FOLLOW_NONE;", ""),
    ("    f->scan++;", ""),
    ("f->scan - 1u", "f->scan"),
    ("f->moved = 0;", ""),
    ("record[8] = (uint8_t)(f->row >> 8);", "record[8] = 0xFF;"),
    ("*bit++ & NOW ? 0x80 : 0", "*bit++ & BEFORE ? 0x80 : 0"),
    ("0xDEBB20E3u", "0xDEBB20E4u"),
    ("f->cause = cause;", "f->cause = 1;"),
]


@pytest.fixture(scope="module")
def rich() -> tuple[Table, bytes, bytes]:
    table = rich_table()
    return (table, *batch(table, seed=4, scans=40_000))


def test_the_runtime_as_it_is_agrees(rich: tuple[Table, bytes, bytes], compiler: Compiler) -> None:
    table, given, wanted = rich
    assert host_run(table, compiler, host_texts(table), given, ("-O1",)) == wanted


@pytest.mark.parametrize(("right", "wrong"), MUTANTS)
def test_a_mistake_in_the_runtime_is_caught(right: str, wrong: str, rich: tuple[Table, bytes, bytes], compiler: Compiler) -> None:
    table, given, wanted = rich
    files = host_texts(table)
    assert runtime_texts()["follow.c"].count(right) >= 1, "the place has changed: mend the mutant"
    files["follow.c"] = files["follow.c"].replace(right, wrong, 1)
    flags = ("-O0", "-Wno-error", "-w")
    assert host_run(table, compiler, files, given, flags) != wanted
