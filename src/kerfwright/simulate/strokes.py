"""The strokes of one board, in true order, as the wood meets them: read from programs and poses, never from a plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose, shift, turn_z
from kerfwright.geometry.slab import Face
from kerfwright.machine.machine import Machine
from kerfwright.process.program import Program
from kerfwright.process.setup import Setup
from kerfwright.simulate.burnt import Hidden
from kerfwright.simulate.motion import Motion, motion_of

Array = NDArray[np.float64]
STRAIGHT = Hidden()


@dataclass(frozen=True, eq=False)
class Strokes:
    """Straight moves with the beam on over one board, n of them, in the board's frame.

    entry_mm: (n, 2, 3) start and end where the beam meets the entry face; focus_mm: (n, 2) how far the focus stands above
    the entry face along the beam there, as Z says; beam: (n, 3) unit direction of the light; x_share: (n,) sin^2 of the
    stroke's angle to the bed's x axis; power_frac: (n,) share of the full setting; scaled: (n,) True where the machine
    lowers its power with its speed; speed_mm_s: (n,) as told; in_mm_s, out_mm_s: (n,) true speed at start and end;
    acceleration_mm_s2: of the machine; begin_s, took_s: (n,) when, from the first program's start; setup: (n,) its number;
    from_show: (n,) True when the show face is the entry face; again: (n,) how many strokes of its setup ran the same path before;
    beside_mm: (n,) to the nearest path that its setup had already burnt beside it, inf when there is none within reach.
    """

    entry_mm: Array
    focus_mm: Array
    beam: Array
    x_share: Array
    power_frac: Array
    scaled: NDArray[np.bool_]
    speed_mm_s: Array
    in_mm_s: Array
    out_mm_s: Array
    acceleration_mm_s2: float
    begin_s: Array
    took_s: Array
    setup: NDArray[np.int_]
    from_show: NDArray[np.bool_]
    again: NDArray[np.int_]
    beside_mm: Array

    @property
    def n(self) -> int:
        """How many."""
        return len(self.speed_mm_s)

    def of(self, some: NDArray[np.intp]) -> Strokes:
        """Only some, in the order given."""
        arrays: Any = {each.name: getattr(self, each.name)[some] for each in fields(self) if each.name != "acceleration_mm_s2"}
        return replace(self, **arrays)


def strokes_of(
    programs: Sequence[Program], setups: Sequence[Setup], machine: Machine, hidden: Hidden | Sequence[Hidden] = STRAIGHT
) -> Strokes:
    """Strokes of one board: one program a setup, in the order they are run. hidden: one for all setups, or one each."""
    return laid([motion_of(program, machine) for program in programs], setups, machine, hidden)


def laid(motions: Sequence[Motion], setups: Sequence[Setup], machine: Machine, hidden: Hidden | Sequence[Hidden] = STRAIGHT) -> Strokes:
    """The same from motions already worked out: cheap enough to be repeated for every draw of what is hidden."""
    each = [hidden] * len(setups) if isinstance(hidden, Hidden) else list(hidden)
    starts_s = np.concatenate([[0.0], np.cumsum([motion.total_s for motion in motions])])
    met = [_met(*one, machine) for one in zip(motions, setups, each, strict=True)]
    count = [len(motion.speed_mm_s) for motion in motions]

    def joined(name: str) -> Any:
        return np.concatenate([getattr(motion, name) for motion in motions])

    return Strokes(
        np.concatenate([one.entry_mm for one in met]),
        np.concatenate([one.focus_mm for one in met]),
        np.repeat(np.array([one.beam for one in met]).reshape(-1, 3), count, axis=0),
        np.concatenate([one.x_share for one in met]),
        joined("power_s") / machine.s_full,
        joined("scaled"),
        joined("speed_mm_s"),
        joined("in_mm_s"),
        joined("out_mm_s"),
        machine.acceleration_mm_s2,
        joined("begin_s") + np.repeat(starts_s[:-1], count),
        joined("took_s"),
        np.repeat([setup.number for setup in setups], count),
        np.repeat([setup.entry_face is Face.SHOW for setup in setups], count),
        joined("again"),
        joined("beside_mm"),
    )


@dataclass(frozen=True, eq=False)
class _Met:
    """Where one setup's light meets the board, as in Strokes. beam: (3,)."""

    entry_mm: Array
    focus_mm: Array
    beam: Array
    x_share: Array


def _met(motion: Motion, setup: Setup, hidden: Hidden, machine: Machine) -> _Met:
    pose = true_pose(setup, hidden)
    from_show = setup.entry_face is Face.SHOW
    face_z_mm = 0.0 if from_show else -(setup.board_size_mm[2] + hidden.thickness_mm)
    normal = pose.turned(np.array([0.0, 0.0, 1.0]))
    on_face = pose.apply(np.array([[0.0, 0.0, face_z_mm]]))[0]

    def height_mm(xy_mm: Array) -> Array:
        return on_face[2] - ((xy_mm - on_face[:2]) @ normal[:2]) / normal[2]

    ends = np.concatenate([motion.start_mm, motion.end_mm])
    bed = machine.landed_mm(ends)
    # The person sets the gauge on the wood that is really there, at the place in the bed that the program names.
    gauge = setup.bed_from_board.apply(setup.gauge_board_mm[None, :])
    focus_bed_mm = float(height_mm(gauge[:, :2])[0]) + hidden.focus_mm + ends[:, 2]
    entry = np.column_stack([bed[:, :2], height_mm(bed[:, :2])])
    n = len(motion.start_mm)
    step = bed[n:, :2] - bed[:n, :2]
    board_from_bed = pose.inverse()
    return _Met(
        board_from_bed.apply(entry).reshape(2, n, 3).transpose(1, 0, 2),
        (focus_bed_mm - entry[:, 2]).reshape(2, n).T,
        board_from_bed.turned(np.array([0.0, 0.0, -1.0])),
        step[:, 1] ** 2 / np.maximum(np.sum(step**2, axis=1), 1e-12),
    )


def true_pose(setup: Setup, hidden: Hidden) -> Pose:
    """Where the board really lies: as told, but thicker, placed off, turned, in a cradle too steep.

    A board that lies show face up is lifted by what it is thicker; one that lies on its show face is not. A cradle that is
    too steep turns the board about the edge that stands against its stop, its lowest.
    """
    length_mm, width_mm, _ = setup.board_size_mm
    from_show = setup.entry_face is Face.SHOW
    pose = setup.bed_from_board
    if setup.tilt_deg and hidden.tilt_deg:
        pose = _steeper(pose, setup.board_size_mm, from_show, hidden.tilt_deg)
    moved_mm = (*hidden.placed_mm, hidden.thickness_mm if from_show else 0.0)
    if any(moved_mm):
        pose = pose @ shift(*moved_mm)
    if hidden.turned_deg:
        pose = pose @ shift(length_mm / 2, width_mm / 2) @ turn_z(hidden.turned_deg) @ shift(-length_mm / 2, -width_mm / 2)
    return pose


def _steeper(pose: Pose, size_mm: tuple[float, float, float], from_show: bool, by_deg: float) -> Pose:
    length_mm, width_mm, thickness_mm = size_mm
    rest_z = -thickness_mm if from_show else 0.0
    corners = pose.apply(np.array([[x, y, rest_z] for x in (0.0, length_mm) for y in (0.0, width_mm)]))
    pivot = corners[np.argmin(corners[:, 2])]
    up = pose.turned(np.array([0.0, 0.0, 1.0 if from_show else -1.0]))
    axis = np.array([-up[1], up[0], 0.0]) / np.hypot(up[0], up[1])
    angle = np.radians(by_deg)
    # Rodrigues: a right-handed turn about the level axis leans the board's upper face further over.
    cross = np.array([[0.0, 0.0, axis[1]], [0.0, 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    turn = np.eye(4)
    turn[:3, :3] += np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    return shift(*pivot) @ Pose(turn) @ shift(*-pivot) @ pose
