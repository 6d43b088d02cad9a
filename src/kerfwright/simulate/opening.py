"""What opens beside walls, and what feeds it: all that is needed to know where a wall goes when much changes (``bend``).

Vocabulary: the *middle* of an opening is where the most light falls beside a wall. A place is *of a field* when most of its light
comes from lines side by side, as on a ramp: a wall there goes from line to line, so its answers are means over a line's spacing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.light import Light, is_field, light_on
from kerfwright.simulate.section import PartLines, SetupLines, seen_again
from kerfwright.simulate.slopes import DoseSlopes, dose_slopes
from kerfwright.simulate.strokes import Strokes
from kerfwright.simulate.walls import cores_mm

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

LOOK_MM = 5e-4  # just outside the wall, where the dose has met the need, it is smooth on both sides
THICKER_MM = 0.01
STRAIGHT = ("power_w", "dead_frac", "gamma", "waist_x_mm", "waist_y_mm", "thickness_mm")  # what else feeds a wall is in ``bend``
FIELD_SHARE, FIELD_MM = 0.5, 0.2  # of the light comes from lines less than this apart
SPACING_MM = 0.06  # of a field's lines, about (HANDBOOK H: 0.05 to 0.08)
# From a field's wall, + out of the wood: near it finer than lines lie apart.
_UM = (-240, -180, -120, -90, -75, -60, -45, -30, -20, -10, 0, 10, 20, 30, 45, 60, 75, 90, 120, 150, 180, 240, 300, 360)
RISE_MM = np.array(_UM) / 1000
DARKEST_LN = -5.0
TINY_J_MM2 = 1e-6  # of light, so that what is dark and wants nothing has a ratio
SHAPES = ("waist_x_mm", "waist_y_mm", "slits")


@dataclass(frozen=True, eq=False)
class Lit:
    """The light of places (..., s, d). along_mm: depth along the beam; again_frac: share of the light that passes over char bring;
    worth_frac, worth_again_frac: worths of the strokes above the threshold, and of those over char; slit_per_ln, field_per_ln: change
    of ln light when the radii of slits, of fields grow by one in ln; slit_below_mm, field_below_mm: how deep under the focus their light
    stands; slit_beside_mm, field_beside_mm: how far from a path burnt before; per_unit: by cause of STRAIGHT, change of ln light over
    what is needed."""

    along_mm: Array
    again_frac: Array
    worth_frac: Array
    worth_again_frac: Array
    slit_per_ln: Array
    slit_below_mm: Array
    slit_beside_mm: Array
    field_per_ln: Array
    field_below_mm: Array
    field_beside_mm: Array
    per_unit: dict[str, Array]

    def by_name(self) -> dict[str, Array]:
        """Every array, causes by their own names."""
        return {each.name: getattr(self, each.name) for each in fields(self) if each.name != "per_unit"} | self.per_unit

    @classmethod
    def of_names(cls, told: Mapping[str, Array]) -> Lit:
        """Back from ``by_name``."""
        arrays: Any = {name: values for name, values in told.items() if name not in STRAIGHT}
        return cls(**arrays, per_unit={cause: told[cause] for cause in STRAIGHT})

    def each(self, change: Callable[[Array], Array]) -> Lit:
        """The same with every array changed alike."""
        return Lit.of_names({name: change(values) for name, values in self.by_name().items()})


@dataclass(frozen=True, eq=False)
class Opening:
    """What opens beside the walls of some edges, (e, s, d). half_mm: from the wall to the middle, inf where no wall stands; reach_mm: how
    far a wall moves when all its light grows by one in ln; margin: ln of light over what need and threshold take of it, in the middle,
    below 0 where it stays wood; made_by: the setup that brings it there, 0 for none; of_field: see above; rises: (2, j, e, s, d) the
    same ln at RISE_MM from a field's wall, as told and when its lines are not of a field any more, or are now; shape_mm: what of a
    slit's answer is its strokes' own width growing, for one of each waist and one in ln of all "slits"; at_wall, in_middle: the light."""

    edges: tuple[str, ...]
    half_mm: Array
    reach_mm: Array
    margin: Array
    made_by: NDArray[np.int_]
    of_field: Bools
    rises: Array
    shape_mm: dict[str, Array]
    at_wall: Lit
    in_middle: Lit

    def of(self, edges: Sequence[str]) -> Opening:
        """Only some edges, in the order given."""
        some = [self.edges.index(edge) for edge in edges]
        return replace(self._each(lambda values, at: np.take(values, some, axis=at)), edges=tuple(edges))

    def alike(self) -> tuple[Opening, NDArray[np.intp]]:
        """(the different stations alone, as (1, m, d), which of them each one is (e, s)): most edges of a joint see the same strokes."""
        e, s, d = self.margin.shape
        told = np.concatenate([self.half_mm, self.reach_mm, self.margin, self.made_by], axis=2).reshape(e * s, -1)
        seen: dict[bytes, int] = {}
        which = np.array([seen.setdefault(row.tobytes(), len(seen)) for row in told], dtype=np.intp)
        first = np.unique(which, return_index=True)[1]
        return self._each(lambda values, at: values.reshape(*values.shape[:at], 1, e * s, d)[..., first, :]), which.reshape(e, s)

    def in_single(self) -> Opening:
        """The same in single precision: drawn twice as fast."""
        return self._each(lambda values, _: values.astype(np.float32) if values.dtype == np.float64 else values)

    def _each(self, change: Callable[[Any, int], Any]) -> Opening:
        """The same with every array changed alike: change is given the array and which of its axes counts edges."""
        names = [each.name for each in fields(self) if each.name not in ("edges", "rises", "shape_mm", "at_wall", "in_middle")]
        values = {name: change(getattr(self, name), 0) for name in names}
        shape = {name: change(each, 0) for name, each in self.shape_mm.items()}
        wall, middle = (lit.each(lambda array: change(array, 0)) for lit in (self.at_wall, self.in_middle))
        return Opening(edges=self.edges, rises=change(self.rises, 2), shape_mm=shape, at_wall=wall, in_middle=middle, **values)


@dataclass(frozen=True, eq=False)
class Answers:
    """The different stations of one setup. wall_mm: by cause, change of back_mm (m, d); opening: as above, (m, d) instead of (e, s, d)."""

    wall_mm: dict[str, Array]
    opening: Opening


def answers_of(
    setup: SetupLines, front_mm: Array, strokes: Strokes, law: BurnLaw, density_ratio: float, thicker: tuple[Strokes, PartLines]
) -> Answers:
    """Wall and middle of every station, front_mm (m, d). thicker: strokes and outline of a board that is THICKER_MM thicker."""
    light = light_on(setup, strokes, law, density_ratio)
    stands, core = np.isfinite(front_mm), cores_mm(light, front_mm)
    look = _Look(setup, strokes, law, density_ratio, thicker)
    wall_mm = np.where(stands, front_mm, core)
    here = look.at(np.stack([wall_mm + LOOK_MM, core], axis=2))
    steep = np.where(stands & (here.slopes.per_u_j_mm3[:, :, 0] > 0), here.slopes.per_u_j_mm3[:, :, 0], np.inf)
    wall = {cause: change[:, :, 0] / steep for cause, change in here.of_dose.items()}
    for cause, change in here.of_need.items():
        wall[cause] = wall.get(cause, 0.0) - change / steep
    at_wall, in_middle = here.lit(0), here.lit(1)
    near = sum(np.where(each.beside_mm < FIELD_MM, each.light_j_mm2, 0.0)[:, :, 0] for each in (here.slopes.slits, here.slopes.fields))
    of_field = stands & (setup.along_mm > 0) & (near > FIELD_SHARE * here.slopes.light_j_mm2[:, :, 0])
    rises = np.zeros((2, len(RISE_MM), *front_mm.shape))
    some = np.flatnonzero(np.any(of_field, axis=1))
    if len(some):
        other = light_on(setup, strokes, law, density_ratio, (strokes.beside_mm < FIELD_MM) & ~is_field(law, strokes))
        for table, lit in zip(rises, (light, other), strict=True):
            table[:, some] = _rises(lit.of(some), wall_mm[some], here.wanted_j_mm2[some, :, 0])
        before = RISE_MM[:, None, None] < 0
        rises[0][:, some] = np.where(before, np.minimum(rises[0][:, some], 0.0), np.maximum(rises[0][:, some], 0.0))
        rises[0, np.flatnonzero(RISE_MM == 0)[:, None], some] = 0.0  # the wall as it was searched for
        around = replace(look, setup=replace(setup, sights=setup.sights.of(some))).at(
            wall_mm[some, :, None] + LOOK_MM + SPACING_MM * np.array([-1 / 4, 1 / 4])).lit(None)
        at_wall = _put(at_wall, around, some, of_field[some])
    shape = here.slopes.shape | {"slits": here.slopes.slits.shape_per_ln_j_mm2}
    spare = np.log(np.maximum(here.slopes.light_j_mm2[:, :, 1] / here.wanted_j_mm2[:, :, 1], np.exp(DARKEST_LN)))
    return Answers(wall, Opening(
        (), np.where(stands, core - front_mm, np.inf), here.wanted_j_mm2[:, :, 0] / steep, _margin(spare, stands, setup.along_mm),
        np.zeros(front_mm.shape, dtype=np.int_), of_field, rises, {name: change[:, :, 0] / steep for name, change in shape.items()},
        at_wall, in_middle,
    ))  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Look:
    """One setup's lines, ready to be looked at."""

    setup: SetupLines
    strokes: Strokes
    law: BurnLaw
    density_ratio: float
    thicker: tuple[Strokes, PartLines]

    def at(self, look_mm: Array) -> _Seen:
        """At places (m, d, q)."""
        slopes = dose_slopes(self.setup, self.strokes, self.law, self.density_ratio, look_mm)
        other = light_on(seen_again(self.setup, *self.thicker), self.thicker[0], self.law, self.density_ratio)
        more_dose = (other.dose_j_mm2(look_mm) - slopes.dose_j_mm2) / THICKER_MM
        more_need = (other.need_j_mm2 - slopes.need_j_mm2) / THICKER_MM
        return _Seen(self.setup.along_mm, slopes, slopes.by_cause | {"thickness_mm": more_dose},
                     slopes.need_by_cause | {"thickness_mm": more_need})


@dataclass(frozen=True, eq=False)
class _Seen:
    """What was seen: of_dose by cause (m, d, q), of_need (d,)."""

    along_mm: Array
    slopes: DoseSlopes
    of_dose: dict[str, Array]
    of_need: dict[str, Array]

    @property
    def wanted_j_mm2(self) -> Array:
        """Light that need and threshold take, (m, d, q); a place that sees none takes its need, and a little at the very face."""
        return np.maximum(self.slopes.need_j_mm2[:, None] + self.slopes.threshold_j_mm2 * self.slopes.worth_frac, TINY_J_MM2)

    def lit(self, at: int | None) -> Lit:
        """Of the at-th place looked at, (m, d), or the mean of all."""
        one: Callable[[Array], Array] = (lambda values: values.mean(axis=2)) if at is None else (lambda values: values[:, :, at])
        nearest: Callable[[Array], Array] = (lambda values: values.min(axis=2)) if at is None else one
        slopes, light = self.slopes, np.maximum(one(self.slopes.light_j_mm2), TINY_J_MM2)
        per_unit = {cause: one(self.of_dose[cause]) / light for cause in STRAIGHT}
        per_unit["thickness_mm"] = per_unit["thickness_mm"] - self.of_need["thickness_mm"] / one(self.wanted_j_mm2)
        return Lit(
            np.broadcast_to(self.along_mm, light.shape), one(slopes.light_again_j_mm2) / light, one(slopes.worth_frac),
            one(slopes.worth_again_frac), one(slopes.slits.per_ln_j_mm2) / light, one(slopes.slits.below_mm),
            nearest(slopes.slits.beside_mm), one(slopes.fields.per_ln_j_mm2) / light, one(slopes.fields.below_mm),
            nearest(slopes.fields.beside_mm), per_unit,
        )  # fmt: skip


def _rises(light: Light, wall_mm: Array, wanted_j_mm2: Array) -> Array:
    """(j, m, d): the most ln of light over what is taken of it from deep in the wood to RISE_MM from walls: the first place stands."""
    taken = wanted_j_mm2 - light.need_j_mm2  # by the threshold, as at the wall
    dose = light.in_single().dose_j_mm2(wall_mm[:, :, None] + RISE_MM)
    ratio = np.where(dose > 0, (dose + taken[:, :, None]) / wanted_j_mm2[:, :, None], 0.0)
    return np.moveaxis(np.maximum.accumulate(np.log(np.maximum(ratio, np.exp(DARKEST_LN))), axis=2), 2, 0)


def _put(lit: Lit, around: Lit, some: NDArray[np.intp], where: Bools) -> Lit:
    """Places of a field take the mean of what is around them. around, where: of the stations ``some``."""

    done = {name: values.copy() for name, values in lit.by_name().items()}
    for name, mean in around.by_name().items():
        done[name][some] = np.where(where, mean, done[name][some])
    return Lit.of_names(done)


def _margin(margin: Array, stands: Bools, along_mm: Array) -> Array:
    """What is wood under a place that stays wood has no more to spare than that one, (m, d)."""
    order = np.argsort(along_mm)
    above = np.empty_like(margin)
    above[:, order] = np.minimum.accumulate(margin[:, order], axis=1)
    return np.where(stands, np.maximum(margin, 0.0), np.minimum(above, margin))
