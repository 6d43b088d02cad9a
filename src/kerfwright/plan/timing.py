"""Machine time of a setup from its true moves: every straight stretch starts and stops within the acceleration."""

from __future__ import annotations

import numpy as np

from kerfwright.machine.machine import Machine
from kerfwright.machine.motion import polyline_time_s, stretch_time_s
from kerfwright.process.job import SetupTime
from kerfwright.process.moves import Burn, Pause, Travel, moves_of
from kerfwright.process.setup import Setup


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
