"""Ramps as pictures: every ramp line becomes one row of pixels whose value is the commanded power.

A *block* is the ramp work at one end of the board; each block is a picture of its own, so the blank middle of the
board is neither stored nor scanned. Wedges lie at any offset from each other, so the pixel is half the line spacing
(a hair less: a whole number of pixels a metre) and each line takes the nearest row: off by half a pixel at most,
a quarter of the spacing. Between two lines stays one blank row, so the dose is that of the program.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import SelfCheckError
from kerfwright.process.moves import program_points
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]

ROWS_A_LINE = 2
LARGEST_PIXEL_MM = 0.05  # where single lines leave no spacing to go by
BLOCK_GAP_MM = 3.0  # lines farther apart along the board belong to two pictures


@dataclass(frozen=True)
class PicturePlacing:
    """Where a picture lies on the bed. left_mm, bottom_mm: its lower left corner; pixel_mm: side of a pixel.

    name: "" for a setup's only picture, else "a", "b"... along the board. The pixel is 1000 / pixels_per_m mm exactly.
    """

    name: str
    left_mm: float
    bottom_mm: float
    pixel_mm: float
    n_columns: int
    n_rows: int
    pixels_per_m: int

    @property
    def row_error_mm(self) -> float:
        """The most that a line lies from where the program would burn it, across the lines and at their ends."""
        return self.pixel_mm / 2


@dataclass(frozen=True, eq=False)
class PowerPicture:
    """power_frac: (n_rows, n_columns), 0 to 1, row 0 nearest the front of the bed (y up)."""

    placing: PicturePlacing
    power_frac: NDArray[np.float32]


def picture_placings(setup: Setup) -> tuple[PicturePlacing, ...]:
    """Where the setup's ramp pictures lie, along the board; empty without ramps."""
    return tuple(placing for placing, _ in _placed_blocks(setup))


def power_pictures(setup: Setup) -> tuple[PowerPicture, ...]:
    """The setup's ramp pictures."""
    return tuple(_drawn(placing, lines) for placing, lines in _placed_blocks(setup))


def ramp_operations(setup: Setup) -> tuple[CutOperation, ...]:
    """The setup's ramps; one with a check pause in it counts once, with all its layers.

    Raises SelfCheckError when one picture could not hold them: speeds or layers differ.
    """
    ramps = _unpaused([op for op in setup.operations if op.kind is OperationKind.RAMP and op.paths])
    if len({(op.speed_mm_s, op.passes, op.level_mm) for op in ramps}) > 1:
        raise SelfCheckError("the ramps of one setup differ in speed or layers, so no one picture can hold them",
                             where=f"setup {setup.number} ({setup.title})")
    return ramps


def _unpaused(ramps: list[CutOperation]) -> tuple[CutOperation, ...]:
    """Ramps in which the person stops between layers put together again: the same strokes twice are one picture."""
    whole: list[CutOperation] = []
    for op in ramps:
        if whole and _same_work(whole[-1], op):
            whole[-1] = replace(whole[-1], passes=whole[-1].passes + op.passes)
        else:
            whole.append(op)
    return tuple(whole)


def _same_work(one: CutOperation, other: CutOperation) -> bool:
    same = (one.speed_mm_s, one.level_mm, len(one.paths)) == (other.speed_mm_s, other.level_mm, len(other.paths))
    return same and all(map(_same_stroke, one.paths, other.paths))


def _same_stroke(one: BeamPath, other: BeamPath) -> bool:
    return one.power_frac == other.power_frac and np.array_equal(one.points_mm, other.points_mm)


@dataclass(frozen=True, eq=False)
class _Line:
    """ends_mm: (2, 2) on the bed."""

    ends_mm: Array
    power_frac: float


def _placed_blocks(setup: Setup) -> list[tuple[PicturePlacing, list[_Line]]]:
    paths = [path for op in ramp_operations(setup) for path in op.paths]
    if not paths:
        return []
    pixels_per_m = math.ceil(1000 / min(line_spacing_mm(paths) / ROWS_A_LINE, LARGEST_PIXEL_MM) - 1e-6)
    blocks = _blocks(paths)
    placed: list[tuple[PicturePlacing, list[_Line]]] = []
    for i, block in enumerate(blocks):
        lines = [_Line(program_points(setup, path, 0.0, None)[[0, -1], :2], path.power_frac) for path in block]
        name = "" if len(blocks) == 1 else chr(ord("a") + i)
        placed.append((_placing(name, lines, pixels_per_m), lines))
    return placed


def line_spacing_mm(paths: list[BeamPath]) -> float:
    """Spacing of the lines inside a wedge, from lines that share their ends; infinite when no two do.

    Lines of one wedge outnumber the wedges, so a low quantile of the distances between neighbours is the spacing.
    """
    stacks: dict[tuple[float, ...], list[float]] = {}
    for path in paths:
        ends = tuple(sorted(round(float(x), 2) for x in path.points_mm[[0, -1], 0]))
        stacks.setdefault(ends, []).append(float(path.points_mm[0, 1]))
    gaps = np.concatenate([np.diff(np.sort(stack)) for stack in stacks.values()])
    gaps = gaps[gaps > 1e-6]
    return float(np.quantile(gaps, 0.25, method="lower")) if len(gaps) else math.inf


def _blocks(paths: list[BeamPath]) -> list[list[BeamPath]]:
    """Paths gathered where they overlap or nearly touch along the board."""
    in_order = sorted(paths, key=lambda path: float(path.points_mm[:, 0].min()))
    blocks: list[list[BeamPath]] = []
    reach_mm = -math.inf
    for path in in_order:
        if float(path.points_mm[:, 0].min()) > reach_mm + BLOCK_GAP_MM:
            blocks.append([])
        blocks[-1].append(path)
        reach_mm = max(reach_mm, float(path.points_mm[:, 0].max()))
    return blocks


def _upright(lines: list[_Line]) -> bool:
    """True when the lines run along the bed's y: a board laid a quarter turn round."""
    run_x, run_y = np.sum([np.abs(line.ends_mm[1] - line.ends_mm[0]) for line in lines], axis=0)
    return bool(run_y > run_x)


def _placing(name: str, lines: list[_Line], pixels_per_m: int) -> PicturePlacing:
    """A frame whose first row of pixels is centred on the first line and whose first column starts at the lines' start."""
    pixel_mm = 1000 / pixels_per_m
    points = np.concatenate([line.ends_mm for line in lines])
    centred = np.array([pixel_mm / 2, 0.0] if _upright(lines) else [0.0, pixel_mm / 2])
    low, high = points.min(axis=0) - centred, points.max(axis=0) + centred
    n_columns, n_rows = (max(math.ceil(each - 1e-6), 1) for each in ((high - low) / pixel_mm).tolist())
    return PicturePlacing(name, float(low[0]), float(low[1]), pixel_mm, n_columns, n_rows, pixels_per_m)


def _drawn(placing: PicturePlacing, lines: list[_Line]) -> PowerPicture:
    power = np.zeros((placing.n_rows, placing.n_columns), np.float32)
    upright = _upright(lines)
    canvas = power.T if upright else power
    corner = np.array([placing.left_mm, placing.bottom_mm])
    for line in lines:
        ends = (line.ends_mm - corner) / placing.pixel_mm
        _draw_line(canvas, ends[:, ::-1] if upright else ends, line.power_frac)
    return PowerPicture(placing, power)


def _draw_line(canvas: NDArray[np.float32], ends: Array, power_frac: float) -> None:
    """Fill the pixels along a line. ends: (2, 2) as (along, across) in pixels; canvas: (across, along).

    A line at a slight slant (a board placed again from a reading) steps from row to row.
    """
    (u0, v0), (u1, v1) = ends[np.argsort(ends[:, 0])]
    columns = np.arange(math.floor(u0 + 0.5 + 1e-6), math.floor(u1 + 0.5 + 1e-6))
    rise = (v1 - v0) / (u1 - u0) if u1 > u0 else 0.0
    rows = np.floor(v0 + (columns + 0.5 - u0) * rise + 1e-6).astype(int)
    # Where two wedges share a pixel the stronger line stands: both go through there.
    canvas[rows, columns] = np.maximum(canvas[rows, columns], np.float32(power_frac))
