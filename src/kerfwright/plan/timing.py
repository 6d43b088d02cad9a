"""Machine time of a setup from its true moves: every straight stretch starts and stops within the acceleration."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from kerfwright.machine.machine import Machine
from kerfwright.process.job import SetupTime
from kerfwright.process.moves import Burn, Pause, Travel, moves_of
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]

STRAIGHT_COSINE = math.cos(math.radians(10.0))  # gentler bends are taken at speed (judgement of ours)


def stretch_time_s(length_mm: float, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Time over one stretch from rest to rest.

    t = L/v + v/a when the speed is reached (L >= v^2/a), else 2 sqrt(L/a). Kinematics of constant acceleration.
    Example: 100 mm at 50 mm/s and 1000 mm/s2: 2.05 s.
    """
    if length_mm <= 0:
        return 0.0
    if length_mm * acceleration_mm_s2 >= speed_mm_s**2:
        return length_mm / speed_mm_s + speed_mm_s / acceleration_mm_s2
    return 2 * math.sqrt(length_mm / acceleration_mm_s2)


def polyline_time_s(points_mm: Array, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Time along (n, 3) points, stopping at every real bend."""
    steps = np.diff(points_mm, axis=0)
    length_mm = np.linalg.norm(steps, axis=1)
    steps, length_mm = steps[length_mm > 0], length_mm[length_mm > 0]
    total_s, run_mm = 0.0, 0.0
    for i in range(len(steps)):
        run_mm += float(length_mm[i])
        last = i == len(steps) - 1
        if last or float(steps[i] @ steps[i + 1]) < STRAIGHT_COSINE * length_mm[i] * length_mm[i + 1]:
            total_s += stretch_time_s(run_mm, speed_mm_s, acceleration_mm_s2)
            run_mm = 0.0
    return total_s


def setup_time(setup: Setup, machine: Machine) -> SetupTime:
    """Burn and travel time of a setup; the person's time at pauses is not in it."""
    here = np.zeros(3)
    burn_s = travel_s = 0.0
    n_pauses = 0
    for move in moves_of(setup, machine):
        if isinstance(move, Pause):
            n_pauses += 1
        elif isinstance(move, Travel):
            travel_s += stretch_time_s(float(np.linalg.norm(move.to_mm - here)), machine.top_speed_mm_s, machine.acceleration_mm_s2)
            here = move.to_mm
        else:
            burn_s += polyline_time_s(move.points_mm, move.speed_mm_s, machine.acceleration_mm_s2)
            here = move.points_mm[-1]
    return SetupTime(setup.name, burn_s, travel_s, n_pauses, sum(op.cut_length_mm() for op in setup.operations))


def burns_of(setup: Setup, machine: Machine) -> list[Burn]:
    """Only the burns of a setup."""
    return [move for move in moves_of(setup, machine) if isinstance(move, Burn)]
