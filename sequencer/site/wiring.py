"""Between the pad and the raw inputs: contacts, converter channels, the radio link; bounce, noise and wire faults.

Every channel has its own stream of random numbers, named by seed and input, so a fault or an event on one does not
shift another's. A channel without a fault takes a short way that gives what the full channel of sensors.py would,
but for its noise: there triangular (two draws, never beyond the accuracy), because the accuracy is a largest error.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from sequencer.description.box import AnalogInput, ContactInput, HeartbeatInput
from sequencer.description.grounds import LinkPart
from sequencer.description.pad import Pad
from sequencer.quantities import Quantity, to_gauge
from sequencer.site.assumed import assumed, given_or_assumed
from sequencer.site.build import Ground
from sequencer.site.sensors import (
    Analog,
    AnalogChannel,
    AnalogFault,
    ContactChannel,
    ContactFault,
    HeartbeatChannel,
    HeartbeatFault,
    generator,
)

_CONTACT: dict[str, ContactFault] = {
    "wire cut": "cut", "shorted": "short", "stuck open": "stuck off", "stuck closed": "stuck on", "bounces": "bounces",
}  # fmt: skip
_ANALOG: dict[str, AnalogFault] = {
    "open": "open", "floating": "open", "shorted": "short", "frozen": "frozen", "offset": "offset", "slow": "slow",
    "saturated": "saturated",
}  # fmt: skip
ZERO_SHARE = 0.35
"""A sensor's fixed zero error is drawn within this share of its accuracy (our choice); its noise stays in the rest."""


class Contact:
    """One contact input: where the thing itself stands, and what the wire says."""

    def __init__(self, wiring: Wiring, name: str, part: ContactInput, seed: int) -> None:
        self.wiring, self.name, self.word = wiring, name, part.contact.word
        self.closed_means_word = part.contact.closed_means_word
        self.channel = ContactChannel(assumed("contact.bounce").nominal, seed, name)
        self.moved_by: str | None = None
        """The part that moves it; then no hand does."""
        self.stands = False
        """The truth: at its word."""
        self.let_be = False
        """Where hand or part would put it, if nobody held it."""
        self.held = False
        self.carried = False
        self.bit = 0
        self._arrived = False
        self._due: list[tuple[float, bool]] = []
        self.settled = True
        self._raw = not self.closed_means_word
        self.bit = self.channel.read(self._raw, 1.0)

    def put(self, at_word: bool) -> None:
        """A hand or a part moves it."""
        self.let_be = at_word
        self._stand(at_word or self.held)

    def _stand(self, at_word: bool) -> None:
        if at_word == self.stands:
            return
        self.stands = at_word
        self.wiring.changed(self)
        if self.carried:
            link = self.wiring
            due = link.now + link.latency()
            self._due.append((max(due, self._due[-1][0] if self._due else 0.0), at_word))
            if self not in link.in_flight:
                link.in_flight.append(self)
        else:
            self._arrive(at_word)

    def arrive(self) -> bool:
        """Changes that came over the link by now; True when none is left on its way."""
        now = self.wiring.now
        while self._due and self._due[0][0] <= now:
            self._arrive(self._due.pop(0)[1])
        return not self._due

    def _arrive(self, at_word: bool) -> None:
        self._arrived = at_word
        self._raw = at_word == self.closed_means_word
        self._wake()

    def _wake(self) -> None:
        if self.settled:
            self.settled = False
            self.wiring.restless.append(self)

    def read(self, h: float) -> bool:
        """Read the wire; True once nothing more will change by itself."""
        channel = self.channel
        self.bit = channel.read(self._raw, h)
        return channel.fault != "bounces" and (channel.fault is not None or self.bit == self._raw and channel.steady)

    def strike(self, mode: str) -> None:
        if mode == "held":
            self.held = True
            self._stand(True)
        else:
            self.channel.fault = _CONTACT[mode]
        self._wake()

    def mend(self) -> None:
        self.channel.fault = None
        if self.held:
            self.held = False
            self._stand(self.let_be)
        self._wake()


class Converter:
    """One converter channel: the truth by a function, lag, zero error, noise, counts."""

    def __init__(self, wiring: Wiring, pad: Pad, name: str, part: AnalogInput, seed: int, truth: Callable[[], float]) -> None:
        self.wiring, self.name, self.truth = wiring, name, truth
        low, high = sorted((int(count), _si(value, pad)) for count, value in part.points.items())
        span = abs(high[1] - low[1])
        self.accuracy = part.accuracy.si * (span if part.accuracy.kind == "ratio" else 1.0)
        rng = generator(seed, f"{name}/zero")
        zero = rng.uniform(-ZERO_SHARE, ZERO_SHARE) * self.accuracy
        given = part.noise.si if part.noise is not None else assumed("analog.noise_ratio").nominal * self.accuracy
        lag = given_or_assumed(part.lag, "analog.lag").nominal
        per_count = abs(high[1] - low[1]) / abs(high[0] - low[0])
        # A triangular draw reaches sqrt(6) times its standard deviation.
        self.noise = min(given, (self.accuracy - abs(zero)) / math.sqrt(6.0))
        analog = Analog(low, high, part.analog, zero, 0.0, self.noise / per_count, lag, (part.valid.low, part.valid.high),
                        open_reads="low" if part.valid.low > 0 else "high", short_reads="low")  # fmt: skip
        self.sound = analog
        self.channel = AnalogChannel(analog, seed, name)
        self.read = self._healthy(seed)

    def _healthy(self, seed: int) -> Callable[[], int]:
        a, truth, h = self.sound, self.truth, self.wiring.dt
        alpha = 1.0 if a.lag <= 0.0 else -math.expm1(-h / a.lag)
        gain = 1.0 / a.per_count
        base = a.exact_counts(a.zero_error) + 0.5
        spread = a.noise * math.sqrt(6.0)
        base -= spread  # so that two draws in 0..1 are centred
        most, draw = a.most, generator(seed, f"{self.name}/noise").random
        seen = truth()
        channel = self.channel

        def read() -> int:
            nonlocal seen
            seen += (truth() - seen) * alpha
            counts = int(base + seen * gain + (draw() + draw()) * spread)
            return 0 if counts < 0 else counts if counts < most else most

        def hand_over() -> None:
            channel.take_over(seen, read())

        def hand_back(value: float) -> None:
            nonlocal seen
            seen = value

        self._hand_over, self._hand_back = hand_over, hand_back
        return read

    def strike(self, mode: str) -> None:
        if self.channel.fault is None:
            self._sound_read = self.read
            self._hand_over()
        channel, truth, h = self.channel, self.truth, self.wiring.dt
        if mode == "floating":
            channel.analog = replace(self.sound, open_reads="floats")
        channel.set_fault(_ANALOG[mode], 3.0 * self.accuracy if mode == "offset" else 0.0)
        self.read = lambda: channel.read(truth(), h)
        self.wiring.rewire()

    def mend(self) -> None:
        if self.channel.fault is None:
            return
        self.channel.set_fault(None)
        self.channel.analog = self.sound
        self._hand_back(self.channel.seen)
        self.read = self._sound_read
        self.wiring.rewire()


class Heart:
    """One heartbeat input."""

    def __init__(self, wiring: Wiring, name: str, part: HeartbeatInput, seed: int) -> None:
        self.wiring, self.name = wiring, name
        loss = given_or_assumed(part.loss, "heartbeat.loss").nominal
        # Another transmitter's messages pass for ours: this receiver does not check freshness.
        self.channel = HeartbeatChannel(part.heartbeat.si, loss, checks_freshness=False, seed=seed, name=name)

    @property
    def passes(self) -> bool:
        """Whether our own console's messages get through now."""
        fault = self.channel.fault
        return fault is None or (fault == "flapping" and math.fmod(self.wiring.now, 2.0) < 1.0)

    def strike(self, mode: str) -> None:
        kinds: dict[str, HeartbeatFault] = {"lost": "lost", "flapping": "flapping", "replayed": "replayed"}
        self.channel.fault = kinds[mode]

    def mend(self) -> None:
        self.channel.fault = None


class Wiring:
    """All inputs of a pad; :meth:`sample` once per scan."""

    def __init__(self, ground: Ground, pad: Pad, seed: int, truth: Callable[[str], Callable[[], float]]) -> None:
        self.ground, self.dt = ground, ground.dt
        self.restless: list[Contact] = []
        self.in_flight: list[Contact] = []
        self.changed: Callable[[Contact], None] = lambda contact: None
        self.contacts: dict[str, Contact] = {}
        self.converters: dict[str, Converter] = {}
        self.hearts: dict[str, Heart] = {}
        for name, part in pad.inputs.items():
            if isinstance(part, ContactInput):
                self.contacts[name] = Contact(self, name, part, seed)
            elif isinstance(part, AnalogInput):
                self.converters[name] = Converter(self, pad, name, part, seed, truth(part.reads))
            else:
                self.hearts[name] = Heart(self, name, part, seed)
        link = next(iter(pad.parts(LinkPart).values()), None)
        self.link = self.hearts.get(link.link) if link is not None else None
        span = given_or_assumed(link.latency if link is not None else None, "link.latency")
        draw = generator(seed, "link/latency").uniform
        self.latency: Callable[[], float] = lambda: draw(span.low, span.high)
        if link is not None and self.link is not None:
            for name in link.carries:
                if name in self.contacts:
                    self.contacts[name].carried = True
        self._last = 0
        self._bits = tuple(contact.bit for contact in self.contacts.values())
        self.rewire()

    @property
    def now(self) -> float:
        return self.ground.ticks * self.dt

    def rewire(self) -> None:
        """Gather the readers anew after a channel changed its way."""
        self._readers = tuple(converter.read for converter in self.converters.values())
        self._hearts = tuple(heart.channel.read for heart in self.hearts.values())

    def sample(self) -> tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]:
        """(contacts, counts, heard): raw, each in file order of its kind."""
        ticks = self.ground.ticks
        h = (ticks - self._last) * self.dt
        self._last = ticks
        if self.in_flight or self.restless:
            self.look(h)
        return self._bits, tuple([read() for read in self._readers]), tuple([heard(h) for heard in self._hearts])

    @property
    def levels(self) -> tuple[int, ...]:
        """Raw levels of the contacts as last looked at."""
        return self._bits

    def look(self, h: float) -> tuple[int, ...]:
        """Bring the contacts up to date, ``h`` s after the last look; their raw levels."""
        if self.in_flight and (self.link is None or self.link.passes):
            self.in_flight = [contact for contact in self.in_flight if not contact.arrive()]
        if self.restless:
            self._read_contacts(h)
        return self._bits

    def _read_contacts(self, h: float) -> None:
        still = []
        for contact in self.restless:
            if contact.read(h):
                contact.settled = True
            else:
                still.append(contact)
        self.restless = still
        self._bits = tuple([contact.bit for contact in self.contacts.values()])


def _si(value: Quantity, pad: Pad) -> float:
    """A calibration point in SI; pressures gauge."""
    return to_gauge(value, pad.pressures) if value.kind == "pressure" else value.si
