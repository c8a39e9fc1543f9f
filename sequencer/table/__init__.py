"""The compiled controller: integers only, its rows and the one scan function.

It knows no YAML key and no float; simulation, proof, firmware and trials all run this.
"""

from sequencer.table.compile import compile_table
from sequencer.table.scan import Inputs, Memory, Move, power_up, scan
from sequencer.table.table import Kind, Table

__all__ = ["Inputs", "Kind", "Memory", "Move", "Table", "compile_table", "power_up", "scan"]
