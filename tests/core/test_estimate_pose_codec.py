"""The small frozen values everything is made of: estimates, poses, and their plain form."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from kerfwright.core.codec import plain, to_json
from kerfwright.core.document import Document, Length
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Level, caution, loudest_first, merged, note, warning
from kerfwright.core.pose import Pose, axes, identity, shift, turn_x, turn_z

POINTS = np.array([[1.0, 2.0, 3.0], [-4.0, 0.5, 6.0]])
ANGLES = st.floats(-720, 720)
SHIFTS = st.floats(-1e3, 1e3)


@pytest.mark.parametrize(("value", "sd", "n"), [(math.nan, 0.1, 1), (math.inf, 0.1, 1), (1.0, -0.1, 1), (1.0, math.nan, 1),
                                                (1.0, math.inf, 1), (1.0, 0.1, -1)])
def test_an_estimate_refuses_what_is_no_measurement(value: float, sd: float, n: int):
    with pytest.raises(ValueError, match="sd >= 0"):
        Estimate(value, sd, n)


def test_scaling_by_a_negative_number_keeps_the_spread_positive():
    assert Estimate(0.2, 0.01, 5, "comb").scaled(-2) == Estimate(-0.4, 0.02, 5, "comb")


def test_neighbouring_frames_cancel():
    bed_from_board, board_from_part = shift(10, 20, 3) @ turn_z(90), shift(5, 0)
    np.testing.assert_allclose((bed_from_board @ board_from_part).apply(POINTS), bed_from_board.apply(board_from_part.apply(POINTS)))


def test_turns_are_right_handed():
    x, y, z = np.eye(3)
    np.testing.assert_array_equal(turn_z(90).turned(x), y)
    np.testing.assert_array_equal(turn_x(90).turned(y), z)
    np.testing.assert_allclose(turn_x(30).turned(y), [0, math.sqrt(3) / 2, 0.5], atol=1e-15)


@pytest.mark.parametrize("quarters", [-5, -1, 0, 1, 2, 3, 4, 7])
def test_quarter_turns_are_exact(quarters: int):
    assert set(np.unique(turn_x(90.0 * quarters).matrix)) <= {-1.0, 0.0, 1.0}
    assert turn_z(90.0 * quarters) == turn_z(90.0 * (quarters % 4))


@given(ANGLES, ANGLES, SHIFTS, SHIFTS, SHIFTS)
def test_a_pose_undone_is_no_motion(turn_deg: float, tilt_deg: float, x_mm: float, y_mm: float, z_mm: float):
    pose = shift(x_mm, y_mm, z_mm) @ turn_z(turn_deg) @ turn_x(tilt_deg)
    np.testing.assert_allclose(pose.inverse().apply(pose.apply(POINTS)), POINTS, atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(np.diff(pose.apply(POINTS), axis=0)), np.linalg.norm(np.diff(POINTS, axis=0)))


@pytest.mark.parametrize("matrix", [np.diag([1.0, 1, -1, 1]), np.diag([2.0, 1, 1, 1]), np.zeros((4, 4)), np.full((4, 4), np.nan), np.eye(3),
                                    np.ones((4, 4)), np.eye(4)[:3], np.diag([1.0, 1, 1, 2])])
def test_what_is_not_rigid_is_refused(matrix: np.ndarray):
    with pytest.raises(ValueError, match="rigid motion"):
        Pose(matrix)


def test_a_pose_cannot_be_changed_behind_its_back():
    matrix = np.eye(4)
    pose = Pose(matrix)
    matrix[0, 3] = 5.0
    assert pose == identity()
    with pytest.raises(ValueError, match="read-only"):
        pose.matrix[0, 3] = 1.0


def test_axes_point_where_they_are_told():
    pose = axes(np.array([0.0, 1, 0]), np.array([0.0, 0, 1]), np.array([1.0, 0, 0]), np.array([7.0, 8, 9]))
    np.testing.assert_array_equal(pose.apply(np.array([[1.0, 2, 3]])), [[10.0, 9.0, 11.0]])
    with pytest.raises(ValueError, match="without mirroring"):
        axes(np.array([0.0, 1, 0]), np.array([1.0, 0, 0]), np.array([0.0, 0, 1]), np.zeros(3))


@dataclass(frozen=True)
class Small:
    width_mm: float
    level: Level
    points_mm: np.ndarray


def test_plain_form_of_everything_we_store():
    value = {1: Small(0.1 + 0.2, Level.CAUTION, np.array([[1.0, -1e-12]])), "pose": identity(), "set": {"b", "a"}, "none": None,
             "flag": True, "count": np.int64(3), "share": np.float64(0.25), "yes": np.bool_(True)}
    assert plain(value) == {
        "1": {"width_mm": 0.3, "level": "caution", "points_mm": [[1.0, 0.0]]}, "pose": np.eye(4).tolist(), "set": ["a", "b"], "none": None,
        "flag": True, "count": 3, "share": 0.25, "yes": True}


class Board(Document):
    schema_: Literal["board-1"] = Field(alias="schema")
    length_mm: Length = Field(alias="length")


def test_a_document_is_stored_with_its_schema_under_that_name_and_its_units():
    assert plain(Board.model_validate({"schema": "board-1", "length": "1 in"})) == {"schema": "board-1", "length_mm": 25.4}


def test_minus_zero_and_rounding():
    assert math.copysign(1, plain(-0.0)) == 1
    assert math.copysign(1, plain(-1e-10)) == 1
    assert plain(1.0000000004) == 1.0
    assert plain(1.0000000006) == 1.000000001


@pytest.mark.parametrize("bad", [math.nan, -math.inf, np.array([1.0, np.nan]), [[math.inf]], {"a": np.float64("nan")}], ids=repr)
def test_numbers_that_are_not_finite_never_leave(bad: object):
    with pytest.raises(ValueError, match="not finite"):
        to_json(bad)


@pytest.mark.parametrize("bad", [object(), 1j, b"bytes", Small])
def test_unknown_things_are_refused_by_name(bad: object):
    with pytest.raises(TypeError, match="no plain form for"):
        plain(bad)


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.text() | st.floats(-1e6, 1e6),
                    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4), max_leaves=12))
def test_json_reads_back_as_the_plain_form_and_repeats(value: object):
    text = to_json(value)
    assert json.loads(text) == plain(value)
    assert to_json(json.loads(text)) == text
    assert text.endswith("\n")


def test_a_finding_is_plain_data():
    assert plain(caution("dust", "text", "front")) == {"level": "caution", "code": "dust", "text": "text", "where": "front"}


def test_the_loudest_findings_come_first_and_the_like_keep_their_order():
    said = [note("a", "1"), warning("b", "2"), caution("c", "3"), note("d", "4"), warning("e", "5")]
    assert [finding.code for finding in loudest_first(said)] == ["c", "b", "e", "a", "d"]


def test_findings_that_say_the_same_of_several_places_become_one():
    said = [warning("b", "text", "front"), note("a", "text"), warning("b", "text", "left"), warning("b", "other", "left")]
    assert merged(said) == (warning("b", "text", "front, left"), note("a", "text"), warning("b", "other", "left"))
