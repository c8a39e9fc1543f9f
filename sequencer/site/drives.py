"""What the box drives and what feeds it: supplies with their sag, relays, lamps, servos with wire and head.

Only servos draw a current worth counting (coils and the box itself are left out). A supply sees each servo as the
resistance it had in the substep of 5 ms before: exact for a stalled one, whose current follows the voltage.
"""

from __future__ import annotations

import math
from dataclasses import replace

from sequencer.description.box import Output, RelayOutput, ServoOutput
from sequencer.description.grounds import PowerPart, ServoPart
from sequencer.description.pad import Pad
from sequencer.quantities import Span
from sequencer.site import resolve_head
from sequencer.site.assumed import assumed, given_or_assumed
from sequencer.site.build import Ground
from sequencer.site.hold import HeadState
from sequencer.site.servo import Servo, ServoState

SUBSTEP = 0.005
SAGS_TO = 0.85
"""A supply with the fault 'sags' falls to this share of the brown-out limit when a servo stalls (our choice)."""
SLOW_SERVO = 0.08
"""Speed left to a slow servo (our choice)."""
TWITCHING = 0.3
"""A servo with the fault 'twitches' jumps its whole travel for so long at power-up, s (our choice)."""
STALL_TOLD = 0.06
"""A stall is told after so long, s."""


class Feed:
    """One supply of the file: open voltage, inner resistance, switches before it."""

    def __init__(self, ground: Ground, name: str, part: PowerPart | None) -> None:
        self.ground, self.name = ground, name
        nominal = assumed("servo_data.at_voltage").nominal
        self.open_voltage = part.voltage.nominal if part is not None else nominal
        self.sound = given_or_assumed(part.resistance if part else None, "power.resistance").nominal
        self.brown_out = given_or_assumed(part.brown_out if part else None, "power.brown_out").nominal
        self.resistance = self.sound
        self.on = self.keyed = True
        """Switched on; and the hardware switch before it (the key) closed."""
        self.failed = False
        self.servos: list[ServoDrive] = []
        self.lowest = self.voltage

    @property
    def live(self) -> bool:
        return self.on and self.keyed and not self.failed

    @property
    def voltage(self) -> float:
        """Terminal voltage under the present current."""
        if not self.live:
            return 0.0
        drawn = 0.0
        for servo in self.servos:
            drawn += servo.conductance
        return self.open_voltage / (1.0 + self.resistance * drawn)

    def strike(self, mode: str) -> None:
        if mode == "fails":
            self.failed = True
        else:
            stall = sum(s.servo.stall_current for s in self.servos) or assumed("servo_data.stall_current").nominal
            target = SAGS_TO * self.brown_out
            rated = self.servos[0].servo.rated_voltage if self.servos else self.open_voltage
            # The stall current falls with the voltage: I = stall*target/rated at the sagged end.
            self.resistance = max(self.sound, (self.open_voltage - target) / (stall * target / rated))
        self.ground.stirred = True

    def mend(self) -> None:
        self.failed, self.resistance = False, self.sound
        self.ground.stirred = True


class Switched:
    """A relay or a lamp: on at code 1, after its time, while its coil has power."""

    def __init__(self, ground: Ground, name: str, part: Output) -> None:
        self.ground, self.name = ground, name
        self.is_relay = isinstance(part, RelayOutput)
        time = assumed("relay.operate" if self.is_relay else "lamp.operate").nominal
        # An output that moves within one step of the world is there at the end of that step.
        self.delay = max(0, math.ceil(time / ground.dt - 1e-9) - 1)
        self.asked = self.closed = False
        self.modes: set[str] = set()
        self._left = 0

    def ask(self, on: bool) -> None:
        if on != self.asked:
            self.asked, self._left = on, self.delay
            self.ground.stirred = True
        if self._left <= 0:
            self._follow()

    @property
    def pending(self) -> bool:
        return self._left > 0

    def wait(self) -> None:
        """One step of the delay."""
        self._left -= 1
        if self._left <= 0:
            self._follow()

    def _follow(self) -> None:
        stuck_off = bool(self.modes & {"stuck off", "dead"})
        now = "welded" in self.modes or (self.asked and not stuck_off)
        if now != self.closed:
            self.closed = now
            self.ground.stirred = True

    def strike(self, mode: str) -> None:
        self.modes.add(mode)
        self._follow()

    def mend(self) -> None:
        self.modes.clear()
        self._follow()


class ServoDrive:
    """A servo output with its supply, the wire on its horn and the heads it pulls."""

    def __init__(self, ground: Ground, pad: Pad, name: str, feed: Feed, relay: Switched | None) -> None:
        output = pad.outputs[name]
        assert isinstance(output, ServoOutput)
        self.ground, self.name, self.feed, self.relay = ground, name, feed, relay
        self.pulses = [pulse.si * 1e6 for pulse in output.servo.values()]
        self.servo, self.flip = _servo(pad, name, self.pulses)
        self.angles = [self.servo.angle(self._pulse(code)) for code in range(len(self.pulses))]
        self.idle = self.angles[0]
        self.state = ServoState(self.servo, self.idle)
        self.heads: list[HeadState] = []
        self.code: int | None = None
        self.modes: set[str] = set()
        self.current = self.conductance = 0.0
        """A, and A/V as its supply sees it."""
        self._stalled_for = 0.0
        self._told = False

    def _pulse(self, code: int) -> float:
        return 2.0 * self.servo.neutral - self.pulses[code] if self.flip else self.pulses[code]

    def pull(self, heads: list[HeadState]) -> None:
        """Fix the wires to heads."""
        self.heads = heads
        travel = max(self.servo.travel(self.idle, angle) for angle in self.angles)
        for head in heads:
            head.wire.stretches_for(travel, head.head.catch_engages)

    def ask(self, code: int | None) -> None:
        """The pulse train of a position, or none."""
        self.code = code

    @property
    def powered(self) -> bool:
        return self.feed.live and (self.relay is None or self.relay.closed)

    @property
    def awake(self) -> bool:
        """Whether it has power or is being dragged."""
        return self.powered or self.current > 0.0 or any(head.tension > 0.0 for head in self.heads)

    @property
    def degrees(self) -> float:
        """Angle from where it idles, degrees, positive towards the other positions."""
        return math.degrees(self.state.angle - self.idle)

    @property
    def position(self) -> int:
        """Code of the position nearest to the horn."""
        angle = self.state.angle
        return min(range(len(self.angles)), key=lambda code: abs(self.angles[code] - angle))

    def stands_at(self, code: int) -> bool:
        """Within a tenth of its travel of a position."""
        span = max(self.angles) - min(self.angles)
        return abs(self.state.angle - self.angles[code]) <= 0.1 * span

    def strike(self, mode: str) -> None:
        self.modes.add(mode)
        self._set_modes()

    def mend(self) -> None:
        self.modes.clear()
        self._set_modes()

    def _set_modes(self) -> None:
        state, modes = self.state, self.modes
        state.jammed, state.limp = "jammed" in modes, "limp" in modes
        state.slow = SLOW_SERVO if "slow" in modes else 1.0
        state.twitches = "twitches" in modes
        state.servo = replace(self.servo, twitch=max(self.angles) - self.idle, twitch_time=TWITCHING) if state.twitches else self.servo

    def step(self, dt: float) -> None:
        """Move horn, wire and catch through one step of the world."""
        n = max(1, math.ceil(dt / SUBSTEP - 1e-9))
        h = dt / n
        state, servo, feed, heads = self.state, self.servo, self.feed, self.heads
        powered = self.powered
        pulse = None if self.code is None else self._pulse(self.code)
        for _ in range(n):
            volts = feed.voltage if powered else 0.0
            pull = 0.0
            blocked = False
            if heads:
                most = 0.999 * servo.torque_at(volts) / max(1e-6, servo.horn * math.cos(state.angle))
                for head in heads:
                    pull += head.tension
                blocked = self._limit(most)
                if volts > 0.0 and not state.limp:
                    pull = min(pull, most)
            state.step(h, volts, pulse, pull)
            if blocked and pulse is not None and not state.jammed and not state.limp:
                goal = servo.angle(pulse)
                state.stalled = goal > state.stops[1] + 1e-6 and state.angle >= state.stops[1] - 1e-6
            self.current = state.current
            self.conductance = state.current / volts if volts > 0.0 else 0.0
            drawn = servo.travel(self.idle, state.angle)
            for head in heads:
                head.draw(drawn, h)
            if feed.voltage < feed.lowest:
                feed.lowest = feed.voltage
            self._stalled_for = self._stalled_for + h if state.stalled else 0.0
        self._tell(powered)

    def _limit(self, most: float) -> bool:
        """Stop the horn where the wire is as tight as the servo can pull it (``most`` N): the catch needs more."""
        far = math.pi / 2
        self.state.stops = (-far, far)
        tight = [head for head in self.heads if head.needs > most and not head.wire.wire.off]
        if not tight:
            return False
        wire_at = min(head.wire.wire.slack + head.catch + head.wire.wire.stretch * most for head in tight)
        sine = math.sin(self.idle) + wire_at / self.servo.horn
        if sine >= 1.0:
            return False
        self.state.stops = (-far, math.asin(sine))
        return True

    def _tell(self, powered: bool) -> None:
        if self._stalled_for > STALL_TOLD and not self._told:
            self._told = True
            self.ground.tell(self.name, f"stalls, {self.current:.1f} A at {self.feed.voltage:.1f} V")
        elif self._told and not powered:
            self._told = False


def _servo(pad: Pad, output: str, pulses: list[float]) -> tuple[Servo, bool]:
    """The servo of an output with its pulse map, and whether its travel runs towards shorter pulses."""
    middle = 0.5 * (min(pulses) + max(pulses))
    far = max(pulses, key=lambda pulse: abs(pulse - pulses[0]))
    name = next((n for n, p in pad.parts(ServoPart).items() if p.servo_data == output), None)
    if name is None:
        horn, torque = 0.015, 10.0 * 0.0980665
        servo, turn = Servo(torque, horn=horn), Span(0.0, (max(pulses) - min(pulses)) * 1e-3 * math.pi / 2.0, 0.0, "angle")
    else:
        values = resolve_head.servo(pad, name)
        servo, turn = values.servo("nominal"), values.turn
    per_rad = (max(pulses) - min(pulses)) / turn.nominal if turn.nominal > 0.0 else servo.us_per_rad
    frame = assumed("servo_data.frame").nominal
    return replace(servo, neutral=middle, us_per_rad=per_rad, frame=frame), far < pulses[0]
