"""The same table three times: z3 unrolled from the written meaning, the scan with the simulator on it, and the proof.

On random files z3 is asked for raw contact levels that break a rule within a few scans. What it finds must come about in
`table.scan` at that very scan, must break the rule in a trial on the simulator, and must not be denied by the proof; what
the proof says holds must have no such levels.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import z3
from hypothesis import given, settings

from sequencer.description import Pad, loads
from sequencer.description import terms as t
from sequencer.description.sequence import Never, Start
from sequencer.proof.prove import Options, prove
from sequencer.simulation.events import At, Switch
from sequencer.simulation.reaction import allowance_ms
from sequencer.table import Inputs, Memory, Table, compile_table, power_up, scan
from sequencer.trials.campaign import Bench
from sequencer.trials.plan import Plan, event
from tests.trials.agreement import unknown
from tests.trials.table_in_z3 import TEXT, Unrolled, files, number

SCANS = 10
SEEN: Counter[str] = Counter()


def play(table: Table, levels: list[tuple[int, ...]]) -> list[Memory]:
    """The memory after every scan."""
    memory, found = power_up(table), []
    for one in levels:
        memory, _, _ = scan(table, memory, Inputs(contacts=one))
        found.append(memory)
    return found


def same(unrolled: Unrolled, model: z3.ModelRef, played: list[Memory]) -> None:
    """The model's moments are those of the scan."""
    for moment, memory in zip(unrolled.moments, played, strict=True):
        assert z3.is_true(model.eval(moment.settled, model_completion=True)) == memory.settled
        assert model.eval(moment.state, model_completion=True).as_long() == memory.state
        bits = sum(int(z3.is_true(model.eval(bit, model_completion=True))) << i for i, bit in enumerate(moment.bits))
        assert bits == memory.bits
        if memory.settled:  # outputs with inhibits count from there on; before it they are the first state's
            assert tuple(model.eval(o, model_completion=True).as_long() for o in moment.outputs) == memory.outputs


def fact(pad: Pad, unrolled: Unrolled, expression: t.Expression, k: int) -> z3.BoolRef:
    """A statement about the box after scan k."""
    table, moment = unrolled.table, unrolled.moments[k]
    if isinstance(expression, t.And):
        return z3.And([fact(pad, unrolled, item, k) for item in expression.items])
    if isinstance(expression, t.Not):
        return z3.Not(fact(pad, unrolled, expression.item, k))
    if isinstance(expression, t.CommandedTo):
        code = pad.output_positions[expression.output].index(expression.position)
        return (moment.outputs[table.output_index(expression.output)] == number(code)) == z3.BoolVal(expression.wanted)
    if isinstance(expression, t.StateIs):
        return (moment.state == number(table.state_index(expression.state))) == z3.BoolVal(expression.wanted)
    assert isinstance(expression, t.BoxSays)
    return moment.bits[table.bit_index(expression.condition)] == z3.BoolVal(expression.wanted)


def breaks(pad: Pad, unrolled: Unrolled, name: str, k: int, allowed: bool = False) -> z3.BoolRef:
    """That the rule is broken in scan k; with `allowed`, for as long as the simulator allows a command to follow."""
    rule, moments = pad.interlocks[name], unrolled.moments
    if isinstance(rule, Never):
        late = -(-allowance_ms(pad, rule) // pad.scan_ms) if allowed else 0
        return z3.And([fact(pad, unrolled, rule.never.expression, i) for i in range(k - late, k + 1)]) if k >= late else z3.BoolVal(False)
    assert isinstance(rule, Start)
    before, table = (unrolled.first if k == 0 else moments[k - 1]), unrolled.table
    output, _, position = rule.start.partition(" to ")
    if output in pad.outputs:
        index, code = table.output_index(output), pad.output_positions[output].index(position)
        began = z3.And(before.outputs[index] != number(code), moments[k].outputs[index] == number(code))
    else:
        began = z3.And(before.state == number(table.state_index(output)), moments[k].state == number(table.state_index(position)))
        if output == position:
            began = z3.BoolVal(False)
    return z3.And(began, z3.Not(fact(pad, unrolled, rule.needs.expression, k)))


def on_the_pad(pad: Pad, bench: Bench, levels: list[tuple[int, ...]]) -> Plan:
    """The levels as switches that hands move just before each scan."""
    start = bench.try_(Plan(settle_ms=5_000), enough=lambda b: False).moves[0][0]  # the first scan, seed 0
    events, was = [], None
    for k, now in enumerate(levels):
        for i, (name, part) in enumerate(pad.inputs.items()):
            if was is None or was[i] != now[i]:
                word = part.contact.word if bool(now[i]) == part.contact.closed_means_word else f"not {part.contact.word}"
                events.append(event(At(start + (k - 1) * pad.scan_ms), Switch(name, word)))
        was = now
    return Plan(tuple(events), settle_ms=1_000)


@settings(max_examples=10, deadline=None)
@given(files())
def test_z3_the_simulator_and_the_proof_agree_on_random_files(text: str) -> None:
    pad = loads(text, "small.yaml")
    table, bench = compile_table(pad), Bench(pad)
    unrolled = Unrolled(table, SCANS)
    proof = prove(pad, Options(faults=0, replays=False))
    verdicts = {one.name: one for one in proof.interlocks}
    for name in pad.interlocks:
        levels = asked(pad, unrolled, name, verdicts[name].outcome)
        if levels is None:
            continue
        assert verdicts[name].outcome == "broken", f"{name}: z3 breaks what the proof says {verdicts[name].outcome}\n{text}"
        levels = asked(pad, unrolled, name, "simulator", allowed=True)
        if levels is not None:
            trial = bench.try_(on_the_pad(pad, bench, levels), enough=lambda b: False)
            assert name in {b.rule for b in trial.breaches}, f"{name}: z3 breaks it, the simulator does not\n{levels}\n{text}"
            assert not unknown(proof, trial.breaches)


def asked(pad: Pad, unrolled: Unrolled, name: str, by: str, allowed: bool = False) -> list[tuple[int, ...]] | None:
    """Levels that break the rule, by z3; None where there are none. What z3 says comes about in the scan too."""
    solver = z3.Solver()
    solver.set("timeout", 10_000)
    solver.add(z3.Or([breaks(pad, unrolled, name, k, allowed) for k in range(SCANS)]))
    answer = solver.check()
    SEEN[f"{answer} {by}"] += 1
    if answer != z3.sat:
        return None
    levels = unrolled.inputs(solver.model())
    same(unrolled, solver.model(), play(unrolled.table, levels))
    return levels


def test_the_comparison_was_about_something() -> None:
    """Rules that z3 breaks, and rules that hold with z3 looking in vain, were both there; z3 knew nearly always."""
    if not SEEN:  # the test above was not chosen
        test_z3_the_simulator_and_the_proof_agree_on_random_files()
    assert SEEN["sat broken"] >= 3 and SEEN["sat simulator"] >= 2 and SEEN["unsat holds"] >= 3
    assert sum(n for key, n in SEEN.items() if key.startswith("unknown")) <= 2


@settings(max_examples=15, deadline=None)
@given(files())
def test_any_levels_lead_z3_and_the_scan_to_the_same_moments(text: str) -> None:
    table = compile_table(loads(text, "small.yaml"))
    rng, unrolled = random.Random(text), Unrolled(table, 18)
    held = [0] * len(table.contacts)
    levels = []
    for _ in range(18):
        held = [now if rng.random() < 0.7 else 1 - now for now in held]
        levels.append(tuple(held))
    solver = z3.Solver()
    for moment, now in zip(unrolled.moments, levels, strict=True):
        solver.add(*(level == z3.BoolVal(bool(one)) for level, one in zip(moment.levels, now, strict=True)))
    assert solver.check() == z3.sat
    same(unrolled, solver.model(), play(table, levels))


def test_a_table_with_another_delay_is_told_apart() -> None:
    """The comparison can fail: with one scan more of delay the moments are others."""
    pad = loads(TEXT.format(
        a=1, b=1, long=2, kept=2, sets="a_long", clears="b_down", after="", mixed="a_on and armed", but="s0", trip="b_down", inhibits="", last=1,
        needs="box says a_on", never="y on and not box says a_on",
        states="  s0:\n    says: A.\n    leave: [{go_to: s1, once: a_long}]\n    stays: it may\n"
        "  s1:\n    says: B.\n    outputs: {x: on}\n    leave: [{go_to: s0, once: not a_on}]\n    stays: it may",
    ))  # fmt: skip
    table = compile_table(pad)
    slower = replace(table, bits=tuple(replace(b, hold=b.hold + 1) if b.name == "a_long" else b for b in table.bits))
    levels = [(0, 1)] * 3 + [(1, 1)] * 7
    for one, equal in ((table, True), (slower, False)):
        unrolled, solver = Unrolled(one, len(levels)), z3.Solver()
        for moment, now in zip(unrolled.moments, levels, strict=True):
            solver.add(*(level == z3.BoolVal(bool(closed)) for level, closed in zip(moment.levels, now, strict=True)))
        assert solver.check() == z3.sat
        ends = [solver.model().eval(moment.state, model_completion=True).as_long() for moment in unrolled.moments]
        assert (ends == [memory.state for memory in play(table, levels)]) == equal
