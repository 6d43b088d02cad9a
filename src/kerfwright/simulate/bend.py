"""Large changes: a slit's walls do not move straight with what the law's numbers change, and a slit may not open at all.

Symbols: L = sum of worth times flux at a place, over the strokes above the threshold; W the sum of those worths; A = N + W Fth; a wall
stands where L = A, law (3) of ``law`` turned round. h half of what opens, a = A / (dL/du) how far a wall moves for one in ln L or ln A;
b change of h when only the radii grow by one in ln; g = ln sqrt(1 + (z/k)^2), the opening of the beam z under its focus.
Law (1): between wall and middle ln L - ln A = x / a - c x^2, x from the wall, c such that it is the margin M at x = h. Where it changes
by d the wall moves back by 2 a d / (1 + sqrt(1 + 4 c a^2 d)); then what is open is widened by exp(b dr / h), dr the change of ln r. Exact
for one slit, where M = 2 h^2 / r^2, a = r^2 / 4h and b = h. Beside a field ln L - ln A is a table instead: the wall goes where it meets -d.
Law (2): a place is wood when its margin, ln L - ln A in the middle of the opening, falls below 0.
N, W Fth, the passes over char and g are worked out anew for every draw; light and waists are taken as straight on their fit scales.
Range: strokes of one place alike in their focus; which strokes are above the threshold stays as told. ``reburn`` is the check.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.known import SCALES, LawKnown, from_fit
from kerfwright.simulate.light import FIELD_RADII
from kerfwright.simulate.opening import RISE_MM, STRAIGHT, TINY_J_MM2, Lit, Opening

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Opens = tuple[float, Array]  # how fast a beam opens, mm: as told, and of every draw

_SINGLE: Any = np.float32  # drawn twice as fast
WAISTS = ("waist_x_mm", "waist_y_mm")
CARRIED = ("placed_x_mm", "placed_y_mm", "turned_deg", "tilt_deg")  # move a wall without opening more beside it
OF_LAW = ("need_j_mm3", "loss_mm", "density_power", "threshold_j_mm2", "over_char_frac", "slit_mm", "rayleigh_mm", "focus_offset_mm")
LEAST_BOW = 1e-6  # per mm: straight
LEAST_RISE = 1e-9
SMALL_LN = 0.1  # a field's wall answers to a small change as it does, on the mean, to this much either way
MOST_LN = 3.0  # radii that grow more than twentyfold mean nothing any more, and exp would overflow soon after


@dataclass(frozen=True, eq=False)
class Bend:
    """The walls of some edges, (e, s, d), worked out once for all stations that are alike. opening, made_by: of those, (1, m, d), made_by
    the setup that made each wall; which: (e, s); names: of the numbers drawn (u,), the law's first, each on its fit scale, then a board's
    own; carried_mm: (c, e, s, d) how far one of each that only carries walls along moves them; need_mm, need_ln: (e, s, d), change
    of walls and margins for one in ln need at that place."""

    opening: Opening
    known: LawKnown
    names: tuple[str, ...]
    made_by: NDArray[np.int_]
    which: NDArray[np.intp]
    carried_mm: Array
    need_mm: Array
    need_ln: Array

    def moved(self, values: Array, need_ln: Array) -> tuple[Array, Array]:
        """(change of walls, margin), (k, e, s, d) each. values: (k, u); need_ln: (k, e, s), of every place besides."""
        walls, margin = self._alike(values.astype(_SINGLE))
        walls, margin = walls[:, 0, self.which], margin[:, 0, self.which]
        walls += need_ln[..., None] * self.need_mm
        margin += need_ln[..., None] * self.need_ln
        carried = [i for i, name in enumerate(self.names) if _plain(name) in CARRIED]
        walls += (values[:, carried] @ self.carried_mm.reshape(len(carried), self.need_mm.size)).reshape(walls.shape)
        return walls, margin

    def _alike(self, values: Array) -> tuple[Array, Array]:
        """(change of walls, margin), (k, 1, m, d) each, of the different stations."""
        opening = self.opening
        focus = {name: values[:, i] for i, name in enumerate(self.names) if _plain(name) == "focus_mm"}
        hard = self._hard(values)
        at_wall, in_middle = self._focus(focus, self.made_by), self._focus(focus, opening.made_by)
        slits, fed = self._fed(values, hard, opening.at_wall, at_wall, opening.of_field)
        _, spare = self._fed(values, hard, opening.in_middle, in_middle, np.zeros_like(opening.of_field))
        widened = slits * opening.shape_mm["slits"]
        for i, name in enumerate(self.names):
            if name in WAISTS:
                widened += _column(values[:, i] * self.known.per_fit(name)) * opening.shape_mm[name]
        walls = self._slit_walls(fed, widened)
        if np.any(opening.of_field):
            walls[:, opening.of_field] = self._field_walls(values, fed[:, opening.of_field])
        char = _column(self._drawn("char_mm", values) - self.known.law.char_mm)
        return walls + np.where(np.isfinite(opening.half_mm), char, 0.0), opening.margin + spare

    def _slit_walls(self, fed: Array, widened: Array) -> Array:
        """Law (1). fed: change of ln L - ln A; widened: by wider strokes alone, mm; (k, e, s, d)."""
        opening = self.opening
        bends = np.isfinite(opening.half_mm) & (opening.half_mm > 0)
        half = np.where(bends, opening.half_mm, 1.0)
        bow = np.where(bends, np.maximum(4 * (1 - opening.margin * opening.reach_mm / half) / half, LEAST_BOW), LEAST_BOW)
        grown = np.maximum(opening.reach_mm * fed - widened, -1 / bow)
        opened = half + 2 * grown / (1 + np.sqrt(np.maximum(1 + bow * grown, 0.0)))
        return opened * np.exp(np.clip(widened / half, -MOST_LN, MOST_LN)) - half

    def _field_walls(self, values: Array, fed: Array) -> Array:
        """Change of the walls of fields, (k, p). fed: (k, p)."""
        opening, here = self.opening, self.opening.of_field
        lit = opening.at_wall
        changed = self._beside(values, lit.slit_beside_mm) & (lit.slit_per_ln != 0)
        if np.any(lit.field_per_ln):
            changed = np.where(lit.field_per_ln != 0, ~self._beside(values, lit.field_beside_mm), changed)
        as_told, otherwise = (_met(table[:, here], -fed) for table in opening.rises)
        return -np.where(changed[:, here], otherwise, as_told)

    def _beside(self, values: Array, beside_mm: Array) -> Bools:
        """Draws in which what lies so far off opens a slit into a field, (k, e, s, d)."""
        return beside_mm < FIELD_RADII * np.maximum(*(_column(self._drawn(name, values)) for name in WAISTS))

    def _hard(self, values: Array) -> Array:
        """Need at the face's slope times loss length, J/mm2, (k, 1, 1, 1)."""
        now = {name: _column(self._drawn(name, values)) for name in ("need_j_mm3", "loss_mm", "density_power")}
        return now["need_j_mm3"] * now["loss_mm"] * (1 + _column(self._own("density_ratio", values))) ** now["density_power"]

    def _fed(self, values: Array, hard_j_mm2: Array, lit: Lit, focus_mm: Array | float, tabled: Bools) -> tuple[Array, Array]:
        """(change of g of slits, change of ln L - ln A), (k, e, s, d), of places lit so."""
        law = self.known.law
        now = {name: _column(self._drawn(name, values)) for name in OF_LAW}
        over = now["over_char_frac"] / law.over_char_frac - 1
        wanted = hard_j_mm2 * np.expm1(lit.along_mm / now["loss_mm"]) + now["threshold_j_mm2"] * (
            lit.worth_frac + over * lit.worth_again_frac)
        told = law.need_j_mm2(lit.along_mm) + law.threshold_j_mm2 * lit.worth_frac
        fed = np.log1p(over * lit.again_frac) - np.log(np.maximum(wanted, TINY_J_MM2) / np.maximum(told, TINY_J_MM2))
        off = now["focus_offset_mm"] - law.focus_offset_mm + focus_mm
        slit, free = (law.slit_mm, now["slit_mm"]), (law.rayleigh_mm, now["rayleigh_mm"])
        slits = _opened(lit.slit_below_mm, off, slit, free, self._beside(values, lit.slit_beside_mm), tabled)
        fed += slits * lit.slit_per_ln
        if np.any(lit.field_per_ln):
            apart = ~self._beside(values, lit.field_beside_mm)
            fed += _opened(lit.field_below_mm, off, free, slit, apart, tabled) * lit.field_per_ln
        picked = [i for i, name in enumerate(self.names) if name in STRAIGHT]
        if picked:
            by_fit = [self._per_fit(self.names[i]) * lit.per_unit[self.names[i]] for i in picked]
            fed += (values[:, picked] @ np.array(by_fit).reshape(len(picked), -1)).reshape(fed.shape)
        return slits, fed

    def _focus(self, off_mm: Mapping[str, Array], made_by: NDArray[np.int_]) -> Array | float:
        """What the gauge was set wrong by at the setup of every place, (k, e, s, d). off_mm: by unit, (k,)."""
        total: Array | float = 0.0
        for name, off in off_mm.items():
            number = name.partition("@")[2]
            total = total + (np.where(made_by == int(number), _column(off), 0.0) if number else _column(off))
        return total

    def _drawn(self, name: str, values: Array) -> Array:
        """A number of the law in its own unit, (k,)."""
        if name not in self.known.names:
            return np.full(len(values), float(getattr(self.known.law, name)), dtype=values.dtype)
        i = self.known.names.index(name)
        return from_fit(self.known.middle[i] + values[:, i], SCALES[name]).astype(values.dtype)

    def _own(self, name: str, values: Array) -> Array:
        return values[:, self.names.index(name)] if name in self.names else np.zeros(len(values), dtype=values.dtype)

    def _per_fit(self, name: str) -> float:
        return self.known.per_fit(name) if name in self.known.names else 1.0


def _opened(below_mm: Array, off_mm: Array, as_told: Opens, otherwise: Opens, other: Bools, tabled: Bools) -> Array:
    """Change of g of places below_mm (e, s, d) under the focus when it is off and the beam opens over another length.

    as_told, otherwise: of strokes as told, and of the other kind; other: draws in which they are that, told by a table of its own where
    ``tabled``."""
    long = np.where(other, otherwise[1], as_told[1])
    told = np.where(other & tabled, below_mm.dtype.type(otherwise[0]), below_mm.dtype.type(as_told[0]))
    return 0.5 * np.log((1 + ((below_mm + off_mm) / long) ** 2) / (1 + (below_mm / told) ** 2))


def _met(rises: Array, level: Array) -> Array:
    """Where rising tables (j, p) over RISE_MM meet a level (k, p): every step counts by how much of it lies under the level."""
    total = np.full(level.shape, RISE_MM[0])
    for step, low, high in zip(np.diff(RISE_MM), rises[:-1], rises[1:], strict=True):
        total += step * np.clip((level - low) / np.maximum(high - low, LEAST_RISE), 0.0, 1.0)
    return total


def bend_of(
    opening: Opening, known: LawKnown, names: tuple[str, ...], made_by: NDArray[np.int_], unit_mm: Array, need_mm: Array
) -> Bend:
    """Ready to be drawn. made_by: (e, s, d); unit_mm: (u, e, s, d) how walls move straight for one of each number; need_mm: for ln need."""
    alike, which = replace(opening, made_by=_both(opening.made_by, made_by)).alike()
    middles, walls = np.divmod(alike.made_by, BASE)
    lit, law = opening.in_middle, known.law
    need = law.need_j_mm2(lit.along_mm)
    at_wall = law.need_j_mm2(opening.at_wall.along_mm)
    share = at_wall / np.maximum(at_wall + law.threshold_j_mm2 * opening.at_wall.worth_frac, TINY_J_MM2)
    table, level = opening.rises[0][:, opening.of_field], np.full((1, int(opening.of_field.sum())), SMALL_LN)
    by_field = (_met(table, level) - _met(table, -level))[0] / (2 * SMALL_LN)
    need_mm = need_mm.copy()
    need_mm[opening.of_field] = -by_field * share[opening.of_field]
    carried = unit_mm[[i for i, name in enumerate(names) if _plain(name) in CARRIED]]
    return Bend(replace(alike, made_by=middles).in_single(), known, names, walls, which, carried, need_mm,
                -need / np.maximum(need + law.threshold_j_mm2 * lit.worth_frac, TINY_J_MM2))


BASE = 1_000_000  # no job has so many setups


def _both(middles: NDArray[np.int_], walls: NDArray[np.int_]) -> NDArray[np.int_]:
    """Two setups' numbers as one, so that stations are alike only where both are."""
    return middles * BASE + walls


def _plain(name: str) -> str:
    """A unit's name without its laying."""
    return name.partition("@")[0]


def _column(values: Array) -> Array:
    """(k,) -> (k, 1, 1, 1)."""
    return values[:, None, None, None]
