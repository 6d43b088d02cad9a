"""A board as its owner measured it."""

from __future__ import annotations

import pytest

from kerfwright.core.document import build
from kerfwright.core.errors import InputError
from kerfwright.wood.board import Board

BOARD = {"schema": "kerfwright-board-1", "name": "front", "species": "sugar maple", "length": "200 mm", "width": "2 1/2 in",
         "thickness": ["6.0 mm", "6.1 mm", "5.9 mm", "6.2 mm"], "moisture": "8 %"}


def test_thickness_is_the_mean_of_the_points_and_the_spread_their_range():
    board = build(BOARD, Board, where="b")
    assert board.thickness_mm == pytest.approx(6.05, abs=1e-12)
    assert board.thickness_spread_mm == pytest.approx(0.3, abs=1e-12)
    assert board.width_mm == pytest.approx(63.5, rel=1e-15)
    assert board.moisture_frac == pytest.approx(0.08)


@pytest.mark.parametrize(("key", "bad"), [("thickness", []), ("thickness", ["0 mm"]), ("thickness", [6.0]),
                                          ("thickness", ["6 mm", "nan mm"]),
                                          ("moisture", "31 %"), ("moisture", "-1 %"), ("moisture", 0.08), ("length", "0 mm"), ("name", ""),
                                          ("edges", "sawn"), ("schema", "kerfwright-board-2"), ("thicknes", ["6 mm"])])
def test_what_no_board_can_be_is_refused(key: str, bad: object):
    with pytest.raises(InputError, match=f"^b: {key}"):
        build({**BOARD, key: bad}, Board, where="b")
