"""How walls answer to every cause: the walls as burnt, by how much each place moves per unit of each cause, and what each has to spare.

A Monte Carlo over thousands of draws adds these up instead of burning thousands of times. Where the wall stands at u the
dose D(u, p) just meets the need N(p); so a small change of a parameter p moves it by du = -(dD/dp - dN/dp) / (dD/du) dp, which
needs one look at the wall instead of a search. The same look at the middle of the opening tells what it has to spare: ``bend``
makes of both how walls answer to large changes, and where they stay wood. Placing and turning move the light as one piece over
the board. The cradle's tilt moves every place differently and is burnt again.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.slab import Slab
from kerfwright.machine.machine import Machine
from kerfwright.process.setup import Setup
from kerfwright.simulate.burnt import BurntPart, Hidden
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.motion import Motion
from kerfwright.simulate.opening import LOOK_MM, RISE_MM, SHAPES, THICKER_MM, Answers, Lit, Opening, answers_of
from kerfwright.simulate.section import INTO_WOOD_MM, Grid, PartLines, SetupLines, outline_of, section_part
from kerfwright.simulate.strokes import STRAIGHT, laid
from kerfwright.simulate.walls import QUICK, burnt_part, fronts_on

Array = NDArray[np.float64]

STEEPER_DEG = 0.1

@dataclass(frozen=True, eq=False)
class WallResponse:
    """base: the walls with nothing hidden but what was given. made_by: by edge (s, d), the setup that made each place, 0 for none.

    per_unit: cause -> edge -> (s, d), change of back_mm per unit of the cause; 0 where no wall was freed. Causes: each field of
    BurnLaw, and density_ratio, thickness_mm, focus_mm, tilt_deg, placed_x_mm, placed_y_mm, turned_deg as in Hidden. What is
    hidden once a setup (focus, tilt, placing) acts on the places that this setup made. Depths are kept as shares of the
    thickness. opening: None when walls stay open and answer straight, whatever comes.
    """

    base: BurntPart
    made_by: dict[str, NDArray[np.int_]]
    per_unit: dict[str, dict[str, Array]]
    opening: Opening | None = None


def wall_response(
    part: str, slab: Slab, motions: Sequence[Motion], setups: Sequence[Setup], machine: Machine, law: BurnLaw,
    hidden: Hidden = STRAIGHT, grid: Grid = QUICK, edges: Collection[str] | None = None,
) -> WallResponse:  # fmt: skip
    """Walls of one part and how they answer. motions, setups: of all the board's setups, in order. edges: only these, by name."""
    strokes = laid(motions, setups, machine, hidden)
    lines = section_part(part, slab, strokes, slab.thickness_mm + hidden.thickness_mm, grid, edges)
    burnt = fronts_on(lines, strokes, law, hidden.density_ratio)
    front = burnt.front_mm
    freed = np.isfinite(front) & (front > -INTO_WOOD_MM + LOOK_MM)  # what is looked at no further answers to nothing
    more = replace(hidden, thickness_mm=hidden.thickness_mm + THICKER_MM)
    thicker = laid(motions, setups, machine, more), outline_of(part, slab, slab.thickness_mm + more.thickness_mm, grid, edges)
    told = _Told(lines)
    for i, (setup, stations) in enumerate(zip(lines.setups, burnt.stations_mm, strict=True)):
        if len(stations):
            told.add(i, setup, answers_of(setup, stations, strokes, law, hidden.density_ratio, thicker), burnt.made_by == i)
    causes = told.causes | _by_placing(lines, setups[0].board_size_mm)
    causes |= {"char_mm": np.ones_like(front), "tilt_deg": np.zeros_like(front)}
    if any(setup.tilt_deg for setup in setups):
        leaning = replace(hidden, tilt_deg=hidden.tilt_deg + STEEPER_DEG)
        steeper = laid(motions, setups, machine, leaning)
        its_lines = section_part(part, slab, steeper, slab.thickness_mm + hidden.thickness_mm, grid, edges)
        moved = fronts_on(its_lines, steeper, law, hidden.density_ratio).front_mm
        both = freed & np.isfinite(moved)
        causes["tilt_deg"][both] = (front[both] - moved[both]) / STEEPER_DEG
    numbers = np.array([setup.setup for setup in lines.setups] + [0])
    names = tuple(edge.name for edge in lines.edges)

    def named(values: Array) -> dict[str, Array]:
        return dict(zip(names, values, strict=True))

    return WallResponse(
        burnt_part(lines, front, law), dict(zip(names, numbers[burnt.made_by], strict=True)),
        {cause: named(np.where(freed, change, 0.0)) for cause, change in causes.items()}, told.opening(names, freed, numbers),
    )  # fmt: skip


def _by_placing(lines: PartLines, size_mm: tuple[float, float, float]) -> dict[str, Array]:
    """Change of back_mm (e, s, d) when the board lies off: light that falls short of +x cuts into walls that face +x."""
    share = np.linspace(0.0, 1.0, len(lines.depths_mm))[:, None]
    at = lines.ends_mm[0][:, :, None] + share * (lines.ends_mm[1] - lines.ends_mm[0])[:, :, None]  # (e, s, d, 3)
    x_out, y_out = (lines.outward[:, None, None, i] * np.ones(at.shape[:3]) for i in (0, 1))
    arm_x, arm_y = at[..., 0] - size_mm[0] / 2, at[..., 1] - size_mm[1] / 2
    return {"placed_x_mm": x_out, "placed_y_mm": y_out, "turned_deg": np.radians(1.0) * (arm_x * y_out - arm_y * x_out)}


class _Told:
    """What setups answer, brought together on a part's places (e, s, d): walls by who made them, middles by who has the most to spare."""

    def __init__(self, lines: PartLines) -> None:
        self.shape = (len(lines.edges), len(lines.share), len(lines.depths_mm))
        self.margin, self.best = np.full(self.shape, -np.inf), np.full(self.shape, -1, dtype=np.intp)
        self.causes: dict[str, Array] = {}
        self.values: dict[str, Any] = {}
        self.lights: tuple[dict[str, Array], dict[str, Array]] = ({}, {})

    def add(self, i: int, setup: SetupLines, found: Answers, made: NDArray[np.bool_]) -> None:
        """One more setup, the i-th. made: (e, s, d) places whose wall it made."""
        opening, which = found.opening, setup.which
        margin = np.where(which[:, :, None] >= 0, opening.margin[which], -np.inf)
        best = margin > self.margin
        self.margin[best], self.best[best] = margin[best], i

        def put(into: dict[str, Any], values: Mapping[str, Any], mine: NDArray[np.bool_]) -> None:
            for name, each in values.items():
                into.setdefault(name, np.zeros(self.shape, dtype=each.dtype))[mine] = each[which][mine]

        put(self.causes, found.wall_mm, made)
        put(self.values, {"half_mm": opening.half_mm, "reach_mm": opening.reach_mm, "of_field": opening.of_field} | opening.shape_mm
            | {f"rise {j}": rise for j, rise in enumerate(opening.rises.reshape(-1, *opening.margin.shape))}, made)
        for into, lit, mine in zip(self.lights, (opening.at_wall, opening.in_middle), (made, best), strict=True):
            put(into, lit.by_name(), mine)

    def opening(self, names: tuple[str, ...], freed: NDArray[np.bool_], numbers: NDArray[np.int_]) -> Opening:
        """All of it. numbers: of the setups, and 0 at the end."""
        told = self.values
        return Opening(
            names, np.where(freed, told["half_mm"], np.inf), np.where(freed, told["reach_mm"], 0.0), self.margin, numbers[self.best],
            freed & told["of_field"], np.stack([told[f"rise {j}"] for j in range(2 * len(RISE_MM))]).reshape(2, -1, *self.shape),
            {name: np.where(freed, told[name], 0.0) for name in SHAPES}, *(Lit.of_names(each) for each in self.lights),
        )  # fmt: skip
