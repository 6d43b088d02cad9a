"""The picture of the piece: right faces in front, true proportions, the same bytes every time."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from kerfwright.core.pose import identity, shift
from kerfwright.export.piece_picture import END_GRAIN_LIGHT, MARGIN_FRAC, piece_png, render_piece
from kerfwright.export.raster import DepthBuffer, polygon_mask
from kerfwright.export.wood_colour import Colour
from kerfwright.export.wood_grain import ring_shade
from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import straight_slab
from solid_samples import PANELS, SIZE_MM, box

BOX = box({"all": {"kind": "through dovetail", "tails": 3}}, proud_mm=0.0)
MAPLE: Colour = (0.90, 0.83, 0.70)
COLOURS: dict[str, Colour] = {panel: MAPLE for panel in PANELS}
RED, BLUE = (0.9, 0.1, 0.1), (0.1, 0.1, 0.9)


def block(name: str, length_mm: float, width_mm: float, thickness_mm: float, at_mm: tuple[float, float, float]) -> Part:
    """An upright block whose show face looks up."""
    edges = tuple(Edge(Role.FREE, Place.LONG, f"e{i}") for i in range(4))
    ring = Ring(np.array([(0, 0), (length_mm, 0), (length_mm, width_mm), (0, width_mm)], dtype=float), edges)
    return Part(name, straight_slab(ring, thickness_mm), shift(*at_mm) @ identity())


def pile(*parts: Part) -> Assembly:
    return Assembly("pile", parts, (), (), ())


def wooden(picture: np.ndarray) -> np.ndarray:
    """Pixels that are neither white nor shadow grey: wood and its edges."""
    spread = picture.max(axis=2).astype(int) - picture.min(axis=2)
    return spread > 12


# The raster


def test_a_polygon_holds_the_pixels_whose_centres_lie_inside():
    window, inside = polygon_mask(np.array([(1.0, 1.0), (5.0, 1.0), (5.0, 3.5), (1.0, 3.5)]), (10, 10))
    full = np.zeros((10, 10), bool)
    full[window] = inside
    assert np.argwhere(full).tolist() == [[y, x] for y in (1, 2) for x in (1, 2, 3, 4)]  # y 3.5 is a centre on the border: outside


@pytest.mark.parametrize("seed", range(5))
def test_polygons_that_share_edges_tile_without_cracks_or_overlap(seed: int):
    """A fan of triangles round a point, partly off the picture: every pixel of the square falls in exactly one."""
    rng = np.random.default_rng(seed)
    rim = np.array([(-20, -20), (30, -20), (80, -20), (80, 35), (80, 80), (10, 80), (-20, 80), (-20, 20)], dtype=float)
    hub = rng.uniform(5, 55, 2)
    count = np.zeros((60, 60), int)
    for i in range(len(rim)):
        window, inside = polygon_mask(np.array([hub, rim[i - 1], rim[i]]), count.shape)
        count[window] += inside
    assert np.all(count == 1)


def test_the_nearer_face_wins_whatever_the_order():
    square = np.array([(0.0, 0.0), (8.0, 0.0), (8.0, 8.0), (0.0, 8.0)])
    leaning, level = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 4.0])  # depth = x; depth = 4
    for order in ((1, 2), (2, 1)):
        buffer = DepthBuffer(8, 8)
        for face in order:
            buffer.draw(square, leaning if face == 1 else level, face)
        assert buffer.face.tolist() == [[2, 2, 2, 2, 1, 1, 1, 1]] * 8
        assert buffer.depth_mm[0].tolist() == [4, 4, 4, 4, 4.5, 5.5, 6.5, 7.5]


# The picture


def test_the_picture_fits_with_its_margin_and_keeps_proportions():
    picture = render_piece(BOX, COLOURS, 600, 400, view_deg=(0.0, 0.0))  # straight from the front: length by height
    rows, columns = np.nonzero(wooden(picture))
    width, height = columns.max() - columns.min() + 1, rows.max() - rows.min() + 1
    assert width == pytest.approx(600 * (1 - 2 * MARGIN_FRAC), abs=3)  # an edge line stands half outside
    assert height == pytest.approx(width * SIZE_MM[2] / SIZE_MM[0], abs=3)
    assert (columns.max() + columns.min()) / 2 == pytest.approx(299.5, abs=1)
    assert (rows.max() + rows.min()) / 2 == pytest.approx(199.5, abs=1)
    assert picture.shape == (400, 600, 3)
    assert picture.dtype == np.uint8
    assert np.all(picture[[0, 0, -1, -1], [0, -1, 0, -1]] == 255)


def test_seen_from_above_the_box_is_open():
    picture = render_piece(BOX, COLOURS, 560, 380, view_deg=(0.0, 90.0))
    wood = wooden(picture)
    assert not wood[150:230, 200:360].any()
    length, width, _ = SIZE_MM
    frame = 1 - (length - 12) * (width - 12) / (length * width)
    rows, columns = np.nonzero(wood)
    box_px = (np.ptp(rows) + 1) * (np.ptp(columns) + 1)
    assert wood.sum() / box_px == pytest.approx(frame, abs=0.03)


@pytest.mark.parametrize(("view_deg", "left_is_red"), [((0.0, 10.0), True), ((180.0, 10.0), False)])
def test_left_and_right_change_places_from_behind(view_deg: tuple[float, float], left_is_red: bool):
    two = pile(block("red", 20, 20, 20, (0, 0, 20)), block("blue", 20, 20, 20, (30, 0, 20)))
    picture = render_piece(two, {"red": RED, "blue": BLUE}, 300, 200, view_deg=view_deg).astype(int)
    reddish = (picture[..., 0] - picture[..., 2]) > 60
    blueish = (picture[..., 2] - picture[..., 0]) > 60
    assert bool(np.nonzero(reddish)[1].mean() < np.nonzero(blueish)[1].mean()) == left_is_red
    assert reddish.sum() == pytest.approx(blueish.sum(), rel=0.02)


def test_what_stands_in_front_hides_what_stands_behind():
    two = pile(block("blue", 20, 20, 20, (0, 0, 20)), block("red", 20, 20, 20, (0, 30, 20)))
    front = render_piece(two, {"red": RED, "blue": BLUE}, 200, 200, view_deg=(0.0, 0.0)).astype(int)
    back = render_piece(two, {"red": RED, "blue": BLUE}, 200, 200, view_deg=(180.0, 0.0)).astype(int)
    assert front[100, 100, 2] > front[100, 100, 0] + 60
    assert back[100, 100, 0] > back[100, 100, 2] + 60


def test_end_grain_is_darker_than_face_grain():
    cube = pile(block("cube", 40, 40, 40, (0, 0, 40)))
    colours = {"cube": (0.8, 0.8, 0.8)}
    # Turned 45 degrees the two upright faces look the same to a light that is nearly over the eye, but for their grain.
    picture = render_piece(cube, colours, 300, 300, view_deg=(45.0, 0.0)).astype(float)
    long_grain, end_grain = picture[130:170, 60:120, 1].mean(), picture[130:170, 180:240, 1].mean()
    assert end_grain < long_grain * (END_GRAIN_LIGHT + 0.06)


def test_parts_drawn_apart_are_the_same_parts_further_out():
    together, apart = (render_piece(BOX, COLOURS, 600, 400, apart_mm=away, view_deg=(0.0, 90.0)) for away in (0.0, 30.0))
    rows, columns = np.nonzero(wooden(apart))
    # 60 mm is added to both sides of the plan.
    assert (np.ptp(columns) + 1) / (np.ptp(rows) + 1) == pytest.approx((SIZE_MM[0] + 60) / (SIZE_MM[1] + 60), rel=0.02)
    rows, columns = np.nonzero(wooden(together))
    assert (np.ptp(columns) + 1) / (np.ptp(rows) + 1) == pytest.approx(SIZE_MM[0] / SIZE_MM[1], rel=0.02)


def test_the_seam_between_two_flush_parts_is_drawn_and_one_flat_board_has_none():
    """The joint is what people look for: two boards in one plane still show the line where they meet."""
    seam = pile(block("a", 20, 20, 20, (0, 0, 20)), block("b", 20, 20, 20, (20, 0, 20)))
    whole = pile(block("a", 40, 20, 20, (0, 0, 20)))
    grey: Colour = (0.8, 0.8, 0.8)
    middle = slice(145, 155)
    with_seam = render_piece(seam, {"a": grey, "b": grey}, 300, 200, view_deg=(0.0, 0.0))[100, middle].min()
    without = render_piece(whole, {"a": grey}, 300, 200, view_deg=(0.0, 0.0))[100, middle].min()
    assert with_seam < 110
    assert without > 120


def test_the_png_is_the_picture_and_the_same_every_time():
    data = piece_png(BOX, COLOURS, 240, 160)
    assert data == piece_png(BOX, COLOURS, 240, 160)
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(data))), render_piece(BOX, COLOURS, 240, 160))


def test_growth_rings_run_on_from_face_to_end_and_differ_between_boards():
    points = np.random.default_rng(3).uniform(0, 60, (500, 3)).astype(np.float32)
    shade = ring_shade("front", points)
    assert shade.min() >= 0
    assert shade.max() <= 1
    assert np.array_equal(shade, ring_shade("front", points))
    assert np.abs(shade - ring_shade("back", points)).mean() > 0.05
    nudged = ring_shade("front", points + np.float32(0.001))
    assert np.abs(shade - nudged).max() < 0.02  # a solid pattern: no jump anywhere
