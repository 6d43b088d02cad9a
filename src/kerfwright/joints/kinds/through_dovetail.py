"""The through dovetail.

Vocabulary: the *tail board*'s end is cut square through its thickness into tails that widen toward the end; the
*pin board*'s sockets have walls that slope through its thickness, wide at the show face and narrow at the inner
face, so that every wall faces a beam from the show face. A tail is as wide as its socket at the pin board's show
face and narrows by slope * thickness on each side to its baseline. The tail board slides on along the pin board's
length.
"""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from kerfwright.core.document import Document, Length, Slope
from kerfwright.core.errors import BuildError, InputError
from kerfwright.core.finding import Finding, warning
from kerfwright.joints import layout as layouts
from kerfwright.joints.joint import CornerSize, EndProfile, JointPair, comb, comb_edges

Array = NDArray[np.float64]

SLENDER_PIN = 8.0  # a pin this many times longer than its narrow end is thick wants gentle hands (common practice, no source)


class ThroughDovetailOptions(Document):
    """Widths are on the pin board's show face, where pins are slimmest."""

    kind: Literal["through dovetail"]
    slope_frac: Slope = Field(default=0.125, alias="slope")
    tails: int | None = Field(default=None, ge=1, le=200)
    pin_mm: Length = Field(default=3.0, alias="pin")
    half_pin_mm: Length | None = Field(default=None, alias="half_pin")
    layout: layouts.LayoutName = "even"
    growth_frac: Annotated[float, Field(ge=-0.9, le=5)] = Field(default=0.6, alias="growth")
    seed: int = Field(default=1, ge=0)
    widths_mm: tuple[Length, ...] = Field(default=(), alias="widths", max_length=400)
    tails_on: tuple[str, ...] = ("front", "back")


class ThroughDovetail:
    """Tails on the boards named in ``tails_on``, pins on the other board of the corner."""

    kind = "through dovetail"
    options = ThroughDovetailOptions

    def build(self, size: CornerSize, options: ThroughDovetailOptions) -> JointPair:
        """Both ends of the corner."""
        tail = size.side_of(options.tails_on, "tails_on")
        thicknesses = (size.first_thickness_mm, size.second_thickness_mm)
        tail_thickness_mm, pin_thickness_mm = thicknesses if tail == "first" else thicknesses[::-1]
        try:
            widths_mm = _widths(size.height_mm, tail_thickness_mm, pin_thickness_mm, options)
            layouts.check_buildable(widths_mm, options.slope_frac, pin_thickness_mm, tail_thickness_mm)
            _check_tip_gap(widths_mm, options.slope_frac * size.proud_mm)
        except InputError as bad:
            raise bad.located(f"joint at {size.corner}") from bad
        bounds_mm = np.cumsum(widths_mm)[:-1]  # (2 n_tails,) flanks on the pin board's show face, from the bottom
        into_tail = np.where(np.arange(len(bounds_mm)) % 2 == 0, 1.0, -1.0)  # which way the tail lies from each flank
        pin_end = _pin_end(bounds_mm, into_tail * options.slope_frac, pin_thickness_mm, tail_thickness_mm, size)
        tail_end = _tail_end(bounds_mm, into_tail * options.slope_frac, pin_thickness_mm, size)
        ends = (tail_end, pin_end) if tail == "first" else (pin_end, tail_end)
        return JointPair(*ends, tail=tail, slides_off=(tail,), findings=_findings(widths_mm, tail_thickness_mm, size))


def _widths(height_mm: float, tail_thickness_mm: float, pin_thickness_mm: float, options: ThroughDovetailOptions) -> Array:
    if options.layout in ("list", "mirrored"):
        if options.tails is not None:
            raise InputError(f'tails = {options.tails} does not go with layout = "{options.layout}"', accepted="widths alone")
        make = layouts.listed if options.layout == "list" else layouts.mirrored
        return make(height_mm, options.widths_mm)
    if options.widths_mm:
        raise InputError(f'widths do not go with layout = "{options.layout}"', accepted='layout = "list" or "mirrored"')
    # Half-pins about half the tail board's thickness (common practice, no source).
    half_pin_mm = options.half_pin_mm if options.half_pin_mm is not None else max(options.pin_mm, 0.5 * tail_thickness_mm)
    # Unasked: tails about twice the pin board's thickness, which looks hand-cut (common practice, no source).
    pitch_mm = max(2.0 * pin_thickness_mm, 4 * layouts.TAIL_MIN_MM) + options.pin_mm
    n_tails = options.tails or max(1, round((height_mm - 2 * half_pin_mm + options.pin_mm) / pitch_mm))
    if options.layout == "widening":
        return layouts.widening(height_mm, n_tails, options.pin_mm, half_pin_mm, options.growth_frac)
    if options.layout == "hand":
        return layouts.hand(height_mm, n_tails, options.pin_mm, half_pin_mm, options.seed)
    return layouts.even(height_mm, n_tails, options.pin_mm, half_pin_mm)


def _check_tip_gap(widths_mm: Array, widening_mm: float) -> None:
    # Tails standing proud go on widening, so the gaps between their tips close a little.
    narrowest_mm = float(widths_mm[2:-1:2].min(initial=np.inf)) - 2 * widening_mm
    if min(narrowest_mm, float(widths_mm[[0, -1]].min()) - widening_mm) <= 0:
        raise BuildError(
            f"tails standing proud would touch: the gap between tips is {narrowest_mm:.2f} mm",
            remedy="Give less proud, a gentler slope or a wider pin",
        )


def _pin_end(bounds_mm: Array, lean: Array, pin_thickness_mm: float, tail_thickness_mm: float, size: CornerSize) -> EndProfile:
    is_tip = [i % 2 == 0 for i in range(len(bounds_mm) + 1)]
    depth_mm = tail_thickness_mm + size.proud_mm
    inner_mm = bounds_mm + lean * pin_thickness_mm
    show = comb(is_tip, bounds_mm, bounds_mm, depth_mm, size.height_mm)
    inner = comb(is_tip, inner_mm, inner_mm, depth_mm, size.height_mm)
    return EndProfile(show, inner, comb_edges(is_tip))


def _tail_end(bounds_mm: Array, lean: Array, pin_thickness_mm: float, size: CornerSize) -> EndProfile:
    is_tip = [i % 2 == 1 for i in range(len(bounds_mm) + 1)]
    points = comb(
        is_tip, bounds_mm - lean * size.proud_mm, bounds_mm + lean * pin_thickness_mm, pin_thickness_mm + size.proud_mm, size.height_mm
    )
    return EndProfile(points, points, comb_edges(is_tip))


def _findings(widths_mm: Array, tail_thickness_mm: float, size: CornerSize) -> tuple[Finding, ...]:
    found: list[Finding] = []
    half_mm = float(min(widths_mm[0], widths_mm[-1]))
    if half_mm < 0.5 * tail_thickness_mm - 1e-9:
        found.append(
            warning(
                "slim-half-pin",
                f"half-pins of {half_mm:.2f} mm are under half the tail board's thickness "
                "and may split when the joint is driven home (common practice, no source)",
                size.corner,
            )
        )
    pins_mm = widths_mm[2:-1:2]
    if len(pins_mm) and tail_thickness_mm / float(pins_mm.min()) > SLENDER_PIN:
        found.append(
            warning(
                "slender-pin",
                f"pins {float(pins_mm.min()):.2f} mm at the narrow end and {tail_thickness_mm:.1f} mm "
                "long break easily: bring the joint together by hand and clamp",
                size.corner,
            )
        )
    return tuple(found)


JOINT = ThroughDovetail()
