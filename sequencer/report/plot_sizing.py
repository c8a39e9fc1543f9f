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
ROW = 5.0
"""Height of one row of panels with its labels and legend, inches."""


def plot_sizing(pad: Pad, target: Path) -> None:
    """Draw to an .svg or .png file whose directory exists; raises SequencerError when there is nothing to draw."""
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
    height = ROW * rows + 1.0
    with plt.rc_context(style):
        figure = plt.figure(figsize=(12.5, height))

        def band(row: int) -> dict[str, float]:
            """Bottom and top of a row of panels, as shares of the figure; room below for axis labels and legend."""
            top = 1.0 - (0.95 + ROW * row) / height
            return {"top": top, "bottom": top - (ROW - 1.45) / height}

        for row, head in enumerate(heads):
            grid = figure.add_gridspec(1, 2, left=0.058, right=0.985, wspace=0.17, width_ratios=(1.2, 1.0), **band(row))
            _window(figure.add_subplot(grid[0, 0]), head)
            _forces(figure.add_subplot(grid[0, 1]), head)
        if gases:
            grid = figure.add_gridspec(1, len(gases), left=0.058, right=0.885, wspace=0.42, **band(rows - 1))
            for column, gas in enumerate(gases):
                _pressure(figure.add_subplot(grid[0, column]), gas, column == 0)
        figure.suptitle(f"{pad.title}, revision {pad.revision}: sizing", x=0.012, y=1.0 - 0.18 / height, va="top", ha="left", fontsize=14, color=INK, weight="bold")
        caution = "Computed from the file, not measured. It certifies nothing: stored gas can kill; keep people away whatever the picture says."
        figure.text(0.012, 0.12 / height, caution, fontsize=8, color=SOFT)
        metadata: dict[str, Any] = {"Date": None} if target.suffix.lower() == ".svg" else {}
        figure.savefig(target, dpi=150, metadata=metadata)
        plt.close(figure)


def _window(axis: Any, head: HeadCurves) -> None:
    import numpy as np
    from matplotlib.colors import ListedColormap
    from matplotlib.patches import Patch

    loads, frictions = np.array(head.window.loads) / N_PER_KGF, np.array(head.window.frictions)
    names = list(ZONES)
    codes = np.array([[names.index(cell) for cell in row] for row in head.window.cells])
    colours = ListedColormap([fill for fill, _, _ in ZONES.values()])
    axis.pcolormesh(loads, frictions, codes, cmap=colours, vmin=-0.5, vmax=len(names) - 0.5, shading="nearest", rasterized=True)
    handles = []
    for code, (name, (fill, hatch, ink)) in enumerate(ZONES.items()):
        inside = codes == code
        if inside.any():
            if hatch:
                hatched = axis.contourf(loads, frictions, inside.astype(float), levels=(0.5, 1.5), colors="none", hatches=(hatch,))
                hatched.set_edgecolor(ink)
                hatched.set_linewidth(0.0)
            axis.contour(loads, frictions, inside.astype(float), levels=(0.5,), colors=(ink,), linewidths=0.8)
            axis.text(*_middle(loads, frictions, inside, head), name, ha="center", va="center", fontsize=11, color=INK,
                      bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.88, "pad": 3.0})  # fmt: skip
        seen = "" if inside.any() else " (not in this picture)"
        handles.append(Patch(facecolor=fill, hatch=hatch, edgecolor=ink, label=name + seen))
    low, nominal, high = head.friction
    for value, dash in ((low, (0, (5, 3))), (high, (0, (5, 3))), (nominal, (0, ()))):
        axis.axhline(value, color=INK, linewidth=1.0, linestyle=dash)
    left_side = {"ha": "left", "va": "bottom", "fontsize": 8, "color": INK, "transform": axis.get_yaxis_transform()}
    plain = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0}
    for value, word in ((low, "least friction given"), (nominal, "nominal"), (high, "most friction given")):
        axis.text(0.008, value + 0.004, f"{word} {value:g}", bbox=plain, **left_side)
    if head.decades:
        axis.set_xscale("log")
        axis.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    _marks(axis, head)
    if head.tried is not None:
        left, most = (x / N_PER_KGF for x in head.tried)
        axis.plot([left, most], [0.006, 0.006], color=WARM, linewidth=5, solid_capstyle="butt")
        axis.text(left, 0.016, " loads it was tried at", color=WARM, fontsize=8, va="bottom", bbox=plain)
    axis.set(xlim=(loads[0], loads[-1]), ylim=(0, frictions[-1]), xlabel="load on the head, kgf" + (" (logarithmic)" if head.decades else ""),
             ylabel="friction coefficient at the contact")  # fmt: skip
    axis.set_title(f"{head.name}: release window", loc="left")
    axis.legend(handles=handles, ncols=4, loc="upper left", bbox_to_anchor=(-0.02, -0.12), frameon=False, fontsize=8, handlelength=2.4,
                handleheight=1.3, columnspacing=1.0)  # fmt: skip


def _middle(loads: Any, frictions: Any, inside: Any, head: HeadCurves) -> tuple[float, float]:
    """A place for a zone's name: the cell deepest inside, away from the friction lines and the load marks."""
    import numpy as np

    rows, columns = np.nonzero(inside)
    step = max(1, len(rows) // 400)
    marks = [load / N_PER_KGF for _, load in head.marks]
    place = np.log if head.decades else np.asarray
    across = place(np.maximum(loads, 1e-9))
    width, height = across[-1] - across[0], frictions[-1] - frictions[0]

    def room(row: int, column: int) -> float:
        x, y = across[column], frictions[row]
        free = [abs(y - f) / height for f in head.friction] + [0.45 * abs(x - float(place(max(m, 1e-9)))) / width for m in marks]
        line = np.flatnonzero(inside[row])
        stack = np.flatnonzero(inside[:, column])
        edges = [0.6 * (x - across[line[0]]) / width, 0.6 * (across[line[-1]] - x) / width,
                 (y - frictions[stack[0]]) / height, (frictions[stack[-1]] - y) / height]  # fmt: skip
        return float(min(*free, *edges))

    best = max(range(0, len(rows), step), key=lambda i: room(int(rows[i]), int(columns[i])))
    return float(loads[columns[best]]), float(frictions[rows[best]])


def _marks(axis: Any, head: HeadCurves) -> None:
    for label, load in head.marks:
        axis.axvline(load / N_PER_KGF, color=INK, linewidth=0.9, linestyle=":")
        axis.text(load / N_PER_KGF, 0.985, f"{label} {load / N_PER_KGF:.0f} ", rotation=90, ha="right", va="top", fontsize=8, color=INK,
                  transform=axis.get_xaxis_transform(), bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.6})  # fmt: skip


def _forces(axis: Any, head: HeadCurves) -> None:
    import numpy as np

    loads = np.array(head.loads) / N_PER_KGF
    axis.fill_between(loads, head.held_least, head.held_most, facecolor="#dfe6ef", edgecolor="#9fb2c8", hatch="\\\\", linewidth=0.0,
                      label="force on the catch, over the friction given")  # fmt: skip
    axis.plot(loads, head.held_most, color=SHADES[0], linewidth=1.8)
    axis.plot(loads, head.pull_needed, color=SHADES[1], linestyle="--", linewidth=2.0, label="pull needed, worst catch friction and spring")
    top = 1.75 * max(max(head.held_most), max(head.pull_needed), 1e-6)
    if head.pull <= 2.5 * top:
        top = max(top, 1.12 * head.pull)
        axis.axhline(head.pull, color=INK, linewidth=1.6, linestyle="-.", label=f"least the servo pulls: {head.pull:.3g} N")
    elif head.pull < float("inf"):
        axis.plot([], [], color=INK, linewidth=1.6, linestyle="-.", label=f"least the servo pulls: {head.pull:.3g} N, above this picture")
    axis.set(xlim=(0, loads[-1]), ylim=(0, top), xlabel="load on the head, kgf", ylabel="force at the catch, N")
    for label, load in head.marks:
        axis.axvline(load / N_PER_KGF, color=INK, linewidth=0.9, linestyle=":")
        need = float(np.interp(load / N_PER_KGF, loads, head.pull_needed))
        text = f"{label}: {head.pull / need:.3g} x need" if need > 0.0 and head.pull < float("inf") else f"{label} "
        axis.plot([load / N_PER_KGF], [need], marker="o", color=SHADES[1], markersize=4.5)
        axis.text(load / N_PER_KGF, 0.985, text, rotation=90, ha="right", va="top", fontsize=8, color=INK,
                  transform=axis.get_xaxis_transform(), bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.6})  # fmt: skip
    axis.grid(color=GREY, linewidth=0.5)
    axis.set_axisbelow(True)
    axis.set_title(f"{head.name}: holding force, pull and margin", loc="left")
    axis.legend(loc="upper left", bbox_to_anchor=(-0.02, -0.12), frameon=False, fontsize=8, labelspacing=0.35)


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
    axis.legend(loc="upper left", bbox_to_anchor=(-0.02, -0.12), frameon=False, fontsize=8, ncols=2)


def _labels(axis: Any, gas: PressureCurves, end: float) -> None:
    """Level names at the right end, pushed apart where two levels lie close together."""
    apart = 0.052 * max(level for _, level in gas.marks) / PA_PER_BAR
    last = -1e9
    for label, level in sorted(gas.marks, key=lambda m: m[1]):
        y = max(level / PA_PER_BAR, last + apart)
        axis.annotate(f"{label} {level / PA_PER_BAR:.3g}", (end * 1.02, level / PA_PER_BAR), xytext=(end * 1.04, y), fontsize=8, va="center",
                      color=WARM if label == "rated" else SOFT, annotation_clip=False)  # fmt: skip
        last = y
