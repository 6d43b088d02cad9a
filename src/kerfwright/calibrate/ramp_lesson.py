"""Depth of a field of lines against power, at the spacing, layers and focus that production uses; and where walls end up."""
# pyright: basic

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.choice import choose_law
from kerfwright.calibrate.evidence import Datum, Evidence
from kerfwright.calibrate.fit import FittedLaw
from kerfwright.calibrate.law import NoisePrior
from kerfwright.calibrate.laws import depth_law, power_law
from kerfwright.calibrate.lesson import Lesson, Plot, pooled
from kerfwright.calibrate.regression import fit_law
from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, note, warning
from kerfwright.coupons.observable import Quantity
from kerfwright.process.recipe import RampSettings

Array = NDArray[np.float64]

SETTINGS = ("speed_mm_s", "spacing_mm", "layers", "focus_mm", "focus_step_mm")
FEWEST = 5
LEAST_DEPTH_MM = 0.08
THROUGH_SHARE = 0.97  # a reading this near the thickness means the gauge went through
N_TABLE = 9


@dataclass(frozen=True, eq=False)
class RampLearned:
    """settings: ready for a recipe, wall_shift still as it was before."""

    lesson: Lesson
    settings: RampSettings


@dataclass(frozen=True, eq=False)
class WallLearned:
    """shift_mm: how far walls end beyond their drawn place, into the wood, at the show face; depth_factor: true over expected depth."""

    lesson: Lesson
    shift_mm: Estimate
    depth_factor: float


def learn_ramp(evidence: Evidence, before: RampSettings) -> RampLearned | None:
    """From the staircase; None with too few depths. The settings with the most readings are used."""
    groups: dict[tuple[float, ...], list[Datum]] = {}
    for datum in evidence.of(Quantity.DEPTH):
        groups.setdefault(tuple(datum.setting(key) for key in SETTINGS), []).append(datum)
    if not groups:
        return None
    # Later settings were chosen knowing the earlier ones; a group that reached through beats one that did not.
    settings, data = max(groups.items(), key=lambda item: (_reached(item[1]), list(groups).index(item[0])))
    thickness_mm = float(np.median([datum.record.thickness_mm for datum in data]))
    deep = [datum for datum in data if datum.number >= THROUGH_SHARE * thickness_mm]
    data = [datum for datum in data if LEAST_DEPTH_MM <= datum.number < THROUGH_SHARE * thickness_mm]
    if len(data) < FEWEST or len({datum.setting("power_frac") for datum in data}) < 3:
        return None
    try:
        fit, findings, said = _fitted(data, settings)
    except InputError:
        return None
    through_frac = _through_power(deep, data)
    ramp = _settings(fit, settings, data, through_frac, thickness_mm, before)
    if ramp is None:
        return None
    findings += [
        warning("outlier", f"the reading {data[i].observable.id} ({data[i].number:.2f} mm) does not go with the others; it was set aside")
        for i in fit.outliers
    ]
    lesson = Lesson(
        "ramp",
        len(data) + len(deep),
        {f"depth at {100 * power:.0f} %": depth for power, depth in ramp.depth},
        said,
        tuple(findings),
        (_plot(fit, data, settings, ramp),),
    )
    return RampLearned(lesson, ramp)


def _reached(data: list[Datum]) -> bool:
    return any(datum.number >= THROUGH_SHARE * datum.record.thickness_mm for datum in data) and len(data) >= FEWEST


def _dose(power_frac: Array, data: list[Datum], settings: tuple[float, ...]) -> Array:
    """Dose of all layers, J/mm2: n P / (v s)."""
    return settings[2] * power_frac * data[0].record.power_w / (settings[0] * settings[1])


def _fitted(data: list[Datum], settings: tuple[float, ...]) -> tuple[FittedLaw, list[Finding], tuple[str, ...]]:
    power = np.array([datum.setting("power_frac") for datum in data])
    depth = np.array([datum.number for datum in data])
    dose = _dose(power, data, settings)
    noise = NoisePrior(0.04, 3.0, "depth gauge and places, common practice, no source")
    laws = (depth_law(int(settings[2])), power_law(float(depth.mean() / dose.mean()), 1.0))
    places = [f"{datum.record.board}/{datum.observable.settings.get('place', '')}" for datum in data]
    findings: list[Finding] = []
    fit = fit_law(laws[0], dose, depth, noise=noise, robust=True, source=", ".join(dict.fromkeys(datum.record.id for datum in data)))
    if len(set(places)) >= 2:
        choice = choose_law(laws, dose, depth, places, noise=noise)
        if choice.best == laws[1].name:
            fit = fit_law(laws[1], dose, depth, noise=noise, robust=True, source=fit.source)
        elif choice.best is None:
            findings.append(
                note(
                    "form-open",
                    f"the readings cannot choose between two forms of the depth curve ({choice.said}); inside the burnt range they agree",
                )
            )
    heat = f"; {fit.residual_sd:.2f} mm from place to place"
    return fit, [*findings, *fit.findings], (f"{len(data)} depths from {depth.min():.2f} to {depth.max():.2f} mm, {fit.law.name}{heat}",)


def _through_power(deep: list[Datum], data: list[Datum]) -> float | None:
    """Lowest power at which every repeat went through."""
    stopped = {datum.setting("power_frac") for datum in data}
    above = [datum.setting("power_frac") for datum in deep if datum.setting("power_frac") not in stopped]
    return min(above) if above else None


def _settings(
    fit: FittedLaw, settings: tuple[float, ...], data: list[Datum], through_frac: float | None, thickness_mm: float, before: RampSettings
) -> RampSettings | None:
    burnt = np.array([datum.setting("power_frac") for datum in data])
    grid = np.linspace(burnt.min(), burnt.max(), 400)
    middle = fit.mean(_dose(grid, data, settings)).middle_value
    usable = grid[(middle >= LEAST_DEPTH_MM) & (middle < thickness_mm) & (grid < (through_frac or 2.0))]
    if len(usable) < 2:
        return None
    # Close together where the curve is shallow: every depth of the wall's upper part is needed there too.
    power = usable[0] + (usable[-1] - usable[0]) * np.linspace(0, 1, N_TABLE) ** 1.3
    dose = _dose(power, data, settings)
    depth, sd = fit.mean(dose).middle_value, fit.sd_at(dose, new_reading=True)
    table = [(f"{100 * p:.4f} %", Estimate(float(d), float(s), len(data), fit.source)) for p, d, s in zip(power, depth, sd, strict=True)]
    rising = [row for i, row in enumerate(table) if i == 0 or row[1].value > table[i - 1][1].value + 1e-6]
    if len(rising) < 3:
        return None
    through_fits = through_frac is not None and through_frac > power[-1] and thickness_mm > depth[-1]
    return RampSettings.model_validate(
        {
            "speed": f"{settings[0]:.5f} mm/s",
            "spacing": f"{settings[1]:.5f} mm",
            "layers": int(settings[2]),
            "focus": f"{settings[3]:.4f} mm",
            "focus_step": f"{settings[4]:.4f} mm",
            "depth": tuple(rising),
            "wall_shift": before.wall_shift_mm,
            "through_power": f"{100 * through_frac:.4f} %" if through_fits and through_frac else None,
            "through_thickness": f"{thickness_mm:.4f} mm" if through_fits else None,
        }
    )


def _plot(fit: FittedLaw, data: list[Datum], settings: tuple[float, ...], ramp: RampSettings) -> Plot:
    power = np.array([datum.setting("power_frac") for datum in data])
    depth = np.array([datum.number for datum in data])
    at: Array = np.linspace(float(power.min()), float(power.max()), 80)
    band = fit.mean(_dose(at, data, settings))
    curve = np.stack([100 * at, band.middle_value, band.low_value, band.high_value], axis=1)
    aside = np.zeros(len(data), dtype=bool)
    aside[list(fit.outliers)] = True
    points = np.stack([100 * power, depth], axis=1)
    title = f"Depth of lines {ramp.spacing_mm:g} mm apart, {ramp.layers} layers, {ramp.speed_mm_s:.3g} mm/s"
    return Plot(title, "power, %", "depth, mm", points[~aside], curve, points[aside])


def learn_wall(evidence: Evidence) -> WallLearned | None:
    """From the sloped edge: a constant shift and a lean that means depths were mistaken by a factor.

    A wall drawn with slope s whose depths are (1 + e) times the expected ones stands e s z further in at depth z.
    """
    data = evidence.of(Quantity.WALL_OFFSET)
    # Only the latest coupon: earlier ones were drawn with an older depth curve, whose mistakes are not this one's.
    data = [datum for datum in data if datum.record.id == data[-1].record.id]
    if len(data) < 2:
        return None
    drawn_shift = float(np.median([float(datum.observable.settings.get("wall_shift_mm", 0.0)) for datum in data]))
    offset = np.array([datum.number for datum in data])
    depth = np.array([datum.setting("depth_mm") for datum in data])
    sds = np.array([datum.instrument_sd_mm for datum in data])
    slope = float(np.median([datum.setting("slope_frac") for datum in data]))
    lean, lean_sd = _lean(depth, offset)
    factor = 1.0
    said = f"{len(data)} places on a sloped edge: walls end {{:+.3f}} ± {{:.3f}} mm from where they were drawn, + into the wood"
    if lean_sd > 0 and abs(lean) > 2 * lean_sd:
        factor = 1 + max(min(lean / slope, 0.3), -0.3)
        offset = offset - slope * (factor - 1) * depth
    shift, _, _ = pooled(offset, sds, ", ".join(dict.fromkeys(datum.record.id for datum in data)))
    shift = Estimate(shift.value + drawn_shift, shift.sd, shift.n, shift.source)
    told = (
        said.format(shift.value, shift.sd)
        + (f"; depths are {100 * (factor - 1):+.0f} % of what was expected in a wedge" if factor != 1.0 else ""),
    )
    points = np.stack([depth, np.array([datum.number for datum in data])], axis=1)
    at = np.linspace(0, depth.max(), 20)
    line = shift.value - drawn_shift + slope * (factor - 1) * at
    plot = Plot(
        "A ramped wall against where it was drawn",
        "depth below the show face, mm",
        "offset into the wood, mm",
        points,
        np.stack([at, line, line - 1.96 * shift.sd, line + 1.96 * shift.sd], axis=1),
    )
    return WallLearned(Lesson("wall", len(data), {"shift_mm": shift}, told, (), (plot,)), shift, factor)


def _lean(depth: Array, offset: Array) -> tuple[float, float]:
    """Least-squares slope of offset on depth and its standard deviation; 0, 0 when it cannot be told."""
    if len(depth) < 4 or float(np.ptp(depth)) < 1e-9:
        return 0.0, 0.0
    away = depth - depth.mean()
    slope = float(away @ (offset - offset.mean()) / (away @ away))
    left = offset - offset.mean() - slope * away
    return slope, math.sqrt(float(left @ left) / (len(depth) - 2) / float(away @ away))
