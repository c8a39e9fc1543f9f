"""The description room: the file's vocabulary, its reader, its findings, and critical reading.

Everything below it is unknown here; everything above reads a `Pad` and never YAML.
"""

from sequencer.description.pad import Pad
from sequencer.description.reader import load, loads

__all__ = ["Pad", "load", "loads"]
