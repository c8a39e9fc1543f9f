"""The release head as statics: wedge, levers with pins, sear, catch. N, m, rad; friction is mu.

The load W (the separating force) presses an inclined contact; what it pushes outwards, ``W*tan(theta - phi)``, runs
through a lever train to a catch that the servo withdraws. Below the friction angle phi the contact holds itself.

Sources: any statics text, Marks' Standard Handbook, Machinery's Handbook (wedge, friction circle; from
memory). Friction tables for one pair differ by 5:1: measure, and give the range.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sequencer.errors import SequencerError

KGF = 9.80665
"""One kilogram-force in N."""

Verdict = Literal["lets go by itself", "lets go", "servo too weak", "seized"]


def friction_angle(mu: float) -> float:
    """phi = atan(mu), rad."""
    return math.atan(mu)


def separating_force(gauge: float, seal_diameter: float, weight: float = 0.0) -> float:
    """p_g*A - W in N, A on the sealing diameter (not the throat)."""
    return gauge * math.pi * seal_diameter * seal_diameter / 4.0 - weight


def wedge_hold(load: float, angle: float, mu: float) -> float:
    """Force that keeps an inclined contact from slipping out, W*tan(theta - phi); <= 0: it holds itself."""
    return load * math.tan(angle - friction_angle(mu))


def wedge_drive(load: float, angle: float, mu: float, mu_back: float = 0.0) -> float:
    """Force that drives a wedge in: W*[tan(theta + phi1) + tan(phi2)]; ``mu_back`` 0 is a frictionless back face.

    Infinite when theta + phi reaches 90 degrees.
    """
    total = angle + friction_angle(mu)
    return math.inf if total >= math.pi / 2 else load * (math.tan(total) + mu_back)


def wedge_withdraw(load: float, angle: float, mu: float, mu_back: float = 0.0) -> float:
    """Force that pulls a self-holding wedge out: W*[tan(phi2) + tan(phi1 - theta)]; <= 0: it comes by itself."""
    return load * (mu_back + math.tan(friction_angle(mu) - angle))


def self_locks(angle: float, mu: float, mu_back: float = 0.0) -> bool:
    """Whether the contact holds itself: theta <= phi1 + phi2."""
    return angle <= friction_angle(mu) + friction_angle(mu_back) + 1e-12


def friction_circle(pin_radius: float, mu: float) -> float:
    """Radius of the friction circle of a pin, r*sin(phi), m."""
    return pin_radius * math.sin(friction_angle(mu))


def sear_force(normal: float, mu: float, hook_angle: float = 0.0) -> float:
    """Force to draw a sear from under a load: N*(mu + tan(hook)), hook positive when it must lift the load, N."""
    return normal * (mu + math.tan(hook_angle))


@dataclass(frozen=True, slots=True)
class Lever:
    """A first-class lever: the load on the short arm ``a`` (m), the effort on the long arm ``b`` (m)."""

    a: float
    b: float
    pin_radius: float = 0.0

    def __post_init__(self) -> None:
        if not (self.a > 0.0 and self.b > 0.0 and 0.0 <= self.pin_radius < min(self.a, self.b)):
            raise SequencerError(f"a lever needs arms longer than its pin radius, got {self.a}, {self.b}, {self.pin_radius} m")

    def ideal(self, load: float) -> float:
        """Effort without friction, N."""
        return load * self.a / self.b

    def hold(self, load: float, mu: float) -> float:
        """Effort that just holds the load (pin friction helps): F*(a - rf)/(b + rf), N."""
        rf = friction_circle(self.pin_radius, mu)
        return load * (self.a - rf) / (self.b + rf)

    def raise_(self, load: float, mu: float) -> float:
        """Effort that moves against the load (pin friction hurts): F*(a + rf)/(b - rf), N."""
        rf = friction_circle(self.pin_radius, mu)
        return load * (self.a + rf) / (self.b - rf)


@dataclass(frozen=True, slots=True)
class Head:
    """A release head. Forces in N, angles in rad, lengths in m.

    ``contact_mu`` at the wedge, ``pin_mu`` in the lever pins, ``catch_mu`` at the sear that the servo draws with hook
    angle ``catch_hook`` over ``catch_engages``. ``efficiency`` is per lever stage beside pin friction. ``opening_spring``
    pushes the contact open (N at the contact); ``catch_spring`` keeps the catch engaged. ``catch_strength`` is the
    largest force on the catch before it gives way or creeps off.
    """

    contact_angle: float
    contact_mu: float
    levers: tuple[Lever, ...] = ()
    efficiency: float = 1.0
    pin_mu: float = 0.0
    catch_mu: float = 0.16
    catch_hook: float = 0.0
    catch_engages: float = 0.003
    catch_spring: float = 0.0
    catch_strength: float = math.inf
    opening_spring: float = 0.0

    @property
    def ratio(self) -> float:
        """Ideal force ratio of the train, product of a/b (below 1)."""
        return math.prod(lever.a / lever.b for lever in self.levers)

    def stages(self, load: float) -> tuple[float, ...]:
        """Force the contact pushes out with, then the holding force after each lever, N (0 where it holds itself)."""
        force = max(0.0, wedge_hold(load, self.contact_angle, self.contact_mu) + self.opening_spring)
        out = [force]
        for lever in self.levers:
            force = lever.hold(force, self.pin_mu) * self.efficiency
            out.append(force)
        return tuple(out)

    def hold_force(self, load: float) -> float:
        """Force on the catch under ``load``, N; 0 when contact friction holds it."""
        return self.stages(load)[-1]

    def pull_force(self, load: float) -> float:
        """Force the servo needs at the catch to let go: sear friction and hook plus the catch's own spring, N."""
        return max(0.0, sear_force(self.hold_force(load), self.catch_mu, self.catch_hook)) + self.catch_spring

    def relatch_force(self, load: float) -> float:
        """Force at the end of the train that drives the contact back in against ``load``, N (friction hurts)."""
        force = wedge_drive(load, self.contact_angle, self.contact_mu) + self.opening_spring
        for lever in self.levers:
            force = lever.raise_(force, self.pin_mu) / self.efficiency
        return force

    def self_lock_margin(self) -> float:
        """theta - phi in rad: positive opens under load, zero or negative seizes."""
        return self.contact_angle - friction_angle(self.contact_mu)

    def verdict(self, load: float, pull: float) -> Verdict:
        """What happens under ``load`` (N) when the catch is drawn with up to ``pull`` (N)."""
        held = self.hold_force(load)
        if held > self.catch_strength:
            return "lets go by itself"
        if sear_force(held, self.catch_mu, self.catch_hook) + self.catch_spring < 0.0:
            return "lets go by itself"
        pushing = wedge_hold(load, self.contact_angle, self.contact_mu) + self.opening_spring
        if pushing <= 0.0:
            return "seized"
        return "lets go" if self.pull_force(load) <= pull else "servo too weak"


@dataclass(frozen=True, slots=True)
class ReleaseWindow:
    """Verdicts over loads (N) and contact friction: ``cells[i][j]`` for ``frictions[i]``, ``loads[j]``."""

    loads: tuple[float, ...]
    frictions: tuple[float, ...]
    cells: tuple[tuple[Verdict, ...], ...]

    def always(self) -> tuple[float, float] | None:
        """Longest run of given loads at which every friction lets go on command, as (least, most) N; None if none."""
        best: tuple[float, float] | None = None
        start: float | None = None
        for j, load in enumerate(self.loads):
            if all(row[j] == "lets go" for row in self.cells):
                start = load if start is None else start
                if best is None or load - start > best[1] - best[0]:
                    best = (start, load)
            else:
                start = None
        return best


def release_window(head: Head, loads: Sequence[float], frictions: Sequence[float], pull: float) -> ReleaseWindow:
    """Map of :meth:`Head.verdict` with the servo's ``pull`` (N) at the catch, over load and contact friction."""
    rows = tuple(
        tuple(replace(head, contact_mu=mu).verdict(load, pull) for load in loads) for mu in frictions
    )
    return ReleaseWindow(tuple(loads), tuple(frictions), rows)


def fit_bench(
    load: float, first: tuple[float, float], second: tuple[float, float]
) -> tuple[float, float]:
    """Friction and lever ratio that explain two bench readings (angle rad, holding force N) at one ``load`` (N).

    Solves tan(t1 - phi)*F2 = tan(t2 - phi)*F1 by bisection on phi. Raises SequencerError when no friction does.
    """
    (t1, f1), (t2, f2) = sorted((first, second))
    if not 0.0 < f1 < f2:
        raise SequencerError("the steeper contact must need the greater force")

    def miss(phi: float) -> float:
        return math.tan(t2 - phi) * f1 - math.tan(t1 - phi) * f2

    low, high = 0.0, t1 - 1e-9
    if miss(low) > 0.0:
        raise SequencerError("no friction explains both readings: their ratio is nearer to one than without friction")
    for _ in range(200):
        mid = 0.5 * (low + high)
        low, high = (mid, high) if miss(mid) < 0.0 else (low, mid)
    return math.tan(low), f2 / (load * math.tan(t2 - low))
