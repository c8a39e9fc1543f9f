"""A trial drawn: the distribution of each result, and which drawn value goes with it most."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.trials.spread import Measure, Spread

COLUMNS = 3
INK, SOFT, FILL = "#1b1b1f", "#55565e", "#c9cad1"
LINES = {0.05: ("--", 0.9), 0.5: ("-", 1.4), 0.95: ("--", 0.9)}
FAR = 4.0
"""Runs farther from the middle than so many times the distance of the 5 and 95 % lines are counted, not drawn."""


def plot_spread(found: Spread, path: Path) -> None:
    """Draw to `path` (.svg or .png): one histogram for each result with its 5, 50 and 95 % values and strongest driver,
    and the chances with their bounds. Raises OSError where it cannot be written."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    rows = -(-len(found.measures) // COLUMNS)
    events = 0.24 * len(found.events) + 0.9
    height = 2.2 * rows + events + 0.8
    style: dict[Any, Any] = {
        "font.family": "DejaVu Sans", "font.size": 8.5, "axes.edgecolor": SOFT, "axes.labelcolor": INK, "xtick.color": SOFT, "ytick.color": INK,
        "svg.hashsalt": "sequencer", "axes.spines.top": False, "axes.spines.right": False, "axes.titlelocation": "left", "axes.titlesize": 9,
    }  # fmt: skip
    with plt.rc_context(style):
        figure = plt.figure(figsize=(12.5, height), layout="constrained")
        bands: Any = figure.subfigures(4, 1, height_ratios=[0.5, 2.2 * rows, events, 0.3])
        _, above, below, _ = bands
        grid = above.subplots(rows, COLUMNS, squeeze=False)
        for number, measure in enumerate(found.measures):
            values = found.results[:, found.result_names.index(measure.name)]
            _histogram(grid.flat[number], measure, values[np.isfinite(values)])
        for axis in grid.flat[len(found.measures) :]:
            axis.remove()
        _chances(below.subplots(), found)
        figure.suptitle(f"{found.title}: {found.runs:,} launches with tolerances drawn, seed {found.seed}", x=0.01, y=1.0 - 0.1 / height, ha="left", va="top", fontsize=11.5,
                        fontweight="bold", color=INK)  # fmt: skip
        says = "Bars: how many runs. Lines at 5, 50 and 95 % of them; under a title the drawn value that goes with it most, by rank correlation. It certifies nothing."
        figure.text(0.01, 0.08 / height, says, fontsize=7.5, color=SOFT)
        figure.savefig(path, metadata={"Date": None} if path.suffix.lower() == ".svg" else None, dpi=150)
        plt.close(figure)


def edges(values: NDArray[np.float64], most: int = 40) -> NDArray[np.float64]:
    """Edges of at most about `most` bars of one width. Times are whole scans: bars are as many scans wide each, with every
    value amid its bar, so that no bar stays empty for the scan's sake."""
    steps = np.diff(np.unique(np.round(values, 9)))
    if not len(steps):
        return np.array([values[0] - 0.5, values[0] + 0.5])
    step, spanned = float(steps.min()), float(np.ptp(values))
    whole = bool(np.allclose(steps / step, np.round(steps / step), atol=1e-3)) and spanned / step < 20 * most
    width = step * np.ceil(spanned / step / most) if whole else spanned / most
    low = float(values.min()) - (step / 2 if whole else 0.0)
    return np.asarray(low + width * np.arange(int(np.ceil((spanned + (step if whole else 0.0)) / width - 1e-6)) + 1))


def _histogram(axis: Any, measure: Measure, values: NDArray[np.float64]) -> None:
    """Bars over the runs near the middle; how many lie beyond is said."""
    from matplotlib.ticker import MaxNLocator

    marks = {p.share: p.value for p in measure.percentiles if p.share in LINES}
    near = FAR * max(marks[0.95] - marks[0.5], marks[0.5] - marks[0.05]) if len(marks) == len(LINES) else 0.0
    shown = values[np.abs(values - marks[0.5]) <= near] if near > 0.0 else values
    axis.hist(shown, bins=edges(shown), color=FILL)
    for share, value in marks.items():
        dash, width = LINES[share]
        axis.axvline(value, color=INK, linestyle=dash, linewidth=width)
    driver = "".join(f"\n{name} {rho:+z.2f}" for name, rho in measure.drivers[:1]) or "\ngoes clearly with none of the drawn values"
    axis.set_title(f"{measure.name}, {measure.unit}{driver}", color=INK)
    if len(shown) < len(values):
        axis.text(1.0, 1.0, f"{len(values) - len(shown)} beyond", transform=axis.transAxes, ha="right", va="top", color=SOFT, fontsize=7.5)
    axis.set_yticks([])
    axis.spines["left"].set_visible(False)
    axis.xaxis.set_major_locator(MaxNLocator(5))


def _chances(axis: Any, found: Spread) -> None:
    """Each event's share of the runs, with its bounds, in per cent."""
    places = np.arange(len(found.events))[::-1]
    for place, event in zip(places, found.events, strict=True):
        axis.plot([100 * event.chance.low, 100 * event.chance.high], [place, place], color=INK, linewidth=1.2)
        axis.plot(100 * event.chance.share, place, "o", color=INK, markersize=4)
    axis.set_yticks(places, [textwrap.shorten(event.name, 44, placeholder="…") for event in found.events])
    axis.set_ylim(-0.7, len(found.events) - 0.3)
    axis.set_xlim(left=-0.01 * axis.get_xlim()[1])
    axis.set_title("share of the runs in which it happened, % (point), with exact bounds at 95 % confidence (line)", color=INK)
    axis.grid(axis="x", color=FILL, linewidth=0.5)
    axis.set_axisbelow(True)
