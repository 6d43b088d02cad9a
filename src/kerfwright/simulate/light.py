"""The light that strokes bring to section lines: law (3) of simulate/law.py summed over all strokes that a station sees."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.along import LineEnergy, end_share, line_energy
from kerfwright.simulate.law import BurnLaw, line_j_mm2
from kerfwright.simulate.section import INTO_WOOD_MM, Indices, SetupLines, Sights
from kerfwright.simulate.strokes import Strokes

Array = NDArray[np.float64]

STEADY_SINE = 1e-3  # a stroke so nearly along the wall ends at the same way all over a line
FADED_RADII = 2.5  # from a step of light: one less than erf(2.5 sqrt2) is 6e-7
FIELD_RADII = 2.0  # a neighbour already burnt within this many waist radii opens a slit into a field


@dataclass(frozen=True, eq=False)
class Ends:
    """Ends of strokes that run across section lines, p of them: sight: (p,) whose end; from_mm: (d, p) way from it at u = 0, gs: (p,)
    more for each u; radius_mm: (d, p) along the stroke; edges_mm, steps_frac: (p, bins + 1) as in LineEnergy."""

    sight: Indices
    from_mm: Array
    gs: Array
    radius_mm: Array
    edges_mm: Array
    steps_frac: Array

    def of(self, kept: NDArray[np.bool_], sight: Indices) -> Ends:
        """Only some ends, now of sights numbered anew."""
        return Ends(
            sight, self.from_mm[:, kept], self.gs[kept], self.radius_mm[:, kept], self.edges_mm[kept], self.steps_frac[kept]
        )  # fmt: skip

    def that_matter(self, sights: Sights) -> Ends:
        """Only those that some place of their line is near enough to feel: FADED_RADII inside the run-up the light is as good as even."""
        outer = np.repeat(sights.outer_mm, sights.count)[self.sight]
        nearest = self.from_mm + np.minimum(-INTO_WOOD_MM * self.gs, outer * self.gs)
        felt = np.any(nearest < self.edges_mm.max(axis=1) + FADED_RADII * self.radius_mm, axis=0)
        return self.of(felt, self.sight[felt])

    def left(self, u_mm: Array, some: Indices) -> Array:
        """What the ends leave of an endless line's light. (n, d, q) -> (k, d, q) for sights ``some`` (k,), which hold all ends."""
        left = np.ones((len(some), len(self.from_mm), u_mm.shape[2]), dtype=u_mm.dtype)
        at, share = np.searchsorted(some, self.sight), self._share(u_mm[self.sight])
        last = int(np.argmax(np.diff(self.sight, append=-1) < 0)) + 1  # starts come first, then ends, each in rising order
        for half in (slice(0, last), slice(last, None)):
            left[at[half]] += share[half]
        return left

    def _share(self, u: Array) -> Array:
        """f - 1 of every end at places u (p, d, q)."""
        kind = u.dtype
        from_mm = self.from_mm.astype(kind).T[:, :, None] + u * self.gs.astype(kind)[:, None, None]
        edges, steps = (each.astype(kind)[:, None, None, :] for each in (self.edges_mm, self.steps_frac))
        return end_share(from_mm, edges, steps, self.radius_mm.astype(kind).T[:, :, None]) - 1


@dataclass(frozen=True, eq=False)
class Light:
    """Sights under one law: n sights, m stations, d depths.

    along_mm, need_j_mm2: (d,); middle_j_mm, x_share, worth_frac: (n,); field: (n,) bool; y0_mm, radius_mm, peak_j_mm2: (d, n), the
    peak with what the ends of strokes along the wall leave of it; ends: those of strokes across. threshold_j_mm2: of the law.
    """

    sights: Sights
    along_mm: Array
    need_j_mm2: Array
    middle_j_mm: Array
    x_share: Array
    worth_frac: Array
    field: NDArray[np.bool_]
    y0_mm: Array
    radius_mm: Array
    peak_j_mm2: Array
    ends: Ends
    threshold_j_mm2: float

    def of(self, stations: Indices) -> Light:
        """Only some stations."""
        pick = self.sights.picked(stations)
        now = np.full(len(self.sights.stroke), -1, dtype=np.intp)
        now[pick] = np.arange(len(pick))
        kept = now[self.ends.sight] >= 0
        return replace(
            self,
            sights=self.sights.of(stations),
            ends=self.ends.of(kept, now[self.ends.sight[kept]]),
            **{name: getattr(self, name)[..., pick] for name in (*_DEEP, "middle_j_mm", "x_share", "worth_frac", "field")},
        )

    def in_single(self) -> Light:
        """The same in single precision, for searching: four times as many places at a time."""
        return replace(self, **{name: getattr(self, name).astype(np.float32) for name in ("worth_frac", "need_j_mm2", *_DEEP)})

    def lone_slits(self) -> NDArray[np.bool_]:
        """(m,) stations that see nothing but passes over one endless path with wood on both sides."""
        gy = np.where(np.abs(self.sights.gy) > 0.1, self.sights.gy, np.nan)
        centre = self.y0_mm[[0, -1]] / gy  # (2, n)
        first = self.sights.first
        spread = np.maximum.reduceat(centre, first, axis=1) - np.minimum.reduceat(centre, first, axis=1)
        one_path = np.all(spread < 1e-3, axis=0)  # NaN is not less
        return one_path & ~np.logical_or.reduceat(~self.sights.endless | self.field, first)

    def dose_j_mm2(self, u_mm: Array) -> Array:
        """Dose on the lines of every station and depth at places u: (m, d, q) -> (m, d, q)."""
        kind = self.radius_mm.dtype
        over = self._flux(np.repeat(u_mm.astype(kind), self.sights.count, axis=0), kind)
        over -= kind.type(self.threshold_j_mm2)
        np.maximum(over, 0, out=over)
        over *= self.worth_frac[:, None, None]
        return np.add.reduceat(over, self.sights.first, axis=0)

    def gone(self, u_mm: Array) -> NDArray[np.bool_]:
        """Where the dose reaches the need: (m, d, q) -> (m, d, q)."""
        dose = self.dose_j_mm2(u_mm)
        return (dose >= self.need_j_mm2[:, None]) & (dose > 0)

    def _flux(self, u: Array, kind: Any) -> Array:
        narrow = (kind.type(np.sqrt(2.0)) / self.radius_mm).T[:, :, None]  # (n, d, 1)
        flux = u * (self.sights.gy.astype(kind)[:, None, None] * narrow)
        flux += self.y0_mm.T[:, :, None] * narrow
        flux *= flux
        np.negative(flux, out=flux)
        np.exp(flux, out=flux)
        flux *= self.peak_j_mm2.T[:, :, None]
        if len(self.ends.sight):
            some = np.unique(self.ends.sight)
            flux[some] *= self.ends.left(u, some)
        return flux


_DEEP = ("y0_mm", "radius_mm", "peak_j_mm2")


def light_on(
    setup: SetupLines, strokes: Strokes, law: BurnLaw, density_ratio: float, field_of: NDArray[np.bool_] | None = None
) -> Light:
    """What a law makes of a setup's sights. field_of: (strokes,) which of them are of a field, where that is not as the law says."""
    sights, these = setup.sights, setup.sights.stroke
    down = np.linspace(0.0, 1.0, len(setup.along_mm))[:, None]
    below = setup.along_mm[:, None] + sights.focus_mm + law.focus_offset_mm
    of_field = is_field(law, strokes) if field_of is None else field_of
    field, x_share = of_field[these], strokes.x_share[these]
    energy = line_energy(law, strokes)
    radius = radii_mm(law, below, x_share, field)
    peak = line_j_mm2(energy.middle_j_mm[these], radius)
    ends = ends_seen(sights, energy, radii_mm(law, below, 1 - x_share, field)).that_matter(sights)
    steady = np.abs(ends.gs) < STEADY_SINE
    along_wall = ends.of(steady, ends.sight[steady])
    if len(along_wall.sight):
        every = np.arange(len(these))
        peak = peak * along_wall.left(np.zeros((len(these), 1, 1)), every)[:, :, 0].T
    return Light(
        sights,
        setup.along_mm,
        law.need_j_mm2(setup.along_mm, density_ratio),
        energy.middle_j_mm[these],
        x_share,
        np.where(((strokes.again > 0) | of_field)[these], law.over_char_frac, 1.0),
        field,
        sights.y0_mm[0] + down * (sights.y0_mm[1] - sights.y0_mm[0]),
        radius,
        peak,
        ends.of(~steady, ends.sight[~steady]),
        law.threshold_j_mm2,
    )


def ends_seen(sights: Sights, energy: LineEnergy, along_radius_mm: Array) -> Ends:
    """Every end that a station sees: starts first, each in rising order. along_radius_mm: (d, n)."""
    down = np.linspace(0.0, 1.0, len(along_radius_mm))[:, None]
    which, sight = (each.astype(np.intp) for each in np.nonzero(sights.sees_end))
    s: Array = sights.s0_mm[0, sight] + down * (sights.s0_mm[1, sight] - sights.s0_mm[0, sight])
    stroke, of_start = sights.stroke[sight], which == 0
    return Ends(
        sight,
        np.where(of_start, s, energy.length_mm[stroke] - s),
        np.where(of_start, sights.gs[sight], -sights.gs[sight]),
        along_radius_mm[:, sight],
        energy.edges_mm[which, stroke],
        energy.steps_frac[which, stroke],
    )


def is_field(law: BurnLaw, strokes: Strokes) -> NDArray[np.bool_]:
    """(n,) strokes that run beside what was burnt before: no wall stands on that side to guide their light."""
    return strokes.beside_mm < FIELD_RADII * max(law.waist_x_mm, law.waist_y_mm)


def on_char(law: BurnLaw, strokes: Strokes) -> NDArray[np.bool_]:
    """(n,) strokes that fall on char: of a pass over the same path, or of the line beside it in a field."""
    return (strokes.again > 0) | is_field(law, strokes)


def radii_mm(law: BurnLaw, below_focus_mm: Array, x_share: Array, field: NDArray[np.bool_]) -> Array:
    """Radius square to strokes (n,) at depths (d, n), each as slit or as field."""
    free, guided = (law.radius_mm(below_focus_mm, x_share, slit=slit) for slit in (False, True))
    return np.where(field, free, guided)
