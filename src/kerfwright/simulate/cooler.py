"""What another order of strokes would win: how much cooler the hottest place, for how much more time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kerfwright.machine.machine import Machine
from kerfwright.process.moves import Burn, Travel, moves_of
from kerfwright.process.program import Program, ProgramSegment
from kerfwright.process.setup import Setup
from kerfwright.process.spread_order import in_order
from kerfwright.simulate.heat import Plate, warmth_of
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.motion import motion_of
from kerfwright.simulate.strokes import laid

LEAST_FRAC = 0.02  # a smaller gain is not told


@dataclass(frozen=True)
class OrderGain:
    """now_warmth, spread_warmth: the hottest place as the setups are and with their ramps spread; added_s: what spreading costs."""

    now_warmth: float
    spread_warmth: float
    added_s: float

    @property
    def share(self) -> float:
        """By how much the hottest place falls; 0 when it does not."""
        fallen = 1 - self.spread_warmth / self.now_warmth if self.now_warmth > 0 else 0.0
        return fallen if fallen >= LEAST_FRAC else 0.0


def order_gain(setups: Sequence[Setup], machine: Machine, plate: Plate, law: BurnLaw) -> OrderGain:
    """One board's setups, in order, burnt as they are and spread."""
    spread = [replace(setup, operations=in_order(setup.operations, "spread")) for setup in setups]
    (now, now_s), (then, then_s) = (_hottest(each, machine, plate, law) for each in (setups, spread))
    return OrderGain(now, then, then_s - now_s)


def _hottest(setups: Sequence[Setup], machine: Machine, plate: Plate, law: BurnLaw) -> tuple[float, float]:
    """(warmth of the hottest place, machine time of all setups)."""
    motions = [motion_of(program_of(setup, machine), machine) for setup in setups]
    strokes = laid(motions, setups, machine)
    warm = warmth_of(strokes, plate, law.optical_w(strokes.power_frac))
    return float(warm.warmth.max(initial=0.0)), sum(motion.total_s for motion in motions)


def program_of(setup: Setup, machine: Machine) -> Program:
    """What the machine would do, straight from a setup that has no file yet."""
    at, segments = np.zeros(3), list[ProgramSegment]()
    for move in moves_of(setup, machine):
        if isinstance(move, Travel):
            segments.append(ProgramSegment(at, move.to_mm, False, 0.0, 0.0, 0, True, "off"))
            at = move.to_mm
        elif isinstance(move, Burn):
            power_s = move.power_frac * machine.s_full
            for point in move.points_mm[1:]:
                segments.append(ProgramSegment(at, point, True, power_s, move.speed_mm_s, 0, False, machine.power_mode))
                at = point
    return Program(tuple(segments), (), frozenset(), ended=True, laser_on_at_end=False)
