"""Random small files of a whole pad: a bottle, two valves, a key, a gate, someone who may be there, a few random rules."""

import random

from hypothesis import strategies as st

from sequencer.description import loads
from sequencer.description.faults import faults

HEAD = """\
title: Small pad
revision: 1
scan: 20 ms
pressures: gauge
inputs:
  key:    {contact: closes when turned, steady_for: 40 ms}
  gate:   {contact: closes when shut, steady_for: 100 ms}
  sensor: {analog: 10 bit, reads: bottle, points: {102: 0 bar, 922: 10 bar}, accuracy: 0.1 bar, valid: 51 to 973}
outputs:
  fill:   {valve: [shut, open], rest: shut}
  dump:   {valve: [open, shut], rest: open}
  lamp:   {lamp: [dark, lit], rest: dark}
conditions:
  key_in: key is turned
  closed: gate is shut for 1 s
  empty:  sensor below 0.12 bar for 2 s
  full:   sensor at least 5.0 bar
  valid:  sensor is valid
  either: remembers full until empty
"""
SITE = """\
site:
  cylinder:  {supply: air, pressure: 12 bar, regulated: 8 bar, hand_valve: at line}
  bottle:    {volume: 2.0 l, rated: 8 bar}
  fill_line: {line: cylinder to bottle, opened_by: fill, bore: 0.6 mm}
  dump_line: {line: bottle to air, opened_by: dump, measured: 6 bar to 3 bar in 2 s}
"""
GATE = "  pad:       {people: up to 2, walk: at least 20 s, gate: gate}\n"
CREW = """\
crew:
  roles:
    hand: {does: sets up, starts: pad}
  steps:
    - {who: hand, do: Walk out and shut the gate, walk: out, set: {gate: shut}}
"""
NAMES = ["key_in", "closed", "empty", "full", "valid", "either"]
FACTS = ["bottle at least 0.3 bar", "bottle at least 4.0 bar", "bottle below 0.3 bar", "key is turned", "gate is not shut", "fill open", "dump open",
         "dump shut", "lamp dark", "box says full", "not box says empty", "state is rest", "state is filling", "box says either"]  # fmt: skip
PEOPLE = ["someone on the pad", "people allowed"]
STATES = {
    "dumping": ("shut, dump: open, lamp: lit", [("rest", "empty and valid and not key_in", "not_before: 60 s"), ("rest", "empty and closed", "")]),
    "rest": ("shut, dump: open, lamp: dark", [("filling", "key_in and closed and empty and valid", "")]),
    "filling": ("open, dump: shut, lamp: lit", [("holding", "full", "at_latest: 60 s"), ("dumping", "either and full", "")]),
    "holding": ("shut, dump: shut, lamp: lit", [("dumping", "not key_in", "at_latest: 60 s"), ("filling", "empty and closed", "")]),
}


def text(chance):
    """The text of one file: a sensible sequence of which some literals are missing, wrong or put in."""
    people = chance.random() < 0.4

    def once(sensible):
        words = [w for w in sensible.split(" and ") if chance.random() < 0.85]
        if not words or chance.random() < 0.1:
            words.append(chance.choice(["", "not "]) + chance.choice(NAMES))
        return " and ".join(dict.fromkeys(words))

    lines = [HEAD + "states:"]
    for name, (outputs, exits) in STATES.items():
        lines += [f"  {name}:", f"    says: State {name}.", f"    people: {'allowed' if people and name == 'rest' else 'keep out'}"]
        lines += [f"    outputs: {{fill: {outputs}}}", "    leave:"]
        for to, sensible, more in exits[: chance.choice([1, 1, 2])]:
            lines.append(f"      - {{go_to: {to}, once: {once(sensible)}{', ' + more if more and chance.random() < 0.9 else ''}}}")
        lines.append("    stays: it waits")
    lines += ["trips:", f"  gate: {{everywhere_but: [dumping, rest], once: {chance.choice(['not closed', 'not valid', 'not key_in', 'not closed or not valid'])}, go_to: dumping}}"]
    if chance.random() < 0.5:
        lines += ["inhibits:", f"  fill stays shut: {{once: {chance.choice(['not closed', 'not key_in', 'full'])}}}"]
    lines.append("interlocks:")
    facts = FACTS + (PEOPLE if people else [])
    rules = [f"never: {' and '.join(dict.fromkeys(chance.sample(facts, chance.choice([2, 3]))))}" for _ in range(3)]
    rules.append("never: someone on the pad and bottle at least 0.3 bar" if people else "never: state is rest and bottle at least 0.3 bar")
    rules.append(f"start: fill to open\n    needs: {' and '.join(chance.sample(facts, 2))}")
    rules.append("start: fill to open\n    needs: gate is shut and key is turned")
    for n, rule in enumerate(rules):
        lines += [f"  rule_{n}:", f"    {rule}", "    why: It is asked for."]
    return "\n".join(lines) + "\n" + SITE + (GATE + CREW if people else "")


def fewer(chance, pad, most=7):
    """The same file with only a few kinds of fault, the rest left out, so that every set of two can be looked at in full."""
    every = [f.name for f in faults(pad)]
    kept = set(chance.sample(every, min(most, len(every))))
    left = "".join(f"  - {{fault: '{name}', because: not looked at here}}\n" for name in every if name not in kept)
    return loads(pad.text + "left_out:\n" + left, "small.yaml")


def small_pads():
    """Small pads with few faults; the seed in a failure's report makes the file again."""
    return st.integers(0, 1 << 32).map(small_pad)


def small_pad(seed):
    chance = random.Random(seed)
    return fewer(chance, loads(text(chance), "small.yaml"))
