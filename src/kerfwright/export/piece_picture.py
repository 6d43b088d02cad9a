"""A picture of the piece: straight-lined (orthographic) view, soft light, crisp edges, wood colours.

The scene is drawn three times finer than asked and averaged down. Each flat face has one number; where
neighbouring pixels carry different numbers there is an edge: strong where parts meet or one hides another, fine
where a board turns a corner.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose, shift
from kerfwright.export.raster import DepthBuffer, polygon_mask
from kerfwright.export.wood_colour import WARMTH, Colour, end_grain, shaded
from kerfwright.export.wood_grain import ring_shade
from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.geometry.mesh import face_normal, flat_faces

Array = NDArray[np.float64]
Floats = NDArray[np.float32]
Picture = NDArray[np.uint8]

FINER = 3  # drawn this many times finer each way
MARGIN_FRAC = 0.045  # white left round the piece
VIEW_DEG = (-32.0, 28.0)
# Light and shade, all ours, chosen by eye.
KEY_LIGHT = (-0.28, 0.76, 0.58)  # right, up, toward the viewer
DIMMEST_LIGHT = 0.73  # on a face turned straight away from the key light
END_GRAIN_LIGHT = 0.80
GRAIN_CONTRAST = 0.20
HOLLOW_CONTRAST = 0.22
SHADOW_CONTRAST = 0.24
EDGE_COLOUR = (52, 36, 26)
FINE_EDGE_FRAC = 0.55  # how much of the edge colour a fine edge takes
EDGE_PX = 1.3  # width of a strong edge in a picture 900 pixels wide


def piece_png(
    assembly: Assembly,
    colours: Mapping[str, Colour],
    width_px: int,
    height_px: int,
    apart_mm: float = 0.0,
    view_deg: tuple[float, float] = VIEW_DEG,
) -> bytes:
    """The picture as a PNG file; see ``render_piece``."""
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(render_piece(assembly, colours, width_px, height_px, apart_mm, view_deg)).save(out, "PNG", optimize=False)
    return out.getvalue()


def render_piece(
    assembly: Assembly,
    colours: Mapping[str, Colour],
    width_px: int,
    height_px: int,
    apart_mm: float = 0.0,
    view_deg: tuple[float, float] = VIEW_DEG,
) -> Picture:
    """The piece on white, (height_px, width_px, 3).

    colours: sRGB 0-1 by part name. apart_mm moves every part out along its show face: an exploded view.
    view_deg: azimuth (0 from the front, > 0 from the right) and elevation of the eye.
    """
    poses = {part.name: shift(*(apart_mm * part.assembly_from_part.matrix[:3, 2])) @ part.assembly_from_part for part in assembly.parts}
    faces = [face for part in assembly.parts for face in _faces(part, poses[part.name])]
    camera = _camera(np.concatenate([face.loop_mm for face in faces]), view_deg, (width_px, height_px))
    buffer = DepthBuffer(width_px * FINER, height_px * FINER)
    for number, face in enumerate(faces, start=1):
        if face.outward_to @ camera.back_to > 1e-6:
            buffer.draw(camera.pixels(face.loop_mm), camera.depth_plane(face.loop_mm[0], face.outward_to), number)
    picture = _averaged(np.take(_palette(faces, colours, camera), buffer.face, axis=0))  # (h, w, 3)
    covered = _averaged(np.where(buffer.face > 0, np.uint8(255), np.uint8(0))) / np.float32(255)
    step = slice(FINER // 2, None, FINER)  # the middle of each block of fine pixels
    number, depth_mm = buffer.face[step, step], buffer.depth_mm[step, step]
    dark = GRAIN_CONTRAST * _grain(assembly, poses, faces, camera, number, depth_mm) + _hollows(depth_mm, number > 0, camera)
    picture *= 1 - (covered * dark)[:, :, None] * np.array(WARMTH, np.float32)
    picture *= (1 - (1 - covered) * SHADOW_CONTRAST * _shadow(faces, camera, covered.shape))[:, :, None]
    ink = _ink(buffer, faces, max(0.7, width_px / 900))
    picture += ink[:, :, None] * (np.array(EDGE_COLOUR, np.float32) - picture)
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)


@dataclass(frozen=True, eq=False)
class _Face:
    """One flat face where it stands: loop_mm (k, 3) and its outward normal in the assembly; surface: equal for faces in one plane."""

    part: str
    loop_mm: Array
    outward_to: Array
    is_end_grain: bool
    surface: str


def _faces(part: Part, pose: Pose) -> list[_Face]:
    found: list[_Face] = []
    for face in flat_faces(part.slab):
        normal = face_normal(face.outer_mm)
        plane = tuple(np.round([*normal, float(normal @ face.outer_mm[0])], 4).tolist())
        across = bool(end_grain(normal[None, :])[0])
        found += [_Face(part.name, pose.apply(piece), pose.turned(normal), across, f"{part.name} {plane}") for piece in face.pieces_mm]
    return found


@dataclass(frozen=True, eq=False)
class _Camera:
    """Directions are unit vectors in the assembly frame; px_per_mm and origin_px place the view in the fine picture."""

    right_to: Array
    up_to: Array
    back_to: Array  # toward the viewer
    px_per_mm: float
    origin_px: Array  # (2,)

    def pixels(self, points_mm: Array) -> Array:
        """(n, 3) -> (n, 2), y down."""
        return np.stack([points_mm @ self.right_to, -(points_mm @ self.up_to)], axis=1) * self.px_per_mm + self.origin_px

    def depth_plane(self, point_mm: Array, normal: Array) -> Array:
        """(3,) with depth in mm = plane @ (x_px, y_px, 1), for the flat face through a point."""
        lean = np.array([-(normal @ self.right_to), normal @ self.up_to]) / (float(normal @ self.back_to) * self.px_per_mm)
        at_px = self.pixels(point_mm[None, :])[0]
        return np.array([*lean, float(point_mm @ self.back_to - lean @ at_px)])

    def points(self, at_px: Array, depth_mm: Floats) -> Array:
        """Where pixels lie in the assembly. at_px: (n, 2); depth_mm: (n,) -> (n, 3)."""
        across_mm, down_mm = ((at_px - self.origin_px) / self.px_per_mm).T
        return across_mm[:, None] * self.right_to - down_mm[:, None] * self.up_to + depth_mm[:, None] * self.back_to


def _camera(points_mm: Array, view_deg: tuple[float, float], size_px: tuple[int, int]) -> _Camera:
    azimuth, elevation = np.radians(view_deg)
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    back = np.array([np.sin(azimuth) * np.cos(elevation), -np.cos(azimuth) * np.cos(elevation), np.sin(elevation)])
    loose = _Camera(right, np.cross(back, right), back, 1.0, np.zeros(2))
    flat = loose.pixels(points_mm)
    low, high = flat.min(axis=0), flat.max(axis=0)
    fine_px = np.array(size_px) * FINER
    scale = float(np.min(fine_px * (1 - 2 * MARGIN_FRAC) / (high - low)))
    return replace(loose, px_per_mm=scale, origin_px=fine_px / 2 - scale * (low + high) / 2)


def _palette(faces: list[_Face], colours: Mapping[str, Colour], camera: _Camera) -> Picture:
    """Colour of every face number in its light, white for 0. (n_faces + 1, 3)"""
    key = KEY_LIGHT[0] * camera.right_to + KEY_LIGHT[1] * camera.up_to + KEY_LIGHT[2] * camera.back_to
    key /= np.linalg.norm(key)
    found = [np.full(3, 255.0)]
    for face in faces:
        light = DIMMEST_LIGHT + (1 - DIMMEST_LIGHT) * 0.5 * (1 + float(face.outward_to @ key))  # Lambert's law, wrapped softly round
        light *= END_GRAIN_LIGHT if face.is_end_grain else 1.0
        found.append(255 * np.array(shaded(colours[face.part], light)))
    return np.rint(np.array(found)).astype(np.uint8)


def _averaged(fine: Picture) -> Floats:
    """(FINER h, FINER w, ...) -> (h, w, ...)."""
    from PIL import Image

    return np.asarray(Image.fromarray(fine).reduce(FINER), np.float32)


def _grain(
    assembly: Assembly, poses: Mapping[str, Pose], faces: list[_Face], camera: _Camera, number: NDArray[np.int16], depth_mm: Floats
) -> Floats:
    """Growth rings at every pixel, 0 to 1. (h, w)"""
    names = [part.name for part in assembly.parts]
    part_of = np.array([-1, *(names.index(face.part) for face in faces)])
    part_at = part_of[number]
    shade = np.zeros(number.shape, np.float32)
    for i, name in enumerate(names):
        rows, columns = np.nonzero(part_at == i)
        centre_px = (np.stack([columns, rows], axis=1).astype(np.float64) + 0.5) * FINER
        points_mm = camera.points(centre_px, depth_mm[rows, columns])
        shade[rows, columns] = ring_shade(name, poses[name].inverse().apply(points_mm).astype(np.float32))
    return shade


def _hollows(depth_mm: Floats, solid: NDArray[np.bool_], camera: _Camera) -> Floats:
    """Soft darkness where a pixel lies behind its surroundings: inner corners and the foot of walls. (h, w)"""
    near = solid.astype(np.float32)
    radius_px = max(2, round(min(solid.shape) / 40))
    weight = _blurred(near, radius_px)
    around_mm = _blurred(np.where(solid, depth_mm, np.float32(0)), radius_px) / np.maximum(weight, 1e-3)
    reach_mm = 1.5 * radius_px * FINER / camera.px_per_mm
    behind = np.where(solid, around_mm - depth_mm, 0)
    return (-HOLLOW_CONTRAST * np.expm1(-np.maximum(behind, 0) / reach_mm)).astype(np.float32)


def _shadow(faces: list[_Face], camera: _Camera, shape: tuple[int, int]) -> Floats:
    """A soft shadow on the bench straight under the piece, 0 to 1. (h, w)"""
    bench_mm = min(float(face.loop_mm[:, 2].min()) for face in faces)
    under = np.zeros(shape, np.float32)
    for face in faces:
        if face.outward_to[2] > 1e-6:
            on_bench = np.column_stack([face.loop_mm[:, :2], np.full(len(face.loop_mm), bench_mm)])
            window, inside = polygon_mask(camera.pixels(on_bench) / FINER, shape)
            under[window][inside] = 1
    return np.clip(1.6 * _blurred(under, max(2, round(min(shape) / 60))), 0, 1)


def _blurred(values: Floats, radius_px: int) -> Floats:
    """A box average three times over, nearly a Gaussian; at half size, which no eye can tell. (h, w) -> (h, w)"""
    half, reach = values[::2, ::2], max(1, radius_px // 2)
    for axis in (0, 1, 0, 1, 0, 1):
        pad = [(reach + 1, reach) if axis == each else (0, 0) for each in (0, 1)]
        total = np.cumsum(np.pad(half, pad, mode="edge"), axis=axis, dtype=np.float64)
        width = 2 * reach + 1
        spread = total[width:] - total[:-width] if axis == 0 else total[:, width:] - total[:, :-width]
        half = (spread / width).astype(np.float32)
    return half.repeat(2, axis=0).repeat(2, axis=1)[: values.shape[0], : values.shape[1]]


def _ink(buffer: DepthBuffer, faces: list[_Face], width: float) -> Floats:
    """How much edge colour each pixel takes, 0 to 1. width: 1 in a picture 900 pixels wide. (h, w)"""
    surfaces = {surface: i for i, surface in enumerate(dict.fromkeys(face.surface for face in faces), start=1)}
    surface_at = np.array([0, *(surfaces[face.surface] for face in faces)], np.int16)[buffer.face]
    names = {name: i for i, name in enumerate(dict.fromkeys(face.part for face in faces), start=1)}
    part_at = np.array([0, *(names[face.part] for face in faces)], np.int8)[buffer.face]
    fine = _thick(_steps(surface_at), max(2, round(0.5 * EDGE_PX * FINER * width)))
    strong = _thick(_steps(part_at), max(2, round(EDGE_PX * FINER * width)))
    ink = np.where(strong, np.uint8(255), np.where(fine, np.uint8(255 * FINE_EDGE_FRAC), np.uint8(0)))
    return _averaged(ink) / np.float32(255)


def _steps(values: NDArray[np.integer[Any]]) -> NDArray[np.bool_]:
    """Pixels that differ from the one to the right or below."""
    found = np.zeros(values.shape, bool)
    found[:, :-1] |= values[:, :-1] != values[:, 1:]
    found[:-1, :] |= values[:-1, :] != values[1:, :]
    return found


def _thick(marks: NDArray[np.bool_], width_px: int) -> NDArray[np.bool_]:
    """Every mark grown to a square ``width_px`` wide, the mark near its middle."""
    for axis in (0, 1):
        grown = marks.copy()
        for step in range(1, width_px):
            away = step // 2 + 1 if step % 2 else -(step // 2)  # right first: a step lies left of the border it marks
            here, there = (slice(away, None), slice(None, -away)) if away > 0 else (slice(None, away), slice(-away, None))
            if axis == 0:
                grown[here, :] |= marks[there, :]
            else:
                grown[:, here] |= marks[:, there]
        marks = grown
    return marks
