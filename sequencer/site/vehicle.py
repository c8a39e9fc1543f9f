"""The vehicle on its seat: set up and latched, held, and gone with everything that flies.

A vehicle is held while every head of its seat is shut: a backup release is a second head of the same seat, and either
one lets it go. Whatever flies is no longer on the pad: its volumes are at the atmosphere, and what was led to them
leads into the open, so a sensor that reads such a volume reads zero at the open fitting. A hose that snags keeps the
vehicle there, its seat open.
"""

from __future__ import annotations

from sequencer.description.grounds import VolumePart
from sequencer.description.pad import Pad
from sequencer.site.assemble import Parts
from sequencer.site.flow import P_ATM
from sequencer.site.hold import LIFTS, Stand
from sequencer.site.parts import Thermal
from sequencer.site.pipework import parts_from


class Vehicle(Parts):
    """The parts of a pad, with what happens to the vehicle as a whole."""

    def __init__(self, pad: Pad, seed: int, thermal: Thermal) -> None:
        super().__init__(pad, seed, thermal)
        self._flown: set[str] = set()
        self._heads = tuple(self.heads.values())

    def pressure(self, volume: str) -> float:
        """Gauge Pa in a volume; 0 once it has flown."""
        return self.net.p[self.volume_index(volume)] - P_ATM

    def _follow(self) -> None:
        """Contacts that parts move."""
        for contact, truth in self._follows:
            at_word = truth()
            if at_word != contact.let_be:
                contact.put(at_word)

    def _leave(self, stand: Stand) -> None:
        """Nothing holds the vehicle and gas pushes it: it goes, or its seat opens."""
        gauge = max(0.0, self.pressure(stand.volume))
        stand.present = False
        for head in stand.heads:
            head.freed = head.freed or head.shut
        if stand.jack is not None and stand.jack.first > 0.0:
            stand.jack.pump(0.0)
            stand.present = True
            for head in stand.heads:
                head.settle()
            return
        volume = self.pad.site.get(stand.volume)
        flying = set()
        if isinstance(volume, VolumePart) and volume.flies:
            flying = {name for name, part in self.pad.parts(VolumePart).items() if part.flies}
        hung = [line for line in self.lines.values() if parts_from(line.plan, flying)]
        held_back = [line for line in hung if "snags" in line.modes]
        goes = "leaves" if flying and not held_back else "lifts off its seat"
        self.ground.tell(stand.volume, f"{goes} at {gauge / 1e5:z.1f} bar")
        for line in held_back:
            self.ground.tell(line.name, "snags: its hose holds the vehicle")
        if held_back or not flying:
            self.net.set_opening(self.seats[stand.volume], 1.0, at_once=True)
            return
        for line in hung:
            line.let_part(flying)
        for name in flying:
            self.net.put(self.net.index(name), P_ATM, self.ground.temperature, 0.0)
        self._flown = flying
        for other in self.stands.values():
            if other.volume in flying:
                other.present = False
        for head in self._heads:
            if not head.stand.present:
                head.freed = head.freed or head.shut
            head.settle()

    def _set_up(self, stand: Stand) -> None:
        """A vehicle stands on the seat again, filled with its water, hoses on."""
        if stand.present and not self._flown:
            return
        for line in self.lines.values():
            line.join()
        self.net.set_opening(self.seats[stand.volume], 0.0, at_once=True)
        for name in self._flown:
            self.net.put(self.net.index(name), P_ATM, self.ground.temperature, self.wetted[name])
        flown, self._flown = self._flown, set()
        for other in self.stands.values():
            if other is stand or other.volume in flown:
                other.present = True

    def burst(self, volume: str) -> None:
        """A volume bursts: its gas and water are gone at once, and what was led to it leads into the open."""
        i = self.volume_index(volume)
        self.ground.tell(volume, f"bursts at {self.pressure(volume) / 1e5:z.1f} bar")
        for line in self.lines.values():
            if parts_from(line.plan, {volume}):
                line.tear(volume)
        self.net.put(i, P_ATM, self.ground.temperature, 0.0)
        self._flown.add(volume)
        if volume in self.stands:
            self.stands[volume].present = False
        self.ground.stirred = True

    def latch(self, head: str) -> None:
        """Close a head by hand, on a vehicle that is set up for it; a head that backs it up is closed with it."""
        main = self.head(head)
        self._set_up(main.stand)
        main.latch()
        for other in main.stand.heads:
            if other.backs_up == head:
                other.latch()
        self._follow()

    def set_pressure(self, volume: str, gauge_pa: float) -> None:
        """Begin with gas in a volume, at the temperature of the air. A head that must hold that gas is latched first:
        the gas could not be there otherwise."""
        i = self.volume_index(volume)
        stand = self.stands.get(volume)
        if stand is not None and gauge_pa * stand.area - stand.weight > LIFTS:
            self._set_up(stand)
            for head in stand.heads:
                head.latch()
        elif volume in self._flown:
            for other in self.stands.values():
                self._set_up(other)
        self.net.put(i, gauge_pa + P_ATM, self.ground.temperature)
        self.ground.stirred = True
        for head in self._heads:
            head.settle()
        self._follow()
