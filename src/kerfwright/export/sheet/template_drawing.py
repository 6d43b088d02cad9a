"""Full-size drawings of a board's two ends, the middle broken out, and a small dimensioned view of the whole part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import format_mm
from kerfwright.export.sheet.bed_view import dimension
from kerfwright.export.sheet.blocks import Figure
from kerfwright.export.sheet.board_ends import baseline_mm, end_points_mm, end_x_mm
from kerfwright.export.sheet.paper import Paper
from kerfwright.export.sheet.spread import spread
from kerfwright.export.sheet.style import BLACK, BLUE, BLUE_TINT, GREY, LABEL, LABEL_STRONG, WHITE, WOOD, WOOD_EDGE, Stroke
from kerfwright.geometry.assembly import Part
from kerfwright.geometry.ring import Ring
from kerfwright.geometry.slab import Face, Recess

Array = NDArray[np.float64]

BEYOND_MM = 15.0  # shown of the board beyond its baseline
NUMBERS_MM = 19.0  # paper beside each end for running dimensions
OVER_MM, UNDER_MM = 6.0, 4.0
BREAK_MM = 1.6  # depth of a break line's wave
OVERVIEW_MM = 17.0
SHOW, INNER = Stroke(BLACK, 0.25), Stroke(BLACK, 0.2, (1.2, 0.8))


@dataclass(frozen=True, eq=False)
class EndDrawing:
    """One end as drawn: the show face is toward the reader, the bottom edge down.

    show_mm, inner_mm: (n, 2) chains in the part frame from break line round the end to break line; base_x_mm: the
    baseline; break_x_mm: where the board is broken; end_x_mm: the board's end; flanks_mm: where flanks meet the end
    on the show face, from the bottom edge, rising.
    """

    end: str
    show_mm: Array
    inner_mm: Array
    end_x_mm: float
    base_x_mm: float
    break_x_mm: float
    flanks_mm: Array


def end_drawing(part: Part, end: str) -> EndDrawing:
    """What to draw of one end, ``"left"`` or ``"right"``."""
    slab = part.slab
    x0, y0, x1, _ = slab.bounds_mm()
    inward = 1.0 if end == "left" else -1.0
    end_x, base_x = end_x_mm(slab, end), baseline_mm(slab, end)
    ends = end_points_mm(slab, end)
    middle_x = (x0 + x1) / 2
    break_x = base_x + inward * BEYOND_MM
    break_x = min(break_x, middle_x - 0.5) if end == "left" else max(break_x, middle_x + 0.5)
    at_end = ends[np.abs(ends[:, 0] - end_x) < 1e-6]
    flanks = np.unique(np.round(at_end[:, 1] - y0, 6))
    show, inner = (_chain(ring, break_x, inward) for ring in (slab.show_ring, slab.inner_ring))
    return EndDrawing(end, show, inner, end_x, base_x, break_x, flanks)


def _chain(ring: Ring, break_x_mm: float, inward: float) -> Array:
    """The ring's corners on the end's side of the break line, in ring order, with a point on the line before and after."""
    points = ring.points_mm
    kept = (points[:, 0] - break_x_mm) * inward <= 0
    first = next(i for i in range(len(points)) if kept[i] and not kept[i - 1])
    chain = [points[(first + k) % len(points)] for k in range(int(kept.sum()))]
    return np.array([[break_x_mm, chain[0][1]], *chain, [break_x_mm, chain[-1][1]]])


def ends_figure(part: Part, name: str, width_mm: float, band_mm: tuple[float, float]) -> Figure:
    """Both ends at 1 : 1, called ``name``, the part's heights from band_mm[0] to band_mm[1] over its bottom edge."""
    _, y0, _, y1 = part.slab.bounds_mm()
    low_mm, high_mm = band_mm
    size_mm = high_mm - low_mm + OVER_MM + UNDER_MM
    drawings = (end_drawing(part, "left"), end_drawing(part, "right"))

    def draw(paper: Paper, x_mm: float, top_mm: float, _width_mm: float) -> None:
        bottom_mm = top_mm - size_mm + UNDER_MM
        for each in drawings:
            at_mm = x_mm + NUMBERS_MM - each.end_x_mm if each.end == "left" else x_mm + width_mm - NUMBERS_MM - each.end_x_mm
            place = np.array([at_mm, bottom_mm - low_mm - y0])
            with paper.clipped(x_mm, bottom_mm - 0.5, width_mm, high_mm - low_mm + 1.0):
                _draw_end(paper, each, place, y0, y1)
                _draw_hollows(paper, part, each, place)
            _draw_numbers(paper, each, place, y0, band_mm, bottom_mm)
        _draw_overlap(paper, x_mm, width_mm, bottom_mm, band_mm, y1 - y0)
        _draw_words(paper, part, name, x_mm + width_mm / 2, bottom_mm + (high_mm - low_mm) / 2)

    return Figure(size_mm, draw)


def _draw_end(paper: Paper, each: EndDrawing, place: Array, y0_mm: float, y1_mm: float) -> None:
    wave = _wave(each.break_x_mm, each.show_mm[-1, 1], each.show_mm[0, 1])
    paper.path(np.concatenate([each.show_mm, wave]) + place, fill=WOOD, closed=True)
    if float(np.max(np.abs(each.show_mm - each.inner_mm))) > 1e-6:
        paper.path(each.inner_mm[1:-1] + place, INNER)  # its first and last stretch are the long edges, drawn full below
    paper.path(each.show_mm + place, SHOW)
    paper.path(wave + place, Stroke(WOOD_EDGE, 0.2))
    base = np.array([[each.base_x_mm, y0_mm], [each.base_x_mm, y1_mm]])
    paper.path(base + place, Stroke(BLUE, 0.2, (0.4, 0.8)))


def _draw_hollows(paper: Paper, part: Part, each: EndDrawing, place: Array) -> None:
    """Recesses and windows where they fall on the drawn end."""
    _, y0, _, y1 = part.slab.bounds_mm()
    left, right = sorted((each.break_x_mm, each.end_x_mm))
    with paper.clipped(left + place[0], y0 + place[1], right - left, y1 - y0):
        for recess in part.slab.recesses:
            _draw_hollow(paper, part, recess, 1.0, place)


def _draw_hollow(paper: Paper, part: Part, recess: Recess, scale: float, place: Array) -> None:
    through = recess.depth_mm >= part.slab.thickness_mm
    line = SHOW if through or recess.face is Face.SHOW else INNER
    paper.path(recess.ring.points_mm * scale + place, line, WHITE if through else BLUE_TINT, closed=True)


def _wave(x_mm: float, from_mm: float, to_mm: float) -> Array:
    """A break line between two heights: slow waves that begin and end on the straight line."""
    n_waves = max(1, round(abs(to_mm - from_mm) / 20))
    share = np.linspace(0, 1, 20 * n_waves + 1)
    return np.column_stack([x_mm + BREAK_MM * np.sin(2 * np.pi * n_waves * share), from_mm + (to_mm - from_mm) * share])


def _draw_numbers(paper: Paper, each: EndDrawing, place: Array, y0_mm: float, band_mm: tuple[float, float], bottom_mm: float) -> None:
    """Running dimensions of the flanks where they meet the end, parted where they crowd."""
    shown = [float(flank) for flank in each.flanks_mm if band_mm[0] - 1e-6 <= flank <= band_mm[1] + 1e-6]
    away = -1.0 if each.end == "left" else 1.0
    end_x = each.end_x_mm + float(place[0])
    heights = spread([float(place[1]) + y0_mm + flank for flank in shown], 1.12 * LABEL.size_mm,
                     bottom_mm - 1.5, bottom_mm + band_mm[1] - band_mm[0] + 3.0)
    for flank, height in zip(shown, heights, strict=True):
        true = float(place[1]) + y0_mm + flank
        leader = np.array([[0.8, true], [2.6, true], [5.4, height], [6.4, height]])
        paper.path(leader * np.array([away, 1.0]) + np.array([end_x, 0.0]), Stroke(GREY, 0.12))
        paper.text(end_x + away * 7.0, height - 0.35 * LABEL.size_mm, f"{flank:.2f}", LABEL, "right" if away < 0 else "left")


def _draw_overlap(paper: Paper, x_mm: float, width_mm: float, bottom_mm: float, band_mm: tuple[float, float], whole_mm: float) -> None:
    """Where a tall board goes on on another page: a dashed line at each cut, to be laid on its twin."""
    for height_mm, cut in ((band_mm[0], band_mm[0] > 1e-6), (band_mm[1], band_mm[1] < whole_mm - 1e-6)):
        if cut:
            y = bottom_mm + height_mm - band_mm[0]
            paper.line(x_mm + NUMBERS_MM, y, x_mm + width_mm - NUMBERS_MM, y, Stroke(BLUE, 0.3, (2.0, 1.0)))
            text = f"match line {height_mm:.0f} over the bottom edge"
            paper.text(x_mm + width_mm / 2, y + (1.2 if height_mm == band_mm[0] else -3.6), text, LABEL, "centre")


def _draw_words(paper: Paper, part: Part, name: str, x_mm: float, y_mm: float) -> None:
    x0, _, x1, _ = part.slab.bounds_mm()
    for i, (text, style) in enumerate(((name, LABEL_STRONG), ("show face toward you", LABEL), ("1 : 1", LABEL_STRONG),
                                       (f"{x1 - x0:.2f} from end to end, broken here", LABEL))):
        paper.text(x_mm, y_mm + 5.0 - 4.4 * i, text, style, "centre")


def overview_figure(part: Part, width_mm: float) -> Figure:
    """The whole part, small, with its length, its height and its baselines."""
    x0, y0, x1, y1 = part.slab.bounds_mm()
    scale = min((width_mm - 14.0) / (x1 - x0), OVERVIEW_MM / (y1 - y0))
    high_mm = (y1 - y0) * scale

    def draw(paper: Paper, x_mm: float, top_mm: float, _width_mm: float) -> None:
        left, bottom = x_mm, top_mm - 7.0 - high_mm
        to_paper = np.array([left - x0 * scale, bottom - y0 * scale])
        paper.path(part.slab.show_ring.points_mm * scale + to_paper, Stroke(BLACK, 0.2), WOOD, closed=True)
        with paper.clipped(left, bottom, (x1 - x0) * scale, high_mm):
            for recess in part.slab.recesses:
                _draw_hollow(paper, part, recess, scale, to_paper)
        for end in ("left", "right"):
            x = baseline_mm(part.slab, end) * scale + float(to_paper[0])
            paper.line(x, bottom, x, bottom + high_mm, Stroke(BLUE, 0.2, (0.4, 0.8)))
        right = left + (x1 - x0) * scale
        dimension(paper, (left, top_mm - 3.5), (right, top_mm - 3.5), format_mm(x1 - x0).removesuffix(" mm"), inside=True)
        dimension(paper, (right + 6.0, bottom), (right + 6.0, bottom + high_mm), format_mm(y1 - y0).removesuffix(" mm"), inside=True)

    return Figure(high_mm + 9.0, draw)
