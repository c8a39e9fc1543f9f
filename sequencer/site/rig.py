"""How a rig settles under the load of its jack."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RigCreep:
    """The load sinks by ``share`` of itself with time constant ``tau`` s."""

    share: float
    tau: float

    def load(self, first: float, seconds: float) -> float:
        """Load ``seconds`` after it stood at ``first``, in its unit."""
        return first * (1.0 + self.share * math.expm1(-seconds / self.tau))
