"""A groove or housing as burnt: how wide it is from the face down, how deep its floor lies, and how both answer to every cause.

Vocabulary: the *sides* of a recess are its two long walls, between which a board's thickness goes; its *middle* is the line half
way between them. Sides are walls like any other (``walls``, ``response``): the line reach of the field's outermost lines.
Law: the floor lies where the dose of all lines, summed over the middle, meets the need: D(z) = N(z), law (3) of law.py, so a
number p of the law moves it by as much as D and N worked out again with p + dp say.
Range: one laying; the floor is told at stations along the middle, evened over one line spacing; corners of the floor are
rounded by less than the spot's width, which ``side_mm`` shows above the floor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess, Slab
from kerfwright.machine.machine import Machine
from kerfwright.process.setup import Setup
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.light import is_field, light_on
from kerfwright.simulate.motion import Motion
from kerfwright.simulate.response import wall_response
from kerfwright.simulate.section import Grid, SetupLines, section_part
from kerfwright.simulate.strokes import Strokes, laid

Array = NDArray[np.float64]

GRID = Grid(5, 49)
DEEPER = 1.5  # of the thickness: a floor that would lie below the board is told as such, so that odds of a breakthrough are not cut off
STEP = 0.01  # of a number's value, or hundredths of a millimetre
ROUNDS_FRAC = 0.2  # sides that come in this much for each mm down, together, have begun to round (judgement of ours)
ROUNDED = 0.85  # of the floor's depth, from where they have in any case
ACROSS_MM = np.linspace(-0.04, 0.04, 5)  # about one line spacing


@dataclass(frozen=True, eq=False)
class Hollow:
    """down_mm: (d,) depths below the face it is burnt from; side_mm: (d,) how far both sides together stand back from where
    they were drawn, at the narrowest station, NaN below the floor; per_unit_side: by cause (d,). floor_mm: mean depth of
    the floor; deepest_mm: of its deepest place; per_unit_floor_ln: change of ln depth for one of a cause. Causes: see WallResponse."""

    down_mm: Array
    side_mm: Array
    per_unit_side: dict[str, Array]
    floor_mm: float
    deepest_mm: float
    per_unit_floor_ln: dict[str, float]

    @property
    def upright(self) -> NDArray[np.bool_]:
        """(d,) levels at which the sides are walls; below them they round into the floor, and that is told as its depth."""
        falls = np.concatenate([[0.0, 0.0], -np.diff(self.side_mm)[1:] / np.diff(self.down_mm)[1:]])  # the face's own flare is no floor
        wall = np.isfinite(self.side_mm) & ~(falls > ROUNDS_FRAC) & (self.down_mm < ROUNDED * self.floor_mm)
        return np.logical_and.accumulate(wall)


def hollow(
    part: str, slab: Slab, recess: Recess, sides: tuple[str, str], motions: Sequence[Motion], setups: Sequence[Setup], machine: Machine,
    law: BurnLaw,
) -> Hollow:  # fmt: skip
    """Burn one recess. slab, recess: on the board (``Setup.part_slab``); sides: names of its edges; motions, setups: of the layings
    that its face is burnt in."""
    walls = wall_response(part, hollow_slab(slab, recess, sides), motions, setups, machine, law, grid=GRID)
    order = slice(None) if recess.face is Face.SHOW else slice(None, None, -1)
    back = np.stack([walls.base.walls[side].back_mm[:, order] for side in sides])  # (2, s, d)
    station = _narrowest(back)
    depths_mm = walls.base.walls[sides[0]].depths_mm
    down_mm = depths_mm if recess.face is Face.SHOW else depths_mm[-1] - depths_mm[::-1]
    per_unit = {
        cause: np.sum([each[side][station[k], order] for k, side in enumerate(sides)], axis=0) for cause, each in walls.per_unit.items()
    }
    strokes = laid(motions, setups, machine)
    # Which lines have wood on both sides is a yes or no: it stays what it is while the law's numbers are changed a little.
    as_they_are = replace(strokes, beside_mm=np.where(is_field(law, strokes), 0.0, np.inf))
    floor, by_cause = _floor(part, slab, recess, sides, as_they_are, law)
    open_mm = down_mm[np.isfinite(back).any(axis=(0, 1))]
    deepest = max(float(floor.max()), float(open_mm.max()) if len(open_mm) else 0.0)
    told = back[0, station[0]] + back[1, station[1]]
    return Hollow(down_mm, told, per_unit, float(floor.mean()), deepest, by_cause)


def hollow_slab(slab: Slab, recess: Recess, sides: tuple[str, str]) -> Slab:
    """The wood round a recess as a slab whose only burnt edges are the recess's sides: turned round, the wood is on the left."""
    n = len(recess.ring.edges)
    edges = [recess.ring.edges[(n - 2 - i) % n] for i in range(n)]
    roles = tuple(replace(edge, role=Role.FREE if edge.name in sides else Role.DATUM) for edge in edges)
    ring = Ring(recess.ring.points_mm[::-1], roles)
    return Slab((ring, ring), (0.0, slab.thickness_mm))


def side_lines_mm(ring: Ring, sides: tuple[str, str]) -> Array:
    """Start and end of both sides, the second turned round to run beside the first. (2, 2, 2)"""
    after = np.roll(ring.points_mm, -1, axis=0)
    at = [i for side in sides for i, edge in enumerate(ring.edges) if edge.name == side]
    lines = np.array([(ring.points_mm[i], after[i]) for i in at])
    lines[1] = lines[1, ::-1]
    return lines


def _narrowest(back_mm: Array) -> NDArray[np.intp]:
    """Of each side, the station that stands out most where it is open. (2,)"""
    opened = np.isfinite(back_mm).sum(axis=2)
    mean = np.where(np.isfinite(back_mm), back_mm, 0.0).sum(axis=2) / np.maximum(opened, 1)
    return np.argmin(np.where(opened > 0, mean, np.inf), axis=1)


def _floor(part: str, slab: Slab, recess: Recess, sides: tuple[str, str], strokes: Strokes, law: BurnLaw) -> tuple[Array, dict[str, float]]:
    """(depth at each station (s,), change of the mean's ln for one of each cause)."""
    ends = side_lines_mm(recess.ring, sides).mean(axis=0)  # (2, 2)
    way = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    edges = tuple(Edge(Role.DATUM if i else Role.FREE, Place.PANEL, f"middle.{i}") for i in range(4))
    ring = Ring(np.vstack([ends, ends[::-1] + 0.5 * np.array([-way[1], way[0]])]), edges)
    deep_mm = DEEPER * slab.thickness_mm
    lines = section_part(part, Slab((ring, ring), (0.0, deep_mm)), strokes, deep_mm, GRID)

    def at(law: BurnLaw, density_ratio: float = 1.0, higher_mm: float = 0.0) -> Array:
        found = np.zeros((len(lines.setups), len(lines.share)))
        for i, setup in enumerate(lines.setups):
            if len(setup.sights.first):
                solved = np.append(_depths_mm(setup, strokes, law, density_ratio, higher_mm), 0.0)
                found[i] = solved[setup.which[0]]
        return found.max(axis=0)

    base = at(law)
    return base, _answers(at, law, float(base.mean()))


def _answers(at: Callable[..., Array], law: BurnLaw, base_mm: float) -> dict[str, float]:
    """Change of ln depth per unit of each cause."""
    if base_mm <= 0:
        return {}

    def per(step: float, moved: Array) -> float:
        return math.log(max(float(moved.mean()), 1e-6) / base_mm) / step

    found: dict[str, float] = {}
    changed: Callable[..., Any] = replace
    for each in fields(law):
        if each.name == "char_mm":
            continue
        value = float(getattr(law, each.name))
        step = STEP if each.name.endswith("offset_mm") else STEP * value if value else STEP
        found[each.name] = per(step, at(changed(law, **{each.name: value + step})))
    found["density_ratio"] = per(STEP, at(law, 1.0 + STEP))
    found["focus_mm"] = per(STEP, at(law, 1.0, STEP))
    return found


def _depths_mm(setup: SetupLines, strokes: Strokes, law: BurnLaw, density_ratio: float, higher_mm: float) -> Array:
    """Depth at the middle of every different station, (m,): where dose less need first falls to nothing on the way down."""
    sights = setup.sights
    raised = replace(setup, sights=replace(sights, focus_mm=sights.focus_mm + higher_mm)) if higher_mm else setup
    light = light_on(raised, strokes, law, density_ratio)
    order = np.argsort(light.along_mm)
    m, d = len(sights.first), len(order)
    dose = light.dose_j_mm2(np.broadcast_to(ACROSS_MM, (m, d, len(ACROSS_MM)))).mean(axis=2)
    over = (dose - light.need_j_mm2)[:, order]
    along = light.along_mm[order]
    shut = over <= 0
    first = np.where(shut.any(axis=1), np.argmax(shut, axis=1), d - 1)
    before = np.maximum(first - 1, 0)
    row = np.arange(m)
    fall = over[row, before] - over[row, first]
    share = np.where(fall > 0, over[row, before] / np.where(fall > 0, fall, 1.0), 1.0)
    depth = along[before] + np.clip(share, 0.0, 1.0) * (along[first] - along[before])
    return np.where(first == 0, 0.0, np.where(shut.any(axis=1), depth, along[-1]))
