"""Strokes laid by hand, and a plate with round numbers, for the tests of heat."""

from __future__ import annotations

from typing import Any

import numpy as np

from kerfwright.simulate.heat import Plate
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.strokes import Strokes

Row = tuple[tuple[float, float], tuple[float, float], float, float]  # from, to, power share, when

LAW = BurnLaw(
    power_w=20.0, dead_frac=0.0, gamma=1.0, waist_x_mm=0.06, waist_y_mm=0.06, rayleigh_mm=1.5, slit_mm=1e6, focus_offset_mm=0.0,
    need_j_mm3=3.0, loss_mm=6.0, threshold_j_mm2=0.3, over_char_frac=0.8, density_power=0.5, char_mm=0.03,
)  # fmt: skip


def plate(
    size_mm: tuple[float, float, float] = (200.0, 80.0, 6.0), along: float = 0.15, across: float = 0.15, cooling_s: float = 1e9
) -> Plate:
    return Plate(size_mm, along, across, 0.0012, cooling_s)


def strokes(rows: list[Row], speed_mm_s: float = 10.0, **changes: Any) -> Strokes:
    """Constant speed, power scaled with it."""
    n = len(rows)
    entry = np.array([[(*row[0], 0.0), (*row[1], 0.0)] for row in rows], dtype=float).reshape(n, 2, 3)
    length = np.linalg.norm(entry[:, 1] - entry[:, 0], axis=1)
    speed = np.full(n, speed_mm_s)
    fields: dict[str, Any] = {
        "entry_mm": entry,
        "focus_mm": np.zeros((n, 2)),
        "beam": np.tile([0.0, 0.0, -1.0], (n, 1)),
        "x_share": np.zeros(n),
        "power_frac": np.array([row[2] for row in rows]),
        "scaled": np.ones(n, dtype=bool),
        "speed_mm_s": speed,
        "in_mm_s": speed,
        "out_mm_s": speed,
        "acceleration_mm_s2": 1000.0,
        "begin_s": np.array([row[3] for row in rows]),
        "took_s": length / speed,
        "setup": np.ones(n, dtype=np.int_),
        "from_show": np.ones(n, dtype=bool),
        "again": np.zeros(n, dtype=np.int_),
        "beside_mm": np.full(n, np.inf),
    }
    return Strokes(**(fields | changes))
