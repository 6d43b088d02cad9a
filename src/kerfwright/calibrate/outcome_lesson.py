"""What came out of real corners, and how it moves the recipe.

A seen gap g against its prediction p is one more reading of everything that makes it: both boards' kerfs and the wall.
With spreads sd of the prediction and m of the reading, the best guess of the common error is
r = (g - p) sd^2 / (sd^2 + m^2 / n) over n lines (normal prior and likelihood); it is shared out by variance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from kerfwright.calibrate.lesson import Lesson
from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.core.units import parse_length_mm
from kerfwright.coupons.observable import CHOICES, Quantity

EYE_SD_MM = 0.03  # a gap judged by feeler and eye along one line (common practice, no source)
SAME_THICKNESS_FRAC = 0.06
WIDEST_MM = 1.0  # of a seen gap: four times the loosest fit there is, so that a slipped decimal point is noticed


@dataclass(frozen=True)
class Outcome:
    """One corner. gaps are per flank, mean along the seen lines; None where nothing was said. recipe_*: what it was planned with."""

    job: str
    corner: str
    machine: str
    species: str
    thickness_mm: float
    method: str
    fit: str | None
    gap_tail_mm: float | None
    gap_pin_mm: float | None
    proud_mm: float | None
    char: str | None
    expected_tail_mm: float
    expected_pin_mm: float
    expected_sd_mm: float
    applied_mm: float


@dataclass(frozen=True)
class OutcomeLearned:
    """shift_mm: how much more open flanks are than predicted, shrunk by how sure the prediction was."""

    lesson: Lesson
    shift_mm: Estimate


def outcome_from(job: Mapping[str, Any], corner: str, table: Mapping[str, Any]) -> Outcome:
    """An outcome checked against its job. Raises InputError for an unknown corner, word or impossible gap."""
    joints = {joint["corner"]: joint for joint in job["joints"]}
    if not joints:
        raise InputError("this job has no corners", accepted="a job folder made by kerfwright make")
    if corner not in joints:
        raise InputError(f'the job has no corner "{corner}"', accepted=", ".join(joints))
    unknown = [key for key in table if key not in ("fit", "gap_tail", "gap_pin", "proud", "char")]
    if unknown:
        raise InputError(f'"{unknown[0]}" is not known here', accepted="fit, gap_tail, gap_pin, proud, char", where=corner)
    if not any(value not in (None, "") for value in table.values()):
        raise InputError("nothing was said about it", accepted="fit, gap_tail, gap_pin, proud or char", where=corner)
    joint = joints[corner]
    pin = joint["pin_part"]
    board = job["boards"][pin]
    points: list[float] = board["thickness_points_mm"]
    method = next((wall["method"] for wall in job["walls"] if wall["part"] == pin and wall["chosen"]), "square")
    sd = joint["tightest_mm"]["sd"]
    return Outcome(
        str(job["name"]),
        corner,
        str(job["machine"]["name"]),
        str(job["recipes"][pin]["species"]),
        float(np.mean(points)),
        method,
        _word(table.get("fit"), Quantity.FIT, corner),
        _gap(table.get("gap_tail"), corner),
        _gap(table.get("gap_pin"), corner),
        _gap(table.get("proud"), corner, -2.0, 5.0),
        _word(table.get("char"), Quantity.CHAR, corner),
        float(joint["seen_tail_face_mm"]["value"]),
        float(joint["seen_pin_face_mm"]["value"]),
        float(sd),
        float(job["recipes"][pin].get("flank_shift_mm", 0.0)),
    )


def learn_outcomes(outcomes: Sequence[Outcome], machine: str, species: str, thickness_mm: float) -> OutcomeLearned | None:
    """What the gaps of real corners say about this machine and wood; None when none was measured."""
    mine = [
        each
        for each in outcomes
        if each.machine == machine
        and each.species == species
        and abs(each.thickness_mm - thickness_mm) <= SAME_THICKNESS_FRAC * thickness_mm
    ]
    # What the recipe of that job had already corrected belongs to the error too.
    errors = [
        gap - expected + each.applied_mm
        for each in mine
        for gap, expected in ((each.gap_tail_mm, each.expected_tail_mm), (each.gap_pin_mm, each.expected_pin_mm))
        if gap is not None
    ]
    if not errors:
        return None
    sd = float(np.median([each.expected_sd_mm for each in mine]))
    noise = EYE_SD_MM / math.sqrt(len(errors))
    trust = sd**2 / (sd**2 + noise**2)
    mean = float(np.median(errors))
    shift = Estimate(trust * mean, math.sqrt(trust) * noise, len(errors), ", ".join(dict.fromkeys(each.job for each in mine)))
    said = (
        f"{len(errors)} seen lines of real corners: {mean:+.3f} mm against what was predicted, "
        f"taken as {shift.value:+.3f} ± {shift.sd:.3f} mm a flank",
    )
    return OutcomeLearned(Lesson("outcome", len(errors), {"flank_shift_mm": shift}, said), shift)


def _gap(value: object, where: str, low_mm: float = -0.5, high_mm: float = WIDEST_MM) -> float | None:
    if value in (None, ""):
        return None
    length_mm = parse_length_mm(value)
    if not low_mm <= length_mm <= high_mm:
        raise InputError(f"{value} is not possible here", accepted=f"{low_mm:g} to {high_mm:g} mm", where=where)
    return length_mm


def _word(value: object, quantity: Quantity, where: str) -> str | None:
    if value in (None, ""):
        return None
    if value not in CHOICES[quantity]:
        raise InputError(f"{value!r} is not an answer", accepted=", ".join(CHOICES[quantity]), where=where)
    return str(value)
