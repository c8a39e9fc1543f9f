"""Stored energy, stand-off, the order of pressures, relief capacity, proof test."""

from __future__ import annotations

from sequencer.description.grounds import PadPart, SupplyPart
from sequencer.description.pad import Pad
from sequencer.quantities import ATMOSPHERE, show
from sequencer.site import energy, flow, resolve
from sequencer.sizing.levels import Levels, accuracy_of
from sequencer.sizing.pockets import charged
from sequencer.sizing.sheet import BLAST_ONLY, FLOW_KEYS, Line, Section, ratio

PCC2 = "ASME PCC-2 Art. 501 (II-2), E = 2.5 p V [1 - (101 kPa/p)^0.286]"


def stand_off_of(pad: Pad, volumes: dict[str, Levels]) -> energy.StandOff:
    """Every stand-off rule for all vessels and hoses bursting at once, dry, at the highest pressure; the file's own may
    enlarge it."""
    local = [p.local_distance.si for p in pad.parts(PadPart).values() if p.local_distance is not None]
    total = stored_energy(pad, volumes)
    gauge = max((v.highest for v in volumes.values()), default=0.0)
    water = sum(impulse(v) for v in volumes.values())
    return energy.stand_off(
        total, gauge, impulse=min(water, energy.HIGH_POWER_TABLE[-1][0]) if water > 0.0 else None, eye_protection=False, local=max(local, default=0.0)
    )


def stored_energy(pad: Pad, volumes: dict[str, Levels]) -> float:
    """Energy of all vessels without water and all hoses, at their highest pressures, J."""
    vessels = sum(energy.pcc2_energy(v.highest + energy.P_ATM_PCC2, v.part.volume.si) for v in volumes.values())
    return vessels + sum(hose.energy for hose in charged(pad, volumes))


def impulse(level: Levels) -> float:
    """Upper estimate of the total impulse of a volume's water, N.s: m*sqrt(2p/rho) at the highest pressure."""
    water = level.part.water.si if level.part.water is not None else 0.0
    return energy.impulse_estimate(water * flow.RHO_WATER, level.highest)


def energy_section(pad: Pad, volumes: dict[str, Levels]) -> Section:
    """Gas energy per vessel, TNT equivalent, every stand-off rule, and the greatest."""
    lines: list[Line] = []
    if not volumes:
        return Section("Stored energy and stand-off", "", ())
    for name, level in volumes.items():
        wet = energy.pcc2_energy(level.working + energy.P_ATM_PCC2, resolve.gas_volume(pad, name))
        worst = energy.pcc2_energy(level.highest + energy.P_ATM_PCC2, level.part.volume.si)
        top = show(level.highest, "bar")
        lines.append(Line(f"energy in {name}", wet, "kJ", PCC2, worst, f"at {top}, without water",
                          note=f"working {show(level.working, 'bar')} ({level.working_from})"))  # fmt: skip
    held = charged(pad, volumes)
    if held:
        lines.append(Line("energy in hoses", sum(hose.energy for hose in held), "kJ", PCC2, note="each at the higher of its ends"))
    total = stored_energy(pad, volumes)
    brode = sum(energy.brode_energy(v.highest + ATMOSPHERE, v.part.volume.si) for v in volumes.values())
    brode += sum(energy.brode_energy(hose.highest + ATMOSPHERE, hose.room) for hose in held)
    lines.append(Line("energy, vessels and hoses", total, "kJ", PCC2 + "; Brode (p - p0) V/(k - 1) beside it", brode, "by Brode"))  # fmt: skip
    lines.append(Line("TNT equivalent", energy.tnt_mass(total), "g", "ASME PCC-2 (II-3), 4 266 920 J/kg",
                      energy.tnt_mass(brode), "by Brode"))  # fmt: skip
    lines += _rules(pad, volumes)
    for name, part in pad.parts(SupplyPart).items():
        if part.volume is not None:
            stored = energy.pcc2_energy(part.pressure.high + energy.P_ATM_PCC2, part.volume.si)
            lines.append(Line(f"energy in {name}", stored, "kJ", PCC2,
                              note="stands with the people: an approved cylinder, upright, tied, opened slowly"))  # fmt: skip
    return Section("Stored energy and stand-off", f"Distances: {BLAST_ONLY}.", tuple(lines))


def _rules(pad: Pad, volumes: dict[str, Levels]) -> list[Line]:
    found = stand_off_of(pad, volumes)
    lines = [
        Line(f"rule: {rule.name}", rule.distance, "m", f"{rule.source} [{rule.tag}]", note=BLAST_ONLY) for rule in found.rules
    ]
    if sum(impulse(v) for v in volumes.values()) > energy.HIGH_POWER_TABLE[-1][0]:
        lines.append(Line("rule: high-power table", None, "m", "NFPA 1127 table 4.16.3 [from memory]", words="table ended", note=BLAST_ONLY,
                          warning="the impulse is beyond the table: ask the range safety officer for a distance"))  # fmt: skip
    local = [p.local_distance.si for p in pad.parts(PadPart).values() if p.local_distance is not None]
    needed = max(rule.distance for rule in found.rules if rule.tag != "given by the user")
    warning = ""
    if local and max(local) < needed:
        warning = f"local_distance {show(max(local), 'm')} is shorter than the rules give; it counts for nothing"
    lines.append(Line("stand-off, all people", found.distance, "m", f"greatest of the rules: {found.governing.name}",
                      note=BLAST_ONLY, warning=warning))  # fmt: skip
    return lines


def pressure_section(pad: Pad, volumes: dict[str, Levels]) -> Section:
    """Working < trip < relief < rating < test, relief capacity against both worst feeds, steps of the proof test."""
    lines: list[Line] = []
    for name, level in volumes.items():
        lines += _order(pad, name, level)
        lines += _capacity(pad, name, level)
        if level.part.tested_to is not None:
            steps = energy.proof_steps(level.part.tested_to.si)
            lines.append(Line(f"{name}: proof-test holds", level.part.tested_to.si, "bar",
                              "first min(half, 170 kPa): ASME B31.3 345.5 [seen]; half, then tenths: VIII-1 UG-100 [from memory]",
                              words=" ".join(f"{p / 1e5:.3g}" for p in steps) + " bar",
                              note="filled with water: the same test stores thousands of times less"))  # fmt: skip
    return Section("Pressures in order, relief, proof test", "Gauge pressures. Each must lie below the next.", tuple(lines))


def _order(pad: Pad, name: str, level: Levels) -> list[Line]:
    lines = []
    part = level.part
    if level.trip is not None and level.fills:
        accuracy = accuracy_of(pad, level.trip.reading)
        room = level.trip.limit - level.working
        lines.append(Line(f"{name}: working to trip", room, "bar", "trip limit - working, against twice the sensor's error",
                          room - 2.0 * accuracy, f"{level.trip.condition}, both sensors at their error", ratio(room, 2.0 * accuracy),
                          1.5, "working + errors stays below the trip", place=pad.place("conditions", level.trip.condition)))  # fmt: skip
    for relief in level.reliefs:
        below = level.trip.limit + accuracy_of(pad, level.trip.reading) if level.trip is not None else level.working
        word = "trip" if level.trip is not None else "working"
        lines.append(Line(f"{name}: {word} to relief", relief.opens_at.nominal, "bar", "relief at its low end over what must not lift it",
                          relief.opens_at.low, f"set of {relief.name} at its low end", ratio(relief.opens_at.low, below), 1.02,
                          f"relief opens above {show(below, 'bar')}", place=pad.place("site", relief.name)))  # fmt: skip
        lines.append(Line(f"{name}: relief to rating", relief.opens_at.nominal, "bar",
                          "set at its high end <= rating; 10 % accumulation, PED 2014/68/EU I 7.3 [from memory]",
                          relief.opens_at.high, "set at its high end", ratio(part.rated.si, relief.opens_at.high), 1.0,
                          f"rated {show(part.rated.si, 'bar')}", place=pad.place("site", name, "rated")))  # fmt: skip
    if not level.reliefs:
        lines.append(Line(f"{name}: relief", None, "bar", "every vessel has a relief of its own", words="none", margin=0.0,
                          against="a relief valve on the vessel", place=pad.place("site", name)))  # fmt: skip
    if part.tested_to is not None:
        lines.append(Line(f"{name}: test to working", part.tested_to.si, "bar", "full of water to >= 1.5 times working [seen]",
                          margin=ratio(part.tested_to.si, 1.5 * level.working), against=f"1.5 times {show(level.working, 'bar')}",
                          place=pad.place("site", name, "tested_to")))  # fmt: skip
        top = energy.highest_relief_setting(part.tested_to.si)
        lines.append(Line(f"{name}: relief during the test", top, "bar", "test + min(345 kPa, 10 %): ASME B31.3 345.5.2 [seen]",
                          note="the highest setting allowed while testing with gas"))  # fmt: skip
    else:
        lines.append(Line(f"{name}: tested to", None, "bar", "full of water to >= 1.5 times working [seen]", words="not given",
                          warning="no proof test is described", place=pad.place("site", name)))  # fmt: skip
    return lines


def _capacity(pad: Pad, name: str, level: Levels) -> list[Line]:
    """C_relief * p_relieving against sum C_feed * p_supply, choked: with the regulator, and with it failed wide open."""
    if not level.reliefs:
        return []
    capacity = sum(r.conductance.low * (1.1 * r.opens_at.low + ATMOSPHERE) for r in level.reliefs)
    needed = failed = 0.0
    keys: set[str] = {k for r in level.reliefs for k in r.assumed if k != "relief.reseat_ratio"}
    for fill in level.fills:
        feed = resolve.supply(pad, fill.source)
        needed += fill.most.C * (feed.most + ATMOSPHERE)
        failed += fill.most.C * (feed.cylinder + ATMOSPHERE)
        keys |= {k for k in fill.assumed if k in FLOW_KEYS}
    source = "C_relief (1.1 p_set + p_atm) >= sum of C_feed p_supply, choked ISO 6358"
    rows = [(f"{name}: relief capacity", needed, "valve stuck open, supply at its highest")]
    if any(resolve.supply(pad, fill.source).regulated for fill in level.fills):
        rows.append((f"{name}: same, regulator failed", failed, "cylinder pressure through the open fill line"))
    return [
        Line(what, ratio(capacity, need), "", source, margin=ratio(capacity, need), limit=1.5, worst_is=why,
             against="the relief carries the worst feed", assumed=tuple(sorted(keys)))
        for what, need, why in rows
    ]  # fmt: skip
