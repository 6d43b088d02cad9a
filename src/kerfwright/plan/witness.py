"""Witness marks: fine scales that show by how much a board was laid wrong, so that the rest of a program can be shifted.

Vocabulary: a *station* is one vernier in the end waste. The first setup burns the *reference* ticks at one pitch; every
later setup starts with *new* ticks at a pitch shorter by one step. The pair that lines up, counted from the long
middle tick toward + of the axis, times the step, is how far the new ticks fell too far along that axis:
i p = i (p - step) + e, so e = i step.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.plan.blank import Blank
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.recipe import Recipe, ThroughCut
from kerfwright.process.setup import Placing, Setup, Vernier

Array = NDArray[np.float64]

PITCH_MM = 0.8
STEP_MM = 0.05
N_EACH_SIDE = 5
TICK_MM = 1.6  # length of a tick on its side of the scale
LONG_TICK_MM = 2.6
LEAST_WIDTH_MM = 15.0  # narrower boards have no room for the scales
READING_SD_MM = STEP_MM / math.sqrt(12)  # a reading rounded to one step (uniform distribution)


def verniers(blank: Blank) -> tuple[Vernier, ...]:
    """Left and right stations across the board, one station along it; none when the board is too narrow.

    They stand beside the part, a few millimetres from its tips, not on side waste, which is trimmed off before a board
    is tilted.
    """
    left_mm, right_mm = blank.marks_x_mm
    _, y0_mm, _, y1_mm = blank.slab.bounds_mm()
    width_mm = y1_mm - y0_mm
    if width_mm < LEAST_WIDTH_MM:
        return ()
    n_side = min(N_EACH_SIDE, int(0.3 * width_mm / PITCH_MM))
    scales = (
        ("left", "y", (left_mm, y0_mm + 0.62 * width_mm), n_side),
        ("right", "y", (right_mm, y0_mm + 0.62 * width_mm), n_side),
        ("along", "x", (left_mm, y0_mm + 0.18 * width_mm), N_EACH_SIDE),
    )
    return tuple(Vernier(name, axis, at_mm, n, PITCH_MM, STEP_MM) for name, axis, at_mm, n in scales)


def reference_marks(
    scales: tuple[Vernier, ...], recipe: Recipe, entry_z_mm: float, through: ThroughCut | None, depth_mm: float
) -> CutOperation:
    """The reference ticks: engraved, or cut through so that they are seen from the other face after a flip."""
    paths = _ticks(
        scales, -1.0, 0.0, through.power_frac if through else recipe.engrave.power_frac, entry_z_mm, depth_mm if through else 0.0
    )
    if through is None:
        return CutOperation(
            "reference", "Reference marks in the waste", OperationKind.WITNESS, paths, recipe.engrave.speed_mm_s, (Pass(0.0),)
        )
    passes = through.passes_down()
    return CutOperation("reference", "Reference marks cut through the waste", OperationKind.THROUGH, paths, through.speed_mm_s, passes)


def new_marks(scales: tuple[Vernier, ...], recipe: Recipe, entry_z_mm: float) -> CutOperation:
    """The new ticks, beside the reference."""
    paths = _ticks(scales, 1.0, STEP_MM, recipe.engrave.power_frac, entry_z_mm, 0.0)
    return CutOperation("witness", "Witness marks, to be read", OperationKind.WITNESS, paths, recipe.engrave.speed_mm_s, (Pass(0.0),))


def _ticks(
    scales: tuple[Vernier, ...], side: float, shorter_mm: float, power_frac: float, entry_z_mm: float, depth_mm: float
) -> tuple[BeamPath, ...]:
    paths: list[BeamPath] = []
    for scale in scales:
        pitch_mm = scale.reference_pitch_mm - shorter_mm
        for i in range(-scale.n_each_side, scale.n_each_side + 1):
            length_mm = LONG_TICK_MM if i == 0 else TICK_MM
            # Along the axis the ticks stand at their pitch; across it they reach out from the shared line.
            ends = np.array([[i * pitch_mm, 0.0], [i * pitch_mm, side * length_mm]])
            x_y = ends if scale.axis == "x" else ends[:, ::-1]
            points = np.hstack([x_y + np.array(scale.at_mm), np.full((2, 1), entry_z_mm)])
            paths.append(BeamPath(points, power_frac, depth_mm))
    return tuple(paths)


def placing_from_ticks(setup: Setup, ticks: dict[str, float]) -> Placing:
    """The misplacement that read ticks mean. ticks: reading by vernier name, in ticks (halves allowed).

    Raises InputError when the setup has no marks, a name is unknown or a reading is off the scale.
    """
    scales = {scale.name: scale for scale in setup.verniers}
    if not scales:
        raise InputError(f"setup {setup.number} has no witness marks", accepted="a setup that begins with witness marks", where=setup.name)
    error_mm: dict[str, float] = {}
    for name, tick in ticks.items():
        if name not in scales:
            raise InputError(f'there is no scale called "{name}"', accepted=", ".join(scales), where=setup.name)
        scale = scales[name]
        if not math.isfinite(tick) or abs(tick) > scale.n_each_side:
            raise InputError(
                f"the reading {tick:g} on the scale {name} is off its end",
                accepted=f"-{scale.n_each_side} to {scale.n_each_side} ticks",
                remedy="If no pair lines up, lay the board again, nearer to its stop",
                where=setup.name,
            )
        error_mm[name] = tick * scale.step_mm
    left, right, along = scales["left"], scales["right"], scales["along"]
    turn = math.atan2(
        error_mm.get("right", error_mm.get("left", 0.0)) - error_mm.get("left", error_mm.get("right", 0.0)), right.at_mm[0] - left.at_mm[0]
    )
    x_mm = error_mm.get("along", 0.0) + turn * (along.at_mm[1] - left.at_mm[1])
    return Placing(x_mm, error_mm.get("left", error_mm.get("right", 0.0)), math.degrees(turn), left.at_mm)
