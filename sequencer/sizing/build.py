"""From `Pad` to `Sheet`: every section in order. Nothing is printed here."""

from __future__ import annotations

from sequencer.description.pad import Pad
from sequencer.site.assumed import assumptions
from sequencer.sizing.cooling import cooling_section
from sequencer.sizing.filling import filling_section
from sequencer.sizing.levels import levels
from sequencer.sizing.pulling import servo_section
from sequencer.sizing.races import race_section
from sequencer.sizing.reaction import reaction_section
from sequencer.sizing.release import head_section, releases
from sequencer.sizing.sensing import sensing_section
from sequencer.sizing.sheet import BLIND, Section, Sheet
from sequencer.sizing.standoff import energy_section, pressure_section
from sequencer.sizing.venting import venting_section
from sequencer.sizing.wires import short_section, wire_sections


def sizing_sheet(pad: Pad) -> Sheet:
    """The whole sheet of a checked pad. Raises SequencerError where a value cannot be worked with."""
    last = (race_section(pad), *wire_sections(pad), short_section(pad))
    return _sheet(pad, (*numbers(pad), *(section for section in last if section.lines)))


def numbers_sheet(pad: Pad) -> Sheet:
    """The sheet without races and wires: all that a changed number can change, quick enough to be asked often."""
    return _sheet(pad, numbers(pad))


def numbers(pad: Pad) -> tuple[Section, ...]:
    """Every section of numbers that has a line."""
    volumes = {name: v for name, v in levels(pad).items() if v.fills or v.vents or v.readings}
    heads = releases(pad, volumes)
    sections = (
        energy_section(pad, volumes),
        pressure_section(pad, volumes),
        filling_section(pad, volumes),
        venting_section(pad, volumes),
        cooling_section(pad, volumes),
        head_section(pad, heads),
        servo_section(pad, heads),
        reaction_section(pad, volumes),
        sensing_section(pad, volumes),
    )
    return tuple(section for section in sections if section.lines)


def _sheet(pad: Pad, sections: tuple[Section, ...]) -> Sheet:
    known = assumptions()
    used = dict.fromkeys(key for section in sections for line in section.lines for key in line.assumed)
    listed = tuple((key, known[key].text, f"{known[key].reason} [{known[key].tag}]") for key in used)
    return Sheet(pad.title, pad.revision, pad.file, BLIND, sections, listed)
