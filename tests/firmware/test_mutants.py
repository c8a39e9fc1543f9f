"""Each planted mistake in the runtime is caught by comparing with the Python scan."""

from __future__ import annotations

import pytest

from sequencer.firmware.edges import Edges
from sequencer.firmware.reference import Reference
from sequencer.firmware.toolchain import Compiler, runtime_texts
from sequencer.table import Table
from tests.firmware.rich import batch, host_run, host_texts, rich_table

MUTANTS = [
    ("(f->bits[i] ^ literal ^ head) & NOW", "(f->bits[i] ^ literal) & NOW"),
    ("if (!(head & ANY)) left = left == 0u;", "left = left == 0u;"),
    ("fresh ? STABLE : (uint8_t)~CHANGED", "(uint8_t)~CHANGED"),
    ("STABLE : (uint8_t)~CHANGED", "STABLE : (uint8_t)~0"),
    ("if (f->settled != 2u) { /*", "if (f->settled == 0u) { /*"),
    ("flip && count > 0u", "flip || count > 0u"),
    ("flip && count > 0u", "flip && count > 1u"),
    ("            flip = 0;\n", ""),
    ("flip = STABLE | CHANGED;", "flip = STABLE;"),
    ("flags ^= flip;", "flags |= flip;"),
    ("if (flip || f->settled == 0u)", "if (flip)"),
    ("if (flip || f->settled == 0u)", "if (f->settled == 0u)"),
    ("if (count < steady) count++;", "count = steady;"),
    ("count = steady;", "count = 0;"),
    ("count--;", "count = 0;"),
    ("count < steady) settled = 1;", "count + 1u < steady) settled = 1;"),
    ("if (level == (flags & (STABLE | CHANGED)))", "if (level == (flags & STABLE))"),
    ("(level + 1u) * SEEN_OPEN", "(2u - level) * SEEN_OPEN"),
    ("over <= follow_u16(&at)", "over < follow_u16(&at)"),
    ("(uint16_t)(counts - follow_u16(&at))", "(uint16_t)(counts - 1u - follow_u16(&at))"),
    ("own[1] = (uint8_t)(counts >> 8);", ""),
    ("if (age != 0xFFFFu) age++;", "if (age < 5u) age++;"),
    ("if (age != 0xFFFFu) age++;", "age++;"),
    ("if (f->heard[i]) age = 0;", "if (f->heard[i]) age = 1;"),
    ("own[1] = (uint8_t)(age >> 8);", ""),
    ("f->outputs[STATE_AT] = f->state;", "f->outputs[STATE_AT] = f->from;"),
    ("value = (uint8_t)(value | (was & NOW));", "{}"),
    ("if (!(head & DELAYS)) value = (uint8_t)", "value = (uint8_t)"),
    ("if (said.held) valid = 0;", "if (said.held) value = 0;"),
    ("if (said.held) valid = 0;", ""),
    ("if (!(head & EXTRA)) unlike &= wanted >> 4;", "unlike &= wanted >> 4;"),
    ("value = (uint8_t)(value ^ (head & OPPOSITE));", ""),
    ("if (USES(DROP_OUT) && fresh) was &= (uint8_t)~BEFORE;", ""),
    ("given = 0;", ""),
    ("if (was & BEFORE) on = drop;", "if (was & NOW) on = drop;"),
    ("if (was & BEFORE) on = drop;", ""),
    ("limit = on, given = valid;", "limit = on;"),
    ("valid = given;", ""),
    ("if (head & EXTRA) number = (uint16_t)~number;", ""),
    ("if (!(was & WATCHED)) age", "if (!(was & NOW)) age"),
    ("age = valid ? 0u : over + 1u", "age = 0u"),
    ("counter[1] = number;", "counter[1] = 0;"),
    ("counter += 2;", ""),
    ("if (age < over) age++;", "if (age <= over) age++;"),
    ("value = WATCHED;", "{}"),
    ("if (!value || age != over)", "if (!value)"),
    ("if (!value || age != over)", "if (age != over)"),
    ("if (number < other) other = number, limit = 1;", ""),
    ("valid &= cell[2];", ""),
    ("d -= follow_u32(&at) * other;", "d -= follow_u32(&at);"),
    ("d += follow_u32(&at);", "(void)follow_u32(&at);"),
    ("(d >> 31 ? 0u - d : d)", "d"),
    (">= follow_u32(&at);", "> follow_u32(&at);"),
    (", number = (uint16_t)~number;", ";"),
    ("if (number >= limit) value |= NOW;", "if (number > limit) value |= NOW;"),
    ("value = (uint8_t)(value | value >> 1);", ""),
    ("if (!valid) value &= WATCHED, was = 0;", "if (!valid) value &= WATCHED;"),
    ("if (!valid) value &= WATCHED, was = 0;", "if (!valid) value = 0, was = 0;"),
    ("if (!valid) value &= WATCHED, was = 0;", ""),
    ("if (was & NOW) hold = drop;", ""),
    ("(value ^ was) & NOW && count < hold", "(value ^ was) & NOW && count <= hold"),
    ("(value ^ was) & NOW && count", "value & NOW && count"),
    ("value ^= NOW, count++;\n            else count = 0;", "value ^= NOW, count++;"),
    ("value ^= NOW, count++;", "count++;"),
    ("f->timer < least", "f->timer <= least"),
    ("(uint32_t)follow_u8(&at) << 16", "(uint32_t)follow_u8(&at) << 15"),
    ("if (!said.held) continue;", ""),
    ("head & ANY ? head & COUNT : 1u", "1u"),
    ("(uint8_t)(place - said.held)", "place"),
    ("if (!(to & TRIP)) f->first_out = 0;", "if (false) f->first_out = 0;"),
    ("else if ((uint8_t)f->first_out == 0u) f->first_out", "else f->first_out"),
    ("f->from = f->state;", ""),
    ("f->timer = 0;", ""),
    ("if (++f->timer == 0u) f->timer--;", "++f->timer;"),
    ("part < 2u", "part < 1u"),
    ("f->tell = FOLLOW_MOVED;", "f->tell = FOLLOW_RESTED;"),
    ("f->outputs[i] = packed & 3;", "f->outputs[i] = packed & 1;"),
    ("if (said.held) f->outputs[output] = what & 3;", ""),
    ("uint8_t left = FOLLOW_INHIBITS;", "uint8_t left = FOLLOW_INHIBITS - 1u;"),
    ("low != 0xB8", "low != 0xB9"),
    ("high ^ low >> 4 ^ wide", "high ^ low >> 4 ^ low"),
    ("low ^ wide >> 8", "low"),
    ("(head & LAST)", "(head & LEAST)"),
    ("continue; /* none */", "{}"),
    (".cause = cause", ".cause = 1"),
    ("        cell[2] = 1;", ""),
    ("cell[0] = cell[1] = 0xFF;", ""),
    ("    f->tell = 0;\n", ""),
    ("if (f->settled == 0u) f->number[i] = 0;", "if (f->settled == 0u) f->number[i] = 1;"),
    ("else if (++f->number[i] != 0u) break;", "else if (++f->number[i] != 1u) break;"),
    ("f->number[i] = follow_u8(&sum);", "(void)follow_u8(&sum);"),
    ("const bool fresh = f->timer == 0u;", "const bool fresh = f->timer <= 1u;"),
    ("f->settled == 2u && !", "f->settled != 0u && !"),
    ("(f->bits[i] & NOW));", "(f->bits[i] & BEFORE) << 1);"),
    ("f->packed[i / 8u]", "f->packed[0]"),
]


@pytest.fixture(scope="module")
def rich() -> tuple[Table, bytes, bytes]:
    table = rich_table()
    drawn, at_edges = batch(table, seed=4, scans=12_000), Reference(table).run(Edges(table, 600), 1 << 30)
    return table, drawn[0] + at_edges[0], drawn[1] + at_edges[1]


def test_the_runtime_as_it_is_agrees(rich: tuple[Table, bytes, bytes], compiler: Compiler) -> None:
    table, given, wanted = rich
    assert host_run(table, compiler, host_texts(table), given, ("-O1",)) == wanted


@pytest.mark.parametrize(("right", "wrong"), MUTANTS)
def test_a_mistake_in_the_runtime_is_caught(right: str, wrong: str, rich: tuple[Table, bytes, bytes], compiler: Compiler) -> None:
    table, given, wanted = rich
    files = host_texts(table)
    assert runtime_texts()["follow.c"].count(right) == 1, "the place has changed: mend the mutant"
    files["follow.c"] = files["follow.c"].replace(right, wrong, 1)
    flags = ("-O0", "-Wno-error", "-w")
    assert host_run(table, compiler, files, given, flags) != wanted
