"""Ramp staircase: depth against power in fields of parallel lines, at the spacing, layers and focus steps of production.

Vocabulary: a *field* is a patch of parallel lines at one power, wide enough for a depth gauge's pin; a *flight* is
all powers once, in one place of the board. All fields are burnt layer by layer together, as a joint's ramps are.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from pydantic import Field

from kerfwright.core.document import Share
from kerfwright.core.finding import Finding, caution, note
from kerfwright.coupons import response as laws
from kerfwright.coupons.coupon import CouponDesign, CouponOptions, Site
from kerfwright.coupons.first_guess import first_guess
from kerfwright.coupons.observable import RIGHT_THROUGH, Observable
from kerfwright.coupons.sheet import GAP_MM, Sheet, Spot
from kerfwright.coupons.strokes import FIELD_MM, field_depth, field_lines
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind
from kerfwright.process.recipe import RampSettings

TITLE = "RAMP STAIRCASE"
CELL_MM = (7.2, 2.6 + 0.8 + 1.6 + 1.6)  # field, gap, label, gap
LETTERS_MM = 1.6
HEAD_MM = 4.2  # over a flight: its letter and what the numbers are
STEP_BEND = 1.6  # 1 would space the powers evenly
REACH = 1.2  # how far past the thickness full power should dig, so that the last wall lines are known too
HOT_PUSH = 1.15  # times the power that goes through: such fields flare without telling a depth


class RampStaircaseOptions(CouponOptions):
    """flights: how often the whole staircase is burnt; steps: powers in each."""

    flights: int = Field(default=2, ge=1, le=6)
    steps: int = Field(default=10, ge=4, le=20)
    power_frac: tuple[Share, Share] | None = Field(default=None, alias="power", description="shares of power of the first and last step")


class RampStaircase:
    """One ramp operation over all fields, gentlest first within each layer."""

    kind = "ramp staircase"
    title = TITLE
    options = RampStaircaseOptions

    def lay_out(self, site: Site, options: RampStaircaseOptions) -> CouponDesign:
        """As many flights as fit, at least one."""
        sheet = Sheet(site, options, TITLE)
        ramp, guessed = _ramp(site)
        ramp = _reaching(ramp, site.offcut.thickness_mm)
        powers = _powers(ramp, options)
        for n_flights in range(options.flights, 0, -1):
            size_mm = _flight_size(len(powers), sheet.room_mm)
            n_along = int((sheet.room_mm[0] + GAP_MM) / (size_mm[0] + GAP_MM))
            if n_along and -(-n_flights // n_along) * (size_mm[1] + GAP_MM) - GAP_MM <= sheet.room_mm[1] + 1e-9:
                break
        else:
            raise sheet.too_small([_flight_size(len(powers), (1e9, 1e9))])
        corners, content_mm = sheet.arrange([size_mm] * n_flights)
        fields: list[tuple[float, list[BeamPath]]] = []
        found: list[Observable] = []
        for k, corner in enumerate(corners):
            letter = chr(65 + k)
            sheet.label(f"{letter}1-{len(powers)} POWER %", corner[0], corner[1] + size_mm[1] - HEAD_MM + 1.4, LETTERS_MM)
            for i, power_frac in enumerate(powers):
                at = _field_corner(corner, size_mm, i)
                sheet.label(f"{100 * power_frac:.3g}", at[0] + FIELD_MM[0] / 2, at[1] - 0.8 - LETTERS_MM, LETTERS_MM, centred=True)
                fields.append((power_frac, field_lines(at, ramp, power_frac)))
                found.append(_depth(letter, i, at, ramp, power_frac, site.offcut.thickness_mm))
        lines = [line for _, paths in sorted(fields, key=lambda field: field[0]) for line in paths]
        layers = ramp.passes_down()
        operation = CutOperation("fields", "Fields of the staircase", OperationKind.RAMP, tuple(lines), ramp.speed_mm_s, layers)
        steps = (
            "Brush the fields clean; zero the gauge on the bare face beside a field and set its pin down in the field's middle",
            f"Where the pin falls right through, write: {RIGHT_THROUGH}",
        )
        return sheet.design(
            self.kind, content_mm, [operation], found, steps, _findings(ramp, guessed, powers, (options.flights, n_flights))
        )

    def predict(self, observable: Observable, response: Mapping[str, float]) -> float:
        """Equation 6."""
        return laws.predict(observable, response)


def _ramp(site: Site) -> tuple[RampSettings, bool]:
    """Production's ramp settings, or a first guess when the recipe has none."""
    if site.recipe.ramp is not None:
        return site.recipe.ramp, False
    guess = first_guess(site.machine, site.offcut.species, site.offcut.thickness_mm).ramp
    assert guess is not None  # a first guess always has one
    return guess, True


def _reaching(ramp: RampSettings, thickness_mm: float) -> RampSettings:
    """The settings, slowed when even their deepest reading, at full power, would not go through this thickness."""
    powers, depths = ramp.curve()
    at_full_mm = float(depths[-1] / powers[-1])
    if depths[-1] >= thickness_mm or at_full_mm >= REACH * thickness_mm:
        return ramp
    return ramp.model_copy(update={"speed_mm_s": round(ramp.speed_mm_s * at_full_mm / (REACH * thickness_mm), 3)})


def _powers(ramp: RampSettings, options: RampStaircaseOptions) -> list[float]:
    """Shares of power from below the gentlest reading to just past through, closer together where depths are small."""
    known, _ = ramp.curve()
    past_through = min(1.0, HOT_PUSH * float(known[-1])) if ramp.through_power_frac is not None else 1.0
    low, high = options.power_frac or (0.6 * float(known[0]), past_through)
    powers = [round(float(power), 3) for power in low + (high - low) * np.linspace(0, 1, options.steps) ** STEP_BEND]
    return sorted(set(powers))


def _flight_size(n_steps: int, room_mm: tuple[float, float]) -> tuple[float, float]:
    n_across = max(1, min(n_steps, int((room_mm[0] + 1e-9) / CELL_MM[0])))
    n_rows = -(-n_steps // n_across)
    n_across = -(-n_steps // n_rows)  # rows of even length
    return n_across * CELL_MM[0], HEAD_MM + n_rows * CELL_MM[1]


def _field_corner(corner: Spot, size_mm: tuple[float, float], i: int) -> Spot:
    n_across = round(size_mm[0] / CELL_MM[0])
    x = corner[0] + (i % n_across) * CELL_MM[0] + (CELL_MM[0] - FIELD_MM[0]) / 2
    return x, corner[1] + size_mm[1] - HEAD_MM - (i // n_across) * CELL_MM[1] - FIELD_MM[1]


def _depth(letter: str, i: int, at: Spot, ramp: RampSettings, power_frac: float, thickness_mm: float) -> Observable:
    tells = (
        f"depth of field {letter}{i + 1} ({100 * power_frac:.3g} %) at its middle, below the bare face beside it; "
        f"{RIGHT_THROUGH} where the pin meets no floor"
    )
    return field_depth(f"depth-{letter}{i + 1}", at, tells, ramp, power_frac, thickness_mm, letter)


def _findings(ramp: RampSettings, guessed: bool, powers: list[float], flights: tuple[int, int]) -> list[Finding]:
    found = [
        caution(
            "hot-fields",
            f"the fields at {100 * powers[-2]:.3g} and {100 * powers[-1]:.3g} % dig deep and may flare: they come last in each layer",
        )
    ]
    if guessed:
        found.append(note("ramp-guessed", f"the recipe has no ramp: {ramp.speed_mm_s:g} mm/s and {ramp.layers} layers are a first guess"))
    if flights[1] < flights[0]:
        found.append(note("smaller-coupon", f"the offcut has room for {flights[1]} of {flights[0]} flights"))
    return found


COUPON = RampStaircase()
