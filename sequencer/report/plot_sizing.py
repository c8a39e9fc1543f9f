"""The sizing sheet as one picture: release window, forces over load, pressure over time.

Zones are told apart by hatching and by words inside them, lines by style, so that it reads without colour.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.sizing.curves import HeadCurves, PressureCurves, head_curves, pressure_curves

INK, SOFT, GREY, WARM = "#1b1b1f", "#55565e", "#c9cad1", "#b3261e"
SHADES = ("#0b3c6f", "#a14a00", "#2f6b2f", "#5b2a86")
STYLES = ("-", "--", "-.", ":")
ZONES: dict[str, tuple[str, str, str]] = {
    "lets go": ("#eaf2e6", "", "#7d9a72"),
    "servo too weak": ("#fbeccb", "..", "#b08a2e"),
    "seized": ("#e9dfef", "////", "#a48bb5"),
    "lets go by itself": ("#f7d9d6", "xxx", "#c4827b"),
}
"""Zone: (fill, hatch, hatch colour), in the order of their codes."""
N_PER_KGF, PA_PER_BAR = 9.80665, 1e5


def plot_sizing(pad: Pad, target: Path) -> None:
    """Draw to an .svg or .png file whose directory exists; raises SequencerError when there is nothing to draw."""
    if target.suffix not in (".svg", ".png"):
        raise SequencerError(f"{target}: a picture is written as .svg or .png")
    heads, gases = head_curves(pad), pressure_curves(pad)
    if not heads and not gases:
        raise SequencerError(f"{pad.file}: no release head and no filled volume to draw")
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    style: dict[Any, Any] = {
        "font.family": "DejaVu Sans", "font.size": 9, "axes.edgecolor": SOFT, "axes.labelcolor": INK, "xtick.color": SOFT,
        "ytick.color": SOFT, "svg.hashsalt": "sequencer", "axes.spines.top": False, "axes.spines.right": False,
        "hatch.linewidth": 0.7, "axes.titleweight": "bold", "axes.titlesize": 10,
    }  # fmt: skip
    rows = len(heads) + (1 if gases else 0)
    with plt.rc_context(style):
        figure = plt.figure(figsize=(12.0, 4.7 * rows + 0.9), layout="constrained")
        figure.get_layout_engine().set(rect=(0.0, 0.03, 1.0, 0.93), h_pad=0.12, w_pad=0.12)  # type: ignore[union-attr]  # set above
        grid = figure.add_gridspec(rows, 2, width_ratios=(1.18, 1.0))
        for row, head in enumerate(heads):
            _window(figure.add_subplot(grid[row, 0]), head)
            _forces(figure.add_subplot(grid[row, 1]), head)
        if gases:
            below = grid[rows - 1, :].subgridspec(1, len(gases))
            for column, gas in enumerate(gases):
                _pressure(figure.add_subplot(below[0, column]), gas, column == 0)
        figure.suptitle(f"{pad.title}, revision {pad.revision}: sizing", x=0.012, y=0.985, ha="left", fontsize=14, color=INK, weight="bold")
        caution = "Computed from the file, not measured. It certifies nothing: stored gas can kill; keep people away whatever the picture says."
        figure.text(0.012, 0.010, caution, fontsize=8, color=SOFT)
        metadata: dict[str, Any] = {"Date": None} if target.suffix == ".svg" else {}
        figure.savefig(target, dpi=150, metadata=metadata)
        plt.close(figure)


def _window(axis: Any, head: HeadCurves) -> None:
    import numpy as np
    from matplotlib.patches import Patch, Rectangle

    loads, frictions = np.array(head.window.loads) / N_PER_KGF, np.array(head.window.frictions)
    names = list(ZONES)
    codes = np.array([[names.index(cell) for cell in row] for row in head.window.cells])
    handles = []
    dx, dy = loads[1] - loads[0], frictions[1] - frictions[0]
    for code, (name, (fill, hatch, ink)) in enumerate(ZONES.items()):
        inside = codes == code
        # step edges instead of contours between codes: a border must not pass through a third zone
        for j in range(len(loads)) if inside.any() else ():
            edges = np.flatnonzero(np.diff(np.concatenate(([False], inside[:, j], [False])).astype(int)))
            for low, high in zip(edges[::2], edges[1::2], strict=True):
                axis.add_patch(Rectangle((loads[j] - dx / 2, frictions[low] - dy / 2), dx, (high - low) * dy, facecolor=fill, edgecolor="none", lw=0))
        if inside.any():
            axis.contourf(loads, frictions, inside.astype(float), levels=(0.5, 1.5), colors="none", hatches=(hatch,))
            axis.collections[-1].set_edgecolor(ink)
            axis.collections[-1].set_linewidth(0.0)
            rows, columns = np.nonzero(inside)
            axis.text(loads[int(np.median(columns))], _clear(frictions, rows, head), name, ha="center", va="center", fontsize=10.5,
                      color=INK, bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 2.5})  # fmt: skip
        seen = "" if inside.any() else " (not in this range)"
        handles.append(Patch(facecolor=fill, hatch=hatch, edgecolor=ink, label=name + seen))
    low, nominal, high = head.friction
    for value, dash in ((low, (0, (5, 3))), (high, (0, (5, 3))), (nominal, (0, ()))):
        axis.axhline(value, color=INK, linewidth=1.0, linestyle=dash)
    axis.text(loads[-1] * 0.008, high, f"friction given: {low:g} to {high:g}, nominal {nominal:g}", va="bottom", fontsize=8, color=INK,
              bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0})  # fmt: skip
    _marks(axis, head, frictions[-1])
    if head.tried is not None:
        left, right = (x / N_PER_KGF for x in head.tried)
        axis.plot([left, right], [0.006, 0.006], color=WARM, linewidth=4, solid_capstyle="butt")
        axis.text(left, 0.012, "tried", color=WARM, fontsize=8, va="bottom")
    axis.set(xlim=(0, loads[-1]), ylim=(0, frictions[-1]), xlabel="load on the head, kgf", ylabel="friction coefficient at the contact")
    axis.set_title(f"{head.name}: release window", loc="left")
    axis.legend(handles=handles, ncols=4, loc="upper left", bbox_to_anchor=(-0.01, -0.13), frameon=False, fontsize=8, handlelength=2.6,
                handleheight=1.3, columnspacing=1.2)  # fmt: skip


def _clear(frictions: Any, rows: Any, head: HeadCurves) -> float:
    """A height inside a zone, as far as can be from the friction lines."""
    import numpy as np

    candidates = frictions[np.unique(rows)]
    inner = candidates[len(candidates) // 8 : max(len(candidates) // 8 + 1, 7 * len(candidates) // 8)]
    return float(max(inner, key=lambda y: min(*(abs(y - f) for f in head.friction), 0.35 * (candidates[-1] - candidates[0]))))


def _marks(axis: Any, head: HeadCurves, top: float) -> None:
    for label, load in head.marks:
        axis.axvline(load / N_PER_KGF, color=SOFT, linewidth=0.9, linestyle=":")
        axis.text(load / N_PER_KGF, top * 0.985, f"{label} {load / N_PER_KGF:.0f} kgf ", rotation=90, ha="right", va="top", fontsize=8, color=SOFT,
                  bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8})  # fmt: skip


def _forces(axis: Any, head: HeadCurves) -> None:
    import numpy as np

    loads = np.array(head.loads) / N_PER_KGF
    axis.fill_between(loads, head.held_least, head.held_most, facecolor="#dfe6ef", edgecolor="#9fb2c8", hatch="\\\\\\", linewidth=0.0,
                      label="force on the catch, over the friction given")  # fmt: skip
    axis.plot(loads, head.held_most, color=SHADES[0], linewidth=1.8)
    axis.plot(loads, head.pull_needed, color=SHADES[1], linestyle="--", linewidth=1.8, label="pull needed, worst catch friction and spring")
    top = 1.35 * max(max(head.held_most), max(head.pull_needed), 1e-6)
    inside = head.pull <= 6.0 * top
    if inside:
        axis.axhline(head.pull, color=INK, linewidth=1.6, linestyle="-.", label=f"least the servo pulls: {head.pull:.3g} N")
        top = max(top, 1.12 * head.pull)
    axis.set(xlim=(0, loads[-1]), ylim=(0, top), xlabel="load on the head, kgf", ylabel="force at the catch, N")
    for label, load in head.marks:
        axis.axvline(load / N_PER_KGF, color=SOFT, linewidth=0.9, linestyle=":")
        need = float(np.interp(load / N_PER_KGF, loads, head.pull_needed))
        if need > 0.0 and head.pull < float("inf"):
            axis.plot([load / N_PER_KGF], [need], marker="o", color=SHADES[1], markersize=4)
            axis.annotate(f"{label}\n{head.pull / need:.3g} times", (load / N_PER_KGF, need), xytext=(-5, 7), textcoords="offset points",
                          ha="right", fontsize=8, color=INK, bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8})  # fmt: skip
    if not inside:
        axis.text(0.99, 0.98, f"least the servo pulls: {head.pull:.3g} N, above this picture", transform=axis.transAxes, ha="right", va="top", fontsize=8)
    axis.grid(color=GREY, linewidth=0.5)
    axis.set_axisbelow(True)
    axis.set_title(f"{head.name}: holding force, pull and margin", loc="left")
    axis.legend(loc="upper left", bbox_to_anchor=(-0.01, -0.13), frameon=False, fontsize=8, ncols=2, columnspacing=1.2)


def _pressure(axis: Any, gas: PressureCurves, first: bool) -> None:
    nominal, slow = ([t for t, _ in gas.nominal], [p / PA_PER_BAR for _, p in gas.nominal]), ([t for t, _ in gas.slow], [p / PA_PER_BAR for _, p in gas.slow])
    axis.plot(*nominal, color=SHADES[0], linewidth=2.0, label="nominal")
    axis.plot(*slow, color=SHADES[1], linewidth=1.5, linestyle="--", label="slow: least C, drooped supply, no water, warm gas")
    end = max(nominal[0][-1], slow[0][-1])
    for label, level in sorted(gas.marks, key=lambda m: m[1]):
        axis.axhline(level / PA_PER_BAR, color=WARM if label == "rated" else SOFT, linewidth=0.9, linestyle=":" if label != "rated" else "-")
    _labels(axis, gas, end)
    for label, start, stop in gas.parts:
        axis.axvspan(start, stop, color="#f3f3f6" if label != "hold, cooling" else "#ffffff", zorder=0)
        if stop - start > 0.06 * end:
            axis.text((start + stop) / 2, 0.25, label, ha="center", fontsize=8, color=SOFT)
    axis.set(xlim=(0, end * 1.02), ylim=(0, 1.1 * max(level for _, level in gas.marks) / PA_PER_BAR), xlabel="time, s")
    if first:
        axis.set_ylabel("pressure, bar gauge")
    axis.grid(axis="y", color=GREY, linewidth=0.4)
    axis.set_axisbelow(True)
    axis.set_title(f"{gas.volume}: fill, hold, vent", loc="left")
    axis.legend(loc="upper left", bbox_to_anchor=(-0.01, -0.13), frameon=False, fontsize=8, ncols=2)


def _labels(axis: Any, gas: PressureCurves, end: float) -> None:
    """Level names at the right end, pushed apart where two levels lie close together."""
    apart = 0.052 * max(level for _, level in gas.marks) / PA_PER_BAR
    last = -1e9
    for label, level in sorted(gas.marks, key=lambda m: m[1]):
        y = max(level / PA_PER_BAR, last + apart)
        axis.annotate(f"{label} {level / PA_PER_BAR:.3g}", (end * 1.02, level / PA_PER_BAR), xytext=(end * 1.04, y), fontsize=8, va="center",
                      color=WARM if label == "rated" else SOFT, annotation_clip=False)  # fmt: skip
        last = y
