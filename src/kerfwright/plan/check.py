"""Checks on a planned setup before anything is written: inside the bed, under the head, within the machine's speed."""

from __future__ import annotations

import numpy as np

from kerfwright.core.errors import PlanError
from kerfwright.core.units import format_mm
from kerfwright.machine.machine import Machine
from kerfwright.plan.timing import burns_of
from kerfwright.process.moves import needs_steady_focus
from kerfwright.process.setup import Setup


def check_setup(setup: Setup, machine: Machine) -> None:
    """Raises PlanError when a setup cannot be run on this machine."""
    where = f"setup {setup.number}, {setup.title}"
    corners = setup.board_corners_bed_mm()
    low, high = corners.min(axis=0), corners.max(axis=0)
    if low[0] < -1e-6 or low[1] < -1e-6 or high[0] > machine.bed_x_mm + 1e-6 or high[1] > machine.bed_y_mm + 1e-6:
        raise PlanError(
            f"the board would lie from {low[0]:.1f}, {low[1]:.1f} to {high[0]:.1f}, {high[1]:.1f} mm",
            accepted=f"inside the bed, 0 to {machine.bed_x_mm:g} by 0 to {machine.bed_y_mm:g} mm",
            remedy="Move the fence or take a shorter board",
            where=where,
        )
    if high[2] > machine.height_mm + 1e-6:
        raise PlanError(
            f"the board would stand {format_mm(float(high[2]), 1)} over the bed",
            accepted=f"up to {format_mm(machine.height_mm, 1)}",
            where=where,
        )
    for burn in burns_of(setup, machine):
        x, y = burn.points_mm[:, 0], burn.points_mm[:, 1]
        if np.min(x) < 0 or np.min(y) < 0 or np.max(x) > machine.bed_x_mm or np.max(y) > machine.bed_y_mm:
            raise PlanError(
                f"a cut would reach {x.max():.1f}, {y.max():.1f} mm",
                where=where,
                remedy="Move the fence inward",
                accepted=f"inside the bed, 0 to {machine.bed_x_mm:g} by 0 to {machine.bed_y_mm:g} mm",
            )
        if burn.speed_mm_s > machine.top_speed_mm_s:
            raise PlanError(
                f"the recipe asks for {burn.speed_mm_s:g} mm/s",
                accepted=f"up to {machine.top_speed_mm_s:g} mm/s on {machine.name}",
                remedy="Use a recipe burnt on this machine",
                where=where,
            )
    if machine.z == "by hand":
        for op in setup.operations:
            if not needs_steady_focus(op, setup):
                raise PlanError(
                    f'"{op.title}" would have to follow the tilted board',
                    accepted="one focus height an operation on a machine set by hand",
                    where=where,
                )
