"""The blanks a piece needs: each part with its waste round it, as the plan will want to find it on its board."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.assembly import Part
from kerfwright.geometry.ring import Place
from kerfwright.geometry.slab import Face
from kerfwright.machine.machine import Machine
from kerfwright.pieces.design import Corner, Design
from kerfwright.plan.blank import END_WASTE_MARKED_MM, END_WASTE_MM, PILOT_MM, SIDE_WASTE_MM
from kerfwright.plan.layout.wishes import Breaks, LayoutWishes
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.pose import flat_lie
from kerfwright.plan.walls import through_fault
from kerfwright.process.recipe import Recipe

SHORTEST_STEP_MM = 0.1  # blanks are told to this


@dataclass(frozen=True)
class Wanted:
    """One blank. length_mm, width_mm: as sawn; finished_mm: length and width of the blank as the laser gets it, its edges
    planed where they are to be milled; part_mm: length and width of the part."""

    part: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    finished_mm: tuple[float, float]
    part_mm: tuple[float, float]
    milled: bool


def wanted_blanks(
    design: Design, machine: Machine, recipes: Mapping[str, Recipe], options: PlanOptions, wishes: LayoutWishes
) -> tuple[Wanted, ...]:
    """Every part's blank. Raises PlanError when one does not fit the machine's bed."""
    return tuple(_wanted(part, machine, recipes[part.name], options, wishes) for part in design.assembly.parts)


def _wanted(part: Part, machine: Machine, recipe: Recipe, options: PlanOptions, wishes: LayoutWishes) -> Wanted:
    x0, y0, x1, y1 = part.slab.bounds_mm()
    thickness_mm = part.slab.thickness_mm
    end_mm = END_WASTE_MARKED_MM if options.reread and _laid_again(part, recipe) else END_WASTE_MM
    length_mm = _up(x1 - x0 + 2 * end_mm + (PILOT_MM if options.pilot else 0.0))
    milled = wishes.edges == "milled" and not _is_panel(part)
    finished_width_mm = y1 - y0 if milled else _up(y1 - y0 + 2 * SIDE_WASTE_MM)
    width_mm = _up(finished_width_mm + 2 * wishes.plane_mm) if milled else finished_width_mm
    size_mm = (length_mm, finished_width_mm, thickness_mm)
    flat_lie(Face.SHOW, size_mm, machine, options.fence_mm, part.name)
    return Wanted(part.name, length_mm, width_mm, thickness_mm, size_mm[:2], (x1 - x0, y1 - y0), milled)


def _up(length_mm: float) -> float:
    """To the next tenth; a hair of rounding is no tenth."""
    return math.ceil(round(length_mm / SHORTEST_STEP_MM, 6)) * SHORTEST_STEP_MM


def _laid_again(part: Part, recipe: Recipe) -> bool:
    """Whether the board is likely laid down more than once, and then needs room for witness marks at its ends."""
    if _is_panel(part):
        return False
    lean_mm = np.abs(part.slab.show_ring.points_mm - part.slab.inner_ring.points_mm)
    return bool(np.any(lean_mm > 1e-9)) or bool(through_fault(recipe, part.slab.thickness_mm))


def _is_panel(part: Part) -> bool:
    return all(edge.place is Place.PANEL for edge in part.slab.edges)


def walls_in_line(corners: tuple[Corner, ...], breaks: Breaks) -> tuple[str, ...]:
    """The walls in the order in which the grain runs round, from left to right as seen from outside, broken at one of the
    back corners; empty when the piece has no ring of walls.

    At each corner one wall's right end meets the next one's left; the front is the wall the first corner begins with.
    """
    after: dict[str, str] = {}
    for corner in corners:
        ends = {corner.tail_end: corner.tail_part, corner.pin_end: corner.pin_part}
        if set(ends) == {"left", "right"}:
            after[ends["right"]] = ends["left"]
    if not corners:
        return ()
    first = "front" if "front" in after else next(iter(after), "")
    ring = [first]
    while ring[-1] in after and after[ring[-1]] not in ring:
        ring.append(after[ring[-1]])
    if len(ring) < 3 or after.get(ring[-1]) != first:
        return ()
    # front, right, back, left: broken at the back left it begins with the left wall, at the back right with the back.
    n = 1 if breaks == "back left" else 2
    return tuple(ring[-n:] + ring[:-n])
