"""Machine coupon: scale and squareness of the axes, lag between directions, and the beam against the head's pointer.

Vocabulary: a *pair* of the lag scale is two lines side by side, burnt in opposite directions; from the long middle pair
outward their right-hand ends are drawn apart by one step more each time. The pair whose ends are level says the lag:
a line burnt the + way ends late by v lag, its neighbour burnt the - way begins late by as much, so i step = 2 v lag.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from pydantic import Field

from kerfwright.core.document import Length, Speed
from kerfwright.core.errors import PlanError
from kerfwright.coupons import response as laws
from kerfwright.coupons.coupon import CouponDesign, CouponOptions, Site
from kerfwright.coupons.observable import Observable, Quantity, Setting
from kerfwright.coupons.sheet import GAP_MM, Sheet, Spot
from kerfwright.coupons.strokes import Array, bed_axis, engraving, stroke
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass

TITLE = "MACHINE: SCALE, SQUARE, LAG, POINTER"
ARM_MM = 2.0  # of a measuring cross
N_EACH_SIDE = 5  # pairs each side of the long one
ROW_MM = 1.5  # from pair to pair
APART_MM = 0.4  # between the two lines of a pair
LINE_MM, LONG_LINE_MM = 4.0, 5.5
SHORTEST_MM = 25.0  # less says nothing about scale: a caliper errs 0.03 mm
LONGEST_MM = 140.0  # what a 150 mm caliper closes on
LABEL_MM = 3.2  # height kept for the label under a scale
UPRIGHT_MM = (12.0, (2 * N_EACH_SIDE + 1) * ROW_MM + LABEL_MM)  # a scale along the board: its pairs are stacked
FLAT_MM = ((2 * N_EACH_SIDE + 1) * ROW_MM, LONG_LINE_MM + 0.5 + LABEL_MM)  # a scale across the board


class MachineOptions(CouponOptions):
    """speeds: at which the lag scales are burnt; by default the engraving speed and a third of it."""

    speeds_mm_s: tuple[Speed, ...] = Field(default=(), alias="speeds", max_length=3)
    step_mm: Length = Field(default=0.05, alias="step", ge=0.02, le=0.2)


class MachineCoupon:
    """Six crosses, a lag scale for each axis and speed, one cross for the pointer."""

    kind = "machine"
    title = TITLE
    options = MachineOptions

    def lay_out(self, site: Site, options: MachineOptions) -> CouponDesign:
        """As large as the offcut allows: the longer the distance, the surer the scale."""
        engrave = site.recipe.engrave.speed_mm_s
        speeds = options.speeds_mm_s or (float(f"{engrave / 3:.3g}"), engrave)
        sheet = Sheet(site, options, TITLE)
        n = len(speeds)
        scales_mm = n * (UPRIGHT_MM[0] + GAP_MM) + FLAT_MM[0], max(UPRIGHT_MM[1], n * (FLAT_MM[1] + GAP_MM / 2))
        room = min(sheet.room_mm[0], LONGEST_MM + 6 * ARM_MM + 8.0), min(sheet.room_mm[1], LONGEST_MM + 2 * ARM_MM)
        # The scales stand inside the frame of crosses, which therefore reaches round them.
        least = scales_mm[0] + 10 * ARM_MM + 10.0, max(SHORTEST_MM + 2 * ARM_MM, scales_mm[1] + 4 * ARM_MM)
        if room[0] < least[0] or room[1] < least[1]:
            raise sheet.too_small([least])
        crosses, distances = _crosses(sheet, room, options.turned)
        lags, verniers = _lag_scales(sheet, room, speeds, options)
        pointer, aims = _pointer(sheet, room, options)
        operations = [engraving("crosses", "Crosses for scale and squareness", crosses, site.recipe), *lags, *pointer]
        fastest = max(speeds)
        if fastest > site.machine.top_speed_mm_s:
            raise PlanError(f"a lag scale at {fastest:g} mm/s", accepted=f"up to {site.machine.top_speed_mm_s:g} mm/s", where=TITLE)
        steps = (
            "Stick light paper tape over the pointer cross at the right end; the program stops there for the pointer's mark",
            "Measure between the centres of the crosses: with a caliper's points under a loupe, or on a scan",
        )
        return sheet.design(self.kind, room, operations, [*distances, *verniers, *aims], steps)

    def predict(self, observable: Observable, response: Mapping[str, float]) -> float:
        """Equations 8 and 9."""
        return laws.predict(observable, response)


def _cross(sheet: Sheet, at: Spot, arm_mm: float = ARM_MM) -> list[BeamPath]:
    x, y = at
    power_frac = sheet.site.recipe.engrave.power_frac
    return [stroke([(x - arm_mm, y), (x + arm_mm, y)], power_frac), stroke([(x, y - arm_mm), (x, y + arm_mm)], power_frac)]


def _crosses(sheet: Sheet, room: tuple[float, float], turned: bool) -> tuple[list[BeamPath], list[Observable]]:
    """A long rectangle and, for the diagonals, a square at its left: so diagonals run at 45 degrees on every board."""
    x0, y0 = sheet.corner_mm[0] + ARM_MM, sheet.corner_mm[1] + ARM_MM
    long_mm, side_mm = float(int(room[0] - 6 * ARM_MM - 8.0)), float(int(room[1] - 2 * ARM_MM))
    side_mm = min(side_mm, long_mm)
    at = {(i, j): (x0 + i, y0 + j) for i in (0.0, side_mm, long_mm) for j in (0.0, side_mm)}
    paths = [path for place in dict.fromkeys(at.values()) for path in _cross(sheet, place)]
    pairs = [
        ("bottom", (0.0, 0.0), (long_mm, 0.0), 0.0),
        ("top", (0.0, side_mm), (long_mm, side_mm), 0.0),
        ("left", (0.0, 0.0), (0.0, side_mm), 90.0),
        ("right", (long_mm, 0.0), (long_mm, side_mm), 90.0),
        ("rising", (0.0, 0.0), (side_mm, side_mm), 45.0),
        ("falling", (0.0, side_mm), (side_mm, 0.0), 135.0),
    ]
    found: list[Observable] = []
    for name, a, b, across_deg in pairs:
        (xa, ya), (xb, yb) = at[a], at[b]
        nominal_mm = ((xb - xa) ** 2 + (yb - ya) ** 2) ** 0.5
        straight = across_deg in (0.0, 90.0)
        axis = bed_axis(across_deg == 0.0, turned) if straight else "diag+" if (across_deg == 45.0) != turned else "diag-"
        found.append(
            Observable(
                f"distance-{name}",
                Quantity.DISTANCE,
                ((xa + xb) / 2, (ya + yb) / 2),
                "mm",
                "caliper",
                f"between the centres of the crosses at x {xa:.1f}, y {ya:.1f} and x {xb:.1f}, y {yb:.1f}; drawn {nominal_mm:.2f} mm apart",
                across_deg=across_deg,
                low=round(0.95 * nominal_mm, 1),
                high=round(1.05 * nominal_mm, 1),
                settings={"nominal_mm": nominal_mm, "axis": axis},
            )
        )
    return paths, found


def _lag_scales(
    sheet: Sheet, room: tuple[float, float], speeds: tuple[float, ...], options: MachineOptions
) -> tuple[list[CutOperation], list[Observable]]:
    """Scales along the board side by side, scales across it stacked at their right."""
    operations: list[CutOperation] = []
    found: list[Observable] = []
    power_frac = sheet.site.recipe.engrave.power_frac
    x0, low = sheet.corner_mm[0] + 3 * ARM_MM + 1.0, sheet.corner_mm[1] + 2 * ARM_MM
    high = low + room[1] - 4 * ARM_MM
    for k, speed in enumerate(speeds):
        upright = x0 + (k + 0.5) * (UPRIGHT_MM[0] + GAP_MM), (low + high + LABEL_MM) / 2
        flat = x0 + len(speeds) * (UPRIGHT_MM[0] + GAP_MM) + FLAT_MM[0] / 2, low + (k + 0.5) * (high - low) / len(speeds) + LABEL_MM / 2
        for along_x, middle in ((True, upright), (False, flat)):
            axis = bed_axis(along_x, options.turned)
            paths = [stroke(points, power_frac) for points in _pairs(middle, along_x, options.step_mm)]
            name = f"vernier-{axis}-{k + 1}"
            title = f"Lag scale along {axis} at {speed:g} mm/s"
            operations.append(CutOperation(name, title, OperationKind.ENGRAVE, tuple(paths), speed, (Pass(0.0),)))
            reach_mm = (UPRIGHT_MM if along_x else FLAT_MM)[1] - LABEL_MM
            sheet.label(f"{axis} {speed:.3g}", middle[0], middle[1] - reach_mm / 2 - 0.7 * LABEL_MM, 1.8, centred=True)
            found.append(_vernier(name, middle, along_x, {"axis": axis, "speed_mm_s": speed, "step_mm": options.step_mm}))
    return operations, found


def _vernier(name: str, middle: Spot, along_x: bool, settings: dict[str, Setting]) -> Observable:
    ends, plus, minus = ("right", "up", "down") if along_x else ("upper", "right", "left")
    return Observable(
        name,
        Quantity.VERNIER,
        middle,
        "pairs",
        "eye",
        f"which pair of lines has its {ends} ends level, counted from the long pair: + {plus}, - {minus}; halves allowed",
        across_deg=0.0 if along_x else 90.0,
        low=-float(N_EACH_SIDE),
        high=float(N_EACH_SIDE),
        settings=settings,
    )


def _pairs(middle: Spot, along_x: bool, step_mm: float) -> list[Array]:
    """Pair i, counted up (or to the right): first line burnt the + way to its end, second the - way from an end i steps on."""
    points: list[Array] = []
    for i in range(-N_EACH_SIDE, N_EACH_SIDE + 1):
        length_mm = LONG_LINE_MM if i == 0 else LINE_MM
        end_mm, second_mm = LONG_LINE_MM / 2, LONG_LINE_MM / 2 + i * step_mm
        for ends, aside in (((end_mm - length_mm, end_mm), -APART_MM / 2), ((second_mm, second_mm - length_mm), APART_MM / 2)):
            u_v = np.array([[ends[0], i * ROW_MM + aside], [ends[1], i * ROW_MM + aside]])
            points.append((u_v if along_x else u_v[:, ::-1]) + np.array(middle))
    return points


def _pointer(sheet: Sheet, room: tuple[float, float], options: MachineOptions) -> tuple[list[CutOperation], list[Observable]]:
    """A short line ends at the point and the program stops there: the person marks where the pointer shines, then the cross is burnt."""
    recipe = sheet.site.recipe
    x, y = sheet.corner_mm[0] + room[0] - 3 * ARM_MM, sheet.corner_mm[1] + room[1] / 2
    there = engraving(
        "pointer-line", "Line up to the pointer cross", [stroke([(x, y - 3 * ARM_MM), (x, y)], recipe.engrave.power_frac)], recipe
    )
    stop = "prick the tape exactly where the head's pointer shines now, without moving the head"
    cross = engraving("pointer-cross", "Cross for the pointer", _cross(sheet, (x, y)), recipe, before=stop)
    sheet.label("POINTER", x, y + 2 * ARM_MM, 0.7 * sheet.letters_mm, centred=True)
    aims = [
        Observable(
            f"pointer-{axis}",
            Quantity.DISTANCE,
            (x, y),
            "mm",
            "scan",
            f"from the burnt cross to the pricked mark, along the bed's {axis}; + toward +{axis}; leave empty without a pointer",
            across_deg=across_deg,
            low=-20.0,
            high=20.0,
            settings={"nominal_mm": 0.0, "axis": axis},
        )
        # Turned, the bed's x lies along the board's -y.
        for axis, across_deg in (("x", 270.0 if options.turned else 0.0), ("y", 0.0 if options.turned else 90.0))
    ]
    return [there, cross], aims


COUPON = MachineCoupon()
