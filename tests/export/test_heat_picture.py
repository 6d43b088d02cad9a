"""The picture of warmth: same bytes, warmest strokes darkest, places where they are, turned over as the wood is."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from export.test_palette import SIGHT, lab, linear
from kerfwright.export.heat_picture import INK, HeatView, heat_png
from kerfwright.export.palette import WARMTH_INKS
from kerfwright.process.verdict import HotPlace

SIZE = (120.0, 42.0)
RING = np.array([(14.0, 0.0), (106.0, 0.0), (106.0, 42.0), (14.0, 42.0)])


def view(turned_over: bool = False, hottest: bool = True) -> HeatView:
    cool = [[(14.0, 4.0 + 0.06 * k), (21.0, 4.0 + 0.06 * k)] for k in range(20)]
    warm = [[(99.0, 30.0 + 0.06 * k), (106.0, 30.0 + 0.06 * k)] for k in range(20)]
    lines, warmth = np.array(cool + warm), np.repeat([0.0, 1.4], 20)
    places = (HotPlace("right", 2, (102.5, 30.0), 1.4, "high"),) if hottest else ()
    return HeatView("Box, right board", SIZE, RING, lines, warmth, places, (14.0, 57.0), turned_over)


def pixels(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)


def rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])


def middle_of(image: np.ndarray, colour: str) -> np.ndarray:
    """Mean (row, column) of a colour in the strip that shows the whole board."""
    wanted = rgb(colour)
    strip = image[80:360]
    found = np.argwhere(np.abs(strip - wanted).sum(axis=2) < 12)
    assert len(found) > 5
    return found.mean(axis=0)


@pytest.mark.parametrize("sight", SIGHT)
def test_warmer_is_darker_for_every_kind_of_sight(sight: str):
    """CIE 1976 lightness falls by 12 or more from step to step, so the order is read without hue."""
    lightness = [lab(SIGHT[sight] @ linear(ink))[0] for ink in WARMTH_INKS]
    assert np.diff(lightness).max() <= -12


def test_two_runs_give_the_same_bytes():
    assert heat_png(view()) == heat_png(view())


def test_the_warm_stroke_is_dark_and_stands_where_it_was_burnt():
    image = pixels(heat_png(view(hottest=False)))
    warm, cool = middle_of(image, WARMTH_INKS[-1]), middle_of(image, WARMTH_INKS[0])
    assert warm[1] - cool[1] == pytest.approx(85.0 * 1.6 * 150 / 42, rel=0.01)  # 85 mm on a board 42 mm wide drawn 1.6 in tall at 150 dpi
    assert cool[0] - warm[0] == pytest.approx(26.0 * 1.6 * 150 / 42, rel=0.01)  # 26 mm further up the board


def test_a_board_turned_over_keeps_its_left_end_left():
    image = pixels(heat_png(view(turned_over=True, hottest=False)))
    warm, cool = middle_of(image, WARMTH_INKS[-1]), middle_of(image, WARMTH_INKS[0])
    assert warm[1] - cool[1] == pytest.approx(85.0 * 1.6 * 150 / 42, rel=0.01)
    assert warm[0] - cool[0] == pytest.approx(26.0 * 1.6 * 150 / 42, rel=0.01)


def test_places_are_marked():
    marked, bare = pixels(heat_png(view())), pixels(heat_png(view(hottest=False)))
    ink = rgb(INK)
    strip = (np.abs(marked[80:360] - ink).sum(axis=2) < 6).sum() - (np.abs(bare[80:360] - ink).sum(axis=2) < 6).sum()
    assert strip > 100
    assert heat_png(view()) != heat_png(view(hottest=False))
