"""A trial drawn: the distribution of each result, and which drawn values go with it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sequencer.trials.spread import Spread

COLUMNS = 3


def plot_spread(found: Spread, path: Path) -> None:
    """Draw to `path` (.svg or .png): one histogram for each result with its 5, 50 and 95 % values and strongest driver,
    and the chances with their bounds. Raises OSError where it cannot be written."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    rows = -(-(len(found.measures) + 1) // COLUMNS)
    with plt.rc_context({"svg.hashsalt": "spread", "font.size": 8}):
        figure, grid = plt.subplots(rows, COLUMNS, figsize=(11, 2.3 * rows), squeeze=False, layout="constrained")
        axes = list(grid.flat)
        for axis, measure in zip(axes, found.measures, strict=False):
            values = found.results[:, found.result_names.index(measure.name)]
            axis.hist(values[np.isfinite(values)], bins=40, color="0.6")
            for percentile in measure.percentiles:
                if percentile.share in (0.05, 0.5, 0.95):
                    axis.axvline(percentile.value, color="black", lw=1.2 if percentile.share == 0.5 else 0.8, ls="-" if percentile.share == 0.5 else "--")
            driver = "".join(f"\n{name} {rho:+z.2f}" for name, rho in measure.drivers[:1])
            axis.set_title(f"{measure.name} [{measure.unit}]{driver}", fontsize=8)
            axis.set_yticks([])
        chances = axes[len(found.measures)]
        places = np.arange(len(found.events))[::-1]
        for place, event in zip(places, found.events, strict=True):
            chances.plot([event.chance.low, event.chance.high], [place, place], color="black", lw=1.0)
            chances.plot(event.chance.share, place, "o", color="black", ms=3)
        chances.set_yticks(places, [event.name[:34] for event in found.events], fontsize=6)
        chances.set_title("chance, with exact bounds at 95 % confidence", fontsize=8)
        for axis in axes[len(found.measures) + 1 :]:
            axis.remove()
        figure.suptitle(f"{found.title}: {found.runs} launches, seed {found.seed}; lines at 5, 50 and 95 %. A model, no certificate.", fontsize=9)
        figure.savefig(path, metadata={"Date": None} if path.suffix.lower() == ".svg" else None, dpi=150)
        plt.close(figure)
