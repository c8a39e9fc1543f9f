"""How far shut gas may rise by warming alone, which the abstraction does not follow: told with every answer.

Gas that is shut in follows its temperature, p ~ T (Gay-Lussac). Sun and air bring what the assumed swing says. Gas that
has just been let down is colder than its wall, at most as cold as an adiabatic fall from the volume's highest pressure
makes it, T ~ p^((k-1)/k), and comes back while it warms to its wall; heat that it takes up on the way only lessens that.
"""

from __future__ import annotations

import math

from sequencer.description.grounds import VolumePart
from sequencer.proof.bands import comparison
from sequencer.proof.draft import Draft
from sequencer.proof.gas import ceiling
from sequencer.quantities import ATMOSPHERE
from sequencer.site import resolve
from sequencer.site.assumed import assumed
from sequencer.site.flow import GAMMA
from sequencer.table import Kind


def swing(draft: Draft) -> float:
    """Greatest ratio of temperatures that sun and air bring while gas is shut in."""
    return 1.0 + assumed("weather.swing").high / resolve.air_temperature(draft.pad).low


def by_sun(draft: Draft, volume: str) -> float:
    """Most that the volume rises from its highest pressure by sun and air, Pa."""
    return (ceiling(draft, volume) + ATMOSPHERE) * (swing(draft) - 1.0)


def comes_back(draft: Draft, volume: str, pressure: float) -> float:
    """Highest pressure to which gas that is shut in at a pressure after the quickest fall comes back (gauge Pa)."""
    highest, here = ceiling(draft, volume) + ATMOSPHERE, pressure + ATMOSPHERE
    colder = math.pow(max(1.0, highest / here), (GAMMA - 1.0) / GAMMA)
    return here * colder * swing(draft) - ATMOSPHERE


def seen_empty(draft: Draft, volume: str) -> tuple[str, float, float] | None:
    """(condition, seconds, gauge Pa) of the condition with a delay after whose being true the volume, shut in, comes
    back least: what the gas has not yet risen by while it was seen to be low, at the slowest warming."""
    part = draft.pad.site[volume]
    found: list[tuple[str, float, float]] = []
    assert isinstance(part, VolumePart)
    low: dict[int, float] = {}
    for i, bit in enumerate(draft.table.bits):
        made = comparison(draft.pad, draft.table, bit, None, draft.durations) if bit.kind == Kind.BELOW else None
        if made is not None and made.volume == volume:
            low[i] = made.high
        care = [j for j in range(i) if (bit.set.care & bit.set.want) >> j & 1] if bit.kind == Kind.ALL and not bit.set.invert else []
        limits = [low[j] for j in (i, *care) if j in low]
        if limits:
            low.setdefault(i, min(limits))
            if bit.hold:
                seconds = bit.hold * draft.durations.scan
                found.append((bit.name, seconds, _later(draft, volume, low[i], seconds, part.rated.si)))
    return min(found, key=lambda f: f[2]) if found else None


def _later(draft: Draft, volume: str, low: float, seconds: float, rated: float) -> float:
    """Highest pressure that gas reaches, shut in now, which has been below `low` (gauge Pa) for so long.

    Of all that it warms by, from the coldest that it can have been at the air's pressure, exp(-t / tau) is still to come;
    tau grows with the mass of gas, as on the sizing sheet."""
    slowest, here = assumed("volume.cooling_time").high, low + ATMOSPHERE
    coldest = (comes_back(draft, volume, 0.0) + ATMOSPHERE) / ATMOSPHERE / swing(draft)
    end = here * coldest
    for _ in range(40):
        left = math.exp(-seconds * (rated + ATMOSPHERE) / (slowest * end))
        end = here * coldest / (coldest - (coldest - 1.0) * left)
    return min(end * swing(draft) - ATMOSPHERE, comes_back(draft, volume, 0.0))


def told(draft: Draft) -> list[str]:
    """What is left out, one line for each volume that gas can come to."""
    lines = []
    for volume in draft.bands.edges:
        if ceiling(draft, volume) <= 0.0:
            continue
        text = (
            f"gas that is shut in {volume} and warms: pressure rises here only by an open way in. Sun and air ({assumed('weather.swing').high:g} K) "
            f"bring at most {by_sun(draft, volume) / 1e5:.2f} bar more; let down quickly and shut in, {volume} comes back from empty to at most "
            f"{comes_back(draft, volume, 0.0) / 1e5:.2f} bar"
        )
        seen = seen_empty(draft, volume)
        if seen is not None:
            text += f", and after '{seen[0]}' ({seen[1]:g} s) to at most {seen[2] / 1e5:.2f} bar"
        lines.append(text)
    return lines


__all__ = ["by_sun", "comes_back", "seen_empty", "swing", "told"]
