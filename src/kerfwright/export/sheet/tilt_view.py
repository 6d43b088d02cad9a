"""A tilted setup seen along the board: bed, cradle, board on edge, beam, angle and gauge point."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import format_mm
from kerfwright.export.sheet.bed_view import View, draw_gauge, entry_z_mm, scale_words
from kerfwright.export.sheet.blocks import Figure
from kerfwright.export.sheet.paper import Paper
from kerfwright.export.sheet.style import BLACK, BLUE, GREY, HAIR, LABEL, LABEL_STRONG, WOOD, WOOD_EDGE, Stroke
from kerfwright.export.sheet.telling import degrees
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]

SIDE_MM, OVER_MM, UNDER_MM = 14.0, 15.0, 6.0
LARGEST_SCALE = 1.0
STOP_MM = 5.0  # on paper


def tilt_figure(setup: Setup, width_mm: float) -> Figure:
    """The side view at the given paper width: the bed's front is left, its back right."""
    corners = setup.board_corners_bed_mm()[:, 1:]  # (8, 2): y and height
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = min((width_mm - 2 * SIDE_MM) / float(high[0] - low[0]), LARGEST_SCALE)
    high_mm = float(high[1]) * scale + OVER_MM + UNDER_MM

    def draw(paper: Paper, x_mm: float, top_mm: float, _width_mm: float) -> None:
        view = View(scale, x_mm + SIDE_MM - float(low[0]) * scale, top_mm - high_mm + UNDER_MM)
        paper.line(x_mm, view.y0_mm, x_mm + width_mm, view.y0_mm, Stroke(GREY, 0.5))
        paper.text(x_mm, view.y0_mm - 3.8, "front", LABEL)
        paper.text(x_mm + width_mm, view.y0_mm - 3.8, "back", LABEL, "right")
        paper.text(x_mm + width_mm / 2, view.y0_mm - 3.8, "bed", LABEL, "centre")
        under, over = faces_mm(setup)
        _draw_cradle(paper, view.paper(under), view.paper(over), view.y0_mm)
        paper.path(view.paper(np.concatenate([under, over[::-1]])), Stroke(WOOD_EDGE, 0.3), WOOD, closed=True)
        _draw_angle(paper, view.paper(under), setup.tilt_deg)
        _draw_beam(paper, view.paper(over), top_mm)
        _draw_gauge_height(paper, setup, view, x_mm)

    return Figure(high_mm, draw, f"From the right of the machine, {scale_words(scale)}. Grey: cradle and stop.")


def faces_mm(setup: Setup) -> tuple[Array, Array]:
    """The board's lower and upper face as seen along it: two (y, height) points each, front first. (2, 2)"""
    _, width_mm, thickness_mm = setup.board_size_mm
    up = entry_z_mm(setup)
    found: list[Array] = []
    for z in (-thickness_mm - up, up):
        ends = setup.bed_from_board.apply(np.array([[0, 0, z], [0, width_mm, z]], dtype=float))[:, 1:]
        found.append(ends[np.argsort(ends[:, 0])])
    return found[0], found[1]


def _draw_cradle(paper: Paper, under: Array, over: Array, bed_mm: float) -> None:
    foot, far = under
    lip = foot + 0.6 * (over[0] - foot)
    x = float(foot[0]) - STOP_MM
    outline = np.array([[x, bed_mm], [far[0], bed_mm], far, foot, lip, [x, lip[1]]])
    paper.path(outline, Stroke(GREY, 0.25), "#dfe2e5", closed=True)


def _draw_angle(paper: Paper, under: Array, tilt_deg: float) -> None:
    """The tilt at the low edge, under the board."""
    x, y = under[0].tolist()
    far_x = x + 0.62 * (float(under[1][0]) - x)
    paper.line(x, y, far_x + 3.0, y, Stroke(GREY, 0.2, (1.0, 0.7)))
    radius = far_x - x
    sweep = np.radians(np.linspace(0.0, tilt_deg, 12))
    paper.path(np.column_stack([x + radius * np.cos(sweep), y + radius * np.sin(sweep)]), Stroke(BLUE, 0.4))
    paper.text(far_x + 3.6, y - 1.0, degrees(tilt_deg), LABEL_STRONG.coloured(BLUE))


def _draw_beam(paper: Paper, over: Array, top_mm: float) -> None:
    spot = 0.35 * over[0] + 0.65 * over[1]
    paper.arrow(float(spot[0]), top_mm - 1.0, float(spot[0]), float(spot[1]), Stroke(BLACK, 0.5))
    paper.text(float(spot[0]) + 1.6, top_mm - 4.0, "beam", LABEL)


def _draw_gauge_height(paper: Paper, setup: Setup, view: View, x_mm: float) -> None:
    gauge = setup.bed_from_board.apply(setup.gauge_board_mm[None, :])[:, 1:]
    x, y = view.paper(gauge)[0].tolist()
    at = x_mm + 4.0
    paper.line(at - 1.5, y, x - 3.4, y, Stroke(GREY, 0.12))
    paper.arrow(at, view.y0_mm, at, y, HAIR, both=y - view.y0_mm > 5)
    paper.text(x_mm, y + 1.2, format_mm(float(gauge[0, 1])), LABEL_STRONG.coloured(BLUE))
    draw_gauge(paper, x, y)
