"""Lessons about the machine itself: scale and squareness, lag, best focus; and how tight a joint feels in this wood."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.dose import fit_dose, weak_priors
from kerfwright.calibrate.evidence import Datum, Evidence
from kerfwright.calibrate.law import NoisePrior
from kerfwright.calibrate.laws import kerf_law
from kerfwright.calibrate.lesson import Lesson, Plot
from kerfwright.calibrate.regression import fit_law
from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, warning
from kerfwright.coupons.observable import Quantity

Array = NDArray[np.float64]

SCALE_MATTERS_FRAC = 0.0003  # 0.03 mm in 100 mm


def learn_machine(evidence: Evidence) -> Lesson | None:
    """Scale of both axes, squareness and lag; None without readings.

    A distance D along x reads D (1 + sx), along y D (1 + sy); on a diagonal of a square drawn at 45 degrees the skew a
    (y leaning toward +x) adds +-a/2 of itself. Least squares over all of them.
    """
    rows: list[list[float]] = []
    ratios: list[float] = []
    sds: list[float] = []
    for datum in evidence.of(Quantity.DISTANCE):
        nominal_mm, axis = datum.setting("nominal_mm"), datum.word("axis")
        if nominal_mm <= 0:
            continue
        rows.append({"x": [1.0, 0.0, 0.0], "y": [0.0, 1.0, 0.0], "diag+": [0.5, 0.5, 0.5], "diag-": [0.5, 0.5, -0.5]}[axis])
        ratios.append(datum.number / nominal_mm - 1)
        sds.append(datum.instrument_sd_mm / nominal_mm)
    estimates: dict[str, Estimate] = {}
    said: list[str] = []
    if len(rows) >= 3 and np.linalg.matrix_rank(np.array(rows)) == 3:
        value, sd = _weighted(np.array(rows), np.array(ratios), np.array(sds))
        source = ", ".join(evidence.coupons)
        names = ("scale_x_frac", "scale_y_frac", "skew_rad")
        estimates = {name: Estimate(float(v), float(s), len(rows), source) for name, v, s in zip(names, value, sd, strict=True)}
        said.append(
            f"the bed's x moves {100 * value[0]:+.3f} ± {100 * sd[0]:.3f} % too far, its y {100 * value[1]:+.3f} ± {100 * sd[1]:.3f} %; "
            f"the axes are {math.degrees(value[2]):+.3f} ± {math.degrees(sd[2]):.3f} deg from square"
        )
    lags = [datum for datum in evidence.of(Quantity.VERNIER) if "speed_mm_s" in datum.observable.settings]
    for axis in ("x", "y"):
        shifts = [(datum.number * datum.setting("step_mm"), datum.setting("speed_mm_s")) for datum in lags if datum.word("axis") == axis]
        if shifts:
            worst = max(shifts, key=lambda each: abs(each[0]))
            said.append(
                f"lines burnt back along {axis} lie {worst[0]:+.2f} mm off at {worst[1]:g} mm/s; jobs burn every wall in one direction"
            )
    if not estimates and not said:
        return None
    return Lesson("machine", len(rows) + len(lags), estimates, tuple(said), tuple(_machine_findings(estimates)))


def _weighted(rows: Array, y: Array, sds: Array) -> tuple[Array, Array]:
    weights = 1 / sds**2
    information = rows.T @ (weights[:, None] * rows)
    value: Array = np.asarray(np.linalg.solve(information, rows.T @ (weights * y)), dtype=np.float64)
    left = y - rows @ value
    spread = max(1.0, float(np.sum(weights * left**2)) / max(len(y) - 3, 1))
    sd: Array = np.asarray(np.sqrt(np.diag(np.linalg.inv(information)) * spread), dtype=np.float64)
    return value, sd


def _machine_findings(estimates: dict[str, Estimate]) -> list[Finding]:
    off = [
        f"{name.split('_')[1]} by {100 * each.value:+.3f} %"
        for name, each in estimates.items()
        if name.startswith("scale") and abs(each.value) > max(SCALE_MATTERS_FRAC, 2 * each.sd)
    ]
    found = (
        [
            warning(
                "scale",
                f"the machine's scale is off ({', '.join(off)}): set its steps per mm, or give scale_x and scale_y in the machine file",
            )
        ]
        if off
        else []
    )
    skew = estimates.get("skew_rad")
    if skew is not None and abs(skew.value) > max(0.0008, 2 * skew.sd):
        found.append(
            warning(
                "skew", f"the axes are {math.degrees(skew.value):+.2f} deg from square: square the gantry, or give skew in the machine file"
            )
        )
    return found


def learn_focus(evidence: Evidence) -> Lesson | None:
    """Focus at which lines are finest, by travel axis, from line widths; from the chosen rungs where there are none."""
    estimates: dict[str, Estimate] = {}
    said: list[str] = []
    plots: list[Plot] = []
    widths = evidence.of(Quantity.LINE_WIDTH)
    n = len(widths)
    for travel in ("x", "y"):
        mine = [datum for datum in widths if datum.word("travel") == travel]
        found = _finest(mine, travel)
        if found is not None:
            estimates[f"focus_{travel}_mm"], plot = found
            plots.append(plot)
    for datum in evidence.of(Quantity.RUNG):
        name = f"focus_{datum.observable.id[-1]}_mm"
        if name not in estimates:
            n += 1
            focus = datum.setting("first_focus_mm") + (datum.number - 1) * datum.setting("step_mm")
            estimates[name] = Estimate(focus, 0.6 * abs(datum.setting("step_mm")), 1, datum.record.id)
    if not estimates:
        return None
    said += [
        f"lines along {name.split('_')[1]} are finest with the focus at {each.value:+.2f} ± {each.sd:.2f} mm"
        for name, each in estimates.items()
    ]
    return Lesson("focus", n, estimates, tuple(said), (), tuple(plots))


def _finest(data: list[Datum], travel: str) -> tuple[Estimate, Plot] | None:
    if len(data) < 5:
        return None
    focus = np.array([datum.setting("focus_mm") for datum in data])
    width = np.array([datum.number for datum in data])
    law = kerf_law().starting_at(float(width.min()), float(focus[int(np.argmin(width))]), 1.5)
    try:
        fit = fit_law(
            law,
            focus,
            width,
            noise=NoisePrior(0.012, 3.0, "scan or loupe, common practice, no source"),
            robust=True,
            source=", ".join(dict.fromkeys(datum.record.id for datum in data)),
        )
    except InputError:
        return None
    best = fit.estimate("best_focus_mm")
    at: Array = np.linspace(float(focus.min()), float(focus.max()), 60)
    band = fit.mean(at)
    plot = Plot(
        f"Fineness against focus, travel {travel}",
        "focus above the face, mm",
        "line width, mm",
        np.stack([focus, width], axis=1),
        np.stack([at, band.middle_value, band.low_value, band.high_value], axis=1),
        mark=(best.value, float(fit.law.at(np.array([best.value]), fit.value)[0])),
        mark_name="finest",
    )
    return best, plot


def learn_fit(evidence: Evidence) -> Lesson | None:
    """Clearance across a pin at which half of the pairs go together by hand, and by tapping."""
    data = evidence.of(Quantity.FIT)
    if len(data) < 4:
        return None
    clearance = np.array([datum.setting("clearance_mm") for datum in data])
    estimates: dict[str, Estimate] = {}
    source = ", ".join(evidence.coupons)
    for name, words in (("by_hand_mm", ("loose", "by hand")), ("by_tap_mm", ("loose", "by hand", "by tap"))):
        yes = np.array([float(np.mean([word in words for word in datum.words])) for datum in data])
        if not 0 < yes.sum() < len(yes):
            continue
        # The dose fit wants rising doses of order one: clearances in tenths of a millimetre, spread 0.15 of that.
        x = 10 * clearance
        fit = fit_dose(x, yes, np.ones(len(yes)), priors=weak_priors(x), source=source)
        estimates[name] = Estimate(fit.middle.value / 10, fit.middle.sd / 10, len(data), source)
    if not estimates:
        return None
    words = {"by_hand_mm": "by hand", "by_tap_mm": "with light taps"}
    said = tuple(
        f"pairs begin to go together {words[name]} at an asked clearance of {each.value:+.3f} ± {each.sd:.3f} mm across a pin"
        for name, each in estimates.items()
    )
    return Lesson("fit", len(data), estimates, said)
