"""One setup as the machine runs it: where points land, when the person is stopped, and the correction by read marks."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.core.document import build
from kerfwright.core.pose import Pose, shift, turn_x, turn_z
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, straight_slab
from kerfwright.machine.machine import Machine
from kerfwright.process.moves import Burn, Pause, Travel, moves_of, needs_steady_focus
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.setup import Placing, Setup

LENGTH_MM, WIDTH_MM, THICK_MM = 120.0, 60.0, 6.0
SQUARE = Ring(np.array([[0.0, 0], [LENGTH_MM, 0], [LENGTH_MM, WIDTH_MM], [0, WIDTH_MM]]),
              tuple(Edge(Role.FREE, Place.LONG, f"e{i}") for i in range(4)))


def machine(z: str) -> Machine:
    tables: dict[str, Any] = {
        "schema": "kerfwright-machine-1", "name": "m", "laser": "diode", "power": "20 W", "bed_x": "400 mm", "bed_y": "400 mm", "z": z,
        "height": "60 mm", "head": {"gap": "5 mm", "half_width": "30 mm"}, "top_speed": "200 mm/s", "acceleration": "1000 mm/s2"}
    return build(tables, Machine, where="m")


def stroke(*points: tuple[float, float], power_frac: float = 0.5) -> BeamPath:
    return BeamPath(np.array([[x, y, 0.0] for x, y in points]), power_frac, 6.0)


def operation(*paths: BeamPath, passes: tuple[float, ...] = (0.0,), kind: OperationKind = OperationKind.THROUGH,
              level_mm: float | None = None, before: str = "") -> CutOperation:
    return CutOperation("cut", "cut", kind, paths, 4.0, tuple(Pass(focus_mm) for focus_mm in passes), level_mm, before)


def setup(pose: Pose, *operations: CutOperation) -> Setup:
    return Setup(1, "s", "a setup", "b", "front", straight_slab(SQUARE, THICK_MM), (LENGTH_MM, WIDTH_MM, THICK_MM), pose, Face.SHOW, 0.0,
                 "the bed", np.array([0.0, 0.0, 0.0]), operations)


FLAT = shift(10, 20, THICK_MM)


def test_paths_travel_with_the_laser_off_and_burn_in_the_bed_frame():
    path = stroke((1, 2), (5, 2), (5, 9))
    moves = list(moves_of(setup(FLAT, operation(path, passes=(0.0, -1.5))), machine("motorised")))
    assert [type(move) for move in moves] == [Travel, Burn, Travel, Burn]
    for move, z_mm in zip(moves[1::2], (0.0, -1.5), strict=True):
        assert isinstance(move, Burn)
        np.testing.assert_allclose(move.points_mm, [[11, 22, z_mm], [15, 22, z_mm], [15, 29, z_mm]])
        assert (move.power_frac, move.speed_mm_s) == (0.5, 4.0)
    for travel, burn in zip(moves[0::2], moves[1::2], strict=True):
        assert isinstance(travel, Travel)
        assert isinstance(burn, Burn)
        np.testing.assert_array_equal(travel.to_mm, burn.points_mm[0])


def test_all_paths_are_burnt_once_before_any_is_burnt_again():
    first, second = stroke((0, 0), (1, 0)), stroke((0, 5), (1, 5))
    twice = setup(FLAT, operation(first, second, passes=(0, 0)))
    burns = [move for move in moves_of(twice, machine("motorised")) if isinstance(move, Burn)]
    assert [float(burn.points_mm[0, 1]) for burn in burns] == [20.0, 25.0, 20.0, 25.0]


def test_a_person_sets_the_focus_only_when_it_changes():
    ops = (operation(stroke((0, 0), (1, 0)), stroke((0, 1), (1, 1)), passes=(-1.5, -3.0)), operation(stroke((0, 0), (1, 0)), passes=(0.0,)))
    pauses = [move.message for move in moves_of(setup(FLAT, *ops), machine("by hand")) if isinstance(move, Pause)]
    assert pauses == [f"set the focus {where} the gauge point" for where in ("1.5 mm below", "3 mm below", "at")]
    assert not [move for move in moves_of(setup(FLAT, *ops), machine("motorised")) if isinstance(move, Pause)]


def test_what_the_person_does_first_comes_first():
    moves = list(moves_of(setup(FLAT, operation(stroke((0, 0), (1, 0)), before="turn the board")), machine("motorised")))
    assert moves[0] == Pause("turn the board", "cut")


def test_on_a_tilted_board_the_focus_follows_the_face_or_stays_level():
    tilted = shift(10, 100, 30) @ turn_x(30)
    across = stroke((0, 0), (0, 40))
    following = operation(across)
    burn = next(move for move in moves_of(setup(tilted, following), machine("motorised")) if isinstance(move, Burn))
    np.testing.assert_allclose(burn.points_mm, [[10, 100, 0], [10, 100 + 40 * math.cos(math.pi / 6), 20]], atol=1e-12)
    assert not needs_steady_focus(following, setup(tilted))
    assert needs_steady_focus(operation(stroke((0, 7), (50, 7))), setup(tilted))
    level = operation(across, level_mm=5.0, passes=(-1.0,))
    burn = next(move for move in moves_of(setup(tilted, level), machine("motorised")) if isinstance(move, Burn))
    np.testing.assert_allclose(burn.points_mm[:, 2], [4.0, 4.0])
    assert needs_steady_focus(level, setup(tilted))
    assert needs_steady_focus(operation(), setup(tilted))


def test_the_beam_and_the_blank_seen_from_the_other_frame():
    tilted = setup(shift(10, 100, 30) @ turn_x(30))
    np.testing.assert_allclose(tilted.beam_in_board(), [0, -0.5, -math.sqrt(3) / 2], atol=1e-15)
    flipped = setup(shift(0, 60, 0) @ turn_x(180))
    np.testing.assert_allclose(flipped.beam_in_board(), [0, 0, 1], atol=1e-15)
    corners = flipped.board_corners_bed_mm()
    np.testing.assert_allclose([corners.min(axis=0), corners.max(axis=0)], [[0, 0, 0], [LENGTH_MM, WIDTH_MM, THICK_MM]], atol=1e-12)
    assert setup(FLAT).gauge_height_mm == THICK_MM


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(-2, 2), st.floats(0, 120), st.floats(0, 60))
def test_a_read_misplacement_is_undone_exactly(x_mm: float, y_mm: float, turn_deg: float, about_x_mm: float, about_y_mm: float):
    """The board really lies somewhere else; burning the corrected program on it puts every point where it was meant."""
    placing = Placing(x_mm, y_mm, turn_deg, (about_x_mm, about_y_mm))
    nominal = setup(FLAT @ turn_z(90))
    landed_from_meant = placing.landed_from_meant()
    # marks burnt by the nominal program at p land at landed(p) on the board: so the board really lies at this pose
    true_bed_from_board = nominal.bed_from_board @ landed_from_meant.inverse()
    meant = np.array([[3.0, 4.0, 0.0], [118.0, 55.0, 0.0], [60.0, 30.0, -6.0]])
    burnt_at_bed = nominal.placed(placing).bed_from_board.apply(meant)
    np.testing.assert_allclose(true_bed_from_board.inverse().apply(burnt_at_bed), meant, atol=1e-9)


def test_signs_of_a_misplacement():
    landed = Placing(x_mm=0.4).landed_from_meant().apply(np.array([[1.0, 2.0, 0.0]]))
    np.testing.assert_allclose(landed, [[1.4, 2.0, 0.0]])
    landed = Placing(turn_deg=90.0, about_mm=(10.0, 0.0)).landed_from_meant().apply(np.array([[12.0, 0.0, 0.0]]))
    np.testing.assert_allclose(landed, [[10.0, 2.0, 0.0]], atol=1e-12)


@pytest.mark.parametrize("marks", [False, True])
def test_witness_marks_have_served_once_the_placing_is_read(marks: bool):
    ops = (operation(stroke((0, 0), (1, 0)), kind=OperationKind.WITNESS), operation(stroke((0, 0), (1, 0))))
    kept = setup(FLAT, *ops).placed(Placing(0.1), marks=marks).operations
    assert kept == (ops if marks else ops[1:])


def test_cut_length_counts_every_pass_along_the_face():
    assert operation(stroke((0, 0), (3, 0), (3, 4)), stroke((0, 0), (0, 5)), passes=(0, 0, 0)).cut_length_mm() == pytest.approx(36.0)


def test_power_words_of_the_machine():
    assert machine("motorised").laser_on_word == "M3"
    assert machine("motorised").model_copy(update={"power_mode": "speed-scaled"}).laser_on_word == "M4"
