"""Everything that is not known before burning, drawn many times, and which of it makes the seen gap uncertain.

Vocabulary: a *unit* is one number that may be off: one of the burn law's, or one of a board's or a setup's own. A board's
*response* holds its walls as told and how each unit moves them: near enough to straight for small errors, so that hundreds of
draws are two products of matrices. Draws of the law are shared by all boards, those of a board by its two corners; nothing
else goes together. *Place to place* is a smooth random change of the energy need along each wall.

Law: back = back0 + sum over units of d_i slope_i, d normal with the covariance told. The variance of a sum G of walls splits as
var G = sum_i cov(d_i g_i, G), g_i = dG / dd_i: each unit's share, correlation in it counted half to either side.
Range: spreads over which walls move straight; draws burnt one by one are the check (``judge`` takes them too).
Sources: density between boards 10 % (Wood Handbook Table 5-6, from memory: HANDBOOK A3), place to place 3 to 8 % (HANDBOOK H 4:
prior, no source). The others below are common practice, no source, and each says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from kerfwright.machine.machine import Machine
from kerfwright.process.setup import Setup
from kerfwright.simulate.known import LawKnown
from kerfwright.wood.board import Board

Array = NDArray[np.float64]

DENSITY_FRAC = 0.10
PLACE_FRAC = 0.05
PLACE_REACH_MM = 5.0  # over which the need along a wall forgets itself: about the width of two rings (common practice, no source)
N_NODES = 3  # along a wall, from its first corner to its second
CALIPER_SD_MM = 0.02  # common practice, no source
FOCUS_SD_MM = {"motorised": 0.1, "by hand": 0.2}  # setting a gauge (common practice, no source)
TILT_SD_DEG = 0.1  # a cradle cut from scrap, 0.1 mm on 60 mm (common practice, no source)
MARK_SD_TICKS = 0.5  # a vernier is read to about half a tick

KERF, NEED, RAMP, FOCUS, THICK, PLACING, TILT, PLACES = (
    "kerf", "energy need and density", "ramp depth", "focus", "thickness", "placing", "cradle angle", "place to place"
)
REMEDY = {
    KERF: "Burn a kerf comb on this board, along and across, and read it top and bottom",
    NEED: "Burn a through coupon or a pilot strip on this very board",
    RAMP: "Burn a ramp staircase on this board, or let the program pause to check the depth",
    FOCUS: "Burn a focus coupon and set the gauge with a feeler, or try another focus plane",
    THICK: "Measure the board's thickness at more points, and plane it even",
    PLACING: "Read witness marks, or make the sloped walls another way, in one laying",
    TILT: "Check the cradle's slope with a sliding bevel, or make the sloped walls as ramps",
    PLACES: "Choose wood of even grain, hollow the inside of the walls, or plan for a slightly wider fit",
}
_LAW_CAUSE = {"waist_x_mm": KERF, "waist_y_mm": KERF, "rayleigh_mm": KERF, "slit_mm": KERF, "char_mm": KERF, "focus_offset_mm": FOCUS}


@dataclass(frozen=True)
class OwnUnit:
    """One number of a board that may be off: one standard deviation in its own unit. One of a laying is called ``name@setup``."""

    name: str
    cause: str
    sd: float


@dataclass(frozen=True, eq=False)
class Draws:
    """law_values: (k, u) of the law's numbers about their middle, on the fit scales; own_values: by part, by unit, (k,);
    place_values: by part, by
    edge, (k, N_NODES), of ln need; form_values: by part, (k, 2), unit normals for what the law's form misses of slits and of fields."""

    n: int
    law_values: Array
    own_values: Mapping[str, Mapping[str, Array]]
    place_values: Mapping[str, Mapping[str, Array]]
    form_values: Mapping[str, Array] = field(default_factory=dict[str, Array])


def remedy(cause: str, marks_read: bool) -> str:
    """What would make a cause smaller. marks_read: these boards are laid again by witness marks already."""
    if cause == PLACING and marks_read:
        return "Read the witness marks with a lens or a scan, or make the sloped walls as ramps, in one laying"
    return REMEDY[cause]


def own_units(board: Board, machine: Machine, setups: Sequence[Setup], density_known: bool = False) -> tuple[OwnUnit, ...]:
    """What may be off of one board and of each laying of it. setups: this board's, in order.

    density_known: its need was read on this very board (a pilot strip), so that only the place-to-place change is left.
    """
    points = board.thickness_points_mm
    uneven_mm = float(np.std(points, ddof=1)) if len(points) > 1 else 2 * CALIPER_SD_MM
    units = [
        OwnUnit("density_ratio", NEED, 0.0 if density_known else DENSITY_FRAC),
        OwnUnit("thickness_mm", THICK, math.hypot(uneven_mm, CALIPER_SD_MM)),
    ]
    for setup in setups:
        units.append(OwnUnit(f"focus_mm@{setup.number}", FOCUS, FOCUS_SD_MM[machine.z]))
        if setup.tilt_deg:
            units.append(OwnUnit(f"tilt_deg@{setup.number}", TILT, TILT_SD_DEG))
    return (*units, *_laying_units(machine, setups))


def _laying_units(machine: Machine, setups: Sequence[Setup]) -> list[OwnUnit]:
    """A first laying that all later ones are read against moves the whole joint over the board and opens nothing."""
    later_read = all(setup.verniers for setup in setups[1:])
    units: list[OwnUnit] = []
    for setup in setups[1:] if later_read else setups:
        names = (f"{name}@{setup.number}" for name in ("placed_x_mm", "placed_y_mm", "turned_deg"))
        units += [OwnUnit(name, PLACING, sd) for name, sd in zip(names, _laying_sd(setup, machine), strict=True)]
    return units


def _laying_sd(setup: Setup, machine: Machine) -> tuple[float, float, float]:
    """How surely a board lies along, across and straight: read off its witness marks where it has them, else by hand."""
    across = [scale for scale in setup.verniers if scale.axis == "y"]
    if len(across) < 2:
        sd_mm = machine.placing_sd_mm
        return sd_mm, sd_mm, math.degrees(math.sqrt(2) * sd_mm / setup.board_size_mm[0])
    sd_mm = MARK_SD_TICKS * across[0].step_mm
    apart_mm = abs(across[1].at_mm[0] - across[0].at_mm[0])
    return sd_mm, sd_mm, math.degrees(math.sqrt(2) * sd_mm / apart_mm)


def draw_all(
    known: LawKnown, units: Mapping[str, Sequence[OwnUnit]], lengths_mm: Mapping[str, Mapping[str, float]], n: int, rng: np.random.Generator
) -> Draws:
    """n draws of everything. units: by part; lengths_mm: of each edge whose need changes along it, by part."""
    law_values = rng.standard_normal((n, len(known.names))) @ root_of(known.covariance).T
    own = {part: {unit.name: unit.sd * rng.standard_normal(n) for unit in each} for part, each in units.items()}
    places = {
        part: {edge: rng.standard_normal((n, N_NODES)) @ node_root(length).T for edge, length in lengths_mm[part].items()}
        for part in units
    }
    return Draws(n, law_values, own, places, {part: rng.standard_normal((n, 2)) for part in units})


def root_of(matrix: Array) -> Array:
    """A matrix R with R R^T = matrix, also when some numbers are known exactly. (u, u)"""
    value, vectors = np.linalg.eigh(matrix)
    return vectors * np.sqrt(np.clip(value, 0.0, None))


@cache
def node_root(length_mm: float) -> Array:
    """Root of the covariance of ln need at a wall's nodes: PLACE_FRAC^2 exp(-(apart / reach)^2). (N_NODES, N_NODES)"""
    at = np.linspace(0.0, length_mm, N_NODES)
    return root_of(PLACE_FRAC**2 * np.exp(-(((at[:, None] - at[None, :]) / PLACE_REACH_MM) ** 2)))


def law_cause(name: str, ramped: bool) -> str:
    """Which cause a number of the burn law belongs to, on a board whose flanks are ramps or slits."""
    cause = _LAW_CAUSE.get(name, NEED)
    return RAMP if ramped and cause == NEED else cause


def own_cause(unit: OwnUnit, ramped: bool) -> str:
    """The same for a board's own unit."""
    return RAMP if ramped and unit.cause == NEED else unit.cause
