"""One setup = one board laid down once = one program = one ``bed_from_board``."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose, shift, turn_z
from kerfwright.geometry.slab import Face, Slab
from kerfwright.process.operation import CutOperation

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Vernier:
    """A fine scale read by eye: reference ticks at one pitch, new ticks at a slightly shorter one.

    The pair of ticks that line up, counted from the long middle one, times ``step_mm`` is the misplacement
    along ``axis`` ("x" along the board, "y" across) at ``at_mm`` (x, y on the board).
    """

    name: str
    axis: str
    at_mm: tuple[float, float]
    n_each_side: int
    reference_pitch_mm: float
    step_mm: float


@dataclass(frozen=True)
class Placing:
    """How far marks landed from where they belong on the board: a shift and a turn about ``about_mm`` (board x, y).

    x_mm, y_mm > 0: the marks fell too far along +x, +y of the board. turn_deg > 0: turned counter-clockwise as
    seen from the show face.
    """

    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    about_mm: tuple[float, float] = (0.0, 0.0)

    def landed_from_meant(self) -> Pose:
        """Where a burn meant for a board point really lands, in the board frame."""
        x_mm, y_mm = self.about_mm
        return shift(self.x_mm, self.y_mm) @ shift(x_mm, y_mm) @ turn_z(self.turn_deg) @ shift(-x_mm, -y_mm)


@dataclass(frozen=True, eq=False)
class Setup:
    """Everything one program needs. Operations are in the board frame; the pose carries them to the bed.

    trimmed_mm: from and to across the board, when its rough edges are already cut off as this setup begins.
    part_slab: the part in board coordinates; more_slabs: further parts cut from the same sheet (a cradle's).
    gauge_board_mm: (3,) the point where the person sets the focus gauge: program Z 0.
    board_size_mm: (length, width, thickness) of the blank, board frame 0..length, 0..width, -thickness..0.
    """

    number: int
    name: str
    title: str
    board: str
    part: str
    part_slab: Slab
    board_size_mm: tuple[float, float, float]
    bed_from_board: Pose
    entry_face: Face
    tilt_deg: float
    rests_on: str
    gauge_board_mm: Array
    operations: tuple[CutOperation, ...]
    steps_before: tuple[str, ...] = ()
    verniers: tuple[Vernier, ...] = ()
    more_slabs: tuple[Slab, ...] = ()
    trimmed_mm: tuple[float, float] | None = None

    @property
    def gauge_height_mm(self) -> float:
        """Height of program Z 0 over the bed."""
        return float(self.bed_from_board.apply(self.gauge_board_mm[None, :])[0, 2])

    def beam_in_board(self) -> Array:
        """The direction the beam travels, in the board frame. (3,)"""
        return self.bed_from_board.inverse().turned(np.array([0.0, 0.0, -1.0]))

    def board_corners_bed_mm(self) -> Array:
        """(8, 3) corners of the blank in the bed frame."""
        length_mm, width_mm, thickness_mm = self.board_size_mm
        across_mm = self.trimmed_mm or (0.0, width_mm)
        corners = np.array([[x, y, z] for x in (0.0, length_mm) for y in across_mm for z in (-thickness_mm, 0.0)])
        return self.bed_from_board.apply(corners)

    def placed(self, placing: Placing, marks: bool = False) -> Setup:
        """The same setup corrected for a read misplacement, so that the rest lands where it belongs.

        The witness marks have served: they are left out unless ``marks``.
        """
        pose = self.bed_from_board @ placing.landed_from_meant().inverse()
        kept = self.operations if marks else tuple(op for op in self.operations if op.kind.value != "witness")
        # The gauge was set at a place in the bed and stays there, over another point of the board.
        gauge_mm = pose.inverse().apply(self.bed_from_board.apply(self.gauge_board_mm[None, :]))[0]
        return replace(self, bed_from_board=pose, gauge_board_mm=gauge_mm, operations=kept, verniers=self.verniers if marks else ())
