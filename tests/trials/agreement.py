"""Whether the proof knows what a campaign found, and random small pads to hold the two together on."""

from __future__ import annotations

import random

from sequencer.description import Pad
from sequencer.proof.prove import Options, prove
from sequencer.proof.result import InterlockResult, Proof
from sequencer.simulation.events import At, InState, Strike, Switch
from sequencer.trials.campaign import Bench
from sequencer.trials.crowd import answers, jobs_here
from sequencer.trials.fireable import fireable
from sequencer.trials.plan import Plan, event
from sequencer.trials.probe import Breach, Trial


def known(result: InterlockResult, faults: tuple[str, ...]) -> bool:
    """Whether the proof says, or at least does not deny, that these faults break the rule."""
    if result.outcome in ("broken", "waived") and not result.cuts:
        return True
    if result.outcome == "not examined":
        return True
    return any(set(cut.faults) <= set(faults) for cut in result.cuts)


def unknown(proof: Proof, breaches: tuple[Breach, ...]) -> list[Breach]:
    """Breaches of one trial that the proof denies, later ones in the same story too. A rule about the box is judged while
    the box runs, in the proof as in a campaign."""
    by = {one.name: one for one in proof.interlocks}
    return [breach for breach in breaches if not breach.unpowered and not known(by[breach.rule], breach.faults)]


def tried(pad: Pad, runs: int, seed: int, faults: int) -> tuple[list[str], int]:
    """(what random short days break and the proof denies, how many breaches were held against it): switches up and
    down, presses of any length, a blink now and then, up to `faults` faults, all within half a minute."""
    rng, bench = random.Random(seed), Bench(pad)
    plans = []
    for _ in range(runs):
        acts = [event(At(rng.randrange(2_000, 30_000, 20)), rng.choice(bench.menu.acts)) for _ in range(rng.randint(3, 10))]
        acts.append(event(At(rng.randrange(1_000, 4_000, 20)), Switch("arm", "up")))
        struck = rng.sample(bench.menu.equipment, rng.randint(0, faults))
        acts += [event(At(rng.randrange(0, 30_000, 20)), Strike(f.part, f.mode)) for f in struck]
        plans.append(Plan(tuple(acts), settle_ms=5_000))
    trials = [bench.try_(plan, enough=lambda b: False) for plan in plans]
    against, found = _against(pad, trials)
    return against + fires_unknown(pad, trials, single_faults=seed % 8 == 1), found


def fires_unknown(pad: Pad, trials: list[Trial], single_faults: bool = True) -> list[str]:
    """Rows that fired with nothing or one thing wrong and that no behaviour of the proof's model makes fire so."""
    plain, single = fireable(pad, single_faults=single_faults and any(trial.wrong == 1 for trial in trials))
    told = []
    for trial in trials:
        can = plain if trial.wrong == 0 else single if trial.wrong == 1 and not trial.plan.slips else None
        if can is not None:
            fired = {int(str(key[0])) for key in trial.keys if key[1] == "row"}
            told += [f"row {row} fires, the proof says it cannot: {trial.plan}" for row in sorted(fired - can)]
    return told


def swept(pad: Pad, state: str, every: int = 1) -> tuple[list[str], int]:
    """The same for the crew's day with one fault in `state`, for each (or each n-th) fault of the pad."""
    bench = Bench(pad)
    plans = [Plan((event(InState(state, 0), Strike(f.part, f.mode)),), steps=True, settle_ms=2_000) for f in bench.menu.faults[::every]]
    return _against(pad, answers(lambda plan: bench.try_(plan, enough=lambda b: True), plans, jobs_here()))


def _against(pad: Pad, trials: list[Trial]) -> tuple[list[str], int]:
    breaking = [trial for trial in trials if trial.breaches]
    if not breaking:
        return [], 0
    most = max(len(breach.faults) for trial in breaking for breach in trial.breaches)
    proof = prove(pad, Options(faults=most, replays=False, seconds=30))
    told = [f"{b.rule} by {b.faults or 'nothing'}: {b.says} | {trial.plan}" for trial in breaking for b in unknown(proof, trial.breaches)]
    return told, sum(len(trial.breaches) for trial in breaking)


SMALL = """title: Small pad
revision: 1
scan: 20 ms
pressures: gauge
inputs:
  arm: {{contact: closes when up, steady_for: 40 ms}}
  button: {{contact: closes when pressed, steady_for: 40 ms}}
  sensor: {{analog: 10 bit, reads: tank, points: {{102: 0 bar, 922: 10 bar}}, accuracy: 0.1 bar, valid: 51 to 973}}
outputs:
  fill: {{valve: [shut, open], rest: shut}}
  dump: {{valve: [open, shut], rest: open}}
conditions:
  armed: arm is up
  pressed: button becomes pressed
  full: sensor at least {full} bar
  empty: sensor below 0.3 bar
  fine: sensor is valid
states:
{states}
trips:
  all: {{everywhere_but: [{but}], once: {once}, go_to: s0}}
interlocks:
  brim: {{never: tank at least {brim} bar, why: It is not made for more.}}
  apart: {{never: fill open and dump open, why: Gas runs through.}}
  begins: {{start: fill to open, needs: tank below 1 bar, why: It starts from nothing.}}
site:
  bottle: {{supply: air, pressure: 10 bar, regulated: 6 bar}}
  tank: {{volume: 2 l, rated: 12 bar}}
  fill_line: {{line: bottle to tank, opened_by: fill, bore: 1.5 mm}}
  dump_line: {{line: tank to air, opened_by: dump, bore: 3 mm}}
"""


def small_text(seed: int) -> str:
    """A random small file: three or four states that fill, hold and dump by random rules."""
    rng = random.Random(seed)
    names = [f"s{i}" for i in range(rng.choice((3, 4)))]
    rules = ["armed", "not armed", "pressed", "full", "empty", "armed and pressed", "full and armed", "pressed and fine", "empty and fine"]
    lines = []
    for name in names:
        fill, dump = ("shut", "open") if name == "s0" else rng.choice((("open", "shut"), ("open", "shut"), ("shut", "shut"), ("shut", "open"), ("open", "open")))
        lines += [f"  {name}:", f"    says: State {name}.", f"    outputs: {{fill: {fill}, dump: {dump}}}", "    leave:"]
        for _ in range(rng.choice((1, 2, 2))):
            after = f", not_before: {rng.choice((1, 2, 5))} s" if rng.random() < 0.3 else ""
            lines.append(f"      - {{go_to: {rng.choice(names)}, once: {rng.choice(rules)}{after}}}")
        if rng.random() < 0.5:
            lines.append(f"      - {{go_to: {rng.choice(names)}, at_latest: {rng.choice((3, 8, 20))} s}}")
        lines.append("    stays: it may")
    return SMALL.format(
        full=rng.choice((2, 4)), brim=rng.choice((3, 5, 7)), states="\n".join(lines),
        but=rng.choice(("s0", "s0, s1")), once=rng.choice(("not fine", "not armed", "full")),
    )  # fmt: skip
