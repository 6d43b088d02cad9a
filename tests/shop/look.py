"""Cutting sections through a real board at chosen places: what every measurement and the joint are read from."""

from __future__ import annotations

import numpy as np

from shop.bench import HiddenMachine
from shop.sections import Burnt, Rows, Stretches, burn_rows
from shop.strokes import joined
from shop.wood import HiddenBoard

STEP_MM = 0.005


def rows_at(
    board: HiddenBoard,
    machine: HiddenMachine,
    middle: np.ndarray,
    along: np.ndarray,
    window: tuple[float, float],
    shear: np.ndarray | float = 0.0,
    step_mm: float = STEP_MM,
) -> Rows:
    """Rows centred at (n, 2) places of the show face, columns from window[0] to window[1] along the (n, 2) directions."""
    middle = np.atleast_2d(np.asarray(middle, dtype=float))
    along = np.broadcast_to(np.asarray(along, dtype=float), middle.shape)
    offsets = np.arange(window[0], window[1] + step_mm / 2, step_mm)
    leaning = np.broadcast_to(np.asarray(shear, dtype=float), (len(middle),))
    x, y = middle.T
    rise = board.rise_mm(x, y)
    # The gauge was set on the real face near a corner; the rest of the face stands higher or lower than that.
    near = board.thickness_mm(np.array(5.0), np.array(5.0))
    faces = np.column_stack([rise + board.thickness_mm(x, y) - near, -rise])
    points = middle[:, None, :] + offsets[None, :, None] * along[:, None, :]
    need = board.need(points[..., 0], points[..., 1], machine.wood.density_power, machine.wood.g_ref)
    return Rows(middle, along.copy(), offsets, board.thickness_mm(x, y) * np.hypot(1.0, leaning), faces, need, leaning.copy())


def look(
    board: HiddenBoard,
    machine: HiddenMachine,
    middle: np.ndarray,
    along: np.ndarray,
    window: tuple[float, float] = (-0.6, 0.6),
    shear: np.ndarray | float = 0.0,
    step_mm: float = STEP_MM,
) -> Burnt:
    """Sections of the board as it is now."""
    rows = rows_at(board, machine, middle, along, window, shear, step_mm)
    return burn_rows(rows, stretches_of(board), machine.light, machine.wood)


def stretches_of(board: HiddenBoard) -> Stretches:
    """Everything burnt into the board, oldest first."""
    return joined([burn for burn in board.burns if isinstance(burn, Stretches)])


def straight_lines(ends: np.ndarray, energy: np.ndarray, focus: np.ndarray | float, x_share: float = 0.0) -> Stretches:
    """Bare lines for trials without a program: ends (n, 2, 2), energy (n,) J/mm, focus below the face."""
    n = len(ends)
    zero = np.zeros(n)
    return Stretches(
        ends[:, 0],
        ends[:, 1],
        np.asarray(energy, dtype=float),
        np.broadcast_to(np.asarray(focus, dtype=float), (n,)).copy(),
        np.full(n, x_share),
        np.zeros(n, dtype=int),
        zero,
        np.ones(n),
        np.zeros((n, 2)),
        np.ones(n),
        np.full(n, -1),
        [],
    )
