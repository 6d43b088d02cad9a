"""The box joint: square fingers, equal in width, that interlock at the corner."""

from __future__ import annotations

from typing import Literal, Self

import numpy as np
from pydantic import Field, model_validator

from kerfwright.core.document import Document, Length
from kerfwright.core.errors import BuildError, InputError
from kerfwright.joints.joint import CornerSize, EndProfile, JointPair, comb, comb_edges

FINGER_MIN_MM = 1.0  # slimmer fingers snap along the grain (common practice, no source)


class BoxJointOptions(Document):
    """``fingers`` counts both boards' fingers across the wall; or give the ``finger`` width to come near to."""

    kind: Literal["box joint"]
    fingers: int | None = Field(default=None, ge=2, le=400)
    finger_mm: Length | None = Field(default=None, alias="finger")
    parity: Literal["odd", "even", "any"] = "odd"
    starts_on: tuple[str, ...] = ("front", "back")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.fingers is not None and self.finger_mm is not None:
            raise InputError("both fingers and finger are given", accepted="the count or the width, not both")
        return self


class BoxJoint:
    """Fingers of equal width; the board named in ``starts_on`` has the bottom one."""

    kind = "box joint"
    options = BoxJointOptions

    def build(self, size: CornerSize, options: BoxJointOptions) -> JointPair:
        """Both ends of the corner."""
        n_fingers = _count(size, options)
        width_mm = size.height_mm / n_fingers
        if width_mm < FINGER_MIN_MM:
            raise BuildError(
                f"{n_fingers} fingers in a {size.height_mm:g} mm wall would be {width_mm:.2f} mm wide",
                accepted=f"{FINGER_MIN_MM:g} mm or more",
                remedy="Use fewer fingers",
                where=f"joint at {size.corner}",
            )
        bounds_mm = width_mm * np.arange(1, n_fingers, dtype=np.float64)
        start = size.side_of(options.starts_on, "starts_on")
        starter_tips = [i % 2 == 0 for i in range(n_fingers)]
        other_tips = [not tip for tip in starter_tips]

        def end(is_tip: list[bool], other_thickness_mm: float) -> EndProfile:
            points = comb(is_tip, bounds_mm, bounds_mm, other_thickness_mm + size.proud_mm, size.height_mm)
            return EndProfile(points, points, comb_edges(is_tip))

        first = end(starter_tips if start == "first" else other_tips, size.second_thickness_mm)
        second = end(starter_tips if start == "second" else other_tips, size.first_thickness_mm)
        return JointPair(first, second, tail=start, slides_off=("first", "second"))


def _count(size: CornerSize, options: BoxJointOptions) -> int:
    if options.fingers is not None:
        return options.fingers
    # Fingers about as wide as the board is thick (common practice, no source).
    wanted_mm = options.finger_mm or (size.first_thickness_mm + size.second_thickness_mm) / 2
    if wanted_mm > size.height_mm / 2:
        raise BuildError(
            f"a {wanted_mm:g} mm finger does not fit twice into a {size.height_mm:g} mm wall",
            remedy="Give a narrower finger",
            where=f"joint at {size.corner}",
        )
    counts = [n for n in range(2, int(size.height_mm / wanted_mm) + 3) if options.parity == "any" or n % 2 == (options.parity == "odd")]
    return min(counts, key=lambda n: abs(size.height_mm / n - wanted_mm))


JOINT = BoxJoint()
