"""Pads of any size for measurements: so many bottles filled one after another, each with valves, sensor and rules."""

HEAD = """\
title: Pad of {n} bottles
revision: 1
scan: 20 ms
pressures: gauge
inputs:
  key:    {{contact: closes when turned, steady_for: 40 ms}}
  stop:   {{contact: opens when pressed, steady_for: 20 ms}}
  button: {{contact: closes when pressed, steady_for: 40 ms}}
  gate:   {{contact: closes when shut, steady_for: 100 ms}}
"""
CREW = """\
crew:
  roles:
    director: {does: runs the box, holds: the key}
    hand: {does: sets up}
  steps:
    - {who: director, do: Wait for rest, wait_for: rest, at_most: 90 s}
    - {who: hand, during: rest, do: Walk in, walk: in, set: {gate: not shut}}
    - {who: hand, do: Walk out and shut the gate, walk: out, set: {gate: shut}}
    - {who: director, during: rest, do: Turn the key, set: {key: turned}}
"""


def text(n: int) -> str:
    """The file of a pad with `n` bottles (at least one)."""
    each = range(1, n + 1)
    shut = "".join(f", dump_{i}: shut" for i in each)
    empty, fine = " and ".join(f"empty_{i}" for i in each), " and ".join(f"fine_{i}" for i in each)
    lines = [HEAD.format(n=n)]
    lines += [f"  sensor_{i}: {{analog: 10 bit, reads: bottle_{i}, points: {{102: 0 bar, 922: 10 bar}}, accuracy: 0.1 bar, valid: 51 to 973}}" for i in each]
    lines.append("outputs:")
    for i in each:
        lines += [f"  fill_{i}: {{valve: [shut, open], rest: shut}}", f"  dump_{i}: {{valve: [open, shut], rest: open}}"]
    lines += ["  beacon: {lamp: [dark, lit], rest: dark}", "conditions:", "  key_in: key is turned", "  stop_down: stop is pressed",
              "  pressed: button becomes pressed", "  pad_shut: gate is shut for 1 s"]  # fmt: skip
    for i in each:
        lines += [f"  empty_{i}: sensor_{i} below 0.12 bar for 5 s", f"  full_{i}: sensor_{i} at least 6.0 bar until below 5.2 bar"]
        lines += [f"  fine_{i}: sensor_{i} is valid"]
    lines += [
        "states:", "  dumping:", "    says: Letting gas out.", "    outputs: {beacon: lit}", "    leave:",
        f"      - {{go_to: rest, once: {empty} and {fine} and not key_in, not_before: 60 s}}", "    stays: it waits",
        "  rest:", "    says: At rest.", "    people: allowed", "    leave:",
        f"      - {{go_to: armed, once: pressed and key_in and pad_shut and {empty} and {fine} and not stop_down}}", "    stays: it waits",
        "  armed:", "    says: Armed.", f"    outputs: {{{shut[2:]}, beacon: lit}}", "    leave:", "      - {go_to: filling_1, once: pressed, not_before: 3 s}",
        "      - {go_to: dumping, at_latest: 60 s}",
    ]  # fmt: skip
    for i in each:
        to = f"filling_{i + 1}" if i < n else "holding"
        lines += [f"  filling_{i}:", f"    says: Filling bottle {i}.", f"    outputs: {{fill_{i}: open{shut}, beacon: lit}}", "    leave:"]
        lines += [f"      - {{go_to: {to}, once: full_{i}}}", "      - {go_to: dumping, at_latest: 60 s}"]
    lines += ["  holding:", "    says: At pressure.", f"    outputs: {{{shut[2:]}, beacon: lit}}", "    leave:",
              "      - {go_to: dumping, once: pressed}", "      - {go_to: dumping, at_latest: 180 s}"]  # fmt: skip
    lines += ["trips:", "  stop: {everywhere_but: [dumping, rest], once: stop_down or not key_in or not pad_shut, go_to: dumping}"]
    lines += [f"  sensor_{i}: {{everywhere_but: [dumping, rest], once: not fine_{i}, go_to: dumping}}" for i in each]
    lines.append("interlocks:")
    for i in each:
        why = "    why: A bottle can let go at any pressure."
        lines += [f"  nobody_near_{i}:", f"    never: someone on the pad and bottle_{i} at least 0.3 bar", why]
        lines += [f"  approach_{i}:", f"    never: people allowed and bottle_{i} at least 0.25 bar", why]
        lines += [f"  begins_{i}:", f"    start: fill_{i} to open", "    needs: nobody on the pad and key is turned and stop is not pressed", why]
    lines += ["site:", "  cylinder: {supply: air, pressure: 12 bar, regulated: 8 bar, hand_valve: at line}"]
    for i in each:
        lines += [f"  bottle_{i}: {{volume: 2.0 l, rated: 10 bar}}", f"  fill_line_{i}: {{line: cylinder to bottle_{i}, opened_by: fill_{i}, bore: 0.6 mm}}"]
        lines += [f"  dump_line_{i}: {{line: bottle_{i} to air, opened_by: dump_{i}, measured: 6 bar to 3 bar in 2 s}}"]
        lines.append(f"  dial_{i}: {{dial: bottle_{i}, read_by: hand}}")
    lines.append("  pad: {people: up to 2, walk: at least 20 s, gate: gate, counted_by: director}")
    return "\n".join(lines) + "\n" + CREW
