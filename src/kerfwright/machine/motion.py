"""How a head moves: every straight stretch starts and stops at rest, within the machine's acceleration.

Symbols: s way along the stretch, L its length, mm; v told speed, mm/s; a acceleration, mm/s2.
Law (1): speed at s is min(v, sqrt(2 a s), sqrt(2 a (L - s)))
Law (2): time over the stretch is L/v + v/a when the speed is reached (L >= v^2/a), else 2 sqrt(L/a)
Kinematics of constant acceleration. Example: 100 mm at 50 mm/s and 1000 mm/s2 takes 2.05 s (HANDBOOK F8).
The plan's times and the burn simulation both use it, so they cannot disagree.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STRAIGHT_COSINE = math.cos(math.radians(10.0))  # gentler bends are taken at speed (judgement of ours)


def stretch_time_s(length_mm: float, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Time over one stretch from rest to rest: law (2)."""
    if length_mm <= 0:
        return 0.0
    if length_mm * acceleration_mm_s2 >= speed_mm_s**2:
        return length_mm / speed_mm_s + speed_mm_s / acceleration_mm_s2
    return 2 * math.sqrt(length_mm / acceleration_mm_s2)


def real_bends(steps_mm: Array) -> NDArray[np.bool_]:
    """Where a path must stop between one step and the next. steps_mm: (n, 3), none of length 0 -> (n - 1,)."""
    length_mm = np.linalg.norm(steps_mm, axis=1)
    return np.sum(steps_mm[:-1] * steps_mm[1:], axis=1) < STRAIGHT_COSINE * length_mm[:-1] * length_mm[1:]


def polyline_time_s(points_mm: Array, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Time along (n, 3) points, stopping at every real bend."""
    steps = np.diff(points_mm, axis=0)
    length_mm = np.linalg.norm(steps, axis=1)
    steps, length_mm = steps[length_mm > 0], length_mm[length_mm > 0]
    if not len(steps):
        return 0.0
    first = np.concatenate([[0], np.flatnonzero(real_bends(steps)) + 1])
    return sum(stretch_time_s(float(each), speed_mm_s, acceleration_mm_s2) for each in np.add.reduceat(length_mm, first))


def speed_at_mm_s(at_mm: Array, length_mm: Array, speed_mm_s: Array, acceleration_mm_s2: float) -> Array:
    """Law (1), all (n,)."""
    from_end_mm = np.minimum(at_mm, length_mm - at_mm)
    return np.minimum(speed_mm_s, np.sqrt(2 * acceleration_mm_s2 * np.maximum(from_end_mm, 0.0)))


def time_at_s(at_mm: Array, length_mm: Array, speed_mm_s: Array, acceleration_mm_s2: float) -> Array:
    """Time since the stretch began when the head is ``at_mm`` along it, all (n,)."""
    top = np.minimum(speed_mm_s, np.sqrt(acceleration_mm_s2 * length_mm))  # what is reached on this length
    run_up_mm = np.minimum(top**2 / (2 * acceleration_mm_s2), length_mm / 2)
    rising = np.sqrt(2 * np.minimum(at_mm, run_up_mm) / acceleration_mm_s2)
    level = np.clip(at_mm - run_up_mm, 0.0, length_mm - 2 * run_up_mm) / top
    left_mm = np.clip(length_mm - at_mm, 0.0, run_up_mm)
    return rising + level + (top - np.sqrt(2 * acceleration_mm_s2 * left_mm)) / acceleration_mm_s2
