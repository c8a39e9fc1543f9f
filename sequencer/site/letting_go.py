"""From the servo's command to the vehicle free: frame, the turn that clears the catch, the head itself.

One place for the sizing sheet and for the proof of a `must`, so that both say the same milliseconds.
"""

from __future__ import annotations

import math

from sequencer.description.box import ServoOutput
from sequencer.description.grounds import HeadPart, ReliefPart, TestLoadPart, VolumePart
from sequencer.description.pad import Pad
from sequencer.site.head import separating_force
from sequencer.site.resolve import End
from sequencer.site.resolve_head import HeadValues, ServoValues


def horn_angles(pad: Pad, values: ServoValues, end: End) -> tuple[float, float]:
    """Horn angles from square at the first and the last position, rad, with the turn at one end of its range."""
    output = pad.outputs.get(values.output)
    middle = 0.0
    if isinstance(output, ServoOutput):
        pulses = [p.si for p in output.servo.values()]
        middle = (0.5 * (min(pulses) + max(pulses)) - 0.0015) * 1000.0 * math.pi / 2.0
    turn = {"least": values.turn.low, "nominal": values.turn.nominal, "most": values.turn.high}[end]
    return middle - turn / 2.0, middle + turn / 2.0


def clearing_turn(pad: Pad, head: HeadValues, values: ServoValues, bad: bool, pull: float) -> float:
    """Turn of the horn, rad, at which the wire has drawn slack, stretch and the catch's engagement; infinite if none does."""
    start, stop = horn_angles(pad, values, "least" if bad else "nominal")
    wire = values.wire_at("most" if bad else "nominal")
    engages = head.engages.high if bad else head.engages.nominal
    sine = math.sin(start) + (wire.slack + wire.stretch * pull + engages) / values.horn
    return math.asin(sine) - start if sine <= math.sin(stop) else math.inf


def letting_go_parts(
    pad: Pad, head: HeadValues, values: ServoValues, pull: float, *, slowest: bool
) -> tuple[tuple[str, float], ...]:
    """(what, seconds) from the pulse commanded to the vehicle free, at `pull` N on the wire.

    Slowest: weak servo on its sagged supply, slack wire, deepest catch, slowest head. Infinite when it never clears.
    """
    weak: End = "least" if slowest else "nominal"
    turn = clearing_turn(pad, head, values, slowest, pull)
    moves = values.servo(weak).travel_time(turn, pull * values.horn, values.supply(weak))[1]
    return (
        ("servo frame and turn that clears the catch", moves),
        ("head lets go", head.lets_go_in.high if slowest else head.lets_go_in.nominal),
    )


def highest_load(pad: Pad, name: str, head: HeadValues) -> float:
    """Greatest load on a head, N: the jack's most, or the pressure at full lift of the relief (set at its high end
    plus 10 %), without relief the rated pressure, on the widest seat under the lightest vehicle."""
    jacks = [j.load.high for j in pad.parts(TestLoadPart).values() if j.jack == name]
    if jacks:
        return max(jacks)
    part = pad.site[name]
    assert isinstance(part, HeadPart)
    volume = pad.site[part.release_head]
    assert isinstance(volume, VolumePart)
    lifts = [1.1 * r.opens_at.high for r in pad.parts(ReliefPart).values() if r.relief == part.release_head]
    return max(0.0, separating_force(max(lifts, default=volume.rated.si), head.seat.high, head.weight.low))
