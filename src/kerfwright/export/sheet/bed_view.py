"""A setup seen from above, to scale: the bed's corner, the fence, the board, the part in it, and every operation's paths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import format_mm
from kerfwright.export.palette import INKS
from kerfwright.export.sheet.blocks import Figure
from kerfwright.export.sheet.board_ends import baseline_mm
from kerfwright.export.sheet.paper import Align, Paper, text_width_mm
from kerfwright.export.sheet.spread import spread
from kerfwright.export.sheet.style import (
    BLACK,
    BLUE,
    GREY,
    HAIR,
    LABEL,
    LABEL_STRONG,
    TINT,
    WASTE,
    WHITE,
    WOOD,
    WOOD_EDGE,
    Stroke,
    TextStyle,
)
from kerfwright.geometry.slab import Face, Slab
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]

LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 15.0, 15.0, 15.0, 11.0  # paper round the bed's part that is shown, for dimensions and tags
HIGHEST_MM = 48.0  # of the drawing itself
UPRIGHT = 2.2  # a board that stands up the page may be drawn this many times higher
LARGEST_SCALE = 1.4
FENCE_MM = 2.6  # on paper
LINE_MM = {OperationKind.THROUGH: 0.4, OperationKind.RAMP: 0.15, OperationKind.ENGRAVE: 0.25, OperationKind.WITNESS: 0.2}
TAG_RADIUS_MM, TAG_STEP_MM = 2.1, 5.4


@dataclass(frozen=True)
class View:
    """Bed mm to paper mm: a ratio and where the bed's origin lies on the paper."""

    ratio: float
    x0_mm: float
    y0_mm: float

    def paper(self, bed_mm: Array) -> Array:
        """(n, 2 or 3) -> (n, 2)."""
        return bed_mm[:, :2] * self.ratio + np.array([self.x0_mm, self.y0_mm])


def bed_figure(setup: Setup, width_mm: float, named: bool, highest_mm: float = HIGHEST_MM) -> Figure:
    """The plan view at the given paper width, the bed up to highest_mm high.

    named: the setup cuts a part of the piece, so its ends and edges are told.
    """
    far = setup.board_corners_bed_mm().max(axis=0)
    scale = min((width_mm - LEFT_MM - RIGHT_MM) / far[0], highest_mm * (1.0 if far[0] >= far[1] else UPRIGHT) / far[1], LARGEST_SCALE)
    high_mm = float(far[1] * scale) + TOP_MM + BOTTOM_MM

    def draw(paper: Paper, x_mm: float, top_mm: float, _width_mm: float) -> None:
        middle_mm = (width_mm - LEFT_MM - RIGHT_MM - float(far[0] * scale)) / 2
        view = View(float(scale), x_mm + LEFT_MM + middle_mm, top_mm - high_mm + BOTTOM_MM)
        _draw_bed(paper, view, far)
        _draw_fence(paper, setup, view)
        _draw_board(paper, setup, view)
        if named:
            _draw_names(paper, setup, view)
        for op in setup.operations:
            _draw_paths(paper, setup, op, view)
        _draw_sizes(paper, setup, view)
        _draw_tags(paper, setup, view)
        draw_gauge(paper, *view.paper(setup.bed_from_board.apply(setup.gauge_board_mm[None, :]))[0])

    what = "the cradle's stop" if setup.tilt_deg else "fence"
    caption = f"From above, {scale_words(float(scale))}. Grey: {what}; darker wood: the part; G: gauge point; numbers: operations below."
    return Figure(high_mm, draw, caption)


def scale_words(ratio: float) -> str:
    """``"1 : 1.6"``, or ``"1.4 : 1"`` when larger than life. ratio: paper to bed."""
    return f"1 : {1 / ratio:.2g}" if ratio < 1 else f"{ratio:.2g} : 1"


def op_stroke(op: CutOperation) -> Stroke:
    """The ink, width and dash of an operation."""
    ink = INKS[op.kind]
    width_mm = LINE_MM[op.kind]
    # Fields of lines and fine ticks speak by themselves: dashes would only break them up.
    dashed = op.kind not in (OperationKind.RAMP, OperationKind.WITNESS)
    return Stroke(ink.colour, width_mm, tuple(0.9 * width_mm * each for each in ink.dash) if dashed else ())


def draw_gauge(paper: Paper, x_mm: float, y_mm: float) -> None:
    """The gauge point's mark and its letter."""
    paper.line(x_mm - 3.2, y_mm, x_mm + 3.2, y_mm, Stroke(BLUE, 0.4))
    paper.line(x_mm, y_mm - 3.2, x_mm, y_mm + 3.2, Stroke(BLUE, 0.4))
    paper.circle(x_mm, y_mm, 2.0, Stroke(WHITE, 0.3), BLUE)
    paper.text(x_mm, y_mm - 0.36 * LABEL_STRONG.size_mm, "G", LABEL_STRONG.coloured(WHITE), "centre")


def _draw_bed(paper: Paper, view: View, far: Array) -> None:
    wide_mm, high_mm = float(far[0]) * view.ratio + 6.0, float(far[1]) * view.ratio + 6.0
    paper.rectangle(view.x0_mm, view.y0_mm, wide_mm, high_mm, fill=TINT)
    edge = Stroke(GREY, 0.5)
    paper.arrow(view.x0_mm, view.y0_mm, view.x0_mm + wide_mm, view.y0_mm, edge)
    paper.arrow(view.x0_mm, view.y0_mm, view.x0_mm, view.y0_mm + high_mm, edge)
    paper.text(view.x0_mm + wide_mm + 1.2, view.y0_mm - 1.1, "X", LABEL_STRONG)
    paper.text(view.x0_mm, view.y0_mm + high_mm + 1.2, "Y", LABEL_STRONG, "centre")
    paper.text(view.x0_mm - 1.5, view.y0_mm - 3.6, "0", LABEL, "right")


def _draw_fence(paper: Paper, setup: Setup, view: View) -> None:
    low, high = view.paper(rest_mm(setup))
    x, y, wide = float(low[0]), float(low[1]), float(high[0] - low[0])
    room_x, room_y = x - view.x0_mm, y - view.y0_mm
    thick_x, thick_y = min(FENCE_MM, room_x), min(FENCE_MM, room_y)
    paper.rectangle(x - thick_x, y - thick_y, 0.8 * wide, thick_y, fill="#b9bfc5")
    if not setup.tilt_deg:
        paper.rectangle(x - thick_x, y, thick_x, 0.8 * float(high[1] - low[1]), fill="#b9bfc5")


def rest_mm(setup: Setup) -> Array:
    """Where the board touches bed or cradle, seen from above: its front left and back right corner in the bed. (2, 2)"""
    corners = setup.board_corners_bed_mm()
    # The face the beam leaves is the lower one, flat or tilted.
    below = corners[1::2] if entry_z_mm(setup) < 0 else corners[::2]
    return np.array([below[:, :2].min(axis=0), below[:, :2].max(axis=0)])


def _draw_board(paper: Paper, setup: Setup, view: View) -> None:
    length_mm, width_mm, _ = setup.board_size_mm
    for z in (entry_z_mm(setup) - setup.board_size_mm[2] * _sign(setup), entry_z_mm(setup)):
        face = np.array([[0, 0, z], [length_mm, 0, z], [length_mm, width_mm, z], [0, width_mm, z]], dtype=float)
        paper.path(view.paper(setup.bed_from_board.apply(face)), Stroke(WOOD_EDGE, 0.25), WASTE, closed=True)
    for slab in (setup.part_slab, *setup.more_slabs):
        here, far = face_rings(setup, slab)
        paper.path(view.paper(setup.bed_from_board.apply(here)), Stroke(WOOD_EDGE, 0.2), WOOD, closed=True)
        if float(np.max(np.abs(here[:, :2] - far[:, :2]))) > 1e-6:
            flat = np.column_stack([far[:, :2], here[:, 2]])  # as if seen through the wood
            paper.path(view.paper(setup.bed_from_board.apply(flat)), Stroke(WOOD_EDGE, 0.15, (0.8, 0.6)), closed=True)


def entry_z_mm(setup: Setup) -> float:
    """Board z of the face the beam enters."""
    return 0.0 if setup.entry_face is Face.SHOW else -setup.board_size_mm[2]


def _sign(setup: Setup) -> float:
    return 1.0 if setup.entry_face is Face.SHOW else -1.0


def face_rings(setup: Setup, slab: Slab) -> tuple[Array, Array]:
    """The part's outline on the face the beam enters and on the other one, board frame, (n, 3) each."""
    show = np.column_stack([slab.show_ring.points_mm, np.zeros(len(slab.edges))])
    inner = np.column_stack([slab.inner_ring.points_mm, np.full(len(slab.edges), -slab.thickness_mm)])
    return (show, inner) if setup.entry_face is Face.SHOW else (inner, show)


def _draw_names(paper: Paper, setup: Setup, view: View) -> None:
    """Which end is which and which edge is the bottom, as the board lies."""
    x0, y0, x1, y1 = setup.part_slab.bounds_mm()
    z, middle_y = entry_z_mm(setup), (y0 + y1) / 2
    inner = (baseline_mm(setup.part_slab, "left"), baseline_mm(setup.part_slab, "right"))
    to_paper = view.paper(setup.bed_from_board.apply(np.array([[x0, y0, z], [x1, y0, z], [x0, y1, z]])))
    along, up = _unit(to_paper[1] - to_paper[0]), _unit(to_paper[2] - to_paper[0])
    # Text stands in the reading direction nearest to the board's length, whichever way the board lies.
    turn_deg = 90.0 if abs(along[1]) > abs(along[0]) else 0.0
    reading = np.array([0.0, 1.0]) if turn_deg else np.array([1.0, 0.0])
    below = np.array([1.0, 0.0]) if turn_deg else np.array([0.0, -1.0])
    starts = "left" if float(along @ reading) > 0 else "right"
    spots: tuple[tuple[str, float, float, Array, TextStyle, Align], ...] = (
        ("left", inner[0], middle_y, 2.5 * along, LABEL, "left" if starts == "left" else "right"),
        ("right", inner[1], middle_y, -2.5 * along, LABEL, "right" if starts == "left" else "left"),
        ("bottom edge", 0.7 * inner[0] + 0.3 * inner[1], y0, 2.4 * up, LABEL, "centre"),
        (f"{setup.part}, {setup.entry_face} up", (inner[0] + inner[1]) / 2, 0.28 * y0 + 0.72 * y1, np.zeros(2), LABEL_STRONG, "centre"),
    )
    for text, x, y, nudge, style, align in spots:
        place = view.paper(setup.bed_from_board.apply(np.array([[x, y, z]])))[0] + nudge + 0.35 * style.size_mm * below
        paper.text(float(place[0]), float(place[1]), text, style, align, turn_deg)


def _unit(vector: Array) -> Array:
    return vector / max(float(np.hypot(*vector)), 1e-9)


def _draw_paths(paper: Paper, setup: Setup, op: CutOperation, view: View) -> None:
    stroke = op_stroke(op)
    straight = [path for path in op.paths if len(path.points_mm) == 2]
    if straight:
        flat = np.concatenate([path.points_mm for path in straight])
        paper.lines(view.paper(setup.bed_from_board.apply(flat)).reshape(-1, 2, 2), stroke)
    for path in op.paths:
        if len(path.points_mm) > 2:
            paper.path(view.paper(setup.bed_from_board.apply(path.points_mm)), stroke)


def _draw_sizes(paper: Paper, setup: Setup, view: View) -> None:
    bed_low, bed_high = rest_mm(setup)
    on_paper = view.paper(setup.board_corners_bed_mm())
    low, high = view.paper(bed_low[None, :])[0].tolist(), on_paper.max(axis=0).tolist()
    dimension(paper, (view.x0_mm, view.y0_mm - 4.5), (low[0], view.y0_mm - 4.5), _short(bed_low[0]))
    dimension(paper, (view.x0_mm - 4.5, view.y0_mm), (view.x0_mm - 4.5, low[1]), _short(bed_low[1]))
    dimension(paper, (low[0], high[1] + 11.5), (high[0], high[1] + 11.5), _short(bed_high[0] - bed_low[0]), inside=True)
    right = high[0] + 10.0
    if not setup.tilt_deg:  # a tilted width would be seen short
        dimension(paper, (right, low[1]), (right, high[1]), _short(bed_high[1] - bed_low[1]), inside=True)
    across = [((high[0] + 0.6, y), (right + 1.0, y)) for y in (low[1], high[1])] if not setup.tilt_deg else []
    for a, b in (*across, ((low[0], high[1] + 0.6), (low[0], high[1] + 12.5)), ((high[0], high[1] + 0.6), (high[0], high[1] + 12.5)),
                 ((low[0], view.y0_mm - 0.6), (low[0], view.y0_mm - 5.5)), ((view.x0_mm - 0.6, low[1]), (view.x0_mm - 5.5, low[1]))):
        paper.line(*a, *b, Stroke(GREY, 0.12))


def _short(length_mm: float) -> str:
    return format_mm(float(length_mm), 1).removesuffix(" mm")


def dimension(paper: Paper, start_mm: tuple[float, float], end_mm: tuple[float, float], text: str, inside: bool = False) -> None:
    """A dimension line, level or upright. inside: its number stands in the middle of the line, else beyond its end."""
    level = abs(end_mm[0] - start_mm[0]) > abs(end_mm[1] - start_mm[1])
    length_mm = abs(end_mm[0] - start_mm[0]) + abs(end_mm[1] - start_mm[1])
    paper.arrow(*start_mm, *end_mm, HAIR, both=length_mm > 5)
    drop_mm, wide_mm = 0.35 * LABEL.size_mm, text_width_mm(text, LABEL)
    if not inside:
        x, y = (end_mm[0] + 1.5, end_mm[1]) if level else (end_mm[0], end_mm[1] + 1.5 + drop_mm)
        paper.text(x, y - drop_mm, text, LABEL, "left" if level else "centre")
        return
    x, y = (start_mm[0] + end_mm[0]) / 2, (start_mm[1] + end_mm[1]) / 2
    paper.rectangle(x - wide_mm / 2 - 0.8, y - LABEL.size_mm / 2, wide_mm + 1.6, LABEL.size_mm, fill=WHITE)
    paper.text(x, y - drop_mm, text, LABEL, "centre")


def _draw_tags(paper: Paper, setup: Setup, view: View) -> None:
    """Each operation's number above the board, with a leader to one of its paths; left and right take turns."""
    corners = view.paper(setup.board_corners_bed_mm())
    left, right, top = float(corners[:, 0].min()), float(corners[:, 0].max()), float(corners[:, 1].max())
    anchors = [_anchor(setup, op, view, i % 2 == 0, (left + right) / 2) for i, op in enumerate(setup.operations)]
    order = sorted(range(len(anchors)), key=lambda i: float(anchors[i][0]))
    apart = spread([float(anchors[i][0]) for i in order], TAG_STEP_MM, left + 2.0, right + 6.0)
    places = dict(zip(order, apart, strict=True))
    for i, anchor in enumerate(anchors):
        x, y = places[i], top + 6.0
        at_x, at_y = float(anchor[0]), float(anchor[1])
        paper.line(x, y - TAG_RADIUS_MM, at_x, at_y, Stroke(BLACK, 0.15))
        paper.circle(at_x, at_y, 0.5, fill=BLACK)
        draw_tag(paper, x, y, i + 1)


def draw_tag(paper: Paper, x_mm: float, y_mm: float, number: int) -> None:
    """A number in a ring, its middle at (x, y)."""
    paper.circle(x_mm, y_mm, TAG_RADIUS_MM if number < 10 else 2.6, Stroke(BLACK, 0.25), WHITE)
    paper.text(x_mm, y_mm - 0.36 * LABEL_STRONG.size_mm, str(number), LABEL_STRONG, "centre")


def _anchor(setup: Setup, op: CutOperation, view: View, at_left: bool, middle_mm: float) -> Array:
    """The middle of the operation's highest stretch in one half of the board, else anywhere. (2,)"""
    stretches = [view.paper(setup.bed_from_board.apply(path.points_mm)) for path in op.paths]
    middles = np.concatenate([(points[1:] + points[:-1]) / 2 for points in stretches])
    half = middles[(middles[:, 0] < middle_mm) == at_left]
    found = half if len(half) else middles
    return found[int(np.argmax(found[:, 1]))]


