"""A compiled table written out for z3, scan by scan, and random small files whose rules are about the box alone.

The encoding follows the section 'The meaning' of DEVELOPERS.md, not the code of `table/scan.py`, so that it is an opinion
of its own: raw contact levels are free in every scan, everything else is what the table says.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import z3
from hypothesis import strategies as st

from sequencer.table import Kind, Table
from sequencer.table.table import Literals

WIDE = 6  # bits of every counter: no time in these files is longer than 20 scans, and fewer scans than 60 are looked at


def number(value: int) -> Any:
    return z3.BitVecVal(value, WIDE)


@dataclass
class Moment:
    """What stands after one scan: terms of z3. levels: the raw contacts of that scan."""

    levels: list[Any]
    settled: Any
    filtered: list[Any]
    steady: list[Any]
    seen: list[tuple[Any, Any]]
    bits: list[Any]
    delay: list[Any]
    state: Any
    timer: Any
    outputs: list[Any]


def choose(condition: Any, yes: Any, no: Any) -> Any:
    return z3.If(condition, yes, no)


class Unrolled:
    """A table from power-up over a number of scans."""

    def __init__(self, table: Table, scans: int) -> None:
        self.table = table
        false, zero = z3.BoolVal(False), number(0)
        n, contacts = len(table.bits), len(table.contacts)
        rest = [number(o.idle if o.rest is None else o.rest) for o in table.outputs]
        now = Moment([], false, [false] * contacts, [zero] * contacts, [(false, false)] * contacts, [false] * n, [zero] * n, zero, zero, rest)
        self.first = now
        self.moments = [now := self._next(now, k) for k in range(scans)]

    def literals(self, what: Literals, bits: list[Any]) -> Any:
        held = z3.And([bit if what.want >> i & 1 else z3.Not(bit) for i, bit in enumerate(bits) if what.care >> i & 1])
        return z3.Not(held) if what.invert else held

    def _follow(self, raw: Any, was: Any, count: Any, hold: int, drop: int) -> tuple[Any, Any]:
        """A delay: the value follows at the n-th scan after the one that first saw the change; a return starts anew."""
        wanted = choose(was, number(drop), number(hold))
        due = z3.And(raw != was, z3.UGE(count, wanted))
        return choose(due, raw, was), choose(z3.Or(raw == was, due), number(0), count + 1)

    def _next(self, old: Moment, k: int) -> Moment:
        table = self.table
        levels = [z3.Bool(f"{c.name}_{k}") for c in table.contacts]
        filtered, steady, changed, all_steady = [], [], [], []
        for i, spec in enumerate(table.contacts):
            value, count = self._follow(levels[i], old.filtered[i], old.steady[i], spec.steady, spec.steady)
            # before all have stood for their time, the filter takes every level and counts how long it stands
            stands = z3.And(z3.BoolVal(k > 0), levels[i] == old.filtered[i])
            counted = choose(stands, choose(z3.ULT(old.steady[i], number(spec.steady)), old.steady[i] + 1, old.steady[i]), number(0))
            all_steady.append(z3.UGE(counted, number(spec.steady)))
            filtered.append(choose(old.settled, value, levels[i]))
            steady.append(choose(old.settled, count, counted))
            changed.append(z3.And(old.settled, value != old.filtered[i]))
        settled = z3.Or(old.settled, z3.And(all_steady))
        steady = [choose(old.settled, count, choose(settled, number(0), count)) for count in steady]
        seen = []
        for i, (low, high) in enumerate(old.seen):
            agrees = z3.And(settled, levels[i] == filtered[i], z3.Not(changed[i]))
            seen.append((z3.Or(low, z3.And(agrees, z3.Not(levels[i]))), z3.Or(high, z3.And(agrees, levels[i]))))
        bits, delay = self._conditions(old, filtered, changed, seen)
        bits = [z3.And(settled, bit) for bit in bits]
        delay = [choose(settled, count, number(0)) for count in delay]
        return self._moved(old, levels, settled, filtered, steady, seen, bits, delay)

    def _conditions(self, old: Moment, filtered: list[Any], changed: list[Any], seen: list[tuple[Any, Any]]) -> tuple[list[Any], list[Any]]:
        bits: list[Any] = []
        delay: list[Any] = []
        for i, bit in enumerate(self.table.bits):
            was, count = old.bits[i], old.delay[i]
            if bit.kind == Kind.PRESS:
                there = filtered[bit.source] == z3.BoolVal(bool(bit.wanted))
                away = seen[bit.source][0 if bit.wanted else 1]
                bits.append(z3.And(changed[bit.source], there, away))
                delay.append(count)
            elif bit.kind == Kind.MEMORY:
                clear, sets = self.literals(bit.clear, bits), self.literals(bit.set, bits)
                over = z3.And(was, z3.UGE(count, number(bit.on))) if bit.on else z3.BoolVal(False)
                bits.append(z3.And(z3.Not(clear), z3.Or(sets, z3.And(was, z3.Not(over)))))
                running = choose(z3.And(was, z3.Not(over)), count + 1, number(0))
                delay.append(choose(clear, number(0), choose(sets, number(1), running)) if bit.on else number(0))
            else:
                if bit.kind == Kind.CONTACT:
                    raw = filtered[bit.source] == z3.BoolVal(bool(bit.wanted))
                elif bit.kind == Kind.STATE:
                    raw = (old.state == number(bit.source)) == z3.BoolVal(bool(bit.wanted))
                elif bit.kind == Kind.COMMAND:
                    raw = (old.outputs[bit.source] == number(bit.on)) == z3.BoolVal(bool(bit.wanted))
                elif bit.kind == Kind.ALL:
                    raw = self.literals(bit.set, bits)
                else:
                    raise NotImplementedError(f"{bit.kind.name}: readings are not written out here")
                value, counted = self._follow(raw, was, count, bit.hold, bit.drop)
                bits.append(value)
                delay.append(counted)
        return bits, delay

    def _moved(self, old: Moment, levels: Any, settled: Any, filtered: Any, steady: Any, seen: Any, bits: Any, delay: Any) -> Moment:
        table = self.table
        state, moved = old.state, z3.BoolVal(False)
        for row in table.rows:
            takes = z3.And(
                settled, z3.Not(moved), old.state == number(row.state), z3.UGE(old.timer, number(row.least)), self.literals(Literals(row.care, row.want), bits)
            )
            state, moved = choose(takes, number(row.to), state), z3.Or(moved, takes)
        timer = choose(moved, number(0), choose(settled, old.timer + 1, old.timer))
        none = (z3.BoolVal(False), z3.BoolVal(False))
        seen = [(choose(moved, none[0], low), choose(moved, none[1], high)) for low, high in seen]
        outputs = []
        for index in range(len(table.outputs)):
            code = number(0)
            for s, spec in enumerate(table.states):
                code = choose(state == number(s), number(spec.outputs[index]), code)
            for inhibit in table.inhibits:
                if inhibit.output == index:
                    code = choose(self.literals(Literals(inhibit.care, inhibit.want), bits), number(inhibit.position), code)
            outputs.append(code)
        return Moment(levels, settled, filtered, steady, seen, bits, delay, state, timer, outputs)

    def inputs(self, model: Any) -> list[tuple[int, ...]]:
        """The raw levels of every scan in a model."""
        return [tuple(int(z3.is_true(model.eval(level, model_completion=True))) for level in moment.levels) for moment in self.moments]


# ---- random small files -----------------------------------------------------------------------

TEXT = """title: Small box
revision: 1
scan: 100 ms
pressures: gauge
inputs:
  a: {{contact: closes when on, steady_for: {a}00 ms}}
  b: {{contact: opens when pressed, steady_for: {b}00 ms}}
outputs:
  x: {{relay: [off, on], rest: off}}
  y: {{relay: [off, on], rest: off}}
conditions:
  a_on: a is on
  b_down: b is pressed
  b_press: b becomes pressed
  a_long: a is on for {long}00 ms
  b_kept: b is pressed lingers {kept}00 ms
  armed: remembers {sets} until {clears}{after}
  was_x: command for x is on
  mixed: {mixed}
states:
{states}
trips:
  all: {{everywhere_but: [{but}], once: {trip}, go_to: s0}}
{inhibits}interlocks:
  apart: {{never: x on and y on, why: They pull against each other.}}
  meant: {{start: x to on, needs: {needs}, why: Nobody is surprised.}}
  held: {{never: {never}, why: It is asked for.}}
  home: {{start: s0 to s{last}, needs: box says a_on, why: It is asked for.}}
"""
NAMES = ("a_on", "b_down", "b_press", "a_long", "b_kept", "armed", "mixed")
STEADY = ("a_on", "b_down", "a_long", "b_kept", "armed")


@st.composite
def files(draw: st.DrawFn) -> str:
    """The text of a small file about two contacts and two relays."""

    def one(names: tuple[str, ...]) -> str:
        return draw(st.sampled_from(["", "not "])) + draw(st.sampled_from(names))

    def once(names: tuple[str, ...] = NAMES) -> str:
        return " and ".join(dict.fromkeys(one(names) for _ in range(draw(st.integers(1, 2)))))

    count = draw(st.integers(2, 4))
    lines = []
    for number_ in range(count):
        on = draw(st.sampled_from(["", "x: on", "y: on", "x: on, y: on"])) if number_ else ""
        lines += [f"  s{number_}:", f"    says: State {number_}.", f"    outputs: {{{on}}}", "    leave:"]
        for _ in range(draw(st.integers(1, 2))):
            after = draw(st.sampled_from(["", "", ", not_before: 200 ms", ", not_before: 500 ms"]))
            lines.append(f"      - {{go_to: s{draw(st.integers(0, count - 1))}, once: {once()}{after}}}")
        if draw(st.booleans()):
            lines.append(f"      - {{go_to: s{draw(st.integers(0, count - 1))}, at_latest: {draw(st.sampled_from([2, 4, 7]))}00 ms}}")
        lines.append("    stays: it may")
    inhibits = f"inhibits:\n  x stays off: {{once: {once(STEADY)}}}\n" if draw(st.booleans()) else ""
    return TEXT.format(
        a=draw(st.integers(1, 2)), b=draw(st.integers(1, 2)), long=draw(st.integers(1, 4)), kept=draw(st.integers(1, 3)),
        sets=draw(st.sampled_from(["a_long", "b_press"])), clears=draw(st.sampled_from(["b_down", "not a_on"])),
        after=draw(st.sampled_from(["", ", for at most 500 ms"])), mixed=draw(st.sampled_from(["a_on and armed", "a_on or b_down", "was_x and b_down"])),
        states="\n".join(lines), but=draw(st.sampled_from(["s0", "s0, s1"])), trip=once(STEADY), inhibits=inhibits, last=count - 1,
        needs=draw(st.sampled_from(["box says a_on", "box says armed", "not box says b_down"])),
        never=draw(st.sampled_from(["y on and not box says a_on", "y on and box says b_down", f"state is s{count - 1} and x on"])),
    )  # fmt: skip
