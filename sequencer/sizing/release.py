"""The release head: loads on it, force stage by stage, whether it opens at both ends of friction, and to which load."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from sequencer.description.grounds import HeadPart, ServoPart, TestLoadPart, WirePart
from sequencer.description.pad import Pad
from sequencer.quantities import show
from sequencer.site import head as statics
from sequencer.site.assumed import given_or_assumed
from sequencer.site.head import Head
from sequencer.site.resolve_head import HeadValues, ServoValues, head, servo
from sequencer.sizing.levels import Levels, accuracy_of
from sequencer.sizing.sheet import Line, Section, ratio

WEDGE = "wedge W tan(theta - phi), levers with friction circles: Marks', Machinery's [from memory]"


@dataclass(frozen=True)
class Loads:
    """Loads on a head, N: at working, at full relief lift or the jack's most, in the proof test, and at 'vented'."""

    working: float
    highest: float
    proof: float | None
    vented: float
    jack: bool = False


@dataclass(frozen=True)
class Release:
    """One head with its loads, and the servo that draws its catch (None: something else does)."""

    name: str
    values: HeadValues
    loads: Loads
    servo: ServoValues | None
    servo_part: str

    @property
    def pull(self) -> float:
        """Least pull at the catch: weak servo on its sagged supply, horn square to the wire, N."""
        return self.servo.servo("least").pull_at(self.servo.supply("least")) if self.servo is not None else math.inf

    @property
    def hardest(self) -> Head:
        """The head that pushes most on its catch: clean steep contact, free pins, and a dirty catch."""
        return self.values.head("least", "most", "most", "least")

    def window_top(self) -> float:
        """Greatest load, N, at which it still lets go on command with every friction given; 0 when it can seize."""
        values = self.values
        if values.head("most", "least").self_lock_margin() <= 0.0:
            return 0.0
        per_load = self.hardest.hold_force(1.0)
        if per_load <= 0.0:
            return math.inf
        by_pull = (self.pull - values.spring.high) / max(1e-12, values.catch_friction.high * per_load)
        return max(0.0, min(by_pull, values.strength.low / per_load))


def releases(pad: Pad, volumes: dict[str, Levels]) -> list[Release]:
    """Every release head of the site with its loads and servo."""
    found = []
    for name, part in pad.parts(HeadPart).items():
        values = head(pad, name)
        jack = next((j for j in pad.parts(TestLoadPart).values() if j.jack == name), None)
        level = volumes.get(part.release_head)
        if jack is not None:
            loads = Loads(jack.load.nominal, jack.load.high, None, 0.0, True)
        elif level is not None:
            def load(gauge: float, most: bool = True, values: HeadValues = values) -> float:
                seat, weight = (values.seat.high, values.weight.low) if most else (values.seat.nominal, values.weight.nominal)
                return max(0.0, statics.separating_force(gauge, seat, weight))

            tested = level.part.tested_to
            error = max((accuracy_of(pad, r) for r in level.readings), default=0.0)
            residual = statics.separating_force(level.vented + error, values.seat.high)
            loads = Loads(load(level.working, False), load(level.highest), load(tested.si) if tested else None, residual)
        else:
            continue
        drawn = next((w.wire.origin for w in pad.parts(WirePart).values() if w.wire.end == name), None)
        which = next((n for n, s in pad.parts(ServoPart).items() if s.servo_data == drawn), "")
        found.append(Release(name, values, loads, servo(pad, which) if which else None, which))
    return found


def head_section(pad: Pad, found: list[Release]) -> Section:
    """Loads, hold force per stage, self-lock at both friction ends, load window, force to re-latch."""
    lines: list[Line] = []
    for one in found:
        lines += _loads(one)
        lines += _holds(pad, one)
    about = "Will it hold: clean and steep. Will it let go: dirty and shallow. Each at its own bad end."
    return Section("Release head", about, tuple(lines))


def _loads(one: Release) -> list[Line]:
    loads, what = one.loads, f"{one.name}: load"
    seat = "p A - W on the sealing diameter"
    if loads.jack:
        return [Line(f"{what} by the jack", loads.working, "kgf", "the file: what the jack gives", loads.highest, "its most")]
    keys = tuple(k for k in one.values.assumed if k == "release_head.weight")
    lines = [
        Line(f"{what} at working", loads.working, "kgf", seat, loads.highest, "full relief lift, widest seat, lightest vehicle",
             assumed=keys, note="materials rated for >= 3 times launch pressure [seen, hobby code]"),
    ]  # fmt: skip
    if loads.proof is not None:
        lines.append(Line(f"{what} in the proof test", loads.proof, "kgf", seat, assumed=keys, note="head shut and pinned, water, nobody near"))
    return lines


def _holds(pad: Pad, one: Release) -> list[Line]:
    values, name = one.values, one.name
    nominal = values.head("nominal").stages(one.loads.working)
    worst = one.hardest.stages(one.loads.highest)
    friction = tuple(k for k in values.assumed if k in ("release_head.friction", "release_head.pin_friction", "release_head.pin_diameter"))
    lines = [
        Line(f"{name}: pushed out at contact", nominal[0], "N", WEDGE, worst[0], "least friction, steepest, greatest load",
             assumed=tuple(k for k in friction if k == "release_head.friction")),
    ]  # fmt: skip
    for number, (now, high) in enumerate(zip(nominal[1:], worst[1:], strict=True), 1):
        last = " (catch)" if number == len(nominal) - 1 else ""
        lines.append(Line(f"{name}: after lever {number}{last}", now, "N", "F (a - r_f)/(b + r_f): pin friction helps to hold", high,
                          "free pins", assumed=friction))  # fmt: skip
    lines.append(Line(f"{name}: catch strength", values.strength.nominal, "N", "strength over the worst force on it", values.strength.low,
                      "weakest catch", ratio(values.strength.low, worst[-1]), 2.0, f"it carries {worst[-1]:.3g} N",
                      tuple(k for k in values.assumed if k == "catch.strength")))  # fmt: skip
    lines += _self_lock(pad, one)
    lines.append(_window(pad, one, friction))
    relatch = values.head("most", "most").relatch_force(one.loads.vented)
    lines.append(Line(f"{name}: to re-latch at 'vented'", relatch, "N", "W tan(theta + phi) back through the levers, friction hurts",
                      assumed=friction, note="at the end of the train, most friction; never reach in, never hammer"))  # fmt: skip
    return lines


def _self_lock(pad: Pad, one: Release) -> list[Line]:
    values, name = one.values, one.name
    dirty = values.head("most", "least").self_lock_margin()
    clean = values.head("least", "most").self_lock_margin()
    margin = ratio(math.tan(values.contact_angle.low), values.friction.high)
    keys = tuple(k for k in values.assumed if k == "release_head.friction")
    words = "it opens" if dirty > 0.0 else "it can seize"
    return [
        Line(f"{name}: opens when dirty", values.head("nominal").self_lock_margin(), "deg", "theta - atan(mu) > 0; tan(theta)/mu", dirty,
             f"most friction, shallowest: {words}", margin, 1.15, "contact angle beyond the friction angle", keys,
             place=pad.place("site", name, "friction")),
        Line(f"{name}: held by friction alone", clean, "deg", "theta - atan(mu) <= 0 would hold itself", words="no" if clean > 0.0 else "yes",
             assumed=keys, note="vibration lowers friction: rely on catch and pin, never on self-locking"),
    ]  # fmt: skip


def _window(pad: Pad, one: Release, friction: tuple[str, ...]) -> Line:
    top = one.window_top()
    shown = "none: it can seize" if top <= 0.0 else f"above 0 to {show(top, 'kgf')}" if math.isfinite(top) else "every load"
    limits = "" if math.isinf(one.pull) else f"; servo pulls {one.pull:.3g} N at least"
    return Line(f"{one.name}: lets go on command", top, "kgf", "every friction given: pull <= servo, force <= catch strength", one.loads.highest,
                "the greatest load it meets", ratio(top, one.loads.highest), 1.5, "the load window reaches beyond it",
                friction + tuple(k for k in one.values.assumed if k.startswith("catch.")), limits.removeprefix("; "), words=shown,
                place=pad.place("site", one.name))  # fmt: skip


def window_map(one: Release, loads: list[float], frictions: list[float]) -> statics.ReleaseWindow:
    """The release window at the unfavourable ends but for load and contact friction, for the plot."""
    base = replace(one.hardest, contact_angle=one.values.contact_angle.nominal, catch_strength=one.values.strength.low)
    return statics.release_window(base, loads, frictions, one.pull)


def tried_at(pad: Pad, name: str) -> tuple[float, float] | None:
    """The load range a head was tried at, N; None when the file says nothing."""
    part = pad.site[name]
    assert isinstance(part, HeadPart)
    if part.load_range is None:
        return None
    span = given_or_assumed(part.load_range, "")
    return span.low, span.high
