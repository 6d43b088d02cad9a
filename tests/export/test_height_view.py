"""A burnt socket in space: an independent reader of the GLB gets every height back, and the picture keeps its scale."""

from __future__ import annotations

import io
import json
import struct
from typing import Any

import numpy as np
import pytest
import trimesh
from PIL import Image

from kerfwright.export.height_picture import AZIMUTH_DEG, MARGIN_FRAC, height_png
from kerfwright.export.height_view import coarser, height_glb
from kerfwright.export.wood_colour import parse_colour

MAPLE = parse_colour("#e6d3b3")
CELL_MM, THICK_MM = 0.05, 6.0


def socket() -> np.ndarray:
    """8 x 6 mm of board, a socket open to the right end whose two walls slope 1:8, through between them."""
    y, x = np.mgrid[0:120, 0:160] * CELL_MM + CELL_MM / 2
    wall = np.minimum(y - 1.0, 5.0 - y) * 8
    return np.where((x > 3.0) & (wall > 0), np.clip(wall, 0.0, THICK_MM + 2.0), 0.0)


def read_mm(data: bytes) -> tuple[Any, np.ndarray]:
    """The mesh in millimetres, z up, as an outsider reads it."""
    scene: Any = trimesh.load(io.BytesIO(data), file_type="glb", process=False)
    mesh = scene.to_geometry()
    x, y, z = (np.asarray(mesh.vertices) * 1000).T  # a viewer's y is up
    return mesh, np.column_stack([x, -z, y])


def test_every_height_comes_back() -> None:
    depth = socket()
    _, points = read_mm(height_glb("socket", depth, CELL_MM, THICK_MM, MAPLE))
    assert len(points) == depth.size
    columns, rows = np.rint(points[:, 0] / CELL_MM - 0.5).astype(int), np.rint(points[:, 1] / CELL_MM - 0.5).astype(int)
    np.testing.assert_allclose(points[:, 0], (columns + 0.5) * CELL_MM, atol=1e-5)
    np.testing.assert_allclose(points[:, 1], (rows + 0.5) * CELL_MM, atol=1e-5)
    assert len(set(zip(columns.tolist(), rows.tolist(), strict=True))) == depth.size
    np.testing.assert_allclose(points[:, 2], -np.minimum(depth[rows, columns], THICK_MM), atol=1e-5)


def test_faces_look_up_and_end_where_it_is_through() -> None:
    depth = socket()
    mesh, points = read_mm(height_glb("socket", depth, CELL_MM, THICK_MM, MAPLE))
    corners = points[np.asarray(mesh.faces)]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (across[:, 2] > 0).all()
    flat_mm2 = float(np.sum(across[:, 2])) / 2
    gone = depth >= THICK_MM
    open_cells = gone[:-1, :-1] & gone[:-1, 1:] & gone[1:, 1:] & gone[1:, :-1]
    assert open_cells.sum() > 0
    assert flat_mm2 == pytest.approx((open_cells.size - open_cells.sum()) * CELL_MM**2, rel=1e-6)


def test_colour_is_bare_wood_above_and_char_below() -> None:
    depth = socket()
    data = height_glb("socket", depth, CELL_MM, THICK_MM, MAPLE)
    _, points = read_mm(data)
    size = struct.unpack_from("<I", data, 12)[0]  # trimesh drops corner colours beside a material, so they are read by hand
    document = json.loads(data[20 : 20 + size])
    accessor = document["accessors"][document["meshes"][0]["primitives"][0]["attributes"]["COLOR_0"]]
    start = 28 + size + document["bufferViews"][accessor["bufferView"]]["byteOffset"]
    shade = np.frombuffer(data, "u1", 4 * accessor["count"], start).reshape(-1, 4)[:, :3].astype(float)
    bare, deep = shade[points[:, 2] > -1e-9], shade[points[:, 2] < -5]
    assert bare.min() == 255  # the material's own colour
    assert deep.max() < 80


def test_a_large_field_is_thinned_by_means() -> None:
    depth = np.add.outer(np.arange(600.0), np.arange(1000.0))
    thin, step = coarser(depth, 40_000)
    assert (step, thin.shape) == (4, (150, 250))
    assert thin[3, 5] == pytest.approx(depth[12:16, 20:24].mean(), abs=1e-12)
    assert coarser(depth, 600_000)[0] is not None
    assert coarser(depth, 600_000)[1] == 1


def test_the_picture_is_to_scale() -> None:
    """The block's width on the page is that of its turned outline; a flat board shows no char; two runs are alike."""
    flat = np.zeros((60, 80))
    png = height_png(flat, 0.1, 3.0, MAPLE, 300)
    assert png == height_png(flat, 0.1, 3.0, MAPLE, 300)
    picture = np.asarray(Image.open(io.BytesIO(png)).convert("L")).astype(float)
    columns = np.nonzero((picture < 245).any(axis=0))[0]
    assert picture.shape[1] == 300
    assert columns[-1] - columns[0] + 1 == pytest.approx(300 * (1 - 2 * MARGIN_FRAC), abs=2)
    assert picture.min() > 90
    # The front corner stands where the two sides meet: cos shares of their lengths.
    turn = np.radians(AZIMUTH_DEG)
    wide, deep = 8.0 * np.cos(turn), 6.0 * np.sin(turn)
    lowest = int(np.nonzero((picture < 245).any(axis=1))[0][-1])
    foot = float(np.mean(np.nonzero(picture[lowest] < 245)[0]))
    assert (foot - columns[0]) / (columns[-1] - columns[0]) == pytest.approx(wide / (wide + deep), abs=0.02)


def test_a_socket_is_dark_inside_and_open_below() -> None:
    picture = np.asarray(Image.open(io.BytesIO(height_png(socket(), CELL_MM, THICK_MM, MAPLE, 300))).convert("L")).astype(float)
    assert picture.min() < 45
    assert (picture < 90).mean() > 0.05
