"""Each planted mistake in the runtime is caught by comparing with the Python scan."""

from __future__ import annotations

import pytest

from sequencer.firmware.toolchain import Compiler, runtime_texts
from sequencer.table import Table
from tests.firmware.rich import batch, host_run, host_texts, rich_table

MUTANTS = [
    ("count < steady) {", "count <= steady) {"),
    ("!= running || f->settled", "== running || f->settled"),
    (" || f->settled == 0u", ""),
    ("if (!running) flags =", "if (running) flags ="),
    ("running && fresh ?", "false ?"),
    ("STABLE : (uint8_t)~CHANGED", "STABLE : (uint8_t)~0"),
    ("flags ^= STABLE | CHANGED;\n            count = 0;", "flags ^= STABLE | CHANGED;"),
    ("flags ^= STABLE | CHANGED", "flags ^= STABLE"),
    ("if (count < steady) all = false;", "if (count + 1u < steady) all = false;"),
    ("level ? SEEN_CLOSED : SEEN_OPEN", "level ? SEEN_OPEN : SEEN_CLOSED"),
    ("if (level == (flags & (STABLE | CHANGED)))", "if (level == (flags & STABLE))"),
    ("all && i != FOLLOW_CONTACTS", "false && i != FOLLOW_CONTACTS"),
    ("f->words[i] >= FOLLOW_WORD(at) &&", "f->words[i] > FOLLOW_WORD(at) &&"),
    ("f->words[i] <= FOLLOW_WORD(at + 2)", "f->words[i] < FOLLOW_WORD(at + 2)"),
    ("if (f->heard[i - FOLLOW_ANALOGS]) f->words[i] = 0;", "if (f->heard[i - FOLLOW_ANALOGS]) f->words[i] = 1;"),
    ("f->words[i] != FOLLOW_NONE", "f->words[i] < 5u"),
    ("(f->outputs[source] ^", "(f->outputs[source % (FOLLOW_OUTPUTS + 1u)] ^"),
    ("^ FOLLOW_BYTE(at + 2)) & FOLLOW_BYTE(at + 1)", "^ FOLLOW_BYTE(at + 2)) & 1u"),
    ("^ FOLLOW_BYTE(at + 2)) &", "^ FOLLOW_BYTE(at + 1)) &"),
    ("f->outputs[STATE_AT] = f->state;", "f->outputs[STATE_AT] = f->from;"),
    ("head & EXTRA && was & BEFORE)", "head & EXTRA && was & NOW)"),
    ("if (head & EXTRA) at += 2;", ""),
    ("at += kind == COMPARE ? 3 : 4;", "at += 4;"),
    ("            valid = f->outputs[VALID_AT + source];", ""),
    ("if (limit == FOLLOW_NONE) valid = 0;", ""),
    ("was & BEFORE && !fresh", "was & BEFORE"),
    ("limit > drop ? limit - drop : 0", "limit"),
    ("valid &= f->outputs[VALID_AT + second];", ""),
    ("number > other ? number - other : other - number", "number - other"),
    ("d >> 31 ? 0u - d : d", "d"),
    ("FOLLOW_WIDE(at + 4) * other + FOLLOW_WIDE(at + 8)", "FOLLOW_WIDE(at + 4) * other"),
    ("if (head & EXTRA) number ^= 0xFFFFu;", ""),
    ("*age = valid ? 0u : FOLLOW_NONE;", "*age = 0u;"),
    ("if (!(second & LAST)) {", "if (!(second & NOW)) {"),
    ("++*age;", "*age = over;"),
    ("!(second & NOW) || *age < over", "*age < over"),
    ("*age < over || *age == FOLLOW_NONE", "*age == FOLLOW_NONE"),
    ("if (number < *base) limit = FOLLOW_NONE, number = *base;", ""),
    ("value = number >= limit", "value = number > limit"),
    ("if (!(head & DELAYS)) value = (uint8_t)(value | (was & NOW));", ""),
    ("if (!(head & DELAYS)) value", "value"),
    ("if (f->held) valid = 0;", ""),
    ("value = (uint8_t)(value ^ (head & OPPOSITE));", ""),
    ("value = 0, was = 0;", "value = 0;"),
    ("if (!valid) value = 0, was = 0;", "if (!valid) was = 0;"),
    ("was & NOW ? at + 2 : at", "was & NOW ? at : at + 2"),
    ("was & NOW ? at + 2 : at", "at"),
    ("& NOW && count < limit", "& NOW && count <= limit"),
    ("(value ^ was) & NOW && count", "value & NOW && count"),
    ("waits ? count + 1u : 0u", "waits ? count + 1u : count"),
    ("| (*bit & NOW) >> 1 |", "|"),
    ("| raw >> 2", "| value >> 2"),
    ("f->held = (uint8_t)(~head & INVERT);", "f->held = NOW;"),
    ("i < FOLLOW_ROOM(FOLLOW_BITS) && ", "i + 1u < FOLLOW_ROOM(FOLLOW_BITS) && "),
    ("((f->bits[i] ^ literal) & NOW) == 0", "(f->bits[i] & NOW) >= (literal & NOW)"),
    ("f->timer < (FOLLOW_WIDE(at)", "f->timer <= (FOLLOW_WIDE(at)"),
    ("& 0xFFFFFFu)", "& 0xFFFFu)"),
    ("!(to & TRIP) ? FOLLOW_NONE :", "false ? FOLLOW_NONE :"),
    ("f->first_out == FOLLOW_NONE ? row", "true ? row"),
    ("f->from = f->state;", ""),
    ("f->timer = 0;", ""),
    ("f->timer < 0x1000000u", "f->timer < 0x10000u"),
    ("left > 0u; left--, row++", "left > 1u; left--, row++"),
    ("part < 2u", "part < 1u"),
    ("if (f->held) f->outputs[output] = position;", ""),
    ("uint8_t left = FOLLOW_INHIBITS;", "uint8_t left = FOLLOW_INHIBITS - 1u;"),
    (">> i % 4u * 2u & 3)", ">> i % 4u * 2u & 1)"),
    ("f->words[i] = FOLLOW_NONE;", ""),
    ("    f->scan++;", ""),
    ("f->scan - 1u", "f->scan"),
    ("f->moved = 0;", ""),
    ("(uint8_t)(f->row >> 8)", "0xFF"),
    ("(*bit++ & NOW)", "(*bit++ & BEFORE) << 2"),
    ("0xDEBB20E3u", "0xDEBB20E4u"),
    (".cause = cause", ".cause = 1"),
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
