"""From a program to stretches on a real board: the machine's faults, the board's true place, lag and acceleration.

Reads RS-274 with the tests' own interpreter and job.json as plain data.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from external.rs274_interpreter import Motion, interpret
from shop.bench import HiddenMachine
from shop.sections import Stretches

STAND_STILL_MM = 0.02  # a head rounds its stops and corners by about this much
CUTTING_J_MM = 0.3  # less never cuts a core free
SHARP_DEG = 20.0  # corners sharper than this are slowed for


@dataclass(frozen=True)
class Lie:
    """How a board really lies for one setup. error: (4, 4) moves it in the bed from where job.json thinks it is."""

    setup: dict[str, Any]
    error: np.ndarray
    thickness_mm: float

    @property
    def bed_from_board(self) -> np.ndarray:
        return self.error @ np.array(self.setup["bed_from_board"])

    @property
    def entry_z_mm(self) -> float:
        return 0.0 if self.setup["entry_face"] == "show face" else -self.thickness_mm

    def misplaced(self) -> np.ndarray:
        """(4, 4): where a burn meant for a board point really lands, board frame."""
        return np.linalg.inv(self.bed_from_board) @ np.array(self.setup["bed_from_board"])


def true_bed_xy(xy: np.ndarray, machine: HiddenMachine) -> np.ndarray:
    """Where the head really is when a program says (n, 2)."""
    scale_x, scale_y = machine.faults.scale
    skew = np.tan(np.radians(machine.faults.skew_deg))
    return np.column_stack([scale_x * xy[:, 0] + skew * xy[:, 1], scale_y * xy[:, 1]])


def read_stretches(text: str, lie: Lie, machine: HiddenMachine, lit_only_after_pause: bool = False) -> Stretches:
    """Everything a program burns on the board that lies so."""
    s_full = float(str(machine.facts["s_full"]))
    runs = _runs(interpret(text).motions)
    made: list[dict[str, Any]] = []
    loops: list[np.ndarray] = []
    for run in runs:
        points = np.array([run[0].start, *[motion.end for motion in run]])
        on_board, focus = _on_board(points, lie, machine)
        loop = -1
        closed = np.flatnonzero(np.hypot(*(points[:-3, :2] - points[-1, :2]).T) < 0.05)  # the run comes back to where it was
        hot = float(machine.light.optical_w(run[0].s / s_full)) / (run[0].feed / 60) > CUTTING_J_MM  # not the eye of an engraved letter
        if hot and (len(closed) or (len(points) > 3 and _runs_off(on_board[[0, -1]], lie))):
            loop = len(loops)
            loops.append(on_board[closed[0] if len(closed) else 0 :])
        stops = _stops(points)
        for i, motion in enumerate(run):
            if np.hypot(*(on_board[i + 1] - on_board[i])) > 1e-6:
                made.append(
                    _stretch(
                        on_board[i : i + 2],
                        focus[i : i + 2],
                        motion,
                        lie,
                        machine,
                        s_full,
                        stops[i : i + 2],
                        (i == 0, i == len(run) - 1),
                        loop if i == len(run) - 1 else -1,
                    )
                )
    return _stacked(made, loops)


def _runs_off(ends: np.ndarray, lie: Lie) -> bool:
    """True when a run begins and ends beyond one and the same edge of the board, so that what it goes round falls off."""
    length, width, _ = lie.setup["board_size_mm"]
    beyond = np.column_stack([ends[:, 0] < 0, ends[:, 0] > length, ends[:, 1] < 0, ends[:, 1] > width])
    return bool(beyond.all(axis=0).any())


def _runs(motions: list[Motion]) -> list[list[Motion]]:
    """Motions with the beam on, those that follow each other at one power together."""
    runs: list[list[Motion]] = []
    before: Motion | None = None
    for motion in motions:
        lit = motion.laser != "off" and motion.s > 0 and not motion.rapid
        if lit and before is not None and runs and before is runs[-1][-1] and before.s == motion.s:
            runs[-1].append(motion)
        elif lit:
            runs.append([motion])
        before = motion if lit else None
    return runs


def _on_board(points: np.ndarray, lie: Lie, machine: HiddenMachine) -> tuple[np.ndarray, np.ndarray]:
    """((n, 2) where the beam enters, board x, y; (n,) depth of the focus under the face there, the gauge being set on the real face)."""
    pose = lie.bed_from_board
    turn, origin = pose[:3, :3], pose[:3, 3]
    near = np.column_stack([true_bed_xy(points[:, :2], machine), np.zeros(len(points))]) - origin
    start, beam = near @ turn, -turn[2]
    steps = (lie.entry_z_mm - start[:, 2]) / beam[2]
    entry = start + steps[:, None] * beam
    gauge = np.array(lie.setup["gauge_board_mm"], dtype=float)
    gauge[2] = lie.entry_z_mm
    height = (entry - gauge) @ turn[2]
    return entry[:, :2], height - points[:, 2] + machine.light.focus_error_mm


def _stops(points: np.ndarray) -> np.ndarray:
    """Where along a run the head (nearly) stops: its ends and its sharp corners."""
    steps = np.diff(points[:, :2], axis=0)
    heading = np.degrees(np.arctan2(steps[:, 1], steps[:, 0]))
    bend = np.abs((np.diff(heading) + 180) % 360 - 180)
    return np.array([True, *(bend > SHARP_DEG), True])


def _stretch(
    ends: np.ndarray,
    focus: np.ndarray,
    motion: Motion,
    lie: Lie,
    machine: HiddenMachine,
    s_full: float,
    stops: np.ndarray,
    outer: tuple[bool, bool],
    loop: int,
) -> dict[str, Any]:
    speed = motion.feed / 60
    travel = np.array(motion.end[:2]) - np.array(motion.start[:2])
    unit = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    a, b = ends.copy()
    late = speed * machine.faults.lag_s
    a, b = (a + unit * late * outer[0], b + unit * late * outer[1])
    share = motion.s / s_full
    optical = float(machine.light.optical_w(share))
    ramp = speed**2 / (2 * machine.accel_mm_s2)
    slow = float(np.sqrt(2 * machine.accel_mm_s2 * STAND_STILL_MM)) / speed
    slow_dose = 1.0
    if slow < 1:
        scaled = float(machine.light.optical_w(share * slow)) if motion.laser == "speed-scaled" else optical
        slow_dose = scaled / max(optical, 1e-9) / slow
    pose = lie.bed_from_board
    beam = -pose[2, :3]
    cosine = abs(float(pose[2, 2]))
    return {
        "a_mm": a,
        "b_mm": b,
        "energy": optical / speed,
        "focus": float(focus.mean()),
        "x_share": float(travel[1] ** 2 / (travel @ travel)),
        "face": 0 if lie.setup["entry_face"] == "show face" else 1,
        "shear": -float(beam[1] / beam[2]),
        "cosine": cosine,
        "ramp_mm": np.where(stops, max(ramp, 1e-6), 0.0),
        "slow_dose": slow_dose,
        "loop": loop,
    }


def _stacked(made: list[dict[str, Any]], loops: list[np.ndarray]) -> Stretches:
    names = ("a_mm", "b_mm", "energy", "focus", "x_share", "face", "shear", "cosine", "ramp_mm", "slow_dose", "loop")
    shapes = {"a_mm": (0, 2), "b_mm": (0, 2), "ramp_mm": (0, 2)}
    arrays = {name: np.array([each[name] for each in made]) if made else np.zeros(shapes.get(name, (0,))) for name in names}
    for name in ("face", "loop"):
        arrays[name] = arrays[name].astype(int)
    return Stretches(**arrays, loops=loops)


def joined(parts: list[Stretches]) -> Stretches:
    """Several programs burnt one after another."""
    if not parts:
        return _stacked([], [])
    arrays: dict[str, Any] = {}
    for name in ("a_mm", "b_mm", "energy", "focus", "x_share", "face", "shear", "cosine", "ramp_mm", "slow_dose"):
        arrays[name] = np.concatenate([getattr(part, name) for part in parts])
    shift, loop, loops = 0, [], []
    for part in parts:
        loop.append(np.where(part.loop >= 0, part.loop + shift, -1))
        loops += part.loops
        shift += len(part.loops)
    return Stretches(**arrays, loop=np.concatenate(loop), loops=loops)
