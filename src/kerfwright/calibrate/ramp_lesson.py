"""Depth of a field of lines against power, at the spacing, layers and focus that production uses.

Model: depth = law(dose) times exp(board + place) plus a reading's own error. A board that was read speaks for itself; one
that was not gets the mean of the boards and their spread (HANDBOOK section H form 4).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.choice import choose_law
from kerfwright.calibrate.evidence import Datum, Evidence, burnt_alike
from kerfwright.calibrate.fit import FittedLaw
from kerfwright.calibrate.hierarchy import BoardSpread, boards_apart
from kerfwright.calibrate.law import Law, NoisePrior
from kerfwright.calibrate.laws import depth_law, power_law
from kerfwright.calibrate.lesson import PLACE_FRAC, PLACE_WORTH, Lesson, Plot
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
LEAST_READING_MM = 0.03  # of a depth gauge (common practice, no source)
N_TABLE = 9
THICKER_FRAC = 0.03  # boards planed alike differ this much (common practice, no source)
ONE_SIDED_95 = 1.645
GAUGE = NoisePrior(0.04, 3.0, "depth gauge and places, common practice, no source")
DEAD_FRAC = 0.15  # shares of power up to this may give no light yet (project prior, no published source)


@dataclass(frozen=True, eq=False)
class RampLearned:
    """settings: ready for a recipe, wall_shift still as it was before."""

    lesson: Lesson
    settings: RampSettings


def learn_ramp(evidence: Evidence, before: RampSettings, board: str) -> RampLearned | None:
    """From the staircase; None with too few depths. The settings with the most readings are used."""
    groups = burnt_alike(evidence.of(Quantity.DEPTH), SETTINGS)
    if not groups:
        return None
    # Later settings were chosen knowing the earlier ones; a group that reached through beats one that did not.
    settings, data = max(groups.items(), key=lambda item: (_reached(item[1]), list(groups).index(item[0])))
    own = [datum for datum in data if datum.record.board == board]
    new_board = not _enough(own)
    data = data if new_board else own
    thickness_mm = float(np.median([datum.record.thickness_mm for datum in data]))
    deep = [datum for datum in data if datum.number >= THROUGH_SHARE * thickness_mm]
    data = [datum for datum in data if LEAST_DEPTH_MM <= datum.number < THROUGH_SHARE * thickness_mm]
    if not _enough(data):
        return None
    try:
        fit, apart, findings = _fitted(data, settings)
    except InputError:
        return None
    board_frac = apart.new_sd if new_board else 0.0
    findings += apart.findings if new_board else ()
    said = (_said(fit, apart, data, board_frac),)
    through = _through(fit, settings, deep, data, thickness_mm)
    ramp = _settings(fit, (_place_frac(apart, data), board_frac), settings, data, through, thickness_mm, before)
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


def _enough(data: list[Datum]) -> bool:
    kept = [datum for datum in data if LEAST_DEPTH_MM <= datum.number < THROUGH_SHARE * datum.record.thickness_mm]
    return len(kept) >= FEWEST and len({datum.setting("power_frac") for datum in kept}) >= 3


def _place(datum: Datum) -> str:
    return f"{datum.record.board}/{datum.record.id}/{datum.observable.settings.get('place', '')}"


def _place_frac(apart: BoardSpread, data: list[Datum]) -> float:
    """Spread of ln depth between places, drawn toward a prior as if that had been seen at a few places more."""
    n_free = len({_place(datum) for datum in data}) - len({datum.record.board for datum in data}) if apart.place_sd is not None else 0
    return math.sqrt((n_free * (apart.place_sd or 0.0) ** 2 + PLACE_WORTH * PLACE_FRAC**2) / (n_free + PLACE_WORTH))


def _sd_mm(fit: FittedLaw, apart_frac: tuple[float, float], n_places: int, dose: Array) -> Array:
    """Of one more reading at one more place. The fit's residual holds places too: what they add grows with depth, the rest does not."""
    place_frac, board_frac = apart_frac
    curve = fit.sd_at(dose)
    reading = max(fit.residual_sd**2 - place_frac**2 * float(np.mean(fit.y[fit.used] ** 2)), LEAST_READING_MM**2)
    shares = place_frac**2 * (1 + 1 / n_places) + board_frac**2  # the curve itself rests on so many places
    return np.sqrt(curve**2 + reading + shares * fit.mean(dose).middle_value ** 2)


def _reached(data: list[Datum]) -> bool:
    return any(datum.number >= THROUGH_SHARE * datum.record.thickness_mm for datum in data) and len(data) >= FEWEST


def _dose(power_frac: Array, data: list[Datum], settings: tuple[float, ...]) -> Array:
    """Dose of all layers, J/mm2: n P / (v s)."""
    return settings[2] * power_frac * data[0].record.power_w / (settings[0] * settings[1])


def _fitted(data: list[Datum], settings: tuple[float, ...]) -> tuple[FittedLaw, BoardSpread, list[Finding]]:
    """The curve of the mean board, and what boards and places add to it."""
    power = np.array([datum.setting("power_frac") for datum in data])
    depth = np.array([datum.number for datum in data])
    dose, places = _dose(power, data, settings), [_place(datum) for datum in data]
    dead = DEAD_FRAC * float(_dose(np.ones(1), data, settings)[0])
    laws = (depth_law(int(settings[2]), dead), power_law(float(depth.mean() / dose.mean()), 1.0))
    source = ", ".join(dict.fromkeys(datum.record.id for datum in data))
    fit = fit_law(laws[0], dose, depth, noise=GAUGE, robust=True, source=source)
    boards = [datum.record.board for datum in data]
    apart = _apart(fit, boards, places)
    if len(set(boards)) > 1:
        depth = depth / np.exp([apart.away_y.get(board, 0.0) for board in boards])
        fit = fit_law(laws[0], dose, depth, noise=GAUGE, robust=True, source=source)
    findings: list[Finding] = []
    if len(set(places)) >= 2:
        fit, findings = _chosen(fit, laws, dose, depth, places)
    # Readings set aside are told by their names on the form, not by their number in the fit.
    return fit, apart, [*findings, *(finding for finding in fit.findings if finding.code != "outlier")]


def _chosen(fit: FittedLaw, laws: Sequence[Law], dose: Array, depth: Array, places: list[str]) -> tuple[FittedLaw, list[Finding]]:
    """The other form where leaving places out prefers it; said where that cannot tell."""
    choice = choose_law(laws, dose, depth, places, noise=GAUGE)
    if choice.best == laws[1].name:
        return fit_law(laws[1], dose, depth, noise=GAUGE, robust=True, source=fit.source), []
    if choice.best is not None:
        return fit, []
    text = f"of two forms of the depth curve the readings {choice.said}; inside the burnt range they agree"
    return fit, [note("form-open", text)]


def _apart(fit: FittedLaw, boards: list[str], places: list[str]) -> BoardSpread:
    """Boards and places in ln depth about the curve; readings set aside stay out."""
    kept = np.flatnonzero(fit.used)
    left = np.log(fit.y[kept] / np.maximum(fit.law.at(fit.x[kept], fit.value), LEAST_DEPTH_MM))
    return boards_apart(left, [boards[i] for i in kept], [places[i] for i in kept], in_logs=True)


def _said(fit: FittedLaw, apart: BoardSpread, data: list[Datum], board_frac: float) -> str:
    depth = [datum.number for datum in data]
    places = "" if apart.place_sd is None else f"; places of a board differ by {100 * apart.place_sd:.0f} %"
    boards = f"; a board not yet burnt may differ by {100 * board_frac:.0f} %" if board_frac else ""
    read = f"{len(data)} depths from {min(depth):.2f} to {max(depth):.2f} mm"
    return f"{read}, {fit.law.name}; {fit.residual_sd:.2f} mm a reading{places}{boards}"


def _through(
    fit: FittedLaw, settings: tuple[float, ...], deep: list[Datum], data: list[Datum], thickness_mm: float
) -> tuple[float, float] | None:
    """(power, depth it is sure to reach) of the gentlest field that would go through a board ``THICKER_FRAC`` thicker at 95 % of
    places, as the curve has it, else of the hottest; None when no power went through at every repeat."""
    stopped = {datum.setting("power_frac") for datum in data}
    above = sorted({datum.setting("power_frac") for datum in deep} - stopped)
    if not above:
        return None
    dose = _dose(np.array(above), data, settings)
    sure_mm = fit.mean(dose).middle_value - ONE_SIDED_95 * fit.sd_at(dose, new_reading=True)
    wanted_mm = (1 + THICKER_FRAC) * thickness_mm
    i = next((k for k, reach_mm in enumerate(sure_mm) if reach_mm >= wanted_mm), len(above) - 1)
    return above[i], min(max(float(sure_mm[i]), thickness_mm), wanted_mm)


def _settings(
    fit: FittedLaw,
    apart_frac: tuple[float, float],
    settings: tuple[float, ...],
    data: list[Datum],
    through: tuple[float, float] | None,
    thickness_mm: float,
    before: RampSettings,
) -> RampSettings | None:
    burnt = np.array([datum.setting("power_frac") for datum in data])
    grid: Array = np.linspace(float(burnt.min()), float(burnt.max()), 400)
    middle = fit.mean(_dose(grid, data, settings)).middle_value
    usable = grid[(middle >= LEAST_DEPTH_MM) & (middle < thickness_mm) & (grid < (through[0] if through else 2.0))]
    if len(usable) < 2:
        return None
    # Close together where the curve is shallow: every depth of the wall's upper part is needed there too.
    power: Array = usable[0] + (usable[-1] - usable[0]) * np.linspace(0, 1, N_TABLE) ** 1.3
    dose = _dose(power, data, settings)
    depth = fit.mean(dose).middle_value
    sd = _sd_mm(fit, apart_frac, len({_place(datum) for datum in data}), dose)
    table = [(f"{100 * p:.4f} %", Estimate(float(d), float(s), len(data), fit.source)) for p, d, s in zip(power, depth, sd, strict=True)]
    rising = [row for i, row in enumerate(table) if i == 0 or row[1].value > table[i - 1][1].value + 1e-6]
    if len(rising) < 3:
        return None
    reaching = through if through is not None and through[0] > power[-1] and through[1] > depth[-1] else None
    return RampSettings.model_validate(
        {
            "speed": f"{settings[0]:.5f} mm/s",
            "spacing": f"{settings[1]:.5f} mm",
            "layers": int(settings[2]),
            "focus": f"{settings[3]:.4f} mm",
            "focus_step": f"{settings[4]:.4f} mm",
            "depth": tuple(rising),
            "wall_shift": before.wall_shift_mm,
            "wall_lean": before.wall_lean_frac,
            "through_power": f"{100 * reaching[0]:.4f} %" if reaching else None,
            "through_thickness": f"{reaching[1]:.4f} mm" if reaching else None,
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
