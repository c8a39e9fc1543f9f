"""A small file as text, and a box that scans it, for tests of single sentences."""

from __future__ import annotations

from sequencer.description import Pad, loads
from sequencer.table import Inputs, Memory, Table, compile_table, power_up, scan

HEAD = """title: Small
revision: 1
scan: 10 ms
pressures: gauge
inputs:
  k: {contact: closes when pressed, steady_for: STEADY}
  p: {analog: 8 bit, reads: tank, points: {10: 0 bar, 110: 1 bar}, accuracy: 0.01 bar, valid: 6 to 130}
  h: {heartbeat: every 20 ms}
outputs:
  o: {relay: [off, on], rest: off}
site:
  tank: {volume: 1 l, rated: 2 bar}
"""
TWO = "states:\n  a: {says: A., leave: [LEAVE]}\n  b: {says: B., outputs: {o: on}, stays: it just does}\n"


def pad(conditions: dict[str, str], leave: str = "", steady: str = "0 ms", tail: str = "", states: str = TWO) -> Pad:
    lines = "conditions:\n" + "".join(f"  {name}: {text}\n" for name, text in conditions.items())
    body = states.replace("leave: [LEAVE]", f"leave: [{leave}]" if leave else "stays: it just does")
    return loads(HEAD.replace("STEADY", steady) + lines + body + tail)


class Box:
    """A table under scan, with plain words for its inputs."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.memory: Memory = power_up(table)

    def go(self, scans: int = 1, k: int = 0, p: int = 60, h: int = 1) -> list[bool]:
        """Scan so often with these inputs; the values of the first condition."""
        seen = []
        for _ in range(scans):
            self.memory, self.outputs, self.move = scan(self.table, self.memory, Inputs((k,), (p,), (h,)))
            seen.append(bool(self.memory.bits & 1))
        return seen

    @property
    def state(self) -> str:
        return self.table.states[self.memory.state].name


def box(conditions: dict[str, str], leave: str = "", **more: str) -> Box:
    return Box(compile_table(pad(conditions, leave, **more)))
