"""A recipe: how this machine cuts this wood, every number an Estimate, and nothing outside what was burnt.

Words: *through* settings cut a slit all the way; the slit is an hourglass whose narrowest place is the *waist*.
A *ramp* is a field of parallel lines whose depth follows the power of each line.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field, model_validator

from kerfwright.core import units
from kerfwright.core.document import Document, Length, LengthOrZero, Share, SignedLength, Speed
from kerfwright.core.errors import InputError, RecipeRangeError
from kerfwright.core.estimate import Estimate
from kerfwright.process.operation import Pass, passes_down

Array = NDArray[np.float64]
HeatWord = Literal["raised", "high", "unknown"]  # never less than that

# Spread assumed when a person types none (common practice, no source).
KERF_SD_MM = 0.02
DEPTH_SD_MM = 0.25
SHIFT_SD_MM = 0.03
LEAN_SD_FRAC = 0.01
MOST_LEAN_FRAC = 0.05


def _read(value: object, parse: Callable[[object], float], default_sd: float) -> Estimate:
    return value if isinstance(value, Estimate) else units.parse_estimate(value, parse, default_sd)


def _estimate(parse: Callable[[object], float], default_sd: float) -> Callable[[object], Estimate]:
    return partial(_read, parse=parse, default_sd=default_sd)  # the docs look up how it is written


KerfWidth = Annotated[Estimate, BeforeValidator(_estimate(units.parse_length_mm, KERF_SD_MM))]
Depth = Annotated[Estimate, BeforeValidator(_estimate(units.parse_length_mm, DEPTH_SD_MM))]
Shift = Annotated[Estimate, BeforeValidator(_estimate(units.parse_length_mm, SHIFT_SD_MM))]
Lean = Annotated[Estimate, BeforeValidator(_estimate(units.parse_fraction, LEAN_SD_FRAC))]


class KerfProfile(Document):
    """Full width of a through cut at its entry, waist and exit, for one travel axis and grain direction."""

    travel: Literal["x", "y"]
    grain: Literal["along", "across"]
    top_mm: KerfWidth = Field(alias="top")
    waist_mm: KerfWidth = Field(alias="waist")
    bottom_mm: KerfWidth = Field(alias="bottom")
    waist_at_frac: Share = Field(default=0.6, alias="waist_at", description="depth of the waist, share of the cut")

    @model_validator(mode="after")
    def _waisted(self) -> Self:
        top, waist, bottom = self.top_mm.value, self.waist_mm.value, self.bottom_mm.value
        if not 0 < waist <= min(top, bottom) or max(top, bottom) > 3:
            raise InputError(
                f"a kerf of {top} / {waist} / {bottom} mm (top / waist / bottom)",
                accepted="widths above 0 and up to 3 mm, the waist the narrowest",
            )
        if not 0 < self.waist_at_frac < 1:
            raise InputError(f"waist_at {self.waist_at_frac:.0%}", accepted="a share between 0 % and 100 %")
        return self

    def width_mm(self, depth_frac: float) -> float:
        """Full width at a depth (0 entry, 1 exit).

        Each half is a hyperbola, K^2 = Kw^2 + (Ke^2 - Kw^2) ((z - zw) / (ze - zw))^2: the outline of a focused
        beam (HANDBOOK section H form 2, reduced) through the three measured widths exactly.
        """
        end_mm, reach = (
            (self.top_mm.value, self.waist_at_frac) if depth_frac < self.waist_at_frac else (self.bottom_mm.value, 1 - self.waist_at_frac)
        )
        away = (depth_frac - self.waist_at_frac) / reach
        waist_mm = self.waist_mm.value
        return math.sqrt(waist_mm**2 + (end_mm**2 - waist_mm**2) * away**2)

    def blended(self, other: KerfProfile, share_frac: float) -> KerfProfile:
        """The profile ``share_frac`` of the way to ``other``: for an edge at a slant between two measured directions."""

        def mix(a: Estimate, b: Estimate) -> Estimate:
            value = (1 - share_frac) * a.value + share_frac * b.value
            # The two readings come from one coupon and err together, so spreads add rather than average out.
            return Estimate(value, (1 - share_frac) * a.sd + share_frac * b.sd, min(a.n, b.n), a.source)

        return self.model_copy(
            update={
                "top_mm": mix(self.top_mm, other.top_mm),
                "waist_mm": mix(self.waist_mm, other.waist_mm),
                "bottom_mm": mix(self.bottom_mm, other.bottom_mm),
                "waist_at_frac": (1 - share_frac) * self.waist_at_frac + share_frac * other.waist_at_frac,
            }
        )


class ThroughCut(Document):
    """Settings that go through, and the slit they leave."""

    thickness_mm: tuple[Length, Length] = Field(alias="thickness", description="thinnest and thickest cut these were burnt on")
    power_frac: Share = Field(alias="power")
    speed_mm_s: Speed = Field(alias="speed")
    passes: int = Field(default=1, ge=1, le=30)
    focus_mm: SignedLength = Field(default=0.0, alias="focus", description="above the entry face, first pass")
    focus_step_mm: LengthOrZero = Field(default=0.0, alias="focus_step", description="each later pass lower by this")
    focus_window_mm: Length = Field(default=0.5, alias="focus_window", description="focus may be off by this much, up or down")
    heat: HeatWord = Field(default="unknown", description="risk of flame with these settings, as the through coupon's cells told")
    kerf: tuple[KerfProfile, ...] = Field(min_length=1, max_length=4)

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        thin_mm, thick_mm = self.thickness_mm
        if thin_mm > thick_mm:
            raise InputError(f"thickness from {thin_mm} to {thick_mm} mm", accepted="the thinner first")
        if len({(each.travel, each.grain) for each in self.kerf}) != len(self.kerf):
            raise InputError("two kerf entries for the same travel and grain", accepted="one entry each")
        if self.power_frac <= 0:
            raise InputError("a through cut at no power", accepted='a power above "0 %"')
        return self

    def passes_down(self) -> tuple[Pass, ...]:
        """The passes, each at its focus."""
        return passes_down(self.focus_mm, self.focus_step_mm, self.passes)

    def covers(self, depth_mm: float) -> bool:
        """True when a cut this deep lies within what was burnt (with a hair for a caliper's last digit)."""
        return self.thickness_mm[0] - 0.02 <= depth_mm <= self.thickness_mm[1] + 0.02

    def profile(self, travel_deg: float, grain_deg: float) -> KerfProfile:
        """The slit for a cut running ``travel_deg`` from the bed's x axis and ``grain_deg`` from the grain.

        Measured directions are blended by sin^2 of the angle; a direction never measured takes the nearest one.
        """
        across_bed = math.sin(math.radians(travel_deg)) ** 2
        across_grain = math.sin(math.radians(grain_deg)) ** 2
        by_grain = [self._nearest("x", grain).blended(self._nearest("y", grain), across_bed) for grain in ("along", "across")]
        return by_grain[0].blended(by_grain[1], across_grain)

    def _nearest(self, travel: str, grain: str) -> KerfProfile:
        return min(self.kerf, key=lambda each: 2 * (each.travel != travel) + (each.grain != grain))


class RampSettings(Document):
    """How deep parallel lines go against power, at the spacing and layers production uses."""

    speed_mm_s: Speed = Field(alias="speed")
    spacing_mm: Length = Field(alias="spacing", description="between lines")
    layers: int = Field(ge=1, le=60)
    focus_mm: SignedLength = Field(default=0.0, alias="focus")
    focus_step_mm: LengthOrZero = Field(default=0.0, alias="focus_step", description="each layer lower by this")
    depth: tuple[tuple[Share, Depth], ...] = Field(min_length=3, max_length=60, description="power and depth after all layers")
    through_power_frac: Share | None = Field(
        default=None, alias="through_power", description="lowest power at which the same lines went all the way through"
    )
    through_thickness_mm: Length | None = Field(default=None, alias="through_thickness")
    wall_shift_mm: Shift = Field(
        default=Estimate(0.0, SHIFT_SD_MM, 0, "no sloped edge read yet: ours assumed"),
        alias="wall_shift",
        description="how far a ramped wall ends up beyond its drawn place, into the wood, at the show face",
    )
    wall_lean_frac: Lean = Field(
        default=Estimate(0.0, LEAN_SD_FRAC, 0, "no sloped edge read yet: ours assumed"),
        alias="wall_lean",
        description="how much further into the wood for each length of depth; below 0 when the wall stands steeper than it was drawn",
    )

    @model_validator(mode="after")
    def _monotone(self) -> Self:
        power, depth = self.curve()
        if np.any(np.diff(power) <= 0) or np.any(np.diff(depth) <= 0):
            raise InputError(
                "the ramp's depth points do not rise with power",
                accepted="powers rising, each depth deeper than the one before",
                remedy="Leave out a spoilt reading or average repeats",
            )
        if (self.through_power_frac is None) != (self.through_thickness_mm is None):
            raise InputError("through_power and through_thickness come together", accepted="both or neither")
        if abs(self.wall_lean_frac.value) > MOST_LEAN_FRAC:
            raise InputError(f"a wall lean of {self.wall_lean_frac.value:.1%}", accepted=f"-{MOST_LEAN_FRAC:.0%} to {MOST_LEAN_FRAC:.0%}")
        if not 0.01 <= self.spacing_mm <= 1:
            raise InputError(f"line spacing {self.spacing_mm} mm", accepted="0.01 to 1 mm")
        return self

    def passes_down(self, n_layers: int | None = None, begun: int = 0) -> tuple[Pass, ...]:
        """The layers as passes, each at its focus. n_layers: how many, by default all; begun: layers already burnt."""
        return passes_down(self.focus_mm, self.focus_step_mm, self.layers if n_layers is None else n_layers, begun)

    def curve(self) -> tuple[Array, Array]:
        """(powers 0-1, depths in mm), including the through point when known."""
        powers = [power for power, _ in self.depth]
        depths = [depth.value for _, depth in self.depth]
        if self.through_power_frac is not None and self.through_thickness_mm is not None:
            powers.append(self.through_power_frac)
            depths.append(self.through_thickness_mm)
        return np.array(powers), np.array(depths)

    @property
    def deepest_mm(self) -> float:
        """Deepest depth on record."""
        return float(self.curve()[1][-1])

    @property
    def shallowest_mm(self) -> float:
        """Shallowest depth on record."""
        return float(self.curve()[1][0])

    def power_for_depth(self, depth_mm: Array) -> Array:
        """Power (0-1) for each depth. depth_mm: (n,). Raises RecipeRangeError outside the burnt depths."""
        _, depths = self.curve()
        low, high = depths[0] - 1e-9, depths[-1] + 1e-9
        if not np.all((depth_mm >= low) & (depth_mm <= high)):  # so that NaN is refused too
            raise RecipeRangeError(
                f"a ramp needs depths of {depth_mm.min():.2f} to {depth_mm.max():.2f} mm",
                accepted=f"{depths[0]:.2f} to {depths[-1]:.2f} mm, the depths this recipe was burnt at",
                remedy="Burn the ramp staircase coupon over the wider range, or make the wall another way",
            )
        powers, _ = self.curve()
        return monotone_interpolate(depths, powers, np.clip(depth_mm, depths[0], depths[-1]))

    def depth_sd_mm(self, depth_mm: float) -> float:
        """Spread of the depth near a wanted depth."""
        depths = [depth.value for _, depth in self.depth]
        return float(np.interp(depth_mm, depths, [depth.sd for _, depth in self.depth]))


class SurfaceSettings(Document):
    """Settings for shallow lines: engraving and witness marks."""

    power_frac: Share = Field(alias="power")
    speed_mm_s: Speed = Field(alias="speed")


class Recipe(Document):
    """One machine on one wood. ``made_from`` names the readings behind it; a typed recipe says so."""

    schema_: Literal["kerfwright-recipe-1"] = Field(alias="schema")
    name: str = Field(min_length=1, max_length=80)
    machine: str
    species: str
    made_from: str = "typed by hand"
    through: tuple[ThroughCut, ...] = Field(min_length=1, max_length=20)
    ramp: RampSettings | None = None
    engrave: SurfaceSettings
    flank_shift_mm: SignedLength = Field(
        default=0.0, alias="flank_shift", description="correction from real corners already held in the widths and the wall shift"
    )

    def through_for(self, depth_mm: float) -> ThroughCut:
        """The settings burnt at this depth of cut. Raises RecipeRangeError when there are none."""
        covering = [each for each in self.through if each.covers(depth_mm)]
        if not covering:
            burnt = ", ".join(f"{low:g} to {high:g} mm" for low, high in (each.thickness_mm for each in self.through))
            raise RecipeRangeError(
                f"a through cut {depth_mm:.2f} mm deep was never burnt",
                accepted=burnt,
                remedy="Burn the through coupon on this thickness, or choose a board the recipe knows",
                where=f'recipe "{self.name}"',
            )
        return min(covering, key=lambda each: each.thickness_mm[1] - each.thickness_mm[0])


def monotone_interpolate(x: Array, y: Array, at: Array) -> Array:
    """Monotone cubic through rising points: no overshoot between readings.

    Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238, harmonic-mean slopes (from memory of the paper;
    checked against scipy's PchipInterpolator in tests). x, y: (n,), at: (m,) -> (m,).
    """
    step = np.diff(x)
    secant = np.diff(y) / step
    slope = np.empty_like(y)
    if len(x) == 2:
        slope[:] = secant[0]
    else:
        w1, w2 = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
        same = secant[:-1] * secant[1:] > 0
        product = np.where(same, secant[:-1] * secant[1:], 0.0)
        weighted = np.where(same, w1 * secant[1:] + w2 * secant[:-1], 1.0)
        slope[1:-1] = (w1 + w2) * product / weighted  # level where the curve turns
        slope[0] = _end_slope(step[0], step[1], secant[0], secant[1])
        slope[-1] = _end_slope(step[-1], step[-2], secant[-1], secant[-2])
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    h = step[i]
    t = (at - x[i]) / h
    return (
        y[i] * (1 + 2 * t) * (1 - t) ** 2
        + h * slope[i] * t * (1 - t) ** 2
        + y[i + 1] * t**2 * (3 - 2 * t)
        + h * slope[i + 1] * t**2 * (t - 1)
    )


def _end_slope(step_0: float, step_1: float, secant_0: float, secant_1: float) -> float:
    slope = ((2 * step_0 + step_1) * secant_0 - step_0 * secant_1) / (step_0 + step_1)
    if slope * secant_0 <= 0:
        return 0.0
    return 3 * secant_0 if secant_0 * secant_1 <= 0 and abs(slope) > 3 * abs(secant_0) else slope
