"""How walls answer to every cause: the walls as burnt, and by how much each place moves per unit of each cause.

A Monte Carlo over thousands of draws adds these up instead of burning thousands of times. Where the wall stands at u the
dose D(u, p) just meets the need N(p); so a small change of a parameter p moves it by du = -(dD/dp - dN/dp) / (dD/du) dp, which
needs one look at the wall instead of a search. Placing and turning move the light as one piece over the board. The
cradle's tilt moves every place differently and is burnt again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.slab import Slab
from kerfwright.machine.machine import Machine
from kerfwright.process.setup import Setup
from kerfwright.simulate.burnt import BurntPart, Hidden
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.light import Light, light_on
from kerfwright.simulate.motion import Motion
from kerfwright.simulate.section import INTO_WOOD_MM, Grid, PartLines, SetupLines, outline_of, section_part, seen_again
from kerfwright.simulate.strokes import STRAIGHT, Strokes, laid
from kerfwright.simulate.walls import QUICK, Fronts, burnt_part, fronts_on

Array = NDArray[np.float64]

LOOK_MM = 5e-4  # just outside the wall, where the dose has met the need, it is smooth on both sides
STEP_FRAC = 1e-4  # of a parameter, or of its own unit when it is less than that
THICKER_MM = 0.01
STEEPER_DEG = 0.1


@dataclass(frozen=True, eq=False)
class WallResponse:
    """base: the walls with nothing hidden but what was given. made_by: by edge (s, d), the setup that made each place, 0 for none.

    per_unit: cause -> edge -> (s, d), change of back_mm per unit of the cause; 0 where no wall was freed. Causes: each field of
    BurnLaw, and density_ratio, thickness_mm, focus_mm, tilt_deg, placed_x_mm, placed_y_mm, turned_deg as in Hidden. What is
    hidden once a setup (focus, tilt, placing) acts on the places that this setup made. Depths are kept as shares of the
    thickness.
    """

    base: BurntPart
    made_by: dict[str, NDArray[np.int_]]
    per_unit: dict[str, dict[str, Array]]


def wall_response(
    part: str, slab: Slab, motions: Sequence[Motion], setups: Sequence[Setup], machine: Machine, law: BurnLaw,
    hidden: Hidden = STRAIGHT, grid: Grid = QUICK,
) -> WallResponse:  # fmt: skip
    """Walls of one part and how they answer. motions, setups: of all the board's setups, in order."""

    def laid_with(more: Hidden) -> tuple[Strokes, PartLines]:
        strokes = laid(motions, setups, machine, more)
        return strokes, section_part(part, slab, strokes, slab.thickness_mm + more.thickness_mm, grid)

    strokes, lines = laid_with(hidden)
    burnt = fronts_on(lines, strokes, law, hidden.density_ratio)
    front, made_by = burnt.front_mm, burnt.made_by
    freed = np.isfinite(front) & (front > -INTO_WOOD_MM + LOOK_MM)  # what is looked at no further answers to nothing
    more = replace(hidden, thickness_mm=hidden.thickness_mm + THICKER_MM)
    thicker = laid(motions, setups, machine, more), outline_of(part, slab, slab.thickness_mm + more.thickness_mm, grid)
    found = _by_light(lines, strokes, law, hidden.density_ratio, burnt, thicker) | _by_placing(lines, setups[0].board_size_mm)
    found["char_mm"] = np.ones_like(front)
    found["tilt_deg"] = np.zeros_like(front)
    if any(setup.tilt_deg for setup in setups):
        steeper, its_lines = laid_with(replace(hidden, tilt_deg=hidden.tilt_deg + STEEPER_DEG))
        moved = fronts_on(its_lines, steeper, law, hidden.density_ratio).front_mm
        both = freed & np.isfinite(moved)
        found["tilt_deg"][both] = (front[both] - moved[both]) / STEEPER_DEG
    numbers = np.array([setup.setup for setup in lines.setups] + [0])
    return WallResponse(
        burnt_part(lines, front, law),
        {edge.name: numbers[made_by[e]] for e, edge in enumerate(lines.edges)},
        {cause: {edge.name: np.where(freed[e], change[e], 0.0) for e, edge in enumerate(lines.edges)} for cause, change in found.items()},
    )


def _by_placing(lines: PartLines, size_mm: tuple[float, float, float]) -> dict[str, Array]:
    """Change of back_mm (e, s, d) when the board lies off: light that falls short of +x cuts into walls that face +x."""
    share = np.linspace(0.0, 1.0, len(lines.depths_mm))[:, None]
    at = lines.ends_mm[0][:, :, None] + share * (lines.ends_mm[1] - lines.ends_mm[0])[:, :, None]  # (e, s, d, 3)
    x_out, y_out = (lines.outward[:, None, None, i] * np.ones(at.shape[:3]) for i in (0, 1))
    arm_x, arm_y = at[..., 0] - size_mm[0] / 2, at[..., 1] - size_mm[1] / 2
    return {"placed_x_mm": x_out, "placed_y_mm": y_out, "turned_deg": np.radians(1.0) * (arm_x * y_out - arm_y * x_out)}


_Laid = tuple[Strokes, PartLines]


def _by_light(
    lines: PartLines, strokes: Strokes, law: BurnLaw, density_ratio: float, burnt: Fronts, thicker: _Laid
) -> dict[str, Array]:
    """Change of back_mm (e, s, d) per unit of every parameter of the law, of density, focus and thickness."""
    found: dict[str, Array] = {}
    for i, (setup, front) in enumerate(zip(lines.setups, burnt.stations_mm, strict=True)):
        if not len(front):
            continue
        made = burnt.made_by == i
        for cause, change in _of_setup(setup, front, strokes, law, density_ratio, thicker).items():
            if cause not in found:
                found[cause] = np.zeros(made.shape)
            found[cause][made] = change[setup.which][made]
    return found


def _of_setup(setup: SetupLines, front: Array, strokes: Strokes, law: BurnLaw, density_ratio: float, thicker: _Laid) -> dict[str, Array]:
    """The same for the stations of one setup, (m, d)."""
    look = np.where(np.isfinite(front), front, 0.0)[:, :, None] + LOOK_MM
    light = light_on(setup, strokes, law, density_ratio)
    steps = np.array([-0.5, 0.5]) * LOOK_MM
    slope = np.diff(light.dose_j_mm2(look + steps), axis=2)[:, :, 0] / LOOK_MM
    slope = np.where(np.isfinite(front) & (slope > 0), slope, np.inf)
    here = _left_over(light, look)

    def change(step: float, other: Light) -> Array:
        return (_left_over(other, look) - here) / (step * slope)

    def stepped(name: str) -> tuple[float, BurnLaw]:
        value = getattr(law, name)
        step = STEP_FRAC * max(abs(value), 1.0 if name.endswith("_mm") else abs(value), STEP_FRAC)
        changed: Callable[..., Any] = replace
        return step, changed(law, **{name: value + step})

    found: dict[str, Array] = {}
    for each in fields(law):
        if each.name != "char_mm":
            step, other = stepped(each.name)
            found[each.name] = change(step, light_on(setup, strokes, other, density_ratio))
    step = STEP_FRAC * density_ratio
    found["density_ratio"] = change(step, light_on(setup, strokes, law, density_ratio + step))
    refocused = replace(setup, sights=replace(setup.sights, focus_mm=setup.sights.focus_mm + STEP_FRAC))
    found["focus_mm"] = change(STEP_FRAC, light_on(refocused, strokes, law, density_ratio))
    found["thickness_mm"] = change(THICKER_MM, light_on(seen_again(setup, *thicker), thicker[0], law, density_ratio))
    return found


def _left_over(light: Light, look_mm: Array) -> Array:
    return light.dose_j_mm2(look_mm)[:, :, 0] - light.need_j_mm2
