"""Lines and supplies while they run: valves on their way, hand valves, hoses that part, regulators, reliefs; and how they fail.

A regulated supply is taken as quasi-static: its outlet stands at the set pressure, less a droop in proportion to the
flow (all of it at the seat's full flow), plus a creep that grows while next to nothing flows. The cylinder behind it
runs down isothermally by what was taken. tests/site/test_world_gas.py holds this against the full network.
"""

from __future__ import annotations

import math

from sequencer.description.box import ServoOutput
from sequencer.description.grounds import ReliefPart, SupplyPart
from sequencer.description.pad import Pad
from sequencer.site import resolve
from sequencer.site.assumed import assumed, given_or_assumed
from sequencer.site.build import AIR, Ground, LinePlan
from sequencer.site.flow import P_ATM, R_AIR, RHO0, T0, Conductance, series_pair

OPEN_AT = 0.05
"""A line counts as open above this share of its stroke (a leaking seat stays below)."""
LEAK = 0.03
"""Share of its conductance that a leaking valve still passes when shut (our choice)."""
SLOW = 40.0
"""A slow valve takes this many times its stroke (our choice: 50 ms become 2 s)."""
KINKED = 0.05
"""Conductance left in a kinked hose (our choice)."""
RUN_DOWN = 10.0
"""Time constant in s with which a supply runs down under that fault (our choice)."""
SET_LOW = 0.6
"""A relief that opens early does so at this share of its set pressure (our choice)."""
CREEPING = 3.0
"""A creeping regulator rises by this many times the most that creep usually is (our choice)."""


class Line:
    """One line: its valve (driven, by hand, or none), its hose, its two ends."""

    def __init__(self, ground: Ground, plan: LinePlan, pad: Pad, supply: SupplyState | None) -> None:
        self.ground, self.plan, self.name, self.supply = ground, plan, plan.name, supply
        self.modes: set[str] = set()
        output = pad.outputs.get(plan.part.opened_by)
        self.output = plan.part.opened_by if output is not None else None
        self.open_code = 1
        self.by_servo = isinstance(output, ServoOutput)
        if self.output is not None:
            names = pad.output_positions[self.output]
            self.open_code = names.index("open") if "open" in names else 1
        self.by_hand = plan.part.opened_by == "hand"
        self.stroke = plan.resolved.stroke.nominal
        self.asked = not (self.by_hand or self.output is not None)
        """Whether it is asked to be open (by command or hand)."""
        self.position = 1.0 if self.asked else 0.0
        self.is_open = self.asked
        self.parted = False
        """One end is off: the vehicle has left with it."""
        self.near_stays = True
        """The end that is left is the near one."""
        self.charged = False
        self.apply()

    # -- acts

    def ask(self, wanted: bool) -> None:
        """Command or turn the valve."""
        if wanted == self.asked:
            return
        self.asked = wanted
        stuck = "stuck open" if "stuck open" in self.modes else "stuck shut" if "stuck shut" in self.modes else ""
        if stuck and wanted != (stuck == "stuck open"):
            self.ground.tell(self.name, "does not open" if wanted else "does not shut")
        self._start()

    def strike(self, mode: str) -> None:
        self.modes.add(mode)
        self._start()

    def mend(self) -> None:
        self.modes.clear()
        self._start()

    def let_part(self, flying: set[str]) -> None:
        """The vehicle leaves with the volumes that fly: the line's other end stays."""
        gauge = self.ground.net.p[self.ground.net.index(self.plan.resolved.target)] - P_ATM
        self.parted, self.near_stays = True, self.plan.resolved.source not in flying
        self.charged = "stays charged" in self.modes
        if self.charged:
            self.ground.tell(self.name, f"parts and stays charged at {gauge / 1e5:z.1f} bar")
        elif self.plan.part.hose is not None:
            self.ground.tell(self.name, "parts" if self.plan.part.parts_with else "is torn off")
        self.apply()

    def tear(self, gone: str) -> None:
        """The volume at one end is gone, and nothing holds the hose shut."""
        self.parted, self.charged, self.near_stays = True, False, self.plan.resolved.source != gone
        self.apply()

    def join(self) -> None:
        """The vehicle stands on its seat again and the line is on it."""
        if self.parted:
            self.parted = self.charged = False
            self.apply()

    # -- motion

    @property
    def goal(self) -> float:
        if "stuck open" in self.modes:
            return 1.0
        return 0.0 if "stuck shut" in self.modes else 1.0 if self.asked else 0.0

    def _start(self) -> None:
        if self.position != self.goal and self not in self.ground.moving:
            self.ground.moving.append(self)
        self.apply()

    def move(self, dt: float) -> None:
        """One step of the valve's stroke."""
        goal = self.goal
        stroke = self.stroke * (SLOW if "slow" in self.modes else 1.0)
        reach = dt / stroke if stroke > 0.0 else 1.0
        if abs(goal - self.position) <= reach * 1.000001:
            self.position = goal
            self.ground.moving.remove(self)
        else:
            self.position += math.copysign(reach, goal - self.position)
        self.apply()

    def apply(self) -> None:
        """Bring the paths in line with valve, hose and faults."""
        net, plan, modes = self.ground.net, self.plan, self.modes
        self.ground.stirred = True
        self.is_open = self.position > OPEN_AT
        through = max(self.position, LEAK) if "leaks" in modes else self.position
        if self.supply is not None and not self.supply.hand_open:
            through = 0.0
        off = "hose off" in modes
        to_air = plan.open_source is None
        whole = not self.parted and (to_air or not off) and "traps" not in modes
        net.set_opening(plan.path, through if whole else 0.0, at_once=True)
        scale = KINKED if "kinked" in modes else plan.unpiped if off and to_air else 1.0
        if self.supply is not None:
            scale *= self.supply.scale(plan)
        net.set_conductance(plan.path, scale)
        if plan.part.one_way:
            net.set_one_way(plan.path, "leaks back" not in modes)
        if plan.open_source is not None:
            blows = (off or self.parted and self.near_stays) and not self.charged and "traps" not in modes
            net.set_opening(plan.open_source, through if blows else 0.0, at_once=True)
            net.set_conductance(plan.open_source, scale)
        if plan.open_target is not None:
            held_back = plan.part.one_way and "leaks back" not in modes
            bleeds = not self.charged and not self.near_stays if self.parted else off
            net.set_opening(plan.open_target, 1.0 if bleeds and not held_back else 0.0, at_once=True)


class SupplyState:
    """A supply's outlet in time. Pressures absolute Pa."""

    def __init__(self, ground: Ground, pad: Pad, name: str) -> None:
        part = pad.site[name]
        assert isinstance(part, SupplyPart)
        self.ground, self.name = ground, name
        found = resolve.supply(pad, name)
        self.index = ground.net.index(name)
        self.regulated = part.regulated is not None
        self.set_to = found.nominal + P_ATM
        self.first = part.pressure.nominal + P_ATM
        self.seat = Conductance(found.conductance.nominal, assumed("line.critical_ratio").nominal)
        self.droop = given_or_assumed(part.droop, "supply.droop").nominal if self.regulated else 0.0
        creep = given_or_assumed(part.creep, "supply.creep")
        self.creep = creep.nominal if self.regulated else 0.0
        self.most_creep = creep.high
        self.mass = self.first * part.volume.si / (R_AIR * ground.temperature) if part.volume is not None else math.inf
        self.hand_open = True
        self.modes: set[str] = set()
        self.lines: list[Line] = []
        self.sunk = self.starved = 0.0
        self.risen = 0.0
        self._struck = 0.0
        self._told_low = False

    def strike(self, mode: str) -> None:
        self.modes.add(mode)
        if mode == "runs down":
            self._struck = self.ground.now
        for line in self.lines:
            line.apply()

    def mend(self) -> None:
        self.modes.clear()
        self._told_low = False
        for line in self.lines:
            line.apply()

    def turn(self, wanted: bool) -> None:
        """The hand valve."""
        self.hand_open = wanted
        for line in self.lines:
            line.apply()

    def scale(self, plan: LinePlan) -> float:
        """Share of the line's conductance left with the regulator's wide-open seat in series (1 while it regulates)."""
        if "fails open" not in self.modes:
            return 1.0
        whole = plan.resolved.nominal
        return series_pair(self.seat, whole).C / whole.C if whole.C > 0.0 else 1.0

    @property
    def cylinder(self) -> float:
        """Pressure behind the regulator."""
        net = self.ground.net
        left = 1.0 + net.taken[self.index - net.n] / self.mass if self.mass < math.inf else 1.0
        p = self.first * max(left, 0.0)
        if "runs down" in self.modes:
            p = P_ATM + (p - P_ATM) * math.exp((self._struck - self.ground.now) / RUN_DOWN)
        return max(p, P_ATM)

    def step(self, dt: float) -> None:
        """Move the outlet; called while the gas moves or something was touched."""
        net = self.ground.net
        q = 0.0
        flowing = False
        for line in self.lines:
            plan = line.plan
            for path in (plan.path, plan.open_source):
                if path is not None and net.opening[path] > 0.0:
                    flowing = True
                    if net.q[path] > 0.0 and not net.wet_now[path]:
                        q += net.q[path]
        if not flowing and not self.modes:
            self.risen, self.sunk, self.starved = self._creep, 0.0, 0.0
            return
        back = self.cylinder
        if not self.regulated or "fails open" in self.modes:
            outlet = back
        else:
            full = self.seat.C * RHO0 * math.sqrt(T0 / self.ground.temperature) * back
            share = q / full
            self.sunk += (self.droop * min(share, 1.0) - self.sunk) * min(1.0, dt / 0.1)
            # A line that takes more than the seat can give starves the outlet until both agree.
            more = 1.0 - 1.0 / share if share > 1.0 else share - 1.0
            self.starved = max(0.0, self.starved + more * net.p[self.index] * min(1.0, dt / 0.1))
            self.risen += (self._creep * max(0.0, 1.0 - q / (0.01 * full)) - self.risen) * min(1.0, dt / 5.0)
            outlet = min(max(self.set_to - self.sunk - self.starved + self.risen, P_ATM), back)
        if abs(outlet - net.p[self.index]) > 20.0:
            net.set_reservoir(self.name, outlet)
        if back < 0.5 * min(self.set_to, self.first) and not self._told_low:
            self._told_low = True
            self.ground.tell(self.name, f"has run down to {(back - P_ATM) / 1e5:z.1f} bar")

    @property
    def _creep(self) -> float:
        return CREEPING * max(self.most_creep, 20_000.0) if "creeps" in self.modes else self.creep


class ReliefState:
    """Tells when a relief opens and shuts; holds its faults."""

    def __init__(self, ground: Ground, pad: Pad, name: str, path: int) -> None:
        part = pad.site[name]
        assert isinstance(part, ReliefPart)
        self.ground, self.name, self.path = ground, name, path
        self.opens_at = resolve.relief(pad, name).opens_at.nominal
        self.on = ground.net.index(part.relief)
        self.passing = False
        self.set_to = self.opens_at
        self._shut_since = 0.0

    def strike(self, mode: str) -> None:
        net = self.ground.net
        if mode == "stuck":
            net.set_opening(self.path, 0.0, at_once=True)
        elif mode == "set low":
            self.set_to = SET_LOW * self.opens_at
            net.set_pressure_setting(self.path, P_ATM + self.set_to)

    def mend(self) -> None:
        self.set_to = self.opens_at
        self.ground.net.set_opening(self.path, 1.0, at_once=True)
        self.ground.net.set_pressure_setting(self.path, P_ATM + self.opens_at)

    def look(self) -> None:
        """Report opening at once, shutting only when it stayed shut for a second (no chatter)."""
        ground = self.ground
        flows = ground.net.q[self.path] > 0.0
        if flows:
            self._shut_since = ground.now
            if not self.passing:
                self.passing = True
                ground.tell(self.name, f"opens at {self.set_to / 1e5:.1f} bar")
        elif self.passing and ground.now - self._shut_since > 1.0:
            self.passing = False
            ground.tell(self.name, f"shuts at {(ground.net.p[self.on] - P_ATM) / 1e5:z.1f} bar")


def parts_from(plan: LinePlan, volumes: set[str]) -> bool:
    """Whether a line leads from something that stays to one of these volumes (or back); what leads to the air, or from
    one of them to another, goes with them."""
    ends = (plan.resolved.source, plan.resolved.target)
    return AIR not in ends and sum(end in volumes for end in ends) == 1


__all__ = ["AIR", "Line", "ReliefState", "SupplyState", "parts_from"]
