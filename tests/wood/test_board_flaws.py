"""What a board file may say of defects, trim, places of thickness and price, and what it may not."""

from __future__ import annotations

import pytest

from kerfwright.core.document import build
from kerfwright.core.errors import InputError
from kerfwright.wood.board import Board

PLAIN = {"schema": "kerfwright-board-1", "name": "A", "species": "sugar maple", "length": "300 mm", "width": "100 mm",
         "thickness": ["6 mm"] * 3}
KNOT = {"what": "knot", "at": ["10 mm", "20 mm"], "size": ["30 mm", "40 mm"]}


def test_an_old_file_still_reads():
    board = build(dict(PLAIN), Board, "board")
    assert (board.defects, board.price, board.thickness_at_mm) == ((), None, ())
    assert board.clear_mm == (0.0, 0.0, 300.0, 100.0)


def test_defects_and_trim():
    board = build(PLAIN | {"defects": [KNOT], "trim": {"left": "12 mm", "top": "5 mm"}}, Board, "board")
    assert board.defects[0].bounds_mm == (10.0, 20.0, 40.0, 60.0)
    assert board.clear_mm == (12.0, 0.0, 300.0, 95.0)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"defects": [KNOT | {"at": ["300 mm", "0 mm"]}]}, "the knot at 300, 0 mm lies off the board: the board is 300 mm x 100 mm"),
        ({"defects": [KNOT | {"size": ["0 mm", "4 mm"]}]}, "defects.0.size.0"),
        ({"defects": [KNOT | {"deep": "4 mm"}]}, "defects.0.deep is not a known key"),
        ({"trim": {"left": "200 mm", "right": "100 mm"}}, "the trim leaves nothing"),
        ({"trim": {"top": "-1 mm"}}, "trim.top"),
        ({"thickness_at": [["1 mm", "2 mm"]]}, "thickness has 3 entries and thickness_at 1"),
        ({"thickness_at": [["1 mm", "2 mm"], ["1 mm", "200 mm"], ["1 mm", "2 mm"]]}, "thickness_at has a point 1, 200 mm that lies off"),
        ({"price": {"value": -1, "per": "m3"}}, "price.value"),
        ({"price": {"value": 1, "per": "kilo"}}, "price.per"),
    ],
)
def test_a_board_that_cannot_be(keys: dict, told: str):
    with pytest.raises(InputError) as bad:
        build(PLAIN | keys, Board, "board")
    assert told in str(bad.value)


def test_all_faults_are_told_at_once():
    with pytest.raises(InputError) as bad:
        build(PLAIN | {"defects": [KNOT | {"at": ["300 mm", "0 mm"]}], "trim": {"left": "300 mm"}}, Board, "board")
    assert "lies off the board" in str(bad.value)
    assert "the trim leaves nothing" in str(bad.value)
