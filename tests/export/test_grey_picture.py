"""Where ramp pictures lie and what stops them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from format_samples import SPACING_MM, ramp_paths, setup
from kerfwright.core.errors import SelfCheckError
from kerfwright.export.grey_picture import line_spacing_mm, picture_placings, power_pictures
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.setup import Setup


def with_lines(lines: list[tuple[float, float, float]], power: float = 0.5) -> Setup:
    """A setup of ramp lines (x0, x1, y)."""
    paths = tuple(BeamPath(np.array([[x0, y, 0.0], [x1, y, 0.0]]), power, 1.0) for x0, x1, y in lines)
    return setup(ops=(CutOperation("ramps", "ramps", OperationKind.RAMP, paths, 40.0, (Pass(0.0),)),))


def test_spacing_is_found_whatever_the_order() -> None:
    paths = list(ramp_paths())
    assert line_spacing_mm(paths) == pytest.approx(SPACING_MM, abs=1e-9)
    assert line_spacing_mm(paths[::-1]) == pytest.approx(SPACING_MM, abs=1e-9)
    assert line_spacing_mm(paths[1::7] + paths[::7] + [p for i, p in enumerate(paths) if i % 7 > 1]) == pytest.approx(SPACING_MM, abs=1e-9)


@pytest.mark.parametrize("spacing_mm", [0.03, 0.05, 0.07, 0.1, 0.25])
def test_pixel_is_a_whole_number_a_metre_and_at_most_half_the_spacing(spacing_mm: float) -> None:
    placing, = picture_placings(with_lines([(0.0, 6.0, 20 + i * spacing_mm) for i in range(9)]))
    limit_mm = min(spacing_mm / 2, 0.05)
    assert placing.pixel_mm == 1000 / placing.pixels_per_m
    assert limit_mm - 1e-4 < placing.pixel_mm <= limit_mm + 1e-9
    assert placing.row_error_mm <= spacing_mm / 4 + 1e-9


def test_lone_lines_still_get_a_fine_pixel() -> None:
    placing, = picture_placings(with_lines([(0.0, 6.0, 20.0), (0.0, 6.0, 33.3)]))
    assert placing.pixel_mm == 0.05


def test_blocks_along_the_board_are_pictures_of_their_own() -> None:
    names = [(p.name, p.left_mm) for p in picture_placings(setup())]
    assert names == [("a", 31.25), ("b", pytest.approx(31.25 + 118 - 6.1))]
    assert [p.name for p in picture_placings(with_lines([(0.0, 6.0, 20.0), (8.0, 14.0, 20.5)]))] == [""]


def test_a_big_board_stays_a_small_picture() -> None:
    wide = with_lines([(x, x + 6.0, 10 + i * 0.04) for x in (0.0, 880.0) for i in range(5000)])
    assert sum(p.n_rows * p.n_columns for p in picture_placings(wide)) < 10e6


def test_neighbouring_lines_never_share_a_row() -> None:
    picture, = power_pictures(with_lines([(0.0, 6.0, 20 + i * 0.0601) for i in range(200)]))
    assert np.count_nonzero(picture.power_frac.any(axis=1)) == 200
    assert picture.power_frac.max() == np.float32(0.5)


def test_ramps_that_differ_in_speed_cannot_share_a_picture() -> None:
    one = with_lines([(0.0, 6.0, 20.0)])
    other = replace(one.operations[0], name="more", speed_mm_s=50.0)
    with pytest.raises(SelfCheckError, match="differ in speed or layers"):
        picture_placings(replace(one, operations=(*one.operations, other)))
