"""The states drawn: one box each from top to bottom, its exits in words beside it, and on the left one
track for every state that others lead to. Trips join their track with an open dot, exits with a full one.
"""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

from sequencer.description.pad import Pad
from sequencer.machine import words
from sequencer.table import Table

INK, SOFT, GREY = "#1b1b1f", "#55565e", "#c9cad1"
BOX, TEXT_AT, LINE, GAP, TRACK = 3.3, 3.55, 0.26, 0.34, 0.3  # inches
TEXT_WIDTH = 92  # letters


def draw_states(pad: Pad, table: Table, target: Path, kind: str) -> None:
    """Draw to `target` as 'svg' or 'png'."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    blocks = [_exits(pad, table, number) for number in range(len(table.states))]
    tops, y = [], 0.0
    for block in blocks:
        tops.append(y)
        y += max(3, len(block)) * LINE + GAP
    foot = _foot(pad)
    tracks = _tracks(table)
    left = TRACK * (len(tracks) + 1.5)
    width, height = left + TEXT_AT + 6.4, y + 1.0 + 0.2 * len(foot)
    with plt.rc_context({"font.family": "DejaVu Sans", "svg.hashsalt": "sequencer"}):
        figure = plt.figure(figsize=(width, height))
        axis = figure.add_axes((0, 0, 1, 1))
        axis.set_xlim(-left, TEXT_AT + 6.4)
        axis.set_ylim(height - 0.65, -0.65)
        axis.axis("off")
        axis.text(-left + 0.15, -0.36, f"{pad.title}, revision {pad.revision}: states", fontsize=12, fontweight="bold", color=INK)
        axis.text(TEXT_AT, -0.36, "the first that holds wins, trips before exits; open dot: trips only", fontsize=8.5, color=SOFT)
        for number, block in enumerate(blocks):
            _box(axis, pad, table, number, tops[number], block)
        for i, line in enumerate(foot):
            axis.text(-left + 0.15, y + 0.15 + 0.2 * i, line, fontsize=8, va="center", color=INK)
        for lane, (to, sources) in enumerate(tracks.items()):
            _track(axis, -TRACK * (lane + 1), to, sources, tops)
        figure.savefig(target, format=kind, dpi=130, metadata={"Date": None} if kind == "svg" else None)
        plt.close(figure)


def _exits(pad: Pad, table: Table, number: int) -> list[str]:
    """The exits of one state in words, wrapped; its trips by name, they stand in full at the foot."""
    state = table.states[number]
    trips: dict[str, list[str]] = {}
    lines: list[str] = []
    for row in table.rows[state.first_row : state.end_row]:
        to = table.states[row.to].name.replace("_", " ")
        if row.origin.startswith("trip "):
            names = trips.setdefault(to, [])
            if row.origin[5:] not in names:
                names.append(row.origin[5:])
        else:
            lines += _wrapped(f"{to}: {words(table, row)}")
    told = [line for to, names in trips.items() for line in _wrapped(f"{to}: trips {', '.join(names).replace('_', ' ')}")]
    return [*told, *lines] or ["it stays"]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, TEXT_WIDTH, subsequent_indent="        ", drop_whitespace=False)


def _foot(pad: Pad) -> list[str]:
    """Every trip in full."""
    return [
        line
        for name, trip in pad.trips.items()
        for line in textwrap.wrap(
            f"trip {name.replace('_', ' ')}: once {trip.once.text.replace('_', ' ')}, to {trip.go_to.replace('_', ' ')}",
            TEXT_WIDTH + 40, subsequent_indent="        ",
        )
    ]  # fmt: skip


def _box(axis: Any, pad: Pad, table: Table, number: int, top: float, block: list[str]) -> None:
    from matplotlib.patches import FancyBboxPatch

    name = table.states[number].name
    state = pad.states[name]
    tall = max(3, len(block)) * LINE
    allowed = state.people == "allowed"
    axis.add_patch(
        FancyBboxPatch(
            (0, top), BOX, tall, boxstyle="round,pad=0,rounding_size=0.08", linewidth=2.2 if number == 0 else 1.0,
            edgecolor=INK, facecolor="white" if allowed else "#f1f1f4",
        )
    )  # fmt: skip
    axis.text(0.1, top + 0.2, name.replace("_", " "), fontsize=10, fontweight="bold", va="center", color=INK)
    axis.text(BOX - 0.1, top + 0.2, "people allowed" if allowed else "keep out", fontsize=7.5, va="center", ha="right", color=SOFT)
    for i, line in enumerate(textwrap.wrap(state.says, 44)[: max(1, int((tall - 0.3) / 0.18))]):
        axis.text(0.1, top + 0.42 + 0.18 * i, line, fontsize=7.5, va="center", color=SOFT)
    for i, line in enumerate(block):
        axis.text(TEXT_AT, top + LINE * (i + 0.5), line, fontsize=8.2, va="center", color=INK)


def _tracks(table: Table) -> dict[int, list[tuple[int, bool]]]:
    """{state: the states that lead to it, each with whether only trips do}, most travelled nearest the boxes last."""
    found: dict[int, dict[int, bool]] = {}
    for row in table.rows:
        sources = found.setdefault(row.to, {})
        sources[row.state] = sources.get(row.state, True) and row.origin.startswith("trip ")
    spans = {to: max(abs(to - s) for s in sources) for to, sources in found.items()}
    return {to: sorted(found[to].items()) for to in sorted(found, key=lambda to: (spans[to], to))}


def _track(axis: Any, x: float, to: int, sources: list[tuple[int, bool]], tops: list[float]) -> None:
    """One vertical track to state `to`; sources leave their box low, the arrow enters the target high."""
    shift = 0.045 * (abs(x) / TRACK % 4)
    ends = [tops[source] + 0.36 + shift for source, _ in sources]
    into = tops[to] + 0.14
    axis.plot([x, x], [min([*ends, into]), max([*ends, into])], color=INK, linewidth=1.0)
    for (_, trip), at in zip(sources, ends, strict=True):
        axis.plot([x, 0], [at, at], color=SOFT, linewidth=0.8, linestyle=(0, (3, 2)) if trip else "-")
        axis.plot([x], [at], marker="o", markersize=4, color=INK, markerfacecolor="white" if trip else INK)
    axis.annotate("", (0, into), (x, into), arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0})
