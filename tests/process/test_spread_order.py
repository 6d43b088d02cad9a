"""Spread order: every stroke once a pass, each wall's lines in their own order, operations untouched otherwise."""

from __future__ import annotations

import numpy as np

from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.spread_order import fields_of, in_order, spread_out


def line(x_mm: float, y_mm: float, depth_mm: float = 1.0) -> BeamPath:
    return BeamPath(np.array([[x_mm, y_mm, 0.0], [x_mm + 7.0, y_mm, 0.0]]), 0.5, depth_mm)


def ramps(*fields: list[BeamPath], kind: OperationKind = OperationKind.RAMP) -> CutOperation:
    paths = tuple(path for field in fields for path in field)
    return CutOperation("ramps", "Ramps", kind, paths, 14.0, (Pass(-0.3), Pass(-1.5)))


def wedge(x_mm: float, y_mm: float, n: int = 5, toward: float = 1.0) -> list[BeamPath]:
    return [line(x_mm, y_mm + toward * 0.06 * k, 5.0 - k) for k in range(n)]


LEFT = [wedge(5.0, 5.0), wedge(5.0, 15.0, toward=-1.0), wedge(5.0, 20.0)]
RIGHT = [wedge(105.0, 5.0), wedge(105.0, 15.0, toward=-1.0), wedge(105.0, 20.0)]


def test_fields_are_found_in_any_order():
    op = ramps(*LEFT, *RIGHT)
    for paths in (op.paths, spread_out(op).paths):
        assert {tuple(map(id, field)) for field in fields_of(paths)} == {tuple(map(id, field)) for field in (*LEFT, *RIGHT)}


def test_every_stroke_is_burnt_once_and_each_wall_keeps_its_order():
    op = ramps(*RIGHT, *LEFT)
    spread = spread_out(op)
    assert sorted(map(id, spread.paths)) == sorted(map(id, op.paths))
    place = {id(path): k for k, path in enumerate(spread.paths)}
    for field in (*LEFT, *RIGHT):
        turns = [place[id(path)] for path in field]
        assert turns == sorted(turns)
    assert (spread.passes, spread.speed_mm_s, spread.name, spread.kind) == (op.passes, op.speed_mm_s, op.name, op.kind)


def test_one_line_of_every_field_of_an_end_then_the_next():
    spread = spread_out(ramps(*RIGHT, *LEFT))
    expected = [field[k] for end in (LEFT, RIGHT) for k in range(5) for field in end]
    assert [id(path) for path in spread.paths] == [id(path) for path in expected]


def test_fields_of_unlike_length_all_finish():
    long, short = wedge(5.0, 5.0, 6), wedge(5.0, 15.0, 2)
    spread = spread_out(ramps(long, short))
    assert [id(path) for path in spread.paths] == [id(p) for p in (long[0], short[0], long[1], short[1], *long[2:])]


def test_spreading_twice_is_spreading_once():
    once = spread_out(ramps(*LEFT, *RIGHT))
    assert [id(path) for path in spread_out(once).paths] == [id(path) for path in once.paths]


def test_other_operations_and_their_order_stay():
    witness, through = (ramps(*LEFT, kind=kind) for kind in (OperationKind.WITNESS, OperationKind.THROUGH))
    empty = ramps()
    done = in_order([witness, empty, ramps(*LEFT), through], "spread")
    assert [op.kind for op in done] == [OperationKind.WITNESS, OperationKind.RAMP, OperationKind.THROUGH]
    assert done[0] is witness
    assert done[2] is through
    drawn = ramps(*LEFT, *RIGHT)
    assert in_order([drawn], "as drawn") == (drawn,)


def test_nothing_to_spread():
    assert spread_out(ramps()).paths == ()
    alone = ramps(wedge(5.0, 5.0))
    assert [id(path) for path in spread_out(alone).paths] == [id(path) for path in alone.paths]
