"""Rigid poses: 4 x 4 matrices named ``to_from`` so that neighbours cancel (``bed_from_board @ board_from_part``)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_LAST_ROW = np.array([0.0, 0.0, 0.0, 1.0])
_ROUNDING = 1e-8 + 1e-5 * np.eye(3)  # what poses typed to a few places, multiplied often, may be off by


@dataclass(frozen=True, eq=False)
class Pose:
    """A rigid motion. ``matrix``: (4, 4), last row 0 0 0 1, lengths in mm."""

    matrix: Array

    def __post_init__(self) -> None:
        matrix = np.array(self.matrix, dtype=float)
        turn = matrix[:3, :3]
        rigid = matrix.shape == (4, 4) and np.all(np.abs(turn @ turn.T - np.eye(3)) <= _ROUNDING)
        if not rigid or not np.all(np.abs(matrix[3] - _LAST_ROW) <= _ROUNDING[0, 1]) or np.linalg.det(turn) < 0:
            raise ValueError("a Pose is a 4 x 4 rigid motion without mirroring")
        matrix.flags.writeable = False
        object.__setattr__(self, "matrix", matrix)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Pose) and bool(np.array_equal(self.matrix, other.matrix))

    def __matmul__(self, other: Pose) -> Pose:
        return Pose(self.matrix @ other.matrix)

    def apply(self, points_mm: Array) -> Array:
        """Moved points. points_mm: (n, 3) -> (n, 3)."""
        return points_mm @ self.matrix[:3, :3].T + self.matrix[:3, 3]

    def turned(self, vectors: Array) -> Array:
        """Turned directions, not shifted. vectors: (n, 3) or (3,) -> same shape."""
        return vectors @ self.matrix[:3, :3].T

    def inverse(self) -> Pose:
        """The pose that undoes this one."""
        back = np.eye(4)
        back[:3, :3] = self.matrix[:3, :3].T
        back[:3, 3] = -self.matrix[:3, :3].T @ self.matrix[:3, 3]
        return Pose(back)


def identity() -> Pose:
    """No motion."""
    return Pose(np.eye(4))


def shift(x_mm: float, y_mm: float, z_mm: float = 0.0) -> Pose:
    """A translation."""
    matrix = np.eye(4)
    matrix[:3, 3] = (x_mm, y_mm, z_mm)
    return Pose(matrix)


def _turn(angle_deg: float, first: int, second: int) -> Pose:
    # Quarter turns are exact, so a flipped board keeps its round numbers.
    quarter = angle_deg / 90.0
    if quarter == round(quarter):
        cos, sin = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][round(quarter) % 4]
    else:
        cos, sin = float(np.cos(np.radians(angle_deg))), float(np.sin(np.radians(angle_deg)))
    matrix = np.eye(4)
    matrix[first, first] = matrix[second, second] = cos
    matrix[first, second], matrix[second, first] = -sin, sin
    return Pose(matrix)


def turn_x(angle_deg: float) -> Pose:
    """A right-handed turn about x (tilting a board about its length)."""
    return _turn(angle_deg, 1, 2)


def turn_z(angle_deg: float) -> Pose:
    """A right-handed turn about z (turning a board on the bed)."""
    return _turn(angle_deg, 0, 1)


def axes(x_to: Array, y_to: Array, z_to: Array, origin_mm: Array) -> Pose:
    """The pose whose x, y, z axes point along the three given unit vectors, its origin at ``origin_mm``."""
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = x_to, y_to, z_to, origin_mm
    return Pose(matrix)
