"""Sloped edge: the real ramped wall at the real slope, at the board's end, where its profile shows on the end grain.

Vocabulary: a *socket* is cut as in a pin board: its core drops out, then lines parallel to the walls go down. Its *low*
and *high* walls are those nearer to y = 0 and farther. Beside each wall a fine mark runs over the end, drawn
``MARK_OFF_MM`` from where the wall meets the show face, to measure from.
"""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import Field

from kerfwright.core.document import Length, Slope
from kerfwright.core.errors import PlanError
from kerfwright.core.units import format_slope
from kerfwright.coupons import response as laws
from kerfwright.coupons.coupon import CouponDesign, CouponOptions, Site
from kerfwright.coupons.observable import Observable, Quantity
from kerfwright.coupons.ramp_socket import RampSocket, core_stroke, wall_lines
from kerfwright.coupons.sheet import Sheet
from kerfwright.coupons.strokes import every_other, through_operation
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.recipe import RampSettings

TITLE = "SLOPED EDGE"
MARK_OFF_MM = 2.0
MARK_MM = 4.0
DEPTH_SHARES = (0.15, 0.5, 0.85)  # of the thickness: where the profile is read
BETWEEN_MM = 2 * MARK_OFF_MM + 3.0  # wood left between sockets
LABEL_MM = 22.0  # right of the sockets, for their labels


class SlopedEdgeOptions(CouponOptions):
    """slope: tangent of the walls; sockets: how many, two walls each; width: of a socket at the inner face."""

    slope_frac: Slope = Field(default=0.125, alias="slope")
    sockets: int = Field(default=2, ge=1, le=6)
    width_mm: Length = Field(default=4.0, alias="width", ge=2, le=20)


class SlopedEdge:
    """Cores through, then every wall's lines layer by layer, as a pin board is ramped."""

    kind = "sloped edge"
    title = TITLE
    options = SlopedEdgeOptions

    def lay_out(self, site: Site, options: SlopedEdgeOptions) -> CouponDesign:
        """Raises PlanError without a ramp in the recipe, RecipeRangeError where it does not reach through."""
        sheet = Sheet(site, options, TITLE, at_end=True)
        thickness_mm, ramp = site.offcut.thickness_mm, site.recipe.ramp
        if ramp is None:
            raise PlanError("the recipe has no ramp", remedy="Burn the ramp staircase first", where=TITLE)
        cut = site.recipe.through_for(thickness_mm)
        show_mm = options.width_mm + 2 * options.slope_frac * thickness_mm
        reach_mm = max(thickness_mm, MARK_MM + 1.0)
        content = reach_mm + LABEL_MM, options.sockets * (show_mm + BETWEEN_MM)
        sheet.arrange([content])
        _, y0 = sheet.corner_mm
        middles = [y0 + (k + 0.5) * (show_mm + BETWEEN_MM) for k in range(options.sockets)]
        sockets = [RampSocket(y, options.width_mm, reach_mm, options.slope_frac, thickness_mm) for y in middles]
        cores = [core_stroke(socket, cut, sheet.turned) for socket in sockets]
        lines = [line for socket in sockets for line in wall_lines(socket, cut, ramp, sheet.turned)]
        layers = ramp.passes_down()
        operations = [
            through_operation("cores", "Cores of the sockets, dropping out", every_other(cores), cut),
            CutOperation("ramps", "Sloped walls as ramps", OperationKind.RAMP, tuple(lines), ramp.speed_mm_s, layers),
        ]
        found: list[Observable] = []
        for k, socket in enumerate(sockets):
            sheet.label(f"S{k + 1} {format_slope(options.slope_frac).split()[0]}", reach_mm + 2.0, socket.middle_mm - 1.0)
            for side, mark_mm in ((-1, socket.show_low_mm - MARK_OFF_MM), (1, socket.show_high_mm + MARK_OFF_MM)):
                sheet.tick([(0.0, mark_mm), (MARK_MM, mark_mm)])
                found += [_wall(socket, k, side, mark_mm, float(share), ramp) for share in DEPTH_SHARES]
        steps = (
            "Before burning, plane or sand the board's left end square and smooth",
            "Afterwards sand the end grain lightly until the profile is clear, then scan it or read it under a loupe",
        )
        return sheet.design(self.kind, content, operations, found, steps)

    def predict(self, observable: Observable, response: Mapping[str, float]) -> float:
        """Equation 7."""
        return laws.predict(observable, response)


def _wall(socket: RampSocket, k: int, side: int, mark_mm: float, share: float, ramp: RampSettings) -> Observable:
    depth_mm = round(share * socket.thickness_mm, 2)
    y = socket.wall_mm(side, depth_mm)
    word = "low" if side < 0 else "high"
    return Observable(
        f"wall-{k + 1}-{word}-{round(100 * share)}",
        Quantity.WALL_OFFSET,
        (0.0, y),
        "mm",
        "scan",
        f"end grain, socket S{k + 1}, {word} wall, {depth_mm:g} mm below the show face: how far the wall lies from its drawn place, "
        f"which is {abs(y - mark_mm):.3f} mm from the fine mark; + when the wall is nearer to the mark",
        "end",
        90.0 if side > 0 else 270.0,
        -1.0,
        1.0,
        {
            "slope_frac": socket.slope_frac,
            "depth_mm": depth_mm,
            "method": "ramp",
            "wall_shift_mm": ramp.wall_shift_mm.value,
            "wall_lean_frac": ramp.wall_lean_frac.value,
        },
    )


COUPON = SlopedEdge()
