"""Servo, wire and supply: torque on a sagged supply, the travel budget, the time to let go, the jump at power-up."""

from __future__ import annotations

from sequencer.description import terms as t
from sequencer.description.box import ServoOutput
from sequencer.description.grounds import PowerPart
from sequencer.description.pad import Pad
from sequencer.description.sequence import Must
from sequencer.quantities import show
from sequencer.site.assumed import given_or_assumed
from sequencer.site.letting_go import horn_angles, letting_go_parts
from sequencer.site.resolve import End
from sequencer.site.resolve_head import ServoValues
from sequencer.site.servo import KGF_CM, TravelBudget, travel_budget
from sequencer.sizing.release import Release
from sequencer.sizing.sheet import Line, Section, ratio

TORQUE = "stall torque x V/V_rated at stall current through the source's resistance"


def budget(pad: Pad, one: Release, end: End) -> TravelBudget:
    """Horn travel, slack, stretch and catch engagement, m; end "least" is the worst of all four."""
    assert one.servo is not None
    values, bad = one.servo, end == "least"
    start, stop = horn_angles(pad, values, end)
    pull = one.hardest.pull_force(one.loads.highest) if bad else one.values.head("nominal").pull_force(one.loads.working)
    engages = one.values.engages.high if bad else one.values.engages.nominal
    return travel_budget(values.servo(end), values.wire_at("most" if bad else "nominal"), start, stop, pull, engages)


def servo_section(pad: Pad, found: list[Release]) -> Section:
    """One block per head that a servo draws."""
    lines: list[Line] = []
    for one in found:
        if one.servo is None:
            lines.append(Line(f"{one.name}: servo", None, "", "a wire part joins a servo to a head", words="none described",
                              warning="nothing in the file draws this catch", place=pad.place("site", one.name)))  # fmt: skip
            continue
        lines += _torque(pad, one, one.servo)
        lines += _travel(pad, one, one.servo)
        lines += _time(pad, one, one.servo)
        lines += _power_up(pad, one, one.servo)
    return Section("Servo and wire", "Worst: weak servo, low battery, greatest load, slack wire, dirty catch.", tuple(lines))


def _torque(pad: Pad, one: Release, values: ServoValues) -> list[Line]:
    weak, source = values.servo("least"), values.supply("least")
    need, pull = one.hardest.pull_force(one.loads.highest), one.pull
    nominal = values.servo("nominal").sagged_torque(values.supply("nominal"))
    friction = (need - one.values.spring.high) * values.horn
    ecss = 2.0 * (1.2 * one.values.spring.high * values.horn + 3.0 * friction)
    sag = weak.stalled_voltage(source)
    electric = tuple(k for k in values.assumed if k in ("power.resistance", "servo_data.stall_current", "servo_data.at_voltage"))
    catch = tuple(k for k in one.values.assumed if k.startswith("catch."))
    place = pad.place("site", one.servo_part)
    lines = [
        Line(f"{one.servo_part}: torque when sagged", nominal, "kgf cm", TORQUE, weak.sagged_torque(source),
             f"{sag:.3g} V left of {source.voltage:.3g} V", assumed=electric),
        Line(f"{one.servo_part}: pull at the catch", values.servo("nominal").pull_at(values.supply("nominal")), "N", "torque / horn, horn square",
             pull, f"weak servo on a sagged supply; {need:.3g} N are needed", ratio(pull, need), 2.0, "good practice 2 to 3 times [common practice]", electric + catch, place=place),
        Line(f"{one.servo_part}: torque by ECSS rule", ecss, "kgf cm", "ECSS-E-ST-33-01C 2 (1.2 S + 3 F_R) [from memory]",
             margin=ratio(weak.sagged_torque(source), ecss), against="sagged torque covers it; friction not measured", assumed=catch,
             note=f"needs {ecss / KGF_CM:.3g} of {weak.sagged_torque(source) / KGF_CM:.3g} kgf cm"),
    ]  # fmt: skip
    powers = pad.parts(PowerPart)
    feeds = {values.output, *(_relay(pad, values.output),)}
    sharing = [p for p in powers.values() if feeds & set(p.feeds)]
    if sharing and len(powers) == 1:
        below = given_or_assumed(sharing[0].brown_out, "power.brown_out").high
        keys = electric + (() if sharing[0].brown_out else ("power.brown_out",))
        lines.append(Line(f"{one.servo_part}: box supply at stall", values.servo("nominal").stalled_voltage(values.supply("nominal")), "V",
                          "V/(1 + R I/V_rated); the box shares this source", sag, "low battery, most resistance and current", ratio(sag, below),
                          1.15, f"brown-out at {below:.3g} V", keys, place=place))  # fmt: skip
    return lines


def _relay(pad: Pad, output: str) -> str:
    part = pad.outputs.get(output)
    return part.powered_by or output if isinstance(part, ServoOutput) else output


def _travel(pad: Pad, one: Release, values: ServoValues) -> list[Line]:
    good, bad = budget(pad, one, "nominal"), budget(pad, one, "least")
    keys = tuple(k for k in (*values.assumed, *one.values.assumed) if k in ("wire.slack", "wire.stretch", "catch.engages", "servo_data.travel_ratio"))
    mm = [f"{x * 1000:.2g}" for x in (bad.horn, bad.slack, bad.stretch, bad.engages)]
    return [
        Line(f"{one.name}: travel left over", good.margin, "mm", "horn (sin b - sin a) - slack - stretch - engagement", bad.margin,
             f"{mm[0]} - {mm[1]} - {mm[2]} - {mm[3]} mm", ratio(bad.horn - bad.slack - bad.stretch, bad.engages), 1.5,
             "what the wire draws clears the catch", keys, place=pad.place("site", values.wire or one.name)),
    ]  # fmt: skip


def letting_go(pad: Pad, one: Release, end: End) -> float:
    """From the pulse commanded to the vehicle free, s: frame, travel under load, head; "most" is the slowest."""
    assert one.servo is not None
    bad = end == "most"
    pull = one.hardest.pull_force(one.loads.highest) if bad else one.values.head("nominal").pull_force(one.loads.working)
    return sum(seconds for _, seconds in letting_go_parts(pad, one.values, one.servo, pull, slowest=bad))


def _time(pad: Pad, one: Release, values: ServoValues) -> list[Line]:
    musts = [
        (name, rule) for name, rule in pad.interlocks.items()
        if isinstance(rule, Must) and any(isinstance(x, t.HeadIs) and x.head == one.name for x in t.leaves(rule.must.expression))
    ]  # fmt: skip
    nominal, worst = letting_go(pad, one, "nominal"), letting_go(pad, one, "most")
    keys = tuple(k for k in (*values.assumed, *one.values.assumed) if k in ("servo_data.speed", "release_head.lets_go_in", "servo_data.travel_ratio"))
    within = min(((rule.within.si, name) for name, rule in musts), default=None)
    margin = None if within is None else ratio(within[0], worst + pad.scan.si)
    return [Line(f"{one.name}: lets go after", nominal, "s", "frame + turn that clears the catch / loaded speed + head", worst,
                 "half speed, low battery, one scan more in the margin", margin, 1.3,
                 "" if within is None else f"{within[1]}: within {within[0]:g} s", keys,
                 place=pad.place("interlocks", within[1]) if within else pad.place("site", one.name))]  # fmt: skip


def _power_up(pad: Pad, one: Release, values: ServoValues) -> list[Line]:
    start, _ = horn_angles(pad, values, "nominal")
    servo = values.servo("nominal")
    slack = values.slack.low
    jump = max(0.0, servo.travel(start, start + values.twitch.nominal) - values.slack.nominal)
    worst = max(0.0, servo.travel(start, start + values.twitch.high) - slack)
    neutral = max(0.0, servo.travel(start, 0.0) - slack)
    keys = tuple(k for k in (*values.assumed, *one.values.assumed) if k in ("servo_data.twitch", "wire.slack", "catch.engages"))
    engaged = one.values.engages
    draws = "releases" if neutral >= engaged.low else "does not release"
    return [
        Line(f"{one.name}: jump at power-up draws", jump, "mm", "horn (sin(a + twitch) - sin a) - slack", worst, "greatest jump, no slack",
             ratio(engaged.low, worst), 1.5, f"catch engages {show(engaged.low, 'mm')} at least", keys, place=pad.place("site", one.servo_part)),
        Line(f"{one.name}: mid-travel without pulses", neutral, "mm", "some servos go to 1500 us when pulses stop", words=f"{neutral * 1000:.2g} mm: {draws}",
             warning="a servo that centres itself would let go: test the very one" if neutral >= engaged.low else "",
             assumed=tuple(k for k in keys if k != "servo_data.twitch"),
             note=f"the file says it {'goes limp' if values.without_pulses == 'limp' else 'holds'}; power it only with pulses running"),
    ]  # fmt: skip
