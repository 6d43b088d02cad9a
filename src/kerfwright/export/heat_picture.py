"""A board from the face the beam enters, every stroke coloured by how warm it found its place, the hottest places numbered."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.palette import WARMTH_INKS
from kerfwright.process.verdict import HotPlace

Array = NDArray[np.float64]

INK, SOFT, PAPER, BOARD, PART = "#26231f", "#8a8278", "#ffffff", "#fbf7ee", "#b9ae98"
WIDE_IN, DPI = 11.0, 150
SIDE_IN, HEAD_IN, FOOT_IN, GAP_IN = 0.35, 0.62, 0.30, 0.34
STRIP_IN = 1.6  # the whole board is drawn no taller than this
END_IN, MIDDLE_IN = 4.4, 3.0  # height of an enlarged end, and width of the words between the two
STROKE_MM, LEAST_PT = 0.22, 0.9
FULL_SCALE = 1.0  # colours reach their darkest at least here: a cool board looks cool


@dataclass(frozen=True, eq=False)
class HeatView:
    """What is drawn. size_mm: length and width of the board; outline_mm: (k, 2) the part on the face that is seen.

    lines_mm: (m, 2, 2) pieces of strokes; warmth: (m,); hottest: the places of this board, in order; degree_c: how much over
    the room warmth 1 is, low and high; turned_over: the inner face is seen.
    """

    title: str
    size_mm: tuple[float, float]
    outline_mm: Array
    lines_mm: Array
    warmth: Array
    hottest: tuple[HotPlace, ...]
    degree_c: tuple[float, float]
    turned_over: bool = False

    def seen(self, points_mm: Array) -> Array:
        """Board points (..., 2) as the face is seen: a board turned over about its length keeps its left end left."""
        return np.array([0.0, self.size_mm[1]]) + points_mm * np.array([1.0, -1.0]) if self.turned_over else points_mm


def heat_png(view: HeatView) -> bytes:
    """PNG of one board. Two runs give the same bytes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    length_mm, width_mm = view.size_mm
    whole_in = min(WIDE_IN - 2 * SIDE_IN, STRIP_IN * length_mm / width_mm)
    strip_in = whole_in * width_mm / length_mm
    high_in = HEAD_IN + strip_in + GAP_IN + END_IN + FOOT_IN
    figure: Any = Figure(figsize=(WIDE_IN, high_in), dpi=DPI, facecolor=PAPER)
    FigureCanvasAgg(figure)
    head = 1 - 0.30 / high_in
    face = "inner face" if view.turned_over else "show face"
    figure.text(SIDE_IN / WIDE_IN, head, view.title, fontsize=13, weight="bold", color=INK, va="center")
    figure.text(1 - SIDE_IN / WIDE_IN, head, f"{face}, as it lies under the beam", fontsize=9, color=SOFT, va="center", ha="right")

    def panel(left_in: float, bottom_in: float, wide_in: float, tall_in: float) -> Any:
        return figure.add_axes((left_in / WIDE_IN, bottom_in / high_in, wide_in / WIDE_IN, tall_in / high_in))

    top = max(FULL_SCALE, float(view.warmth.max(initial=0.0)))
    ends_in = (WIDE_IN - 2 * SIDE_IN - MIDDLE_IN) / 2
    reach_mm = min(width_mm * ends_in / END_IN, length_mm / 2)
    _board(panel((WIDE_IN - whole_in) / 2, FOOT_IN + END_IN + GAP_IN, whole_in, strip_in), view, (0.0, length_mm), top)
    _board(panel(SIDE_IN, FOOT_IN, ends_in, END_IN), view, (0.0, reach_mm), top)
    _board(panel(WIDE_IN - SIDE_IN - ends_in, FOOT_IN, ends_in, END_IN), view, (length_mm - reach_mm, length_mm), top)
    _words(panel(SIDE_IN + ends_in, FOOT_IN, MIDDLE_IN, END_IN), view)
    _scale(panel(SIDE_IN + ends_in + 0.35, FOOT_IN + 0.62, MIDDLE_IN - 0.7, 0.16), view, top)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": None})
    return stream.getvalue()


def _colours(top: float) -> tuple[Any, Any]:
    from matplotlib.colors import LinearSegmentedColormap, Normalize

    return LinearSegmentedColormap.from_list("warmth", list(WARMTH_INKS)), Normalize(0.0, top)


def _board(axes: Any, view: HeatView, across_mm: tuple[float, float], top: float) -> None:
    """One window on the board. across_mm: from and to along it."""
    from matplotlib.collections import LineCollection
    from matplotlib.patches import Polygon, Rectangle

    length_mm, width_mm = view.size_mm
    axes.add_patch(Rectangle((0, 0), length_mm, width_mm, facecolor=BOARD, edgecolor=SOFT, linewidth=1.0))
    axes.add_patch(Polygon(view.seen(view.outline_mm), closed=True, fill=False, edgecolor=PART, linewidth=0.7, linestyle=(0, (3, 2))))
    axes.set_xlim(*across_mm)
    axes.set_ylim(0, width_mm)
    axes.set_aspect("equal", anchor="C")
    axes.axis("off")
    box = axes.get_position()
    pt_per_mm = 72 * box.width * WIDE_IN / (across_mm[1] - across_mm[0])
    map_, norm = _colours(top)
    order = np.argsort(view.warmth, kind="stable")  # the warmest stroke of a place lies on top
    lines = view.seen(view.lines_mm)[order]
    axes.add_collection(
        LineCollection(list(lines), colors=map_(norm(view.warmth[order])), linewidths=max(LEAST_PT, STROKE_MM * pt_per_mm), capstyle="butt")
    )
    size_pt = 7.0 if across_mm == (0.0, length_mm) else 11.0
    for left in (True, False):
        marks = [(k, view.seen(np.array(spot.at_mm))) for k, spot in enumerate(view.hottest, 1)]
        here = [(k, at) for k, at in marks if across_mm[0] <= at[0] <= across_mm[1] and (at[0] < length_mm / 2) == left]
        _marks(axes, here, 1 if left else -1, size_pt, pt_per_mm)


def _marks(axes: Any, marks: list[tuple[int, Array]], toward: int, size_pt: float, pt_per_mm: float) -> None:
    """A ring on each place, and the numbers in a column on the side of the board's middle, so far apart that each is read."""
    if not marks:
        return
    from matplotlib.patheffects import Normal, Stroke

    halo = [Stroke(linewidth=2.8, foreground=PAPER), Normal()]
    marks = sorted(marks, key=lambda mark: float(mark[1][1]))
    column_mm = max(toward * float(at[0]) for _, at in marks) * toward + toward * 2.8 * size_pt / pt_per_mm
    wanted = np.array([at[1] for _, at in marks])
    steps = np.arange(len(marks)) * 2.1 * size_pt / pt_per_mm
    heights = np.maximum.accumulate(wanted - steps) + steps
    for (number, at), height in zip(marks, heights.tolist(), strict=True):
        axes.plot(*at, "o", ms=size_pt * 0.75, mfc="none", mec=INK, mew=1.1, zorder=5, path_effects=halo)
        axes.annotate(
            str(number),
            tuple(at),
            xytext=(column_mm, height),
            ha="center",
            va="center",
            fontsize=size_pt,
            weight="bold",
            color=PAPER,
            zorder=6,
            bbox={"boxstyle": "circle,pad=0.22", "fc": INK, "ec": PAPER, "lw": 0.8},
            arrowprops={"arrowstyle": "-", "color": INK, "lw": 0.9, "shrinkA": 0, "shrinkB": size_pt * 0.38, "path_effects": halo},
        )


def _words(axes: Any, view: HeatView) -> None:
    """The hottest places as a list, between the two ends."""
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.axis("off")
    axes.text(0.5, 0.95, "Warmest when the beam comes back", fontsize=9.5, weight="bold", color=INK, ha="center", va="center")
    for x, head in ((0.19, "place"), (0.46, "warmth"), (0.78, "risk of flame")):
        axes.text(x, 0.875, head, fontsize=8, color=SOFT, ha="center", va="center")
    for row, spot in enumerate(view.hottest[:6]):
        y = 0.785 - 0.082 * row
        ring = {"boxstyle": "circle,pad=0.2", "fc": INK, "ec": INK}
        axes.text(0.19, y, str(row + 1), fontsize=8.5, weight="bold", color=PAPER, ha="center", va="center", bbox=ring)
        axes.text(0.46, y, f"{spot.warmth:.2f}", fontsize=9.5, color=INK, ha="center", va="center")
        axes.text(0.78, y, spot.risk, fontsize=9.5, color=INK, ha="center", va="center", weight="bold" if spot.risk == "high" else "normal")
    if not view.hottest:
        axes.text(0.5, 0.7, "no stroke comes back to a warm place", fontsize=9, color=INK, ha="center", va="center")


def _scale(axes: Any, view: HeatView, top: float) -> None:
    """Colours against warmth, and what warmth means."""
    map_, norm = _colours(top)
    axes.imshow(np.linspace(0, top, 256)[None, :], cmap=map_, norm=norm, extent=(0, top, 0, 1), aspect="auto")
    axes.set_yticks([])
    axes.tick_params(labelsize=8, colors=INK, length=2.5)
    for spine in axes.spines.values():
        spine.set_visible(False)
    low, high = (round(each) for each in view.degree_c)
    told = f"1 = what one cut leaves in a band 1 mm wide,\nabout {low} to {high} °C over the room (a wide guess)"
    axes.text(0.5, -2.3, told, transform=axes.transAxes, fontsize=8, color=SOFT, ha="center", va="top", linespacing=1.35)
