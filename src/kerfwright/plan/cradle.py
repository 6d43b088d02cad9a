"""Sloped walls cut square with the board tilted: half of them in one lie, the rest with the board turned end for end.

The cradle stays on the bed and tilts by atan(slope); turning the board end for end in it tilts the other way as
the board sees it. In each lie the walls that run along the beam are cut, each with its half of the socket's floor;
the two halves overlap in the middle of the socket. Ends are cut in the second lie: a plane square to the board's
length stays square however the board is tilted about its length.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose
from kerfwright.geometry.ring import Place, Ring
from kerfwright.machine.machine import Machine
from kerfwright.plan.blank import Blank, EndWork, Notch
from kerfwright.plan.square import Cutting, in_turn, run_out_mm
from kerfwright.process.operation import BeamPath, CutOperation

Array = NDArray[np.float64]

FLOOR_OVERLAP_MM = 0.3  # the two halves of a floor overlap by this at the show face, and keep as far from the other wall


def slopes_of(blank: Blank) -> list[float]:
    """The different slopes of a board's leaning walls, as tangents, rising; empty when none leans."""
    lean_mm = np.abs(blank.slab.show_ring.points_mm[:, 1] - blank.slab.inner_ring.points_mm[:, 1])
    return [float(slope) for slope in np.unique(np.round(lean_mm[lean_mm > 1e-9] / blank.slab.thickness_mm, 9))]


def slope_of(blank: Blank) -> float:
    """The steepest slope of a board's walls, as a tangent; 0 when none leans."""
    return max(slopes_of(blank), default=0.0)


def narrow_fault(blank: Blank) -> str:
    """Why the floors of these sockets cannot be cut tilted, or ""."""
    for end in blank.ends:
        for notch in end.notches if end.sloped else ():
            show_mm, inner_mm = (_floor_width_mm(ring, notch) for ring in (blank.slab.show_ring, blank.slab.inner_ring))
            if show_mm / 2 + FLOOR_OVERLAP_MM > inner_mm - FLOOR_OVERLAP_MM:
                return (
                    f"a socket {show_mm:.1f} mm wide at the show face is too narrow for a tilted floor cut; it needs "
                    f"{2 * (show_mm - inner_mm) + 4 * FLOOR_OVERLAP_MM:.1f} mm"
                )
    return ""


@dataclass(frozen=True, eq=False)
class TiltedCutting:
    """cutting.depth_mm is along the tilted beam; beam: (3,) its direction in the board frame."""

    cutting: Cutting
    beam: Array

    def faces(self, i: int) -> bool:
        """True when the beam runs along flank i."""
        slab = self.cutting.blank.slab
        leaning = slab.inner_ring.points_mm[i, 1] - slab.show_ring.points_mm[i, 1]
        return bool(abs(leaning + slab.thickness_mm * self.beam[1] / self.beam[2]) < 1e-6)

    def on_entry(self, points_xy_mm: Array, z_mm: float) -> Array:
        """Where the beam that passes through (n, 2) points at depth z_mm enters the board's top face. (n, 2)"""
        up = self.cutting.entry_z_mm - z_mm
        return points_xy_mm + np.array([0.0, up * self.beam[1] / self.beam[2]])


def wall_strokes(tilted: TiltedCutting, ends: tuple[EndWork, ...]) -> list[BeamPath]:
    """One stroke a wall: from the waste along the wall to the floor, then half the floor."""
    cutting = tilted.cutting
    show = cutting.ring(cutting.blank.slab.show_ring)
    strokes: list[BeamPath] = []
    for end in ends:
        for notch in end.notches:
            for i in notch.edges:
                if show.edges[i].place is Place.FLANK and tilted.faces(i):
                    strokes.append(_wall_stroke(tilted, show, notch, i))
    return strokes


def _wall_stroke(tilted: TiltedCutting, show: Ring, notch: Notch, i: int) -> BeamPath:
    cutting, slab = tilted.cutting, tilted.cutting.blank.slab
    floor = next(k for k in notch.edges if show.edges[k].place is Place.FLOOR)
    n = len(show.points_mm)
    tip, foot = (i, (i + 1) % n) if i < floor else ((i + 1) % n, i)
    nominal_y = slab.show_ring.points_mm[i, 1]
    # Offsets are square to the wall; along the face they are longer by 1/cos(tilt).
    shift_mm = (show.points_mm[i, 1] - nominal_y) * float(np.hypot(1.0, tilted.beam[1] / tilted.beam[2]))
    into = float(np.sign(slab.inner_ring.points_mm[i, 1] - nominal_y))
    half_mm = _floor_width_mm(slab.show_ring, notch) / 2 + FLOOR_OVERLAP_MM
    x_tip, x_floor = show.points_mm[tip, 0], show.points_mm[foot, 0]
    y = nominal_y + shift_mm
    outward = float(np.sign(x_tip - x_floor))
    points = np.array([[x_tip + outward * cutting.lead_mm, y], [x_floor, y], [x_floor, nominal_y + into * half_mm]])
    return cutting.stroke(tilted.on_entry(points, 0.0), (show.edges[i].name, show.edges[floor].name))


def tip_lines(tilted: TiltedCutting, ends: tuple[EndWork, ...]) -> list[BeamPath]:
    """Ends of the pins, each line wide enough to free the pin at every depth."""
    cutting = tilted.cutting
    slab = cutting.blank.slab
    show = cutting.ring(slab.show_ring)
    strokes: list[BeamPath] = []
    n = len(show.points_mm)
    shadow_mm = slab.thickness_mm * abs(float(tilted.beam[1] / tilted.beam[2]))
    for end in ends:
        for i in end.tips:
            corners = [i, (i + 1) % n]
            shadows = [
                tilted.on_entry(ring.points_mm[corners], z)[:, 1]
                for ring, z in ((slab.show_ring, 0.0), (slab.inner_ring, -slab.thickness_mm))
            ]
            up = float(np.sign(show.points_mm[corners[1], 1] - show.points_mm[corners[0], 1]))
            # Seen along the beam the notch beside it is narrower, by the lean of each of its walls.
            before, after = (run_out_mm(cutting, show, i, step, 2 * shadow_mm) for step in (-1, 1))
            ends_y = float(np.min(up * np.array(shadows))) - before, float(np.max(up * np.array(shadows))) + after
            strokes.append(cutting.stroke(np.array([[show.points_mm[i, 0], up * y] for y in ends_y]), (show.edges[i].name,)))
    return strokes


def tilted_operations(
    tilted: TiltedCutting, ends: tuple[EndWork, ...], frees: tuple[EndWork, ...], machine: Machine, gauge_mm: Array
) -> list[CutOperation]:
    """Walls facing this lie, then the ends in ``frees``; in groups of one focus height when set by hand."""
    groups = [("walls", "Sloped walls, tilted", wall_strokes(tilted, ends))]
    if frees:
        groups.append(("tips", "Ends, freeing the part", tip_lines(tilted, frees)))
    done: list[CutOperation] = []
    for name, title, paths in groups:
        if not paths:
            continue
        if machine.z == "motorised":
            done.append(tilted.cutting.operation(name, title, in_turn(paths)))
        else:
            done += _by_height(tilted, name, title, paths, gauge_mm)
    return done


def _by_height(tilted: TiltedCutting, name: str, title: str, paths: list[BeamPath], gauge_mm: Array) -> list[CutOperation]:
    """Groups of strokes whose entry heights lie within the recipe's focus window of one focus setting.

    A stroke that climbs further is burnt in stretches.
    """
    pose: Pose = tilted.cutting.bed_from_board
    gauge_z = float(pose.apply(gauge_mm[None, :])[0, 2])
    window_mm = tilted.cutting.cut.focus_window_mm
    stretches = [stretch for path in paths for stretch in _stretches(path, pose, 2 * window_mm)]
    spans = [(float(z.min()) - gauge_z, float(z.max()) - gauge_z, path) for path in stretches for z in [pose.apply(path.points_mm)[:, 2]]]
    spans.sort(key=lambda span: span[:2])
    done: list[CutOperation] = []
    while spans:
        low = spans[0][0]
        group = [span for span in spans if span[1] <= max(low + 2 * window_mm, spans[0][1])]
        spans = [span for span in spans if span not in group]
        level_mm = (low + max(span[1] for span in group)) / 2
        done.append(
            tilted.cutting.operation(
                f"{name}-{len(done) + 1}", f"{title}, height {len(done) + 1}", in_turn([span[2] for span in group]), level_mm=level_mm
            )
        )
    return done


def _stretches(path: BeamPath, pose: Pose, most_mm: float) -> list[BeamPath]:
    """The path in stretches of equal climb, none over ``most_mm``; each starts where the one before it ends."""
    climbs = np.abs(np.diff(pose.apply(path.points_mm)[:, 2]))
    climb_mm: Array = np.concatenate([np.zeros(1), np.cumsum(climbs)])  # (n,) height gone through so far
    n_stretches = max(int(np.ceil(climb_mm[-1] / most_mm - 1e-9)), 1)
    limits: Array = np.linspace(0.0, float(climb_mm[-1]), n_stretches + 1)
    cuts: Array = np.stack([np.interp(limits, climb_mm, path.points_mm[:, axis]) for axis in range(3)], axis=1)
    cuts[0], cuts[-1] = path.points_mm[0], path.points_mm[-1]
    done: list[BeamPath] = []
    for k in range(n_stretches):
        inner = np.arange(1, len(climb_mm) - 1)
        last = k == n_stretches - 1
        inner = inner[(climb_mm[inner] >= limits[k]) & (last | (climb_mm[inner] < limits[k + 1]))]
        done.append(replace(path, points_mm=np.vstack([cuts[k], path.points_mm[inner], cuts[k + 1]])))
    return done


def _floor_width_mm(ring: Ring, notch: Notch) -> float:
    floor = next(i for i in notch.edges if ring.edges[i].place is Place.FLOOR)
    n = len(ring.points_mm)
    return float(np.hypot(*(ring.points_mm[(floor + 1) % n] - ring.points_mm[floor])))
