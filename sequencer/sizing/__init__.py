"""The sizing sheet: what the pad's own numbers add up to, each with its source, its bad end and its margin.

`sizing_sheet` builds the frozen sheet; `how_wrong` asks how far each number may be off before something gets worse.
"""

from sequencer.sizing.build import sizing_sheet
from sequencer.sizing.how_wrong import HowWrong, how_wrong
from sequencer.sizing.sheet import Line, Section, Sheet

__all__ = ["HowWrong", "Line", "Section", "Sheet", "how_wrong", "sizing_sheet"]
