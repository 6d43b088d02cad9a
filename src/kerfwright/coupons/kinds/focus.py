"""Focus coupon: a ladder of fine lines, each at its own focus, in both travel axes.

Vocabulary: a *rung* is one focus height: one line along the board and one across it. The finest rung is the best
focus; how fast lines widen away from it is how fast the kerf opens.
"""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import Field

from kerfwright.core.document import Length, SignedLength
from kerfwright.core.errors import PlanError
from kerfwright.core.finding import note
from kerfwright.coupons import response as laws
from kerfwright.coupons.coupon import CouponDesign, CouponOptions, Site
from kerfwright.coupons.observable import Observable, Quantity
from kerfwright.coupons.sheet import Sheet, Spot
from kerfwright.coupons.strokes import bed_axis, grain_word, stroke
from kerfwright.machine.machine import Machine
from kerfwright.process.operation import CutOperation, OperationKind, Pass

TITLE = "FOCUS LADDER"
LINE_MM = 10.0
ROW_MM = 2.25  # from rung to rung of the lines along the board
COLUMN_MM = 3.8  # and across it, where the rung's number stands under each line
LETTERS_MM = 1.6
NAME_MM = 10.5  # room left of a line for its number and focus
HEAD_MARGIN_MM = 1.0  # air kept between the nozzle and the board, as in the plan


class FocusOptions(CouponOptions):
    """rungs: how many; middle: the focus of the middle rung; step: between rungs (0.5 mm, or 0.8 mm for a CO2 laser)."""

    rungs: int | None = Field(default=None, ge=5, le=25)
    middle_mm: SignedLength = Field(default=0.0, alias="middle", ge=-10, le=10)
    step_mm: Length | None = Field(default=None, alias="step", ge=0.05, le=3)


class FocusCoupon:
    """One operation a rung; a machine set by hand stops before each."""

    kind = "focus"
    title = TITLE
    options = FocusOptions

    def lay_out(self, site: Site, options: FocusOptions) -> CouponDesign:
        """Lines along the board above, lines across it below."""
        sheet = Sheet(site, options, TITLE)
        heights_mm, step_mm = _heights(site.machine, options)
        n = len(heights_mm)
        along, across = (NAME_MM + LINE_MM + 1.0, n * ROW_MM), (n * COLUMN_MM, LINE_MM + LETTERS_MM + 1.2)
        places, content_mm = sheet.arrange([along, across])
        surface = site.recipe.engrave
        operations: list[CutOperation] = []
        found: list[Observable] = []
        for k, focus_mm in enumerate(heights_mm):
            lines: list[tuple[Spot, Spot]] = [
                _along(places[0], k, n, focus_mm, sheet),
                _across(places[1], k, sheet),
            ]
            paths = tuple(stroke(list(line), surface.power_frac) for line in lines)
            title = f"Rung {k + 1}: focus {focus_mm:+.2f} mm"
            operations.append(CutOperation(f"rung-{k + 1}", title, OperationKind.ENGRAVE, paths, surface.speed_mm_s, (Pass(focus_mm),)))
            found += [_width(site, options.turned, k, focus_mm, line, along_x) for line, along_x in zip(lines, (True, False), strict=True)]
        for place, size, along_x in ((places[0], along, True), (places[1], across, False)):
            found.append(_rung(place, size, bed_axis(along_x, options.turned), heights_mm[0], step_mm, n))
        findings = [note("by-hand-rungs", f"the program stops {n} times to have the focus set")] if site.machine.z == "by hand" else []
        steps = ("Answer the two rung questions by eye or loupe first; widths need a scan or a measuring loupe",)
        return sheet.design(self.kind, content_mm, operations, found, steps, findings)

    def predict(self, observable: Observable, response: Mapping[str, float]) -> float:
        """Equation 5."""
        return laws.predict(observable, response)


def _heights(machine: Machine, options: FocusOptions) -> tuple[list[float], float]:
    """Focus of each rung, lowest first, and the step; rungs that would set the nozzle on the board are left out."""
    step_mm = options.step_mm or (0.8 if machine.laser == "co2" else 0.5)
    n = options.rungs or (9 if machine.z == "by hand" else 13)
    lowest_mm = -(machine.head.gap_mm - HEAD_MARGIN_MM)
    heights = [round(options.middle_mm + (k - (n - 1) / 2) * step_mm, 4) for k in range(n)]
    kept = [each for each in heights if each >= lowest_mm]
    if len(kept) < 5:
        raise PlanError(
            f"only {len(kept)} rungs keep {HEAD_MARGIN_MM:g} mm of air under the nozzle",
            accepted=f"at least 5 rungs above {lowest_mm:g} mm",
            remedy="Give a higher middle or a smaller step",
            where=TITLE,
        )
    return kept, step_mm


def _along(place: Spot, k: int, n: int, focus_mm: float, sheet: Sheet) -> tuple[Spot, Spot]:
    x, y = place[0] + NAME_MM, place[1] + (n - k - 0.5) * ROW_MM
    sheet.label(f"{k + 1}", place[0], y - LETTERS_MM / 2, LETTERS_MM)
    sheet.label(f"{focus_mm:+.1f}" if focus_mm else "0", place[0] + 3.6, y - LETTERS_MM / 2, LETTERS_MM)
    return (x, y), (x + LINE_MM, y)


def _across(place: Spot, k: int, sheet: Sheet) -> tuple[Spot, Spot]:
    x, y = place[0] + (k + 0.5) * COLUMN_MM, place[1] + LETTERS_MM + 1.2
    sheet.label(f"{k + 1}", x, place[1], LETTERS_MM, centred=True)
    return (x, y), (x, y + LINE_MM)


def _width(site: Site, turned: bool, k: int, focus_mm: float, line: tuple[Spot, Spot], along_x: bool) -> Observable:
    (xa, ya), (xb, yb) = line
    travel = bed_axis(along_x, turned)
    surface = site.recipe.engrave
    return Observable(
        f"line-{k + 1}-{travel}",
        Quantity.LINE_WIDTH,
        ((xa + xb) / 2, (ya + yb) / 2),
        "mm",
        "scan",
        f"width of line {k + 1} at its middle, dark edge to dark edge",
        across_deg=90.0 if along_x else 0.0,
        low=0.02,
        high=1.5,
        settings={
            "focus_mm": focus_mm,
            "travel": travel,
            "grain": grain_word(along_x),
            "power_frac": surface.power_frac,
            "speed_mm_s": surface.speed_mm_s,
        },
    )


def _rung(place: Spot, size: tuple[float, float], travel: str, first_mm: float, step_mm: float, n: int) -> Observable:
    return Observable(
        f"rung-{travel}",
        Quantity.RUNG,
        (place[0] + size[0] / 2, place[1] + size[1] / 2),
        "rung",
        "eye",
        f"number of the finest line of this ladder (travel along the bed's {travel}); between two rungs a half",
        low=1.0,
        high=float(n),
        settings={"first_focus_mm": first_mm, "step_mm": step_mm},
    )


COUPON = FocusCoupon()
