"""The simulation room: controller + site + events -> a run; deterministic, every interlock watched.

It knows no terminal and no file; `simulate` is one run, `Session` one in progress, `Event` what happens to it.
"""

from sequencer.simulation.events import Event, story
from sequencer.simulation.result import Judged, Line, Run
from sequencer.simulation.run import simulate
from sequencer.simulation.session import Session

__all__ = ["Event", "Judged", "Line", "Run", "Session", "simulate", "story"]
