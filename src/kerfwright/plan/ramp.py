"""Sloped walls burnt as ramps: the core drops out, then lines parallel to the wall go down to a rising depth.

Vocabulary: the *core* is the socket at its narrow width (inner face); a *wedge* is what is left between the core and
the wall, T^2/(2s) in section for slope 1:s. Each line is sent to the depth that the wall has under it
(process/ramp_lines.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.core.errors import RecipeRangeError
from kerfwright.geometry.ring import Place, Ring
from kerfwright.plan.blank import EndWork, Notch
from kerfwright.plan.square import Cutting, core_loop, in_turn, long_strokes, notch_stroke, tip_strokes
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind
from kerfwright.process.ramp_lines import DEEPEST_FRAC, line_powers, wall_depths
from kerfwright.process.recipe import RampSettings


@dataclass(frozen=True)
class RampWishes:
    """hollow_mm: middle of the wall set back; overrun_mm: lines run this far past the socket's floor."""

    hollow_mm: float
    overrun_mm: float


def wedge_lines(cutting: Cutting, ramp: RampSettings, wishes: RampWishes, core: Ring, notch: Notch) -> list[BeamPath]:
    """Lines of both wedges of one socket, each from the waste to just past the floor."""
    slab = cutting.blank.slab
    lines: list[BeamPath] = []
    for i in notch.edges:
        edge = slab.edges[i]
        if edge.place is not Place.FLANK:
            continue
        show_y, inner_y = slab.show_ring.points_mm[i, 1], slab.inner_ring.points_mm[i, 1]
        clearance_mm = cutting.clearance_mm.get(edge.name.split(".")[0], 0.0)
        hollow_mm = min(wishes.hollow_mm, 0.2 * abs(inner_y - show_y))
        t_mm, depth_mm = wall_depths(ramp, abs(inner_y - show_y), slab.thickness_mm, clearance_mm / 4, hollow_mm)
        powers, kept = line_powers(ramp, depth_mm)
        x_out, x_floor = _reach(cutting, core, notch, wishes.overrun_mm)
        toward = np.sign(inner_y - show_y)
        for t, depth, power in zip(t_mm[kept], depth_mm[kept], powers, strict=True):
            y = float(show_y + toward * t)
            points = np.array([[x_out, y, cutting.entry_z_mm], [x_floor, y, cutting.entry_z_mm]])
            lines.append(BeamPath(points, float(power), float(depth), (edge.name,)))
    return lines


def ramp_fault(ramp: RampSettings | None, thickness_mm: float) -> str:
    """Why this recipe cannot ramp through this thickness, or "" when it can."""
    if ramp is None:
        return "the recipe has no ramp: burn the ramp staircase coupon"
    try:
        line_powers(ramp, np.array([thickness_mm * DEEPEST_FRAC]))
    except RecipeRangeError:
        return f"the recipe's ramp was burnt to {ramp.deepest_mm:.2f} mm deep, the wall needs {thickness_mm:.2f} mm"
    return ""


def ramp_operations(cutting: Cutting, ramp: RampSettings, wishes: RampWishes, ends: tuple[EndWork, ...]) -> list[CutOperation]:
    """Cores through, ramps down layer by layer, square sockets of the other end if it has any, long edges, tips."""
    slab = cutting.blank.slab
    core, show = cutting.ring(slab.inner_ring), cutting.ring(slab.show_ring)
    sloped, square = [end for end in ends if end.sloped], [end for end in ends if not end.sloped]
    cores = [core_loop(cutting, core, notch) for end in sloped for notch in end.notches]
    notches = [notch_stroke(cutting, show, notch) for end in square for notch in end.notches]
    lines = [line for end in sloped for notch in end.notches for line in wedge_lines(cutting, ramp, wishes, core, notch)]
    # A pin is widest at the inner face, so the inner ring's tips free it at every depth.
    tips = [stroke for end in ends for stroke in tip_strokes(cutting, core, end)]
    layers = ramp.passes_down()
    ramps = CutOperation("ramps", "Sloped walls as ramps", OperationKind.RAMP, tuple(lines), ramp.speed_mm_s, layers)
    through = [
        ("cores", "Cores of the sockets, dropping out", cores),
        ("notches", "Sockets, from the waste", notches),
        ("edges", "Long edges", long_strokes(cutting, core)),
        ("tips", "Ends, freeing the part", tips),
    ]
    done = [cutting.operation(name, title, in_turn(paths)) for name, title, paths in through if paths]
    return [done[0], ramps, *done[1:]]


def _reach(cutting: Cutting, core: Ring, notch: Notch, overrun_mm: float) -> tuple[float, float]:
    """x where the lines start, out in the core's window, and where they end, past the floor."""
    floor = next(i for i in notch.edges if core.edges[i].place is Place.FLOOR)
    x_floor = float(core.points_mm[floor, 0])
    x_tip = float(core.points_mm[notch.edges[0], 0])
    inward = np.sign(x_floor - x_tip)
    return x_tip - inward * cutting.lead_mm, x_floor + inward * overrun_mm
