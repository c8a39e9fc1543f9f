"""A run as one picture: states as a staircase, pressures, load, outputs and people over one time axis.

Told apart by line style and by labels beside the lines, so that it reads without colour.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sequencer.description.pad import Pad
from sequencer.simulation.result import Run, Trace

INK, SOFT, GREY, WARM = "#1b1b1f", "#55565e", "#c9cad1", "#b3261e"
STYLES = ("-", "--", "-.", ":")
SHADES = ("#0b3c6f", "#a14a00", "#2f6b2f", "#5b2a86")
PA_PER_BAR, N_PER_KGF = 1e5, 9.80665


def plot_run(pad: Pad, run: Run, target: Path) -> None:
    """Draw `run` (made with a trace) to an .svg or .png file; the directory must exist."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    from matplotlib.layout_engine import ConstrainedLayoutEngine
    from matplotlib.ticker import MaxNLocator

    trace = run.trace
    assert trace is not None, "the run was made without a trace"
    visited = _visited(trace)
    panels = [("states", 0.28 * len(visited) + 0.4), ("pressures", 2.6)]
    if trace.loads:
        panels.append(("loads", 1.6))
    panels.append(("outputs", 0.24 * (len(trace.outputs) + 1) + 0.4))
    style: dict[Any, Any] = {
        "font.family": "DejaVu Sans", "font.size": 9, "axes.edgecolor": SOFT, "axes.labelcolor": INK, "xtick.color": SOFT,
        "ytick.color": INK, "svg.hashsalt": "sequencer", "axes.spines.top": False, "axes.spines.right": False,
    }  # fmt: skip
    with plt.rc_context(style):
        heights = [height for _, height in panels]
        moment = _release(run)
        figure, grid = plt.subplots(
            len(panels), 1 if moment is None else 2, sharex="col", sharey="row", squeeze=False, layout=ConstrainedLayoutEngine(rect=(0, 0.022, 1, 0.975)),
            figsize=(12.5, sum(heights) + 1.5), gridspec_kw={"height_ratios": heights, "width_ratios": [1] if moment is None else [4.6, 1]},
        )  # fmt: skip
        seconds = trace.ms / 1000
        for column in range(grid.shape[1]):
            drawn = dict(zip((name for name, _ in panels), grid[:, column], strict=True))
            _states(drawn["states"], pad, trace, seconds, visited, closer=column > 0)
            _lines(drawn["pressures"], seconds, {n: v / PA_PER_BAR for n, v in trace.pressures.items()}, "pressure, bar gauge")
            if "loads" in drawn:
                _lines(drawn["loads"], seconds, {n: v / N_PER_KGF for n, v in trace.loads.items()}, "load, kgf")
            _outputs(drawn["outputs"], pad, trace, seconds)
            for axis in drawn.values():
                _marks(axis, run)
                axis.grid(axis="x", color=GREY, linewidth=0.5)
                axis.set_axisbelow(True)
                if column:
                    axis.set_title("", loc="left")
                    axis.xaxis.set_major_locator(MaxNLocator(3))
                    axis.tick_params(axis="y", labelleft=False)
                    if axis.get_legend() is not None:
                        axis.get_legend().remove()
        _faults(grid[0, 0], run)
        grid[-1, 0].set_xlabel("time since power came on, s")
        grid[-1, 0].set_xlim(0, float(seconds[-1]) if len(seconds) else 1)
        if moment is not None:
            grid[0, 1].set_title("the release, closer", loc="left", fontsize=9, color=SOFT)
            grid[-1, 1].set_xlim(moment - 0.6, moment + 0.4)
            grid[-1, 1].set_xlabel("s")
        ended = f"ended in {run.state_at_end or 'no state'}, verdict {run.verdict}"
        faults = f", with {', '.join(run.faults)}" if run.faults else ""
        figure.suptitle(f"{run.title}, {run.story_name.replace('_', ' ')} run, seed {run.seed}{faults}: {ended}", x=0.01, ha="left",
                        fontsize=11.5, fontweight="bold", color=INK)  # fmt: skip
        figure.text(0.01, 0.003, f"Blind to: {run.blind} Broken interlocks: {_broken(run)}.", fontsize=7.5, color=SOFT)
        figure.savefig(target, dpi=150, metadata={"Date": None} if target.suffix.lower() == ".svg" else None)
        plt.close(figure)


def _release(run: Run) -> float | None:
    """When a head first let go, s."""
    return next((line.ms / 1000 for line in run.lines if line.kind == "pad" and line.what.startswith("lets go")), None)


def _broken(run: Run) -> str:
    return ", ".join(f"{j.name} at {(j.ms or 0) / 1000:.1f} s" for j in run.broken) or "none"


def _visited(trace: Trace) -> list[int]:
    """States in order of first visit; -1 (the box is off) first if it ever was."""
    return list(dict.fromkeys(int(s) for s in trace.state))


def _segments(values: Any) -> list[tuple[int, int, int]]:
    """(value, first sample, sample after the last) of each stretch of equal values."""
    found, start = [], 0
    for i in range(1, len(values) + 1):
        if i == len(values) or values[i] != values[start]:
            found.append((int(values[start]), start, min(i, len(values) - 1)))
            start = i
    return found


def _states(axis: Any, pad: Pad, trace: Trace, seconds: Any, visited: list[int], closer: bool) -> None:
    names = list(pad.states)
    rows = {state: len(visited) - 1 - i for i, state in enumerate(visited)}
    last = None
    for state, first, end in _segments(trace.state):
        y = rows[state]
        allowed = state >= 0 and pad.states[names[state]].people == "allowed"
        axis.plot(
            [seconds[first], seconds[end]], [y, y], linewidth=7, solid_capstyle="butt", color="white" if allowed else INK if state >= 0 else GREY,
        )  # fmt: skip
        if allowed:
            axis.fill_between(
                [seconds[first], seconds[end]], y - 0.3, y + 0.3, facecolor="white", edgecolor=INK, hatch="////////", linewidth=0.8, zorder=3
            )
        if not closer and seconds[end] - seconds[first] < (seconds[-1] - seconds[0]) / 250:  # too short to be seen as a bar
            axis.plot([seconds[first]], [y], marker="D", markersize=4.5, color=INK if state >= 0 else GREY)
        if last is not None:
            axis.plot([seconds[first]] * 2, [rows[last], y], linewidth=0.8, color=SOFT)
        last = state
    axis.set_yticks(list(rows.values()), [names[s].replace("_", " ") if s >= 0 else "box off" for s in rows])
    axis.set_ylim(-0.6, len(visited) - 0.4)
    axis.set_title("state (hatched: people allowed)", loc="left", fontsize=9, color=SOFT)


def _lines(axis: Any, seconds: Any, columns: dict[str, Any], label: str) -> None:
    for i, (name, values) in enumerate(columns.items()):
        axis.plot(seconds, values, STYLES[i % 4], color=SHADES[i % 4], linewidth=1.5, label=name.replace("_", " "))
    axis.set_title(label, loc="left", fontsize=9, color=SOFT)
    axis.set_ylim(bottom=min(0.0, axis.get_ylim()[0]))
    axis.grid(axis="y", color=GREY, linewidth=0.5)
    if len(columns) > 1:
        axis.legend(loc="upper left", frameon=False, fontsize=8.5, handlelength=3.2, ncols=len(columns))
    else:
        axis.set_title(f"{label} ({', '.join(columns).replace('_', ' ')})", loc="left", fontsize=9, color=SOFT)


def _outputs(axis: Any, pad: Pad, trace: Trace, seconds: Any) -> None:
    rows = [(name.replace("_", " "), trace.outputs[name], pad.output_positions[name]) for name in pad.outputs]
    rows.append(("people on the pad", trace.people.astype(int), ["none", "someone"]))
    labels = []
    for i, (name, codes, positions) in enumerate(rows):
        y = len(rows) - 1 - i
        axis.axhline(y, color=GREY, linewidth=0.6)
        for code, first, end in _segments(codes):
            if code:
                axis.fill_between([seconds[first], seconds[end]], y - 0.3, y + 0.3, color=WARM if i == len(rows) - 1 else INK, linewidth=0.8, zorder=3)
        labels.append(f"{name}: {positions[1]}" if len(positions) == 2 else name)
    axis.set_yticks(range(len(rows) - 1, -1, -1), labels)
    axis.set_ylim(-0.6, len(rows) - 0.4)
    axis.set_title("commands (a bar while it stands so)", loc="left", fontsize=9, color=SOFT)


def _marks(axis: Any, run: Run) -> None:
    for judged in run.broken:
        axis.axvline((judged.ms or 0) / 1000, color=WARM, linewidth=1.0, linestyle=(0, (1, 1)))
    for line in run.lines:
        if line.kind == "fault":
            axis.axvline(line.ms / 1000, color=INK, linewidth=1.0, linestyle=(0, (5, 3)))


def _faults(axis: Any, run: Run) -> None:
    top = axis.get_ylim()[1]
    for line in run.lines:
        if line.kind == "fault" and line.why:
            axis.annotate(f"fault: {line.why[0]}", (line.ms / 1000, top), xytext=(4, 2), textcoords="offset points", fontsize=8, va="bottom")
