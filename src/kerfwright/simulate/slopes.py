"""How the dose at given places answers to the law and to where the light falls: every slope at once, from one look at the light.

Symbols: F light of one stroke at a place, F = E / r exp(-2 y^2 / r^2) f, f what its ends leave of it (``along``); W = worth F where
F is above the threshold, else 0; x = sqrt2 (s - s_i) / r'; r, r' radius across and along the stroke.
Law (1): dF = F (dE / E + (4 y^2 / r^2 - 1) dr / r + df / f), summed with its worth over all strokes
Law (2): df/dr' = - sum of steps x exp(-x^2) / (r' sqrt(pi)), df/ds = sum of steps sqrt2 exp(-x^2) / (r' sqrt(pi))
Checked against burns with each cause changed (tests/simulate/test_walls.py).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.along import LineEnergy, line_energy, quick_erf
from kerfwright.simulate.law import BurnLaw, line_j_mm2
from kerfwright.simulate.light import Ends, ends_seen, is_field, on_char, radii_mm
from kerfwright.simulate.section import SetupLines
from kerfwright.simulate.strokes import Strokes

Array = NDArray[np.float64]

STEP_FRAC = 1e-4  # of a parameter, or of a millimetre, to see what it changes of a radius or an energy
ALONE_MM = 5.0  # a path farther off than this is as good as none
ROOT_PI = math.sqrt(math.pi)
WAISTS = ("waist_x_mm", "waist_y_mm")
OF_RADIUS = (*WAISTS, "rayleigh_mm", "slit_mm", "focus_offset_mm")
OF_ENERGY = ("power_w", "dead_frac", "gamma")


@dataclass(frozen=True, eq=False)
class Beams:
    """The strokes of one kind, slits or fields, at places, all (m, d, q): light, as below; per_ln, change of the summed light when all
    their radii grow by one in ln, and what of it widens them (shape_per_ln); below_mm, how deep under the focus their light stands, and
    beside_mm, how far from a path burnt before, by weight."""

    light_j_mm2: Array
    per_ln_j_mm2: Array
    shape_per_ln_j_mm2: Array
    below_mm: Array
    beside_mm: Array


@dataclass(frozen=True, eq=False)
class DoseSlopes:
    """At places, all (m, d, q): light, the sum of worth times flux of what is above the threshold, and worth_frac, that of the worths;
    of both, again is the part of passes over char; per_u_j_mm3, change of dose for each mm further out. need_j_mm2: (d,).

    by_cause: change of dose per unit of each number of the law, and of focus_mm; shape: that part of it which widens the strokes,
    where there is one; need_by_cause: (d,), change of the need, of density_ratio too."""

    light_j_mm2: Array
    light_again_j_mm2: Array
    worth_frac: Array
    worth_again_frac: Array
    per_u_j_mm3: Array
    need_j_mm2: Array
    by_cause: dict[str, Array]
    shape: dict[str, Array]
    need_by_cause: dict[str, Array]
    slits: Beams
    fields: Beams
    threshold_j_mm2: float

    @property
    def dose_j_mm2(self) -> Array:
        """(m, d, q)."""
        return self.light_j_mm2 - self.threshold_j_mm2 * self.worth_frac


def dose_slopes(setup: SetupLines, strokes: Strokes, law: BurnLaw, density_ratio: float, u_mm: Array) -> DoseSlopes:
    """At places u_mm (m, d, q) of the stations of one setup."""
    seen = _Seen(setup, strokes, law, u_mm)
    by_cause = {name: seen.summed(change) for name, change in seen.changes()}
    light, lit = seen.lit * seen.flux, np.broadcast_to(seen.lit, seen.flux.shape)
    light_again, worth_again = (seen.summed(np.where(seen.again, each, 0.0)) for each in (light, lit))
    worth = seen.summed(lit)
    by_cause["over_char_frac"] = (light_again - law.threshold_j_mm2 * worth_again) / law.over_char_frac
    by_cause["threshold_j_mm2"] = -worth
    by_cause["focus_mm"] = by_cause["focus_offset_mm"]
    need, need_by_cause = _need_slopes(law, setup.along_mm, density_ratio)
    return DoseSlopes(
        seen.summed(light), light_again, worth, worth_again, seen.summed(seen.outward()), need, by_cause,
        {name: seen.summed(seen.widening() * seen.per_ln(name)) for name in WAISTS}, need_by_cause,
        seen.beams(~seen.field), seen.beams(seen.field), law.threshold_j_mm2,
    )  # fmt: skip


def _need_slopes(law: BurnLaw, along_mm: Array, density_ratio: float) -> tuple[Array, dict[str, Array]]:
    """Law (2) of ``law`` and its slopes."""
    need = law.need_j_mm2(along_mm, density_ratio)
    deep = along_mm / law.loss_mm
    bent = law.need_j_mm3 * density_ratio**law.density_power * (np.expm1(deep) - deep * np.exp(deep))
    return need, {
        "need_j_mm3": need / law.need_j_mm3,
        "loss_mm": bent,
        "density_ratio": need * law.density_power / density_ratio,
        "density_power": need * math.log(density_ratio),
    }


class _Seen:
    """The light of n sights at q places of d depths, all (n, d, q): flux, over the threshold, and what changes it."""

    def __init__(self, setup: SetupLines, strokes: Strokes, law: BurnLaw, u_mm: Array) -> None:
        self.setup, self.law, self.sights = setup, law, setup.sights
        used, self.stroke = np.unique(setup.sights.stroke, return_inverse=True)
        self.strokes = strokes.of(used)
        self.field, self.x_share = is_field(law, strokes)[setup.sights.stroke], strokes.x_share[setup.sights.stroke]
        self.again = on_char(law, strokes)[setup.sights.stroke][:, None, None]
        self.energy = line_energy(law, self.strokes)
        self.radius, self.along_radius = self._radii(law)
        down = np.linspace(0.0, 1.0, len(setup.along_mm))[:, None]
        y0 = self.sights.y0_mm[0] + down * (self.sights.y0_mm[1] - self.sights.y0_mm[0])
        u = np.repeat(u_mm, self.sights.count, axis=0)
        self.y = y0.T[:, :, None] + u * self.sights.gy[:, None, None]
        self.bend = 4 * (self.y / self.radius) ** 2
        self.ends = self._ends(self.energy)
        self.smeared = _Smeared(self.ends, u)
        left = np.ones_like(self.y)
        self._add(left, self.smeared.share(self.ends.steps_frac) - 1)
        peak = line_j_mm2(self.energy.middle_j_mm[self.stroke][:, None, None], self.radius)
        self.bare = peak * np.exp(-self.bend / 2)
        self.flux = self.bare * left
        self.lit = np.where(self.flux > law.threshold_j_mm2, np.where(self.again, law.over_char_frac, 1.0), 0.0)

    def summed(self, each: Array) -> Array:
        """(n, d, q) -> (m, d, q)."""
        return np.add.reduceat(each, self.sights.first, axis=0)

    def changes(self) -> Iterator[tuple[str, Array]]:
        """Change of worth times flux per unit of what changes radii and energies, by name."""
        per_radius = self.lit * self.flux * (self.bend - 1) / self.radius
        per_along = self._of_ends(self.smeared.per_radius())
        for name in OF_RADIUS:
            step, changed = _stepped(self.law, name)
            across, along = ((new - old) / step for new, old in zip(self._radii(changed), (self.radius, self.along_radius), strict=True))
            change = per_radius * across
            self._add(change, per_along * along[self.ends.sight])
            yield name, change
        for name in OF_ENERGY:
            step, changed = _stepped(self.law, name)
            energy = line_energy(changed, self.strokes)
            middle = np.where(self.energy.middle_j_mm > 0, self.energy.middle_j_mm, 1.0)
            change = self.lit * self.flux * ((energy.middle_j_mm - self.energy.middle_j_mm) / middle / step)[self.stroke][:, None, None]
            steps = self._ends(energy).steps_frac
            self._add(change, self._of_ends(self.smeared.share((steps - self.ends.steps_frac) / step)))
            yield name, change

    def widening(self) -> Array:
        """Worth times flux gained for each ln of radius by width alone."""
        return self.lit * self.flux * self.bend

    def per_ln(self, name: str) -> Array:
        """Change of ln radius across per unit of a number of the law."""
        step, changed = _stepped(self.law, name)
        return (self._radii(changed)[0] - self.radius) / (step * self.radius)

    def beams(self, mine: NDArray[np.bool_]) -> Beams:
        """mine: (n,) of which strokes."""
        light = self.lit * self.flux * mine[:, None, None]
        change = light * (self.bend - 1)
        of_ends = self._of_ends(self.smeared.per_radius()) * self.along_radius[self.ends.sight]
        self._add(change, of_ends * mine[self.ends.sight, None, None])
        total = self.summed(light)
        below = (self.setup.along_mm[:, None] + self.sights.focus_mm + self.law.focus_offset_mm).T[:, :, None]
        beside = np.minimum(self.strokes.beside_mm, ALONE_MM)[self.stroke][:, None, None]
        below, beside = (self.summed(light * each) / np.where(total > 0, total, 1.0) for each in (below, beside))
        return Beams(total, self.summed(change), self.summed(light * self.bend), below, np.where(total > 0, beside, ALONE_MM))

    def outward(self) -> Array:
        """Change of worth times flux for each mm of u."""
        change = self.lit * self.flux * (-4 * self.y * self.sights.gy[:, None, None] / self.radius**2)
        self._add(change, self._of_ends(self.smeared.per_way() * self.ends.gs[:, None, None]))
        return change

    def _ends(self, energy: LineEnergy) -> Ends:
        sights = replace(self.sights, stroke=self.stroke)
        return ends_seen(sights, energy, self.along_radius[:, :, 0].T).that_matter(sights)

    def _add(self, total: Array, of_ends: Array) -> None:
        """Ends (p, d, q) to their sights (n, d, q): starts, then ends, no sight twice among either."""
        sight = self.ends.sight
        turn = int(np.argmax(np.diff(sight, append=-1) < 0)) + 1 if len(sight) else 0
        for half in (slice(0, turn), slice(turn, None)):
            total[sight[half]] += of_ends[half]

    def _of_ends(self, share: Array) -> Array:
        """Shares of ends (p, d, q) as worth times flux."""
        return (self.lit * self.bare)[self.ends.sight] * share

    def _radii(self, law: BurnLaw) -> tuple[Array, Array]:
        """(across, along), (n, d, 1)."""
        below = self.setup.along_mm[:, None] + self.sights.focus_mm + law.focus_offset_mm
        across, along = (radii_mm(law, below, share, self.field).T[:, :, None] for share in (self.x_share, 1 - self.x_share))
        return across, along


class _Smeared:
    """Where ends (p,) lie from places u (n, d, q), in spots, bin by bin: all (p, d, q, bins)."""

    def __init__(self, ends: Ends, u: Array) -> None:
        self.ends, self.narrow = ends, (math.sqrt(2.0) / ends.radius_mm).T[:, :, None, None]
        way = ends.from_mm.T[:, :, None] + u[ends.sight] * ends.gs[:, None, None]
        self.x = (way[..., None] - ends.edges_mm[:, None, None, :]) * self.narrow
        self.half = 0.5 * (1 + quick_erf(self.x))
        self.bell = np.exp(-(self.x**2)) / ROOT_PI

    def share(self, steps_frac: Array) -> Array:
        """What is there of an endless line's light, (p, d, q). steps_frac: (p, bins)."""
        return _contracted(self.half, steps_frac)

    def per_radius(self) -> Array:
        """Law (2), first half."""
        return -_contracted(self.x * self.bell, self.ends.steps_frac) * self.narrow[..., 0] / math.sqrt(2.0)

    def per_way(self) -> Array:
        """Law (2), second half."""
        return _contracted(self.bell, self.ends.steps_frac) * self.narrow[..., 0]


def _contracted(each: Array, steps_frac: Array) -> Array:
    """(p, d, q, bins) with (p, bins) -> (p, d, q)."""
    return np.matmul(each, steps_frac[:, None, :, None])[..., 0]


def _stepped(law: BurnLaw, name: str) -> tuple[float, BurnLaw]:
    value = float(getattr(law, name))
    step = STEP_FRAC * max(abs(value), 1.0 if name.endswith("_mm") else abs(value), STEP_FRAC)
    changed: Any = {name: value + step}
    return step, replace(law, **changed)
