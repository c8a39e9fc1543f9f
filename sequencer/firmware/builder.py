"""The README of an export folder: what the builder wires, writes and checks, from the file's own words."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from sequencer.description import Pad
from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput, LampOutput, ServoOutput
from sequencer.firmware.avr import FLAGS as AVR_FLAGS
from sequencer.firmware.c_table import CAUTION
from sequencer.firmware.words import time_words
from sequencer.table import Table
from sequencer.table.image import CHECKSUM_NAME, checksum
from sequencer.table.records import LIMITS, MOST_LEAST

WIDE = 115  # columns of the text
PULL = "4.7 kOhm"
PULL_WHY = (
    "An unpowered or resetting chip lets its pins float, and some switch on inner pull-ups of 20 to 50 kOhm: 4.7 kOhm against "
    "20 kOhm at 5 V leaves 0.95 V (low), 10 kOhm would leave 1.67 V (neither). Common practice, no published source; check "
    "your own chip and driver."
)


def is_hazardous(pad: Pad, name: str) -> bool:
    """What the file says; where it says nothing, everything that is not a lamp."""
    output = pad.outputs[name]
    return output.hazardous == "yes" or (output.hazardous is None and not isinstance(output, LampOutput))


def hazardous(pad: Pad) -> list[bool]:
    """Per output in order."""
    return [is_hazardous(pad, name) for name in pad.outputs]


def _grid(head: Sequence[str], rows: Iterable[Sequence[object]]) -> list[str]:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return lines + ["| " + " | ".join(str(cell).replace("|", "/") for cell in row) + " |" for row in rows] + [""]


def _inputs(pad: Pad, table: Table) -> list[str]:
    rows: list[Sequence[object]] = []
    for i, contact in enumerate(table.contacts):
        part = pad.inputs[contact.name]
        assert isinstance(part, ContactInput)
        steady = f"filtered over {_scans(table, contact.steady)}" if contact.steady else "not filtered"
        rows.append((f"contacts[{i}]", contact.name, part.terminal or "", f"1 when the circuit is closed ({part.contact}); {steady}"))
    for i, analog in enumerate(table.analogs):
        reading = pad.inputs[analog.name]
        assert isinstance(reading, AnalogInput)
        rows.append((f"words[{i}]", analog.name, reading.terminal or "", f"{analog.bits} bit counts, valid {analog.low} to {analog.high}"))
    for i, name in enumerate(table.heartbeats):
        link = pad.inputs[name]
        assert isinstance(link, HeartbeatInput)
        rows.append((f"heard[{i}]", name, link.terminal or "", "1 when a fresh message with right number and check sum came since the last scan"))
    return _grid(("place", "input", "terminal", "what board_read puts there"), rows)


def _outputs(pad: Pad, table: Table) -> list[str]:
    rows: list[Sequence[object]] = []
    for i, spec in enumerate(table.outputs):
        output = pad.outputs[spec.name]
        codes = ", ".join(f"{n} {p}" for n, p in enumerate(spec.positions))
        if isinstance(output, ServoOutput):
            codes = ", ".join(f"{n} {p} ({output.servo[p].text})" for n, p in enumerate(spec.positions))
            told = spec.positions[spec.idle]
            rest = f"stays where it is: the box tells it {told}, its relay is open; unpowered chip: no pulses, pin low"
            pull = f"pull-down {PULL} on the signal"
        else:
            low = output.drive == "high"
            rest = f"{spec.positions[spec.idle]}; pin {'low' if low else 'HIGH'}"
            pull = f"pull-down {PULL}" if low else f"pull-up {PULL}, or it acts while the board boots"
        rows.append((i, spec.name, output.terminal or "", codes, rest, pull, "yes" if is_hazardous(pad, spec.name) else "no"))
    return _grid(("output", "name", "terminal", "codes", "rest", "resistor at the driver", "hazardous"), rows)


def _scans(table: Table, scans: int) -> str:
    return f"{scans} scan{'s' if scans > 1 else ''} ({time_words(table, scans)})"


def _self_test(pad: Pad, table: Table) -> list[str]:
    """What to do at each wire and what bench mode answers, byte by byte."""
    rows: list[Sequence[object]] = []
    at = 1
    for analog in table.analogs:
        ends = " to ".join(f"`{n & 0xFF:02X}{n >> 8:02X}`" for n in (analog.low, analog.high))
        rows.append((f"{at}, {at + 1}", analog.name, "connect it, no load", ends))
        rows.append((f"{at}, {at + 1}", analog.name, "cut each of its wires in turn", "outside that, or the box cannot notice"))
        at += 2
    for contact in table.contacts:
        part = pad.inputs[contact.name]
        assert isinstance(part, ContactInput)
        word, closes = part.contact.word, part.contact.closed_means_word
        rows.append((at, contact.name, f"{word}, then not {word}", "`01`, then `00`" if closes else "`00`, then `01`"))
        rows.append((at, contact.name, f"{'' if closes else 'not '}{word}, and cut its wire", "`00`"))
        at += 1
    for link in table.heartbeats:
        rows.append((at, link, "send valid messages, then none", "`01` after a message, then `00`"))
        at += 1
    lines = [
        "Bench mode answers `W` with `W` and bytes of two hexadecimal digits each, counted here from 1 on; a reading's least",
        "byte comes first. Nothing is filtered. Do one line after the other, and look that no other byte changes:", "",
        *_grid(("byte", "input", "do", "reads"), rows),
    ]  # fmt: skip
    moves = [
        f"- `O {i:02X} {code:02X}`: `{spec.name}` goes {position}; `O {i:02X} {spec.idle:02X}`: back to {spec.positions[spec.idle]}."
        for i, spec in enumerate(table.outputs) if not is_hazardous(pad, spec.name)
        for code, position in enumerate(spec.positions) if code != spec.idle
    ]  # fmt: skip
    held = [f"`{spec.name}`" for spec in table.outputs if is_hazardous(pad, spec.name)]
    if moves:
        lines += ["Outputs that are not hazardous (the next scan takes them back):", "", *moves, ""]
    if held:
        words = f"Bench mode drives none of {', '.join(held)}: it answers `?`. Test these with the supplies isolated and the lines vented."
        lines += [*textwrap.wrap(words, WIDE), ""]
    return lines


def _levels(pad: Pad, table: Table) -> list[str]:
    """Each output's pin from switching on until the first state drives it."""
    first, rows = table.states[0], list[Sequence[object]]()
    for spec, code in zip(table.outputs, first.outputs, strict=True):
        output = pad.outputs[spec.name]
        if isinstance(output, ServoOutput):
            rows.append((spec.name, "low, by its resistor", "low, then pulses", f"pulses of {output.servo[spec.positions[code]].text}, {spec.positions[code]}"))
            continue
        levels = ("low", "HIGH") if output.drive == "high" else ("HIGH", "low")
        level = levels[code != spec.idle]
        rows.append((spec.name, f"{levels[0]}, by its resistor", levels[0], f"{level}, {spec.positions[code]}"))
    return _grid(("output", "off and in reset", "from `board_start` on", f"from the first scan on (`{first.name}`)"), rows)


def _servo_notes(pad: Pad, table: Table) -> list[str]:
    notes = []
    for i, spec in enumerate(table.outputs):
        output = pad.outputs[spec.name]
        if not isinstance(output, ServoOutput):
            continue
        if output.powered_by is None:
            notes.append(f"- `{spec.name}` has no relay of its own: it may twitch whenever the box gets power. Give it one.")
            continue
        relay = table.output_index(output.powered_by)
        off = table.outputs[relay].idle
        for row in table.rows:
            before, after = table.states[row.state], table.states[row.to]
            if before.outputs[relay] == off != after.outputs[relay]:
                told = spec.positions[after.outputs[i]]
                word = "its idle position first" if after.outputs[i] == 0 else "AT ONCE, with no pulse before; put a state between"
                note = f"- from `{before.name}` to `{after.name}` the relay closes and `{spec.name}` is told `{told}`: {word}."
                if note not in notes:
                    notes.append(note)
    return notes or ["- no servo in this file."]


def readme(pad: Pad, table: Table) -> str:
    """README.md of an export folder, the same bytes for the same file."""
    limits = "; ".join(f"{what} up to {most}" for what, most in LIMITS.items())
    lines = [
        f"# {table.title}, revision {table.revision}", "",
        f"Checksum {checksum(table):08X} ({CHECKSUM_NAME}). Scan every {table.scan_ms} ms.", "",
        *CAUTION, "Follow the local code, the site's rules and the range safety officer.", "",
        "## What is here", "",
        "- `follow.h`, `follow.c`: the runtime, the same for every table. C99, no heap, no float, no recursion.",
        "- `follow_table.h`, `follow_table.c`: this file's table. `FORMAT.md` says what each byte means.",
        "- `board.h`: the hardware calls, which you write (`board.c`).",
        "- `main.c`: the normal program. `bench.c`: bench mode, in its place; never both.",
        "- `description.yaml`: the file all this was exported from, for `readback`.", "",
        "## Steps", "",
        "1. Write `board.c` for your chip: pins, converter, tick, watchdog, serial line.",
        "2. Build `follow.c follow_table.c bench.c board.c` and load it with the hazardous supplies disconnected.",
        "3. On the serial line, `W` shows every input as the board reads it: work each switch, cut each wire, and compare with",
        "   the self-test below. `O` moves one output that is not hazardous.",
        "4. Feed it scans (`S`): it answers with state and outputs, and holds hazardous outputs at rest.",
        "5. Build with `main.c` in place of `bench.c`. Read the flash back and let `readback` compare it with the file.",
        "6. Only then connect the supplies, without gas, and go through the whole sequence on the checklist.", "",
        "## Inputs", "", *_inputs(pad, table),
        "With a pull-up, a closed switch pulls the pin low: then 1 means a low pin.", "",
        "## Outputs", "", *_outputs(pad, table), *textwrap.wrap(PULL_WHY, WIDE), "",
        "## Self-test of the wiring", "", *_self_test(pad, table),
        "## Power-on order", "",
        "1. Everything off: every output rests by its resistor and its return spring, not by the program.",
        "2. Logic supply on, hazardous supplies off. The chip resets; pins float until `board_start`.",
        "3. `board_start` writes every pin's rest level first and makes it an output afterwards.",
        "4. `follow_start` checks the whole table. A damaged or foreign table, or an unknown reset cause, rests for good.",
        f"5. The box stands in `{table.states[0].name}`, and drives its outputs (inhibits apart), until every input filter has settled.",
        "6. Hazardous supplies on last, by the key, when the box shows its first state.", "",
        *_levels(pad, table),
        "Servos: `board_write` goes on sending pulses from its first call on, so that the servo has its idle position on the wire",
        "for at least five pulses before its relay closes. In this file:", "",
        *_servo_notes(pad, table), "",
        "After a watchdog or brown-out reset the box begins again in its first state; it never resumes.", "",
        "## Limits", "",
        *textwrap.wrap(
            f"{limits}; outputs, three times readings and links, and twice the contacts together up to 254; a contact's steady time "
            f"up to 255 scans, delays up to 65534, least time in a state up to {MOST_LEAST}. What does not fit is refused when "
            "exporting; nothing is truncated. The scan number in the log wraps after 4294967296 scans; no timer depends on it.", WIDE,
        ), "",
        "The AVR figures that `export --verify` prints are those of `avr-gcc` with these flags; others give other figures:", "",
        *(f"    {line}" for line in textwrap.wrap(" ".join(AVR_FLAGS), 110, break_on_hyphens=False)), "",
        "## Codes", "",
        "`box.code`: 0 follows the table; 1 the table is foreign to this program, or of an older format; 2 its format is",
        "newer; 3 it is damaged; 4 the state was impossible (memory disturbed); 5 the reset cause was unknown. All but 0",
        "mean rest positions until the next reset. The watchdog stays fed, so the box does not start over by itself.", "",
    ]  # fmt: skip
    return "\n".join(lines)
