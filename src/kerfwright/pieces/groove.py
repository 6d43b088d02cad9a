"""A groove along a wall's inner face: from neighbour's face to neighbour's face, or out through an end."""

from __future__ import annotations

import numpy as np

from kerfwright.core.errors import BuildError
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess
from kerfwright.pieces.carcass import Carcass

LEAST_WEB_MM = 1.5  # wood left behind a groove (judgement of ours)
OVERRUN_MM = 0.3  # a stopped groove runs on this far: the beam rounds its corners
FLOOR_ROOM_MM = 0.3  # what stands in a groove stays this far off its floor, for burnt depths differ (judgement of ours)
RUN_OUT_MM = 5.0  # and one that goes out through an end this far beyond it


def groove(
    carcass: Carcass, panel: str, name: str, span_mm: tuple[float, float], depth_mm: float, out: tuple[str, ...] = ()
) -> Recess:
    """In the wall's frame. span_mm: its lower and upper side, in the carcass; out: ends ("left", "right") it runs out through."""
    i = carcass.panels.index(panel)
    part = carcass.parts[i]
    end_mm = part.slab.bounds_mm()[2]
    # The wall's origin stands out by what its ends are proud.
    x0 = carcass.proud_mm + carcass.thickness_mm[carcass.panels[i - 1]] - OVERRUN_MM
    x1 = x0 + carcass.inside_mm[i % 2] + 2 * OVERRUN_MM
    if "left" in out:
        x0 = -RUN_OUT_MM
    if "right" in out:
        x1 = end_mm + RUN_OUT_MM
    low, high = (each - float(part.assembly_from_part.matrix[2, 3]) for each in span_mm)
    points = np.array([(x0, low), (x1, low), (x1, high), (x0, high)])
    edges = tuple(Edge(Role.FREE, Place.PANEL, f"{name}.{side}") for side in ("below", "right", "above", "left"))
    return Recess(name, Face.INNER, Ring(points, edges), depth_mm)


def groove_depth_mm(carcass: Carcass, wished_mm: float | None, needed_mm: float, what: str) -> float:
    """The wish, else a third of the thinnest wall to 4 mm, or what is needed. what: the key that sets it, such as bottom.depth.

    Raises BuildError when too little wood is left behind it.
    """
    thinnest_mm = min(carcass.thickness_mm[panel] for panel in carcass.panels)
    depth_mm = wished_mm if wished_mm is not None else max(min(4.0, thinnest_mm / 3), needed_mm)
    if depth_mm > thinnest_mm - LEAST_WEB_MM:
        raise BuildError(
            f"a groove of {depth_mm:.3g} mm in a wall of {thinnest_mm:g} mm leaves {thinnest_mm - depth_mm:.1f} mm",
            accepted=f"{LEAST_WEB_MM:g} mm or more behind the groove",
            remedy=f"Make {what} {thinnest_mm - LEAST_WEB_MM:.1f} mm or less, or the walls thicker"
            if wished_mm is not None
            else "Make the walls thicker, or take a quieter wood, quarter sawn: that is what its movement asks",
        )
    return depth_mm
