"""Machine time: constant acceleration from rest to rest."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.machine.motion import polyline_time_s, stretch_time_s


def test_published_examples():
    """HANDBOOK F8: L = 100, v = 50, a = 1000 gives 2.05 s; L = 1, v = 100 never reaches its speed: 0.0632456 s."""
    assert stretch_time_s(100, 50, 1000) == pytest.approx(2.05, abs=1e-12)
    assert stretch_time_s(1, 100, 1000) == pytest.approx(0.0632456, abs=5e-8)


def test_both_laws_meet_where_the_speed_is_just_reached():
    length_mm = 50**2 / 1000
    assert stretch_time_s(length_mm, 50, 1000) == pytest.approx(2 * (length_mm / 1000) ** 0.5, abs=1e-12)
    assert stretch_time_s(0, 50, 1000) == 0


def test_a_right_angle_is_a_stop_and_a_gentle_bend_is_not():
    corner = np.array([[0, 0, 0], [100, 0, 0], [100, 100, 0.0]])
    assert polyline_time_s(corner, 50, 1000) == pytest.approx(2 * 2.05)
    gentle = np.array([[0, 0, 0], [50, 0, 0], [50 + 50 * np.cos(0.1), 50 * np.sin(0.1), 0]])  # 5.7 degrees
    assert polyline_time_s(gentle, 50, 1000) == pytest.approx(2.05)
    assert polyline_time_s(np.array([[0, 0, 0], [100, 0, 0], [0, 0, 0.0]]), 50, 1000) == pytest.approx(2 * 2.05)
    assert polyline_time_s(np.array([[0, 0, 0], [0, 0, 0], [100, 0, 0.0]]), 50, 1000) == pytest.approx(2.05)
