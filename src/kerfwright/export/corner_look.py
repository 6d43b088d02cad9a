"""A corner as it will look after sanding: both woods, face grain and end grain, and every gap drawn as wide as it will be.

Where two woods meet, the wall that was burnt shows as a thin dark line, and an open gap, filled with glue and dust, as a
darker one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.clearance_picture import edge_word
from kerfwright.export.corner_faces import FaceLine, SeenFace, seen_faces
from kerfwright.export.wood_colour import Colour
from kerfwright.export.wood_face import wood_face
from kerfwright.geometry.assembly import Part
from kerfwright.process.verdict import CornerVerdict, SeenLine

Array = NDArray[np.float64]
Floats = NDArray[np.float32]
Picture = NDArray[np.uint8]

# Ours, chosen by eye: how far a charred wall's colour goes in after cleaning and sanding, and how dark it and glue in a gap are.
CHAR_MM = 0.04
CHAR_COLOUR, CHAR_STRENGTH = (0.20, 0.12, 0.07), 0.62
GAP_COLOUR, GAP_STRENGTH = (0.09, 0.06, 0.04), 0.94
LEFT_DEG, ELEVATION_DEG = 40.0, 20.0  # how far the left face is turned away, and how high the eye stands
LIGHT = {"left": 1.0, "right": 0.86, "top": 1.05}
FADE_FRAC = 0.22  # of a board's shown length runs out into the page
FINER = 2
MARGIN_FRAC = 0.03


@dataclass(frozen=True)
class Loupe:
    """One place seen square on and near. picture: (n, n, 3), across_mm wide; said: where it is."""

    picture: Picture
    across_mm: float
    said: str


def corner_look(corner: CornerVerdict, parts: Mapping[str, Part], colours: Mapping[str, Colour], width_px: int, height_px: int) -> Picture:
    """The corner on white, its arris toward the eye. parts: nominal, by name; colours: sRGB 0-1 by part name. (h, w, 3)"""
    faces = seen_faces(corner, dict(parts))
    left, right = sorted(faces, key=lambda face: face.owner.side != "right")
    view = _view(left, right, width_px * FINER, height_px * FINER)
    rows, columns = np.mgrid[0 : height_px * FINER, 0 : width_px * FINER]
    across_mm = ((columns.ravel() + 0.5) - view.x_px) / view.px_per_mm
    up_mm = (view.y_px - (rows.ravel() + 0.5)) / view.px_per_mm
    picture = np.ones((across_mm.size, 3), np.float32)
    lean = math.sin(math.radians(ELEVATION_DEG))
    for face, name, turned_deg, to_the_left in ((left, "left", LEFT_DEG, True), (right, "right", 90 - LEFT_DEG, False)):
        turned = math.radians(turned_deg)
        u_mm = (-across_mm if to_the_left else across_mm) / math.cos(turned)
        v_mm = (up_mm - u_mm * math.sin(turned) * lean) / math.cos(math.radians(ELEVATION_DEG))
        shown = (u_mm >= 0) & (u_mm < view.shown_mm) & (v_mm >= 0) & (v_mm <= face.height_mm)
        px_mm = 1 / view.px_per_mm
        cell_mm = (px_mm / math.cos(turned), px_mm / math.cos(math.radians(ELEVATION_DEG)))
        _lay(picture, shown, u_mm, LIGHT[name] * _face_colour(face, colours, u_mm[shown], v_mm[shown], cell_mm), view.shown_mm)
    _top(picture, (left, right), colours, across_mm, up_mm, view)
    fine = np.clip(255 * picture, 0, 255).reshape(height_px, FINER, width_px, FINER, 3)
    return np.rint(fine.mean(axis=(1, 3))).astype(np.uint8)


def loupe(corner: CornerVerdict, parts: Mapping[str, Part], colours: Mapping[str, Colour], size_px: int, across_mm: float) -> Loupe | None:
    """The widest place of all seen lines, near. None when no line is seen."""
    lines = [line for line in corner.lines if np.isfinite(line.gap_mm).any()]
    if not lines:
        return None
    widest = max(lines, key=lambda line: float(np.nanmax(line.gap_mm)))
    on_tail, on_pin = seen_faces(corner, dict(parts))
    face = on_tail if widest.on == "tail board" else on_pin
    u_mm, v_mm = (float(each) for each in face.lines[_edge(widest)].widest_mm)
    u_mm = max(u_mm, 0.42 * across_mm)  # keep the middle on the wood
    rows, columns = np.mgrid[0:size_px, 0:size_px]
    cell_mm = across_mm / size_px
    sideways = 1.0 if face.owner.side == "left" else -1.0  # the arris lies left of a left end, right of a right end
    u = u_mm + sideways * ((columns.ravel() + 0.5) * cell_mm - across_mm / 2)
    v = v_mm - ((rows.ravel() + 0.5) * cell_mm - across_mm / 2)
    wood = (u >= 0) & (v >= 0) & (v <= face.height_mm)
    picture = np.ones((u.size, 3), np.float32)
    picture[wood] = _face_colour(face, colours, u[wood], v[wood], (cell_mm, cell_mm))
    shown = np.rint(np.clip(255 * picture, 0, 255)).astype(np.uint8).reshape(size_px, size_px, 3)
    return Loupe(shown, across_mm, f"on the {face.owner.part.name}, {edge_word(_edge(widest))}: {float(np.nanmax(widest.gap_mm)):.2f} mm")


def _edge(line: SeenLine) -> str:
    """The edge of the board in whose face the line lies."""
    return line.tail_edge if line.on == "tail board" else line.pin_edge


@dataclass(frozen=True)
class _View:
    px_per_mm: float
    x_px: float  # of the arris's foot, in the fine picture
    y_px: float
    shown_mm: float  # how much of each board is shown


def _view(left: SeenFace, right: SeenFace, width_px: int, height_px: int) -> _View:
    height_mm = max(left.height_mm, right.height_mm)
    shown_mm = max(2.1 * max(left.reach_mm, right.reach_mm), min(0.45 * height_mm, 40.0))
    turn, lean = math.radians(LEFT_DEG), math.radians(ELEVATION_DEG)
    wide_mm = shown_mm * (math.cos(turn) + math.sin(turn))
    rise_mm = (shown_mm * math.cos(turn) + max(left.reach_mm, right.reach_mm)) * math.sin(lean)
    high_mm = height_mm * math.cos(lean) + rise_mm
    scale = (1 - 2 * MARGIN_FRAC) * min(width_px / wide_mm, height_px / high_mm)
    x_px = width_px / 2 + scale * shown_mm * (math.cos(turn) - math.sin(turn)) / 2
    return _View(scale, x_px, height_px / 2 + scale * high_mm / 2, shown_mm)


def _lay(picture: Floats, shown: NDArray[np.bool_], u_mm: Array, colour: Floats, shown_mm: float) -> None:
    """Put a face's colour on the picture, running out into white at its far end."""
    left = np.clip((shown_mm - u_mm[shown]) / (FADE_FRAC * shown_mm), 0, 1).astype(np.float32)
    fade = (left * left * (3 - 2 * left))[:, None]
    picture[shown] = 1 - fade * (1 - colour)


def _face_colour(face: SeenFace, colours: Mapping[str, Colour], u_mm: Array, v_mm: Array, cell_mm: tuple[float, float]) -> Floats:
    """Colour of places on one face, lines and gaps included. cell_mm: how much of u and of v one pixel takes. (n, 3)"""
    owned = face.owned(u_mm, v_mm)
    colour = np.empty((len(u_mm), 3), np.float32)
    owner, other = face.owner, face.other
    colour[owned] = wood_face(owner.part.name, owner.face_points(u_mm[owned], v_mm[owned], 0.0), colours[owner.part.name], False)
    ends = np.column_stack([np.full(int((~owned).sum()), other.flush_mm), v_mm[~owned], -u_mm[~owned]])
    colour[~owned] = wood_face(other.part.name, ends, colours[other.part.name], True)
    for line in face.lines.values():
        _draw(colour, line, u_mm, v_mm, cell_mm)
    return colour


def _draw(colour: Floats, line: FaceLine, u_mm: Array, v_mm: Array, cell_mm: tuple[float, float]) -> None:
    """One line: stain, then the gap over it."""
    along: Array = line.to_mm - line.from_mm
    length_mm = float(np.hypot(*along))
    along /= length_mm
    slack = max(float(np.max(line.gap_mm)), 0.0) + CHAR_MM + 2 * max(cell_mm)
    low, high = np.minimum(line.from_mm, line.to_mm) - slack, np.maximum(line.from_mm, line.to_mm) + slack
    near = np.nonzero((u_mm >= low[0]) & (u_mm <= high[0]) & (v_mm >= low[1]) & (v_mm <= high[1]))[0]
    u, v = u_mm[near] - line.from_mm[0], v_mm[near] - line.from_mm[1]
    across_mm = np.abs(u * -along[1] + v * along[0])
    pixel_mm = abs(along[1]) * cell_mm[0] + abs(along[0]) * cell_mm[1]
    share: Array = (u * along[0] + v * along[1]) / length_mm
    on_line = _covered((share - 0.5) * length_mm, np.full(len(near), length_mm / 2 + CHAR_MM / 2), pixel_mm)
    half_mm = np.maximum(np.interp(share, line.share, line.gap_mm), 0.0) / 2
    for half, ink, strength in ((half_mm + CHAR_MM, CHAR_COLOUR, CHAR_STRENGTH), (half_mm, GAP_COLOUR, GAP_STRENGTH)):
        much = (strength * on_line * _covered(across_mm, half, pixel_mm))[:, None].astype(np.float32)
        colour[near] += much * (np.array(ink, np.float32) - colour[near])


def _covered(from_middle_mm: Array, half_mm: Array, pixel_mm: float) -> Array:
    """How much of each pixel a strip covers, exactly, so that a gap thinner than a pixel is as faint as it is thin. (n,)"""
    high = np.minimum(from_middle_mm + pixel_mm / 2, half_mm)
    low = np.maximum(from_middle_mm - pixel_mm / 2, -half_mm)
    return np.clip((high - low) / pixel_mm, 0, 1)


def _top(
    picture: Floats, faces: tuple[SeenFace, SeenFace], colours: Mapping[str, Colour], across_mm: Array, up_mm: Array, view: _View
) -> None:
    """The boards' upper edges: the left board runs off to the left, as deep as it is thick, the right one likewise."""
    left, right = faces
    turn, lean = math.radians(LEFT_DEG), math.sin(math.radians(ELEVATION_DEG))
    rise_mm = (up_mm - left.height_mm * math.cos(math.radians(ELEVATION_DEG))) / lean
    a_mm = rise_mm * math.sin(turn) - across_mm * math.cos(turn)  # along the left board
    b_mm = rise_mm * math.cos(turn) + across_mm * math.sin(turn)  # along the right board
    above = (a_mm >= 0) & (b_mm >= 0) & (rise_mm >= 0)
    on_left = above & (b_mm <= right.reach_mm) & (a_mm < view.shown_mm)
    on_right = above & (a_mm <= left.reach_mm) & (b_mm < view.shown_mm)
    block = on_left & on_right
    left_owns = bool(left.owned(np.array([0.02]), np.array([left.height_mm - 0.02]))[0])
    for face, mine, own_block, u_mm, depth_mm in (
        (left, on_left, left_owns, a_mm, b_mm),
        (right, on_right, not left_owns, b_mm, a_mm),
    ):
        shown = mine & (~block | own_block)
        end = face.owner
        points = end.face_points(u_mm[shown], np.full(int(shown.sum()), face.height_mm), depth_mm[shown])
        colour = LIGHT["top"] * wood_face(end.part.name, points, colours[end.part.name], False)
        _lay(picture, shown, u_mm, np.minimum(colour, 1).astype(np.float32), view.shown_mm)
    seam = a_mm - left.reach_mm if not left_owns else b_mm - right.reach_mm
    deep = b_mm if not left_owns else a_mm
    pixel_mm = 1.4 / view.px_per_mm
    reach = right.reach_mm if not left_owns else left.reach_mm
    on_seam = np.nonzero(above & (np.abs(seam) < 0.3) & (deep <= reach))[0]
    share = CHAR_STRENGTH * _covered(seam[on_seam], np.full(len(on_seam), CHAR_MM), pixel_mm)
    picture[on_seam] += share[:, None].astype(np.float32) * (np.array(CHAR_COLOUR, np.float32) - picture[on_seam])
