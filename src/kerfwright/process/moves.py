"""A setup as the machine will run it: travels, burns and pauses in program coordinates.

Program frame: X and Y of the bed, Z the height of the focus over the setup's gauge point. Time, checks, the
RS-274 writer and the burn simulation all read this one list, so they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import format_mm
from kerfwright.machine.machine import Machine
from kerfwright.process.operation import BeamPath, CutOperation
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Travel:
    """Laser off, to a point. to_mm: (3,)."""

    to_mm: Array
    operation: str


@dataclass(frozen=True, eq=False)
class Burn:
    """Laser on along points_mm (n, 3), starting where the head stands."""

    points_mm: Array
    power_frac: float
    speed_mm_s: float
    operation: str


@dataclass(frozen=True)
class Pause:
    """Laser off; the person does what the message says, then goes on."""

    message: str
    operation: str


Move = Travel | Burn | Pause


def program_points(setup: Setup, path: BeamPath, focus_mm: float, level_mm: float | None) -> Array:
    """Points of a path in program coordinates, (n, 3), at one focus."""
    points = setup.bed_from_board.apply(path.points_mm)
    points[:, 2] -= setup.gauge_height_mm
    if level_mm is not None:
        points[:, 2] = level_mm
    points[:, 2] += focus_mm
    return points


def moves_of(setup: Setup, machine: Machine) -> Iterator[Move]:
    """Every move of the program, in order, ending with the laser off."""
    by_hand = machine.z == "by hand"
    focus_now = 0.0  # a by-hand machine starts with its focus at the gauge point
    for op in setup.operations:
        if op.before:
            yield Pause(op.before, op.name)
        for one in op.passes:
            for path in op.paths:
                points = machine.commanded_mm(program_points(setup, path, one.focus_mm, op.level_mm))
                if by_hand and abs(points[0, 2] - focus_now) > 1e-6:
                    focus_now = float(points[0, 2])
                    yield Pause(f"set the focus {_height(focus_now)} the gauge point", op.name)
                yield Travel(points[0], op.name)
                yield Burn(points, path.power_frac, op.speed_mm_s, op.name)


def _height(z_mm: float) -> str:
    if abs(z_mm) < 0.005:
        return "at"
    return f"{format_mm(abs(z_mm))} {'above' if z_mm > 0 else 'below'}"


def needs_steady_focus(op: CutOperation, setup: Setup) -> bool:
    """True when every path of the operation runs at one height, so a by-hand machine can burn it."""
    heights = [np.ptp(program_points(setup, path, 0.0, op.level_mm)[:, 2]) for path in op.paths]
    return not heights or float(max(heights)) < 1e-6
